package opening

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Closed-form bodies for the tests. Every body is built from quads and polygons that share vertices
// by position; builder joins equal positions.

type builder struct {
	at map[r3.Vec]uint32
	m  mesh.Mesh
}

func newBuilder() *builder { return &builder{at: map[r3.Vec]uint32{}} }

func (b *builder) vertex(v r3.Vec) uint32 {
	if i, ok := b.at[v]; ok {
		return i
	}
	i := uint32(len(b.m.Verts))
	b.at[v] = i
	b.m.Verts = append(b.m.Verts, v)
	return i
}

func (b *builder) tri(p, q, r r3.Vec) {
	if p == q || q == r || r == p {
		return
	}
	b.m.Tris = append(b.m.Tris, [3]uint32{b.vertex(p), b.vertex(q), b.vertex(r)})
}

func (b *builder) quad(p, q, r, s r3.Vec) { b.tri(p, q, r); b.tri(p, r, s) }

func v3(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }
func v2(x, y float64) r2.Vec    { return r2.Vec{X: x, Y: y} }

func boxMesh(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	return prismY([]r2.Vec{v2(x0, z0), v2(x1, z0), v2(x1, z1), v2(x0, z1)}, y0, y1)
}

// prismY is the polygon in x and z, counter-clockwise with x to the right and z up, drawn from y0 to
// y1. The polygon may be concave.
func prismY(p []r2.Vec, y0, y1 float64) *mesh.Mesh {
	b := newBuilder()
	at := func(q r2.Vec, y float64) r3.Vec { return v3(q.X, y, q.Y) }
	for i, q := range p {
		n := p[(i+1)%len(p)]
		b.quad(at(q, y0), at(n, y0), at(n, y1), at(q, y1))
	}
	for _, t := range earClip(p) {
		b.tri(at(p[t[0]], y0), at(p[t[2]], y0), at(p[t[1]], y0))
		b.tri(at(p[t[0]], y1), at(p[t[1]], y1), at(p[t[2]], y1))
	}
	// Seen from −y with x right and z up the polygon is counter-clockwise, so the y0 cap must face −y.
	return b.m.Flipped()
}

func earClip(p []r2.Vec) [][3]int {
	left := make([]int, len(p))
	for i := range left {
		left[i] = i
	}
	var out [][3]int
	for len(left) > 3 {
		for k := range left {
			n := len(left)
			i, j, l := left[(k+n-1)%n], left[k], left[(k+1)%n]
			if earAt(p, left, i, j, l) {
				out = append(out, [3]int{i, j, l})
				left = append(append([]int{}, left[:k]...), left[k+1:]...)
				break
			}
		}
	}
	return append(out, [3]int{left[0], left[1], left[2]})
}

func earAt(p []r2.Vec, left []int, i, j, l int) bool {
	turn := func(a, b, c int) float64 { return r2.Cross(r2.Sub(p[b], p[a]), r2.Sub(p[c], p[a])) }
	if turn(i, j, l) <= 0 {
		return false
	}
	for _, q := range left {
		if q != i && q != j && q != l && turn(i, j, q) >= 0 && turn(j, l, q) >= 0 && turn(l, i, q) >= 0 {
			return false
		}
	}
	return true
}

// profile is a body of revolution about z from a closed profile in r and z, counter-clockwise with r
// to the right and z up, in n segments; profile points at r = 0 lie on the axis.
func profile(p []r2.Vec, n int) *mesh.Mesh {
	b := newBuilder()
	at := func(q r2.Vec, k int) r3.Vec {
		if q.X == 0 {
			return v3(0, 0, q.Y)
		}
		s, c := math.Sincos(2 * math.Pi * float64(k%n) / float64(n))
		return v3(q.X*c, q.X*s, q.Y)
	}
	for k := range n {
		for i, q := range p {
			m := p[(i+1)%len(p)]
			b.quad(at(q, k), at(q, k+1), at(m, k+1), at(m, k))
		}
	}
	return &b.m
}

// squareRing is like profile with n = 4 and sides square to x and y: the profile's r is the half
// width of a square frustum.
func squareRing(p []r2.Vec) *mesh.Mesh {
	b := newBuilder()
	corner := [4]r2.Vec{v2(1, -1), v2(1, 1), v2(-1, 1), v2(-1, -1)}
	at := func(q r2.Vec, k int) r3.Vec {
		c := corner[k%4]
		return v3(q.X*c.X, q.X*c.Y, q.Y)
	}
	for k := range 4 {
		for i, q := range p {
			m := p[(i+1)%len(p)]
			b.quad(at(q, k), at(q, k+1), at(m, k+1), at(m, k))
		}
	}
	return &b.m
}

// merge joins disjoint bodies in one mesh.
func merge(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		base := uint32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts...)
		for _, t := range m.Tris {
			out.Tris = append(out.Tris, [3]uint32{t[0] + base, t[1] + base, t[2] + base})
		}
	}
	return out
}

func TestShapesAreClosedAndOutward(t *testing.T) {
	near := func(name string, m *mesh.Mesh, want float64) {
		t.Helper()
		if err := checkBody(Body{name, m}); err != nil {
			t.Fatal(err)
		}
		if got := m.VolumeMM3(); math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s: volume %g mm³, want %g", name, got, want)
		}
	}
	near("box", boxMesh(1, 2, 3, 4, 6, 8), 3*4*5)
	near("L", prismY([]r2.Vec{v2(0, 0), v2(2, 0), v2(2, 1), v2(1, 1), v2(1, 2), v2(0, 2)}, 0, 5), 15)
	near("square cup", squareRing([]r2.Vec{v2(0, 0), v2(5, 0), v2(5, 4), v2(3, 4), v2(3, 1), v2(0, 1)}), 100*4-36*3)
	n := 64
	disc := float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
	near("cylinder", profile([]r2.Vec{v2(0, 0), v2(3, 0), v2(3, 2), v2(0, 2)}, n), 9*disc*2)
}
