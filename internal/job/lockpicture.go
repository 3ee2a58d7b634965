package job

import (
	"context"
	"image"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"

	"gonum.org/v1/gonum/spatial/r3"
)

// lockPicture shows the part with the facets that lock marked, from where most of them is seen. What
// no side shows, such as a sealed hollow, is shown on the part cut open.
func lockPicture(ctx context.Context, name string, m *mesh.Mesh, caught []int32) (image.Image, error) {
	marked := make([]bool, len(m.Tris))
	for _, f := range caught {
		marked[f] = true
	}
	view, seen, err := bestView(ctx, m, caught)
	if err != nil {
		return nil, err
	}
	shown := sheet.Shown{Name: name, Mesh: m, Marked: marked, MarkedName: "locks"}
	if seen < leastSeen {
		shown = cutOpen(shown, caught, view)
	}
	return sheet.Picture(ctx, []sheet.Shown{shown}, view)
}

const (
	leastSeen   = 0.02 // share of the marked area that a view must show
	mostSamples = 600  // facets that are looked at to choose the view; it is no more than a choice
)

// bestView is the view that shows most of some facets, and the share of their area that it shows,
// foreshortened. Each is looked at in its middle.
func bestView(ctx context.Context, m *mesh.Mesh, facets []int32) (best sheet.View, seen float64, err error) {
	bvh := geom.NewBVH(m.Verts, m.Tris)
	step := (len(facets) + mostSamples - 1) / mostSamples
	lift := 1e-6 * r3.Norm(m.Bounds().Size())
	seen = -1
	for _, elevation := range []float64{28, -28, 60, -60} {
		for azimuth := -55.0; azimuth < 305; azimuth += 30 {
			if err := ctx.Err(); err != nil {
				return best, 0, err
			}
			eye := towards(azimuth, elevation)
			sum, all := 0.0, 0.0
			for i := 0; i < len(facets); i += step {
				t := m.Facet(int(facets[i]))
				n := t.Normal() // twice the area long
				all += r3.Norm(n)
				if facing := r3.Dot(n, eye); facing > 0 {
					from := r3.Add(t.Centroid(), r3.Scale(lift, r3.Unit(n)))
					if _, hit := bvh.FirstHit(from, eye, 0, math.Inf(1)); !hit {
						sum += facing
					}
				}
			}
			if share := sum / max(all, math.SmallestNonzeroFloat64); share > seen+1e-9 {
				seen, best = share, sheet.View{AzimuthDeg: azimuth, ElevationDeg: elevation}
			}
		}
	}
	return best, seen, nil
}

// towards is the unit vector to the eye of a view.
func towards(azimuthDeg, elevationDeg float64) r3.Vec {
	sa, ca := math.Sincos(azimuthDeg * math.Pi / 180)
	se, ce := math.Sincos(elevationDeg * math.Pi / 180)
	return r3.Vec{X: ce * ca, Y: ce * sa, Z: se}
}

// cutOpen leaves out the facets on the eye's side of the marked ones' middle, but never a marked one.
func cutOpen(s sheet.Shown, caught []int32, view sheet.View) sheet.Shown {
	eye := towards(view.AzimuthDeg, view.ElevationDeg)
	middle := 0.0
	for _, f := range caught {
		middle += r3.Dot(s.Mesh.Facet(int(f)).Centroid(), eye) / float64(len(caught))
	}
	m := &mesh.Mesh{Verts: s.Mesh.Verts}
	var marked []bool
	for f, t := range s.Mesh.Tris {
		if s.Marked[f] || r3.Dot(s.Mesh.Facet(f).Centroid(), eye) <= middle {
			m.Tris = append(m.Tris, t)
			marked = append(marked, s.Marked[f])
		}
	}
	s.Mesh, s.Marked, s.Name = m, marked, s.Name+", cut open"
	return s
}
