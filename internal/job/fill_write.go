package job

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"mouldwright/internal/fill"
	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// framePx is the width of a picture of the fill.
	framePx = 900
	// framesKept states of the fill tell when each place gets wet; one in picturedEvery is drawn.
	framesKept, picturedEvery = 40, 10
)

// fillFrames are the shares of the cavity at which the fill is looked at.
func fillFrames() (out []float64) {
	for i := 1; i <= framesKept; i++ {
		out = append(out, float64(i)/framesKept)
	}
	return out
}

// WettingFile holds, under out/, when the resin reaches each place of the casting.
const WettingFile = "fill.json"

// Wetting tells how the mould fills, place by place, on the casting's surface with its large facets cut
// small, so that a level drawn between corners is nearly where it is. Lengths are mm of the mould frame.
type Wetting struct {
	Up       [3]float64   `json:"up"` // against gravity
	TotalMM3 float64      `json:"total_mm3"`
	Corners  [][3]float64 `json:"corners_mm"` // to a hundredth
	Facets   [][3]uint32  `json:"facets"`     // seen from outside counter-clockwise
	// PouredMM3 is the volume poured when the resin comes to each corner, to a tenth; −1 for those that stay
	// in air.
	PouredMM3 []float64 `json:"poured_mm3"`
}

const (
	// wettingSteps edges, or fewer, go round the casting's longest side; mostWetting facets at most.
	wettingSteps, mostWetting = 60, 60_000
)

func newWetting(r *FillReport, cast *mesh.Mesh) *Wetting {
	used, size := r.used(), cast.Bounds().Size()
	fine := cast.Subdivided(max(size.X, size.Y, size.Z)/wettingSteps, mostWetting)
	w := &Wetting{Up: array(used.Up), TotalMM3: used.CavityMM3, Facets: fine.Tris, PouredMM3: fill.Wetting(used.Frames, fine.Verts)}
	for i, v := range fine.Verts {
		w.Corners = append(w.Corners, [3]float64{hundredth(v.X), hundredth(v.Y), hundredth(v.Z)})
		w.PouredMM3[i] = math.Round(10*w.PouredMM3[i]) / 10
	}
	return w
}

func hundredth(v float64) float64 { return math.Round(100*v)/100 + 0 } // no minus before zero

// writeFill writes the pictures of the fill, and the wedge that props the mould.
func writeFill(out *results, r *FillReport, m *tooling.Mould) error {
	if r == nil {
		return nil
	}
	used := r.used()
	set := r.setup
	set.Up = used.Up
	for _, d := range []struct {
		name    string
		drawing *sheet.Drawing
	}{{"air", used.PocketMap(set)}, {"level", used.CurveChart()}, {"tilt", r.tilts.Chart()}} {
		if err := out.add("pictures/fill-"+d.name+".svg", d.drawing.WriteSVG); err != nil {
			return err
		}
	}
	if err := out.add(WettingFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(newWetting(r, m.Cast)) }); err != nil {
		return err
	}
	through, alongY := set.Pour[0], false
	if c, ok := gateCut(m); ok {
		through, alongY = r3.Vec{X: c.at, Y: c.at}, c.alongY
	}
	for i := picturedEvery - 1; i < len(used.Frames); i += picturedEvery {
		err := out.add(fmt.Sprintf("pictures/fill-%d.png", (i+1)/picturedEvery), func(w io.Writer) error {
			return used.Frames[i].WritePNG(w, through, alongY, framePx)
		})
		if err != nil {
			return err
		}
	}
	if r.Wedge != nil {
		return out.model("pieces/wedge.3mf", mesh.Object{Name: "wedge", Mesh: r.Wedge.Mesh})
	}
	return nil
}

// fill prints how the mould fills.
func (p *printer) fill(r *FillReport) {
	p.Line("\nFilling")
	for _, s := range append(append([]string{}, r.used().Words...), r.Words...) {
		p.Item(s)
	}
	if r.Wedge != nil {
		p.Item(r.Wedge.Words)
	}
}
