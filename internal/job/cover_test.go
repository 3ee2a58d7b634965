package job

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// cover is a soft cover like those of hand-held things: a shallow box of 90 × 50 × 18 mm, open below, with round corners, its
// rim turned inward by a lip that snaps under an edge. notch leaves the lip out over so many mm in the middle of one
// long side, for a cable.
func cover(wall, lip, notch float64) *mesh.Mesh {
	const length, width, height, corner, draft = 90.0, 50.0, 18.0, 9.0, 1.0
	var at, out []r2.Vec // the outline at the rim, and which way is out
	add := func(p, n r2.Vec) { at, out = append(at, p), append(out, n) }
	straight := func(a, b r2.Vec, n r2.Vec) {
		steps := int(math.Ceil(r2.Norm(r2.Sub(b, a)) / 2.5))
		for i := range steps {
			add(r2.Add(a, r2.Scale(float64(i)/float64(steps), r2.Sub(b, a))), n)
		}
	}
	round := func(c r2.Vec, from float64) {
		const steps = 10
		for i := range steps {
			s, k := math.Sincos(from + math.Pi/2*float64(i)/steps)
			add(r2.Add(c, r2.Scale(corner, r2.Vec{X: k, Y: s})), r2.Vec{X: k, Y: s})
		}
	}
	x, y := length/2, width/2
	straight(r2.Vec{X: x, Y: corner - y}, r2.Vec{X: x, Y: y - corner}, r2.Vec{X: 1})
	round(r2.Vec{X: x - corner, Y: y - corner}, 0)
	straight(r2.Vec{X: x - corner, Y: y}, r2.Vec{X: corner - x, Y: y}, r2.Vec{Y: 1})
	round(r2.Vec{X: corner - x, Y: y - corner}, math.Pi/2)
	straight(r2.Vec{X: -x, Y: y - corner}, r2.Vec{X: -x, Y: corner - y}, r2.Vec{X: -1})
	round(r2.Vec{X: corner - x, Y: corner - y}, math.Pi)
	straight(r2.Vec{X: corner - x, Y: -y}, r2.Vec{X: x - corner, Y: -y}, r2.Vec{Y: -1})
	round(r2.Vec{X: x - corner, Y: corner - y}, 3*math.Pi/2)
	lean := math.Tan(draft * math.Pi / 180)
	// Rows from the middle of the top, over the outside, round the rim and the lip, up the inside to the middle again:
	// how far in from the outline, and how high.
	rows := []struct {
		in, z float64
		lip   bool
	}{{height * lean, height, false}, {0, 0, false}, {wall, 0, true}, {wall, 1.2, true}, {wall, 1.2 + lip, false}, {wall + (height-wall)*lean, height - wall, false}}
	m := &mesh.Mesh{}
	ring := func(i int) uint32 { return uint32(i*len(at)) + 0 }
	for _, r := range rows {
		for k, p := range at {
			in := r.in
			if r.lip && !(notch > 0 && out[k].Y > 0.9 && math.Abs(p.X) < notch/2) {
				in += lip
			}
			q := r2.Sub(p, r2.Scale(in, out[k]))
			m.Verts = append(m.Verts, r3.Vec{X: q.X, Y: q.Y, Z: r.z})
		}
	}
	n := len(at)
	for i := range len(rows) - 1 {
		for k := range n {
			a, b := ring(i)+uint32(k), ring(i)+uint32((k+1)%n)
			c, d := ring(i+1)+uint32(k), ring(i+1)+uint32((k+1)%n)
			m.Tris = append(m.Tris, [3]uint32{a, d, b}, [3]uint32{a, c, d})
		}
	}
	top, under := uint32(len(m.Verts)), uint32(len(m.Verts)+1)
	m.Verts = append(m.Verts, r3.Vec{Z: height}, r3.Vec{Z: height - wall})
	last := ring(len(rows) - 1)
	for k := range n {
		l := uint32((k + 1) % n)
		m.Tris = append(m.Tris, [3]uint32{top, uint32(k), l}, [3]uint32{under, last + l, last + uint32(k)})
	}
	return m
}
