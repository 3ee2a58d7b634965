package tooling

import (
	"context"
	"math"
	"os"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// The parts of these tests are made by booleans and formulas, with volumes and parting lines that are
// known beforehand.

// modelled makes a part with a kernel.
func modelled(t testing.TB, f func(k *solid.Kernel) (*solid.Solid, error)) *mesh.Mesh {
	t.Helper()
	var m *mesh.Mesh
	err := pool.Do(context.Background(), func(k *solid.Kernel) error {
		s, err := f(k)
		if err != nil {
			return err
		}
		if s, err = s.Clean(); err != nil {
			return err
		}
		m, err = s.Mesh()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// frustumOf is a rectangle of w × d mm at z 0 that becomes smaller by in on each side up to z h.
func frustumOf(k *solid.Kernel, at r2.Vec, z0, w, d, h, in float64) (*solid.Solid, error) {
	m := &mesh.Mesh{}
	for _, e := range [2]struct{ z, s float64 }{{z0, 0}, {z0 + h, in}} {
		for _, c := range [4]r2.Vec{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: 1, Y: 1}, {X: -1, Y: 1}} {
			m.Verts = append(m.Verts, r3.Vec{X: at.X + c.X*(w/2-e.s), Y: at.Y + c.Y*(d/2-e.s), Z: e.z})
		}
	}
	m.Tris = [][3]uint32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7}}
	for i := range uint32(4) {
		j := (i + 1) % 4
		m.Tris = append(m.Tris, [3]uint32{i, j, j + 4}, [3]uint32{i, j + 4, i + 4})
	}
	return k.FromMesh(m)
}

// waved is a plate of thickness t whose middle surface is z = f(x, y), over an ellipse with half axes a
// and b, with upright edges: its parting line runs along the edge.
func waved(a, b, t float64, n int, f func(x, y float64) float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	rings := n / 4
	at := func(i, j int) (x, y float64) {
		r, ph := float64(i)/float64(rings), 2*math.Pi*float64(j)/float64(n)
		return a * r * math.Cos(ph), b * r * math.Sin(ph)
	}
	for _, s := range []float64{1, -1} {
		m.Verts = append(m.Verts, r3.Vec{Z: f(0, 0) + s*t/2})
		for i := 1; i <= rings; i++ {
			for j := range n {
				x, y := at(i, j)
				m.Verts = append(m.Verts, r3.Vec{X: x, Y: y, Z: f(x, y) + s*t/2})
			}
		}
	}
	side := uint32(1 + rings*n)
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*n + j%n) }
	for j := range n {
		for s, flip := range []bool{false, true} {
			add := func(p, q, r uint32) {
				if flip {
					q, r = r, q
				}
				o := uint32(s) * side
				m.Tris = append(m.Tris, [3]uint32{p + o, q + o, r + o})
			}
			add(0, id(1, j), id(1, j+1))
			for i := 1; i < rings; i++ {
				add(id(i, j), id(i+1, j), id(i+1, j+1))
				add(id(i, j), id(i+1, j+1), id(i, j+1))
			}
		}
		p, q := id(rings, j), id(rings, j+1)
		m.Tris = append(m.Tris, [3]uint32{p, p + side, q + side}, [3]uint32{p, q + side, q})
	}
	return m
}

// ellipsoid has half axes a, b, c.
func ellipsoid(a, b, c float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	rings := n / 2
	m.Verts = append(m.Verts, r3.Vec{Z: c})
	for i := 1; i < rings; i++ {
		s, cs := math.Sincos(math.Pi * float64(i) / float64(rings))
		for j := range n {
			sp, cp := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: a * s * cp, Y: b * s * sp, Z: c * cs})
		}
	}
	m.Verts = append(m.Verts, r3.Vec{Z: -c})
	id := func(i, j int) uint32 { return uint32(1 + (i-1)*n + j%n) }
	last := uint32(len(m.Verts) - 1)
	for j := range n {
		m.Tris = append(m.Tris, [3]uint32{0, id(1, j), id(1, j+1)})
		for i := 1; i < rings-1; i++ {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
		m.Tris = append(m.Tris, [3]uint32{last, id(rings-1, j+1), id(rings-1, j)})
	}
	return m
}

// torus has radius R of its middle circle and r of its tube.
func torus(R, r float64, n, k int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		for j := range k {
			sp, cp := math.Sincos(2 * math.Pi * float64(j) / float64(k))
			m.Verts = append(m.Verts, r3.Vec{X: (R + r*cp) * c, Y: (R + r*cp) * s, Z: r * sp})
		}
	}
	id := func(i, j int) uint32 { return uint32((i%n)*k + j%k) }
	for i := range n {
		for j := range k {
			m.Tris = append(m.Tris, [3]uint32{id(i, j), id(i+1, j), id(i+1, j+1)}, [3]uint32{id(i, j), id(i+1, j+1), id(i, j+1)})
		}
	}
	return m
}

// prismOf is an outline between two heights.
func prismOf(t testing.TB, loop []r2.Vec, z0, z1 float64) *mesh.Mesh {
	t.Helper()
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) { return k.Prism([][]r2.Vec{loop}, z0, z1) })
}

// as32 rounds a mesh to what a binary STL file holds.
func as32(m *mesh.Mesh) *mesh.Mesh {
	r := func(x float64) float64 { return float64(float32(x)) }
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: r(v.X), Y: r(v.Y), Z: r(v.Z)} })
}

func scaled(m *mesh.Mesh, s float64) *mesh.Mesh {
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Scale(s, v) })
}

// realShell is the first sound shell of a file of Debian's assimp-testmodels that is wanted; the test is
// skipped where they are not installed.
func realShell(t *testing.T, file string, want func(*mesh.Mesh) bool) *mesh.Mesh {
	t.Helper()
	path := "/usr/share/assimp/models/" + file
	if _, err := os.Stat(path); err != nil {
		t.Skip("assimp-testmodels is not installed")
	}
	model, err := meshfile.Open(path, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range mesh.Weld(model.InMM().Merge(), 0).Split() {
		in, err := mesh.Inspect(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		if in.Fatal() == nil && want(s) {
			return in.Mesh
		}
	}
	t.Fatal("the shell wanted of " + file + " is missing")
	return nil
}

// sized scales a mesh to a diagonal.
func sized(m *mesh.Mesh, mm float64) *mesh.Mesh {
	b := m.Bounds()
	k := mm / r3.Norm(r3.Sub(b.Max, b.Min))
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) })
}
