package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Prism makes the body over loops (outer ones counter-clockwise, holes clockwise) between heights z0
// and z1 (mm). Its vertices have exactly the loops' coordinates and exactly those heights. Loops must
// not cross themselves or each other; a Region cleans loops that do.
func (k *Kernel) Prism(loops [][]r2.Vec, z0, z1 float64) (*Solid, error) {
	if !(z1 > z0) || math.IsInf(z1-z0, 0) {
		return nil, badArgument("prism from z = %g to %g", z0, z1)
	}
	tris, err := k.Triangulate(loops)
	if err != nil {
		return nil, err
	}
	return k.FromMesh(prismMesh(loops, tris, z0, z1))
}

func prismMesh(loops [][]r2.Vec, tris [][3]uint32, z0, z1 float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, z := range []float64{z0, z1} {
		for _, l := range loops {
			for _, p := range l {
				m.Verts = append(m.Verts, r3.Vec{X: p.X, Y: p.Y, Z: z})
			}
		}
	}
	up := uint32(len(m.Verts) / 2)
	for _, t := range tris {
		m.Tris = append(m.Tris, [3]uint32{t[0], t[2], t[1]}, [3]uint32{up + t[0], up + t[1], up + t[2]})
	}
	first := uint32(0)
	for _, l := range loops {
		n := uint32(len(l))
		for i := range n {
			a, b := first+i, first+(i+1)%n
			m.Tris = append(m.Tris, [3]uint32{a, b, up + b}, [3]uint32{a, up + b, up + a})
		}
		first += n
	}
	return m
}

// areaTolerance is how much of the area that triangles cover may differ from the area inside the
// loops by rounding.
const areaTolerance = 1e-9

// Triangulate divides the area inside loops (outer ones counter-clockwise, holes clockwise) into
// counter-clockwise triangles on the loops' own points, numbered through all loops in order. Loops
// that cross or overlap, by more than the step of a Region, are refused.
func (k *Kernel) Triangulate(loops [][]r2.Vec) (tris [][3]uint32, err error) {
	if err := k.checkSimple(loops); err != nil {
		return nil, err
	}
	err = k.do("triangulate", func(h *host) error {
		list := giveLoops(h, loops)
		defer h.destroy(clsLoops, list)
		out := h.function("_Triangulate", list, -1.0, true).(address)
		defer h.destroy(clsTriples, out)
		b := vectorBytes(h.mod.Memory(), uint32(out))
		for ; len(b) >= sizeIVec3; b = b[sizeIVec3:] {
			tris = append(tris, [3]uint32{le32(b), le32(b[4:]), le32(b[8:])})
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	area := signedArea(loops)
	if covered := coveredArea(loops, tris); math.Abs(covered-area) > areaTolerance*area {
		return nil, badArgument("the loops cross: they enclose %g mm² but triangles cover %g mm²; make a Region of them first", area, covered)
	}
	return tris, nil
}

// checkSimple refuses loops that do not wind exactly once around every point inside. The signed area
// is the integral of the winding number, the region's area that of its being not zero: they agree
// when it is 0 or 1 everywhere.
func (k *Kernel) checkSimple(loops [][]r2.Vec) error {
	if err := checkLoops(loops); err != nil {
		return err
	}
	area := signedArea(loops)
	if !(area > 0) || math.IsInf(area, 0) {
		return badArgument("the loops enclose %g mm²; outer loops must run counter-clockwise, holes clockwise", area)
	}
	r, err := k.Region(loops)
	if err != nil {
		return err
	}
	defer r.Free()
	covered, err := r.AreaMM2()
	if err != nil {
		return err
	}
	if math.Abs(covered-area) > RegionStepMM*perimeter(loops)+areaTolerance*area {
		return badArgument("the loops cross or overlap: counted with sign they enclose %g mm², but they cover %g mm²; make a Region of them first", area, covered)
	}
	return nil
}

func perimeter(loops [][]r2.Vec) (sum float64) {
	for _, l := range loops {
		for i := range l {
			sum += r2.Norm(r2.Sub(l[(i+1)%len(l)], l[i]))
		}
	}
	return sum
}

func coveredArea(loops [][]r2.Vec, tris [][3]uint32) (sum float64) {
	var pts []r2.Vec
	for _, l := range loops {
		pts = append(pts, l...)
	}
	for _, t := range tris {
		sum += math.Abs(r2.Cross(r2.Sub(pts[t[1]], pts[t[0]]), r2.Sub(pts[t[2]], pts[t[0]]))) / 2
	}
	return sum
}
