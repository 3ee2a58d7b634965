package stacked

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Bellows is a hollow tube with waves in its wall, open at both ends: 2·waves of its folds lie over one
// another along the axis. sides are the facets round it.
func Bellows(waves, sides int) *mesh.Mesh {
	const pitch, mean, swing, wall, steps = 6.0, 18.0, 4.0, 1.2, 8
	var out, in []r2.Vec
	for i := range waves*steps + 1 {
		t := float64(i) / steps
		r := mean + swing*math.Sin(2*math.Pi*t)
		out = append(out, r2.Vec{X: r, Y: pitch * t})
		in = append(in, r2.Vec{X: r - wall, Y: pitch * t})
	}
	for i := len(in) - 1; i >= 0; i-- {
		out = append(out, in[i])
	}
	return Turned(out, sides)
}

// Discs is a shaft that carries so many discs.
func Discs(count, sides int) *mesh.Mesh {
	const shaft, rim, thick, gap = 4.0, 15.0, 1.5, 2.0
	s := []r2.Vec{{Y: 0}}
	for i := range count {
		z := float64(i) * (thick + gap)
		s = append(s, r2.Vec{X: shaft, Y: z}, r2.Vec{X: shaft, Y: z + gap}, r2.Vec{X: rim, Y: z + gap}, r2.Vec{X: rim, Y: z + gap + thick},
			r2.Vec{X: shaft, Y: z + gap + thick})
	}
	end := float64(count)*(thick+gap) + gap
	s = append(s, r2.Vec{X: shaft, Y: end}, r2.Vec{Y: end})
	return Turned(dedupe(s), sides)
}

// Grip is a handle with so many round ribs along it.
func Grip(ribs, sides int) *mesh.Mesh {
	const pitch, core, rib, steps = 5.0, 14.0, 1.5, 6
	s := []r2.Vec{{Y: 0}}
	for i := range ribs*steps + 1 {
		t := float64(i) / steps
		s = append(s, r2.Vec{X: core + rib*math.Abs(math.Sin(math.Pi*t)), Y: pitch * t})
	}
	return Turned(append(s, r2.Vec{Y: pitch * float64(ribs)}), sides)
}

func dedupe(s []r2.Vec) []r2.Vec {
	out := s[:1]
	for _, v := range s[1:] {
		if v != out[len(out)-1] {
			out = append(out, v)
		}
	}
	return out
}

// Turned is a section turned about z. The section runs so that the part lies to its left, its points as radius and
// height; from the axis to the axis, or closed on itself round a hollow.
func Turned(section []r2.Vec, sides int) *mesh.Mesh {
	m := &mesh.Mesh{}
	ring := make([][]uint32, len(section))
	for i, p := range section {
		for k := range sides {
			if p.X == 0 && k > 0 {
				ring[i] = append(ring[i], ring[i][0])
				continue
			}
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(sides))
			ring[i] = append(ring[i], uint32(len(m.Verts)))
			m.Verts = append(m.Verts, r3.Vec{X: p.X * c, Y: p.X * s, Z: p.Y})
		}
	}
	n := len(section) - 1
	if section[0].X != 0 {
		n++
	}
	for i := range n {
		a, b := ring[i], ring[(i+1)%len(ring)]
		for k := range sides {
			l := (k + 1) % sides
			m.Tris = addFacet(m.Tris, a[k], a[l], b[l])
			m.Tris = addFacet(m.Tris, a[k], b[l], b[k])
		}
	}
	return m
}

// addFacet leaves out a facet of which two corners are one.
func addFacet(tris [][3]uint32, a, b, c uint32) [][3]uint32 {
	if a == b || b == c || c == a {
		return tris
	}
	return append(tris, [3]uint32{a, b, c})
}

// Thread is a stud like an M20 × 2.5 of so many turns: a ridge that winds about a core, with plain ends. Its
// surface is a radius over the angle and the height.
func Thread(turns, sides int) *mesh.Mesh {
	const pitch, core, ridge, steps = 2.5, 8.47, 1.53, 10 // flank heights of ISO 68-1, rounded
	rows := (turns + 2) * steps
	m := &mesh.Mesh{}
	radius := func(row, k int) float64 {
		t := float64(row)/steps - float64(k)/float64(sides) // turns up the helix
		in := min(1, max(0, math.Min(float64(row)/steps-0.5, float64(turns)+1.5-float64(row)/steps)))
		return core + in*ridge*(0.5+0.5*math.Cos(2*math.Pi*t))
	}
	for row := range rows + 1 {
		for k := range sides {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(sides))
			r := radius(row, k)
			m.Verts = append(m.Verts, r3.Vec{X: r * c, Y: r * s, Z: pitch * float64(row) / steps})
		}
	}
	low, top := uint32(len(m.Verts)), uint32(len(m.Verts)+1)
	m.Verts = append(m.Verts, r3.Vec{}, r3.Vec{Z: pitch * float64(rows) / steps})
	at := func(row, k int) uint32 { return uint32(row*sides + k%sides) }
	for row := range rows {
		for k := range sides {
			m.Tris = append(m.Tris, [3]uint32{at(row, k), at(row, k+1), at(row+1, k+1)}, [3]uint32{at(row, k), at(row+1, k+1), at(row+1, k)})
		}
	}
	for k := range sides {
		m.Tris = append(m.Tris, [3]uint32{low, at(0, k+1), at(0, k)}, [3]uint32{top, at(rows, k), at(rows, k+1)})
	}
	return m
}

// Comb is a bar with so many slots between its teeth, lying so that the slots are stacked along z.
func Comb(slots int) *mesh.Mesh {
	s := []r2.Vec{{X: 0, Y: 0}}
	for i := range slots {
		z := 4 * float64(i)
		s = append(s, r2.Vec{X: 30, Y: z}, r2.Vec{X: 30, Y: z + 2}, r2.Vec{X: 6, Y: z + 2}, r2.Vec{X: 6, Y: z + 4})
	}
	z := 4 * float64(slots)
	return Drawn(append(s, r2.Vec{X: 30, Y: z}, r2.Vec{X: 30, Y: z + 2}, r2.Vec{X: 0, Y: z + 2}), 20)
}

// Corrugated is a sheet of so many waves standing on edge, the waves along z, with steps facets a wave.
func Corrugated(waves, steps int) *mesh.Mesh {
	const length, swing, wall = 8.0, 6.0, 1.5
	var out, back []r2.Vec
	for i := range waves*steps + 1 {
		t := float64(i) / float64(steps)
		x := swing * math.Sin(2*math.Pi*t)
		out = append(out, r2.Vec{X: x + wall, Y: length * t})
		back = append(back, r2.Vec{X: x, Y: length * t})
	}
	for i := len(back) - 1; i >= 0; i-- {
		out = append(out, back[i])
	}
	return Drawn(out, 30)
}

// Drawn is a simple polygon of x and z, counter-clockwise, drawn out along y by a width. Its ends are
// cut into triangles by their ears.
func Drawn(section []r2.Vec, width float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	n := len(section)
	for _, y := range []float64{0, width} {
		for _, p := range section {
			m.Verts = append(m.Verts, r3.Vec{X: p.X, Y: y, Z: p.Y})
		}
	}
	for i := range n {
		a, b := uint32(i), uint32((i+1)%n)
		m.Tris = append(m.Tris, [3]uint32{a, b + uint32(n), b}, [3]uint32{a, a + uint32(n), b + uint32(n)})
	}
	for _, t := range ears(section) {
		// With x to the right and z up, y points away from the viewer, so the end at y = 0 faces them.
		m.Tris = append(m.Tris, [3]uint32{t[0], t[1], t[2]}, [3]uint32{t[0] + uint32(n), t[2] + uint32(n), t[1] + uint32(n)})
	}
	return m
}

// ears cuts a simple polygon, counter-clockwise, into triangles.
func ears(p []r2.Vec) (out [][3]uint32) {
	left := make([]uint32, len(p))
	for i := range left {
		left[i] = uint32(i)
	}
	cross := func(a, b, c uint32) float64 { return r2.Cross(r2.Sub(p[b], p[a]), r2.Sub(p[c], p[a])) }
	for len(left) > 3 {
		cut := false
		for i := range left {
			n := len(left)
			a, b, c := left[(i+n-1)%n], left[i], left[(i+1)%n]
			if cross(a, b, c) <= 0 {
				continue
			}
			clear := true
			for _, v := range left {
				if v != a && v != b && v != c && cross(a, b, v) >= 0 && cross(b, c, v) >= 0 && cross(c, a, v) >= 0 {
					clear = false
					break
				}
			}
			if clear {
				out = append(out, [3]uint32{a, b, c})
				left = append(left[:i:i], left[i+1:]...)
				cut = true
				break
			}
		}
		if !cut {
			break
		}
	}
	return append(out, [3]uint32{left[0], left[1], left[2]})
}

// Sponge is a Menger sponge: a cube of which the middle of each face is bored through, again and again to a
// level.
func Sponge(level int) *mesh.Mesh {
	n := 1
	for range level {
		n *= 3
	}
	full := func(x, y, z int) bool {
		if x < 0 || y < 0 || z < 0 || x >= n || y >= n || z >= n {
			return false
		}
		for k := n; k > 1; k /= 3 {
			middles := 0
			for _, v := range [3]int{x, y, z} {
				if v/(k/3)%3 == 1 {
					middles++
				}
			}
			if middles >= 2 {
				return false
			}
		}
		return true
	}
	const side = 30.0
	m := &mesh.Mesh{}
	number := map[[3]int]uint32{}
	corner := func(p [3]int) uint32 {
		i, ok := number[p]
		if !ok {
			i = uint32(len(m.Verts))
			number[p] = i
			h := side / float64(n)
			m.Verts = append(m.Verts, r3.Vec{X: h * float64(p[0]), Y: h * float64(p[1]), Z: h * float64(p[2])})
		}
		return i
	}
	for x := range n {
		for y := range n {
			for z := range n {
				if !full(x, y, z) {
					continue
				}
				for axis := range 3 {
					for _, way := range [2]int{-1, 1} {
						d := [3]int{x, y, z}
						d[axis] += way
						if full(d[0], d[1], d[2]) {
							continue
						}
						p := [3]int{x, y, z}
						if way > 0 {
							p[axis]++
						}
						u, v := (axis+1)%3, (axis+2)%3
						q, r, s := p, p, p
						q[u]++
						r[u]++
						r[v]++
						s[v]++
						if way < 0 {
							q, s = s, q
						}
						a, b, c, e := corner(p), corner(q), corner(r), corner(s)
						m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, e})
					}
				}
			}
		}
	}
	return m
}
