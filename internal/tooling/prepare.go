package tooling

import (
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// turnGain is how much smaller the block's footprint must get before the part is turned about the
// opening direction: a turn costs exact coordinates, so it has to be worth it.
const turnGain = 0.95

// place works out how to bring a part into the mould frame and does so. shrinkPct is the linear
// shrinkage of the casting along the part's own x, y and z.
func place(part *mesh.Mesh, d r3.Vec, shrinkPct r3.Vec) (*mesh.Mesh, Placing, error) {
	p := Placing{Frame: geom.FrameTo(r3.Unit(d))}
	var err error
	if p.Scale, err = growth(shrinkPct); err != nil {
		return nil, p, err
	}
	m := part.Map(p.Into)
	flat := make([]r2.Vec, len(m.Verts))
	for i, v := range m.Verts {
		flat[i] = r2.Vec{X: v.X, Y: v.Y}
	}
	b := m.Bounds()
	if r := geom.MinAreaRect(geom.ConvexHull(flat)); r.Area() < turnGain*(b.Max.X-b.Min.X)*(b.Max.Y-b.Min.Y) {
		p.TurnZ = -math.Atan2(r.Along.Y, r.Along.X)
		b = part.Map(p.Into).Bounds()
	}
	p.Offset = r3.Scale(-0.5, r3.Add(b.Min, b.Max))
	return part.Map(p.Into), p, nil
}

func turn(v r3.Vec, a float64) r3.Vec {
	s, c := math.Sincos(a)
	return r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z}
}

// growth is the factor per axis that makes a casting come out at size after shrinking: a cavity of
// length L gives a casting of L·(1 − s), so the cavity is made 1/(1 − s) times the part. This is the
// definition of mould shrinkage in ISO 294-4 (from memory).
func growth(pct r3.Vec) (r3.Vec, error) {
	f := func(s float64) (float64, error) {
		if math.IsNaN(s) || s < -5 || s > 20 {
			return 0, fmt.Errorf("tooling: shrinkage of %g %% is outside -5 to 20 %%", s)
		}
		return 1 / (1 - s/100), nil
	}
	var g r3.Vec
	var err [3]error
	g.X, err[0] = f(pct.X)
	g.Y, err[1] = f(pct.Y)
	g.Z, err[2] = f(pct.Z)
	for _, e := range err {
		if e != nil {
			return g, e
		}
	}
	return g, nil
}

// swollen moves a place away from the mould's axis at a height, by what a silicone shrinks: with by over 1
// from the size of the casting to that at which the silicone is poured, under 1 back.
func swollen(v r3.Vec, by, z float64) r3.Vec {
	if by == 1 {
		return v
	}
	return r3.Vec{X: v.X * by, Y: v.Y * by, Z: z + (v.Z-z)*by}
}

// swollenSolid is a body of which each place is swollen.
func swollenSolid(s *solid.Solid, by, z float64) (*solid.Solid, error) {
	if by == 1 {
		return s, nil
	}
	return s.Transform(solid.Affine{X: r3.Vec{X: by}, Y: r3.Vec{Y: by}, Z: r3.Vec{Z: by}, Origin: r3.Vec{Z: z * (1 - by)}})
}
