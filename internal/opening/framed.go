package opening

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// closureShare bounds how far the facets' area vectors may be from adding up to nothing, as a share
// of the area. They add up to exactly nothing on a closed mesh; rounding stays far below this, and
// one missing facet of a million equal ones shows.
const closureShare = 1e-7

// checkBody rejects what cannot be a closed outward body. It is a necessary check, not a full
// intake: a mesh may still cross itself.
func checkBody(b Body) error {
	fail := func(format string, args ...any) error {
		return fmt.Errorf("%w: %q %s", ErrBody, b.Name, fmt.Sprintf(format, args...))
	}
	if b.Mesh == nil || len(b.Mesh.Tris) == 0 {
		return fail("has no facets")
	}
	for i, v := range b.Mesh.Verts {
		if s := v.X + v.Y + v.Z; math.IsNaN(s) || math.IsInf(s, 0) {
			return fail("has a vertex that is not finite (vertex %d)", i)
		}
	}
	for i, t := range b.Mesh.Tris {
		for _, v := range t {
			if int(v) >= len(b.Mesh.Verts) {
				return fail("facet %d names vertex %d of %d", i, v, len(b.Mesh.Verts))
			}
		}
	}
	var sum r3.Vec
	var area float64
	for i := range b.Mesh.Tris {
		n := b.Mesh.Facet(i).Normal()
		sum = r3.Add(sum, n)
		area += r3.Norm(n)
	}
	if area == 0 || r3.Norm(sum) > closureShare*area {
		return fail("is open: its facets do not close around a volume; close the holes first")
	}
	if v := b.Mesh.VolumeMM3(); !(v > 0) {
		return fail("is inside out or empty (signed volume %g mm³); turn its facets over first", v)
	}
	return nil
}

// framed is a body seen along the direction of travel: the same facets, direction up.
type framed struct {
	verts []r3.Vec
	tris  [][3]uint32
	films films
	frame geom.Frame
}

func newFramed(m *mesh.Mesh, fs films, f geom.Frame) framed {
	out := framed{verts: make([]r3.Vec, len(m.Verts)), tris: m.Tris, films: fs, frame: f}
	for i, v := range m.Verts {
		out.verts[i] = f.Apply(v)
	}
	return out
}

func (b *framed) facet(i int32) [3]r3.Vec {
	t := b.tris[i]
	return [3]r3.Vec{b.verts[t[0]], b.verts[t[1]], b.verts[t[2]]}
}

// facing lists the facets that face up (sign +1) or down (−1), by the exact turn of their corners in
// projection, leaving out those that a strip of thinMM covers in projection.
func (b *framed) facing(sign int, thinMM float64) []int32 {
	var out []int32
	for i := range b.tris {
		c := b.facet(int32(i))
		p := [3]r2.Vec{flat(c[0]), flat(c[1]), flat(c[2])}
		if geom.Orient2D(p[0], p[1], p[2]) == sign && polygonWidth(p[:]) > thinMM {
			out = append(out, int32(i))
		}
	}
	return out
}

// seen takes a place of the body to its projection.
func (b *framed) seen(v r3.Vec) r2.Vec { return flat(b.frame.Apply(v)) }

func flat(v r3.Vec) r2.Vec { return r2.Vec{X: v.X, Y: v.Y} }

// sheet is a facet as a height over its projection.
type sheet struct {
	corners   [3]r2.Vec // counter-clockwise in projection
	o         r3.Vec
	gx, gy    float64 // slope
	low, high float64
	lean      float64 // |n_z| of the unit normal
}

func newSheet(c [3]r3.Vec, sign int) sheet {
	n := r3.Cross(r3.Sub(c[1], c[0]), r3.Sub(c[2], c[0]))
	s := sheet{
		corners: [3]r2.Vec{flat(c[0]), flat(c[1]), flat(c[2])},
		o:       c[0],
		low:     min(c[0].Z, c[1].Z, c[2].Z),
		high:    max(c[0].Z, c[1].Z, c[2].Z),
		lean:    math.Abs(n.Z) / r3.Norm(n),
	}
	if n.Z != 0 {
		s.gx, s.gy = -n.X/n.Z, -n.Y/n.Z
	}
	if sign < 0 {
		s.corners[1], s.corners[2] = s.corners[2], s.corners[1]
	}
	return s
}

// at is the height over p. A steep facet's slope magnifies the rounding of p, so the height is kept
// between the facet's own lowest and highest corner.
func (s *sheet) at(p r2.Vec) float64 {
	return min(s.high, max(s.low, s.o.Z+s.gx*(p.X-s.o.X)+s.gy*(p.Y-s.o.Y)))
}

func (s *sheet) box() r3.Box {
	b := polygonBox(s.corners[:])
	return r3.Box{
		Min: r3.Vec{X: b.Min.X, Y: b.Min.Y, Z: s.low},
		Max: r3.Vec{X: b.Max.X, Y: b.Max.Y, Z: s.high},
	}
}
