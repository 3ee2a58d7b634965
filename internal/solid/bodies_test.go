package solid

import (
	"context"
	"math"
	"os"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// shared serves all tests that do not need a pool of their own.
var shared = NewPool(Options{})

func TestMain(m *testing.M) {
	code := m.Run()
	if err := shared.Close(); err != nil && code == 0 {
		code = 1
	}
	os.Exit(code)
}

// withKernel runs f on a kernel and checks that nothing is left behind in it.
func withKernel(t testing.TB, f func(k *Kernel)) {
	t.Helper()
	var in *instance
	err := shared.Do(context.Background(), func(k *Kernel) error {
		in = k.in
		f(k)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	requireNoLeak(t, in)
}

func requireNoLeak(t testing.TB, in *instance) {
	t.Helper()
	if in.h.live != 0 || len(in.h.handles.slots) != 0 {
		t.Errorf("%d objects and %d handles are left in the kernel", in.h.live, len(in.h.handles.slots))
	}
}

type fataler interface {
	Helper()
	Fatal(...any)
}

// ok unwraps a result that must not be an error.
func ok[T any](t fataler) func(T, error) T {
	return func(v T, err error) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

type errorer interface {
	fataler
	Errorf(string, ...any)
}

// near checks got against want within rel of scale.
func near(t errorer, what string, got, want, rel, scale float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(scale)) {
		t.Errorf("%s: got %.17g, want %.17g: off by %.3g of %g", what, got, want, got-want, scale)
	}
}

// requireManifold checks, apart from the library, that each edge of m has exactly two facets, which
// run through it opposite ways.
func requireManifold(t errorer, what string, m *mesh.Mesh) {
	t.Helper()
	for f, n := range m.Adjacency() {
		for k := range 3 {
			if n[k] == mesh.NoFacet {
				t.Errorf("%s: edge %d of facet %d of %d is not shared by two facets", what, k, f, len(m.Tris))
				return
			}
		}
	}
	if len(m.Tris) > 0 {
		if err := Validate(m); err != nil {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func xyz(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

func cube(lo r3.Vec, size float64) *mesh.Mesh {
	return boxMesh(r3.Box{Min: lo, Max: r3.Add(lo, xyz(size, size, size))})
}

// globe is a sphere of rings × segs patches about c.
func globe(c r3.Vec, r float64, rings, segs int) *mesh.Mesh {
	m := &mesh.Mesh{Verts: []r3.Vec{r3.Add(c, xyz(0, 0, r))}}
	for i := 1; i < rings; i++ {
		st, ct := math.Sincos(math.Pi * float64(i) / float64(rings))
		for j := range segs {
			sp, cp := math.Sincos(2 * math.Pi * float64(j) / float64(segs))
			m.Verts = append(m.Verts, r3.Add(c, xyz(r*st*cp, r*st*sp, r*ct)))
		}
	}
	m.Verts = append(m.Verts, r3.Add(c, xyz(0, 0, -r)))
	at := func(i, j int) uint32 { return uint32(1 + (i-1)*segs + j%segs) }
	last := uint32(len(m.Verts) - 1)
	for j := range segs {
		m.Tris = append(m.Tris, [3]uint32{0, at(1, j), at(1, j+1)})
		for i := 1; i < rings-1; i++ {
			m.Tris = append(m.Tris, [3]uint32{at(i, j), at(i+1, j), at(i+1, j+1)}, [3]uint32{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
		m.Tris = append(m.Tris, [3]uint32{last, at(rings-1, j+1), at(rings-1, j)})
	}
	return m
}

func rectangle(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

func reversed(l []r2.Vec) []r2.Vec {
	out := make([]r2.Vec, len(l))
	for i, p := range l {
		out[len(l)-1-i] = p
	}
	return out
}

// star is a star-shaped polygon with n corners whose radii radius gives.
func star(n int, radius func(i int) float64) []r2.Vec {
	var l []r2.Vec
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		r := radius(i)
		l = append(l, r2.Vec{X: r * c, Y: r * s})
	}
	return l
}

// turned is the affine map that turns about axis by angle (radians) and then moves by v.
func turned(axis r3.Vec, angle float64, v r3.Vec) Affine {
	q := r3.NewRotation(angle, axis)
	return Affine{q.Rotate(xyz(1, 0, 0)), q.Rotate(xyz(0, 1, 0)), q.Rotate(xyz(0, 0, 1)), v}
}
