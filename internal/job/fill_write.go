package job

import (
	"fmt"
	"io"

	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"
)

// framePx is the width of a picture of the fill.
const framePx = 900

// writeFill writes the pictures of the fill, and the wedge that props the mould.
func writeFill(out *results, r *FillReport) error {
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
	for i := range used.Frames {
		err := out.add(fmt.Sprintf("pictures/fill-%d.png", i+1), func(w io.Writer) error {
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
