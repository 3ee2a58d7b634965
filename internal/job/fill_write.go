package job

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"mouldwright/internal/fill"
	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"
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

// Wetting tells how the mould fills, place by place.
type Wetting struct {
	Up       [3]float64 `json:"up"` // against gravity, in the mould frame
	TotalMM3 float64    `json:"total_mm3"`
	// PouredMM3 is the volume poured when the resin comes to each vertex of the casting in mould.3mf, to
	// a tenth of a mm³; −1 for those that stay in air.
	PouredMM3 []float64 `json:"poured_mm3"`
}

func newWetting(r *FillReport, cast *mesh.Mesh) *Wetting {
	used := r.used()
	w := &Wetting{Up: array(used.Up), TotalMM3: used.CavityMM3, PouredMM3: fill.Wetting(used.Frames, cast.Verts)}
	for i, v := range w.PouredMM3 {
		w.PouredMM3[i] = math.Round(10*v) / 10
	}
	return w
}

// writeFill writes the pictures of the fill, and the wedge that props the mould.
func writeFill(out *results, r *FillReport, cast *mesh.Mesh) error {
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
	if err := out.add(WettingFile, func(w io.Writer) error { return json.NewEncoder(w).Encode(newWetting(r, cast)) }); err != nil {
		return err
	}
	for i := picturedEvery - 1; i < len(used.Frames); i += picturedEvery {
		err := out.add(fmt.Sprintf("pictures/fill-%d.png", (i+1)/picturedEvery), func(w io.Writer) error {
			return used.Frames[i].WritePNG(w, set.Pour[0], false, framePx)
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
