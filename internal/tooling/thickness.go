package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/offset"

	"gonum.org/v1/gonum/spatial/r3"
)

// Thickness is how thick a body of silicone is, measured from places on the facets that it makes to the
// nearest place of its outer face.
type Thickness struct {
	AskedMM float64
	LeastMM float64
	LeastAt r3.Vec
	MostMM  float64
	MostAt  r3.Vec
	// FreePct is the share of the inner face behind which the thickness asked can be had: the exact outer
	// face lies straight behind it. FreeOffMM is the most that the thickness is off there.
	FreePct, FreeOffMM float64
	FreeOffAt          r3.Vec
	OuterErrorMM       float64 // how far the outer face strays from its exact shape
	Places             int
}

const (
	// thicknessTolMM is how far a thickness may be off where the shape allows it at all.
	thicknessTolMM = 0.05
	// freeMM says that the exact outer face lies straight behind a place at the thickness asked: neither
	// the draft nor a hollow of the part asks for more there.
	freeMM = 0.001
)

// gaugeThickness measures from the middles of facets, whose normals point into the silicone, to the outer
// face. Places come out in the frame of the sheet.
func gaugeThickness(ctx context.Context, facets []r3.Triangle, outer *offset.Sheet, askedMM float64) (Thickness, error) {
	tree := geom.NewBVH(outer.Verts, outer.Tris)
	t := Thickness{AskedMM: askedMM, LeastMM: math.Inf(1), OuterErrorMM: outer.Error.MaxMM}
	area, free := 0.0, 0.0
	for i, tri := range facets {
		if i%256 == 0 && ctx.Err() != nil {
			return t, ctx.Err()
		}
		n := tri.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		p := tri.Centroid()
		d := tree.Nearest(p).Distance
		t.Places++
		area += geom.Area(tri)
		if math.Abs(outer.StrayMM(r3.Add(p, r3.Scale(askedMM, r3.Unit(n))))) <= freeMM {
			free += geom.Area(tri)
			if off := math.Abs(d - askedMM); off > t.FreeOffMM {
				t.FreeOffMM, t.FreeOffAt = off, p
			}
		}
		if d < t.LeastMM {
			t.LeastMM, t.LeastAt = d, p
		}
		if d > t.MostMM {
			t.MostMM, t.MostAt = d, p
		}
	}
	if area > 0 {
		t.FreePct = 100 * free / area
	}
	return t, nil
}

// checks judges the thickness of a body called name.
func (t Thickness) checks(name string) []Check {
	return []Check{
		{Name: name + " thickness where the shape allows it", OK: t.FreeOffMM <= thicknessTolMM, Value: t.FreeOffMM, Limit: thicknessTolMM, Unit: "mm off",
			Words: fmt.Sprintf("within %.3f mm of the %.1f mm asked over the %.0f %% of the inner face behind which neither draft nor a hollow asks for more", t.FreeOffMM, t.AskedMM, t.FreePct)},
		{Name: "least " + name + " thickness", OK: t.LeastMM >= t.AskedMM-thicknessTolMM, Value: t.LeastMM, Limit: t.AskedMM - thicknessTolMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f to %.2f mm; thickest at %s", t.LeastMM, t.MostMM, placeWords(t.MostAt))},
	}
}

// facetsOn are the facets of one side of a part, each corner moved.
func facetsOn(p *mouldability.Parting, h Half, move func(r3.Vec) r3.Vec) (out []r3.Triangle) {
	for _, f := range facetsOf(p.Upper, h) {
		t := p.Mesh.Facet(int(f))
		out = append(out, r3.Triangle{move(t[0]), move(t[1]), move(t[2])})
	}
	return out
}
