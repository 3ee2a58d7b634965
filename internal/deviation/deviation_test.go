package deviation

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// box is a cuboid whose faces are divided into n by n squares of two facets.
func box(size r3.Vec, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	face := func(o, u, v r3.Vec) {
		first := uint32(len(m.Verts))
		for i := range n + 1 {
			for j := range n + 1 {
				m.Verts = append(m.Verts, r3.Add(o, r3.Add(r3.Scale(float64(i)/float64(n), u), r3.Scale(float64(j)/float64(n), v))))
			}
		}
		at := func(i, j int) uint32 { return first + uint32(i*(n+1)+j) }
		for i := range n {
			for j := range n {
				m.Tris = append(m.Tris, [3]uint32{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]uint32{at(i, j), at(i+1, j+1), at(i, j+1)})
			}
		}
	}
	x, y, z := r3.Vec{X: size.X}, r3.Vec{Y: size.Y}, r3.Vec{Z: size.Z}
	face(r3.Vec{}, y, x)
	face(z, x, y)
	face(r3.Vec{}, x, z)
	face(y, z, x)
	face(r3.Vec{}, z, y)
	face(x, y, z)
	return m
}

func between(t testing.TB, a, b *mesh.Mesh) *Result {
	t.Helper()
	r, err := Between(context.Background(), a, b, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if r.BoundMM < r.MM {
		t.Fatalf("bound %g under what was found, %g", r.BoundMM, r.MM)
	}
	return r
}

// The same surface in other facets is no distance away, however its edges cross.
func TestSameSurfaceInOtherFacets(t *testing.T) {
	size := r3.Vec{X: 50, Y: 31, Z: 17}
	for _, n := range [][2]int{{1, 7}, {5, 7}, {1, 1}, {13, 4}} {
		if r := between(t, box(size, n[0]), box(size, n[1])); r.BoundMM > 1e-4 {
			t.Errorf("%v: at most %g mm, want none", n, r.BoundMM)
		}
	}
}

// Two boxes in one corner: the far corner of the larger is as far from the smaller as the two far corners are apart
// (Pythagoras), and nothing is farther.
func TestBoxesInOneCorner(t *testing.T) {
	r := between(t, box(r3.Vec{X: 23, Y: 34, Z: 22}, 3), box(r3.Vec{X: 20, Y: 30, Z: 10}, 4))
	if !(math.Abs(r.MM-13) < 1e-9) || r.BoundMM > 13*1.02+1e-9 || !r.OnFirst || r.At != (r3.Vec{X: 23, Y: 34, Z: 22}) {
		t.Errorf("%g mm at %v (at most %g), want 13 at the far corner", r.MM, r.At, r.BoundMM)
	}
}

// What only one surface has is found from that side alone.
func TestMissingBoss(t *testing.T) {
	plain := box(r3.Vec{X: 40, Y: 40, Z: 5}, 2)
	boss := box(r3.Vec{X: 4, Y: 4, Z: 3}, 1).Map(func(v r3.Vec) r3.Vec { return r3.Add(v, r3.Vec{X: 18, Y: 18, Z: 5}) })
	both := &mesh.Mesh{Verts: append(append([]r3.Vec(nil), plain.Verts...), boss.Verts...), Tris: append([][3]uint32(nil), plain.Tris...)}
	for _, t := range boss.Tris {
		n := uint32(len(plain.Verts))
		both.Tris = append(both.Tris, [3]uint32{t[0] + n, t[1] + n, t[2] + n})
	}
	for _, swap := range []bool{false, true} {
		a, b := both, plain
		if swap {
			a, b = b, a
		}
		if r := between(t, a, b); math.Abs(r.MM-3) > 1e-9 || r.OnFirst == swap {
			t.Errorf("swapped %v: %g mm, on the first %v; want the boss's 3 mm", swap, r.MM, r.OnFirst)
		}
	}
}

// Random soups of facets against the distances of dense samples, taken by brute force and by another formula.
func TestRandomAgainstSamples(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rnd := rand.New(rand.NewPCG(seed, 1))
	vec := func() r3.Vec { return r3.Vec{X: rnd.Float64() * 10, Y: rnd.Float64() * 10, Z: rnd.Float64() * 10} }
	soup := func(n int) *mesh.Mesh {
		m := &mesh.Mesh{}
		for range n {
			k := uint32(len(m.Verts))
			m.Verts = append(m.Verts, vec(), vec(), vec())
			m.Tris = append(m.Tris, [3]uint32{k, k + 1, k + 2})
		}
		return m
	}
	for range 10 {
		a, b := soup(4), soup(6)
		r := between(t, a, b)
		worst := 0.0
		for _, pair := range [][2]*mesh.Mesh{{a, b}, {b, a}} {
			for f := range pair[0].Tris {
				tri := pair[0].Facet(f)
				const n = 40
				for i := range n + 1 {
					for j := range n + 1 - i {
						u, v := float64(i)/n, float64(j)/n
						p := r3.Add(r3.Scale(1-u-v, tri[0]), r3.Add(r3.Scale(u, tri[1]), r3.Scale(v, tri[2])))
						near := math.Inf(1)
						for g := range pair[1].Tris {
							near = min(near, pointTriangle(p, pair[1].Facet(g)))
						}
						worst = max(worst, near)
					}
				}
			}
		}
		// Samples lie at most 0.25 mm from any point of a facet (edges of at most 17.4 mm in 40 steps, halved and more).
		if r.BoundMM < worst-1e-9 || r.MM > worst+0.3 {
			t.Errorf("%g to %g mm, samples say %g", r.MM, r.BoundMM, worst)
		}
	}
}

// pointTriangle minimises over the triangle by its barycentric coordinates: the plane's foot, or the three sides.
func pointTriangle(p r3.Vec, t r3.Triangle) float64 {
	e0, e1, d := r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]), r3.Sub(p, t[0])
	a, b, c := r3.Dot(e0, e0), r3.Dot(e0, e1), r3.Dot(e1, e1)
	x, y := r3.Dot(d, e0), r3.Dot(d, e1)
	det := a*c - b*b
	if det > 0 {
		u, v := (c*x-b*y)/det, (a*y-b*x)/det
		if u >= 0 && v >= 0 && u+v <= 1 {
			return r3.Norm(r3.Sub(d, r3.Add(r3.Scale(u, e0), r3.Scale(v, e1))))
		}
	}
	least := math.Inf(1)
	for i := range 3 {
		o, s := t[i], r3.Sub(t[(i+1)%3], t[i])
		k := 0.0
		if l := r3.Dot(s, s); l > 0 {
			k = min(1, max(0, r3.Dot(r3.Sub(p, o), s)/l))
		}
		least = min(least, r3.Norm(r3.Sub(p, r3.Add(o, r3.Scale(k, s)))))
	}
	return least
}

func TestEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Between(ctx, box(r3.Vec{X: 1, Y: 1, Z: 1}, 9), box(r3.Vec{X: 2, Y: 1, Z: 1}, 9), Options{}); err == nil {
		t.Error("no error")
	}
}

// About 100,000 facets on each side, whose edges all cross.
func BenchmarkSameSurface(b *testing.B) {
	size := r3.Vec{X: 50, Y: 31, Z: 17}
	one, two := box(size, 91), box(size, 92)
	b.ReportMetric(float64(len(one.Tris)+len(two.Tris)), "facets")
	for b.Loop() {
		if r := between(b, one, two); r.BoundMM > 1e-4 {
			b.Fatal(r.BoundMM)
		}
	}
}
