package cli

import (
	"context"
	"fmt"
	"image/png"
	"io"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/sheet"
)

// writePicture draws the part with its undercuts marked, in the default 3/4 view.
func writePicture(ctx context.Context, path, name string, m *mesh.Mesh, r *mouldability.Report) error {
	shown := sheet.Shown{Name: name, Mesh: m}
	if len(r.Undercuts) > 0 {
		shown.Marked, shown.MarkedName = make([]bool, len(m.Tris)), "undercut"
		for _, u := range r.Undercuts {
			for _, f := range u.Facets {
				shown.Marked[f] = true
			}
		}
	}
	img, err := sheet.Picture(ctx, []sheet.Shown{shown}, sheet.View{})
	if err != nil {
		return fmt.Errorf("picture of %s: %w", name, err)
	}
	return atomicfile.Write(path, func(w io.Writer) error { return png.Encode(w, img) })
}

// triple is a vector as JSON holds it.
func triple(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// vec is the vector of a triple.
func vec(t [3]float64) r3.Vec { return r3.Vec{X: t[0], Y: t[1], Z: t[2]} }
