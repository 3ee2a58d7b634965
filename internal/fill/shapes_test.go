package fill

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

func v3(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

// block is a box with 12 facets turned outward.
func block(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		v := lo
		if i&1 != 0 {
			v.X = hi.X
		}
		if i&2 != 0 {
			v.Y = hi.Y
		}
		if i&4 != 0 {
			v.Z = hi.Z
		}
		m.Verts = append(m.Verts, v)
	}
	m.Tris = [][3]uint32{{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5}}
	return m
}

// turned revolves a closed section (r, z), anticlockwise with r to the right, round the z axis. Points
// on the axis are shared.
func turned(section []r2.Vec, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	id := make([][]uint32, len(section))
	for i, p := range section {
		id[i] = make([]uint32, n)
		for k := range n {
			if p.X == 0 && k > 0 {
				id[i][k] = id[i][0]
				continue
			}
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			id[i][k] = uint32(len(m.Verts))
			m.Verts = append(m.Verts, v3(p.X*c, p.X*s, p.Y))
		}
	}
	for i := range section {
		j := (i + 1) % len(section)
		if section[i].X == 0 && section[j].X == 0 {
			continue
		}
		for k := range n {
			l := (k + 1) % n
			a, b, c, d := id[i][k], id[i][l], id[j][l], id[j][k]
			if a != b {
				m.Tris = append(m.Tris, [3]uint32{a, b, c})
			}
			if c != d {
				m.Tris = append(m.Tris, [3]uint32{a, c, d})
			}
		}
	}
	return m
}

// extruded is a polygon (x, z), anticlockwise with x right and z up, drawn along y from y0 to y1.
func extruded(t testing.TB, outline []r2.Vec, y0, y1 float64) *mesh.Mesh {
	t.Helper()
	var out *mesh.Mesh
	build(t, func(k *solid.Kernel) error {
		s, err := k.Prism([][]r2.Vec{outline}, -y1, -y0)
		if err != nil {
			return err
		}
		out, err = s.Mesh()
		return err
	})
	// (x, z, −y) is a turn about x.
	return out.Map(func(v r3.Vec) r3.Vec { return v3(v.X, -v.Z, v.Y) })
}

var kernels = solid.NewPool(solid.Options{})

func build(t testing.TB, f func(k *solid.Kernel) error) {
	t.Helper()
	if err := kernels.Do(context.Background(), f); err != nil {
		t.Fatal(err)
	}
}

// rotated turns a mesh about the origin.
func rotated(m *mesh.Mesh, r r3.Rotation) *mesh.Mesh { return m.Map(r.Rotate) }

func cavity(t testing.TB, m *mesh.Mesh, opt Options) *Cavity {
	t.Helper()
	c, err := NewCavity(m, opt)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func filled(t testing.TB, c *Cavity, s Setup) *Result {
	t.Helper()
	r, err := c.Fill(context.Background(), s)
	if err != nil {
		t.Fatal(err)
	}
	if e := math.Abs(r.FilledMM3 + r.TrappedMM3 + r.OpenMM3 - r.CavityMM3); e > 1e-9*r.CavityMM3 {
		t.Errorf("resin %g + trapped %g + open %g is not the cavity %g", r.FilledMM3, r.TrappedMM3, r.OpenMM3, r.CavityMM3)
	}
	return r
}

func tilted(aboutX, aboutY float64) r3.Vec {
	const deg = math.Pi / 180
	return r3.NewRotation(aboutY*deg, v3(0, 1, 0)).Rotate(r3.NewRotation(aboutX*deg, v3(1, 0, 0)).Rotate(v3(0, 0, 1)))
}

func close1(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.10g, want %.10g within %g", what, got, want, tol)
	}
}
