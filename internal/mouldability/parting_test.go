package mouldability

import (
	"context"
	"math"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// prism extrudes a polygon along y, its profile clockwise with x to the right and z up. Walls at both ends are
// fans, so the profile must be star-shaped seen from its first corner.
func prism(profile [][2]float64, depth float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	n := uint32(len(profile))
	for _, y := range []float64{0, depth} {
		for _, p := range profile {
			m.Verts = append(m.Verts, r3.Vec{X: p[0], Y: y, Z: p[1]})
		}
	}
	for i := range n {
		j := (i + 1) % n
		m.Tris = append(m.Tris, [3]uint32{i, j, n + j}, [3]uint32{i, n + j, n + i})
		if i >= 1 && i+1 < n {
			m.Tris = append(m.Tris, [3]uint32{0, i + 1, i}, [3]uint32{n, n + i, n + i + 1})
		}
	}
	return m
}

func partOf(t *testing.T, m *mesh.Mesh, opt PartOptions) *Parting {
	t.Helper()
	if v := m.VolumeMM3(); v <= 0 {
		t.Fatalf("test mesh has volume %g mm³", v)
	}
	p, err := Part(context.Background(), m, opt)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

// A plain box parts along its top edge: the line is the perimeter, and the lower half takes the walls.
func TestPartBox(t *testing.T) {
	p := partOf(t, prism([][2]float64{{0, 0}, {0, 5}, {20, 5}, {20, 0}}, 10), PartOptions{})
	if len(p.Loops) != 1 {
		t.Fatalf("%d loops", len(p.Loops))
	}
	near(t, "length", p.LengthMM, 60, 1e-9)
	near(t, "lowest", p.MinZ, 5, 0)
	near(t, "highest", p.MaxZ, 5, 0)
	near(t, "area", p.Loops[0].AreaMM2, 200, 1e-9)
}

// Asked for a height, the walls are cut there and the surface keeps its volume.
func TestPartBoxAtHeight(t *testing.T) {
	z := 2.0
	m := prism([][2]float64{{0, 0}, {0, 5}, {20, 5}, {20, 0}}, 10)
	p := partOf(t, m, PartOptions{AtZMM: &z})
	near(t, "length", p.LengthMM, 60, 1e-9)
	near(t, "lowest", p.MinZ, 2, 0)
	near(t, "highest", p.MaxZ, 2, 0)
	near(t, "volume", p.Mesh.VolumeMM3(), 1000, 1e-9)
	for f := range p.Mesh.Tris {
		for _, g := range p.Mesh.Adjacency()[f] {
			if g == mesh.NoFacet {
				t.Fatalf("facet %d has an open edge", f)
			}
		}
	}
}

// Two boxes joined at a step have no level edge in common: the walls are cut so that the line is
// level nevertheless, at a height that both have.
func TestPartStep(t *testing.T) {
	step := prism([][2]float64{{0, 5}, {0, 0}, {-20, 0}, {-20, 10}, {-1, 10}, {-1, 15}, {20, 15}, {20, 5}}, 10)
	q := partOf(t, step, PartOptions{})
	near(t, "climb", q.MaxZ-q.MinZ, 0, 1e-9)
	near(t, "length", q.LengthMM, 100, 1e-9)
	if q.MinZ < 5 || q.MaxZ > 10 {
		t.Errorf("line at %g..%g mm, want within 5..10", q.MinZ, q.MaxZ)
	}
}

// The line avoids a show face when another edge is as good.
func TestPartShow(t *testing.T) {
	m := prism([][2]float64{{0, 0}, {0, 5}, {20, 5}, {20, 0}}, 10)
	show := make([]bool, len(m.Tris))
	for f := range m.Tris {
		n := m.Facet(f).Normal()
		show[f] = n.Z > -0.5*r3.Norm(n) // all but the underside
	}
	p := partOf(t, m, PartOptions{Show: show})
	near(t, "height", p.MaxZ, 0, 0)
	near(t, "on show faces", p.ShowLengthMM, 0, 0)
}

// An inner riser of a Z-shaped section stands over the part's own tread: its wall goes to the upper
// half, though either half could take it for nothing, and the outer line stays one loop.
func TestPartWallOverTread(t *testing.T) {
	// Treads at z 4 and 16, undersides at 0 and 12, a riser 4 mm thick between x -2 and 2.
	m := prism([][2]float64{{-2, 4}, {-2, 16}, {20, 16}, {20, 12}, {2, 12}, {2, 0}, {-20, 0}, {-20, 4}}, 10)
	p := partOf(t, m, PartOptions{})
	if len(p.Loops) != 1 {
		t.Errorf("%d loops, want one", len(p.Loops))
	}
	for f := range p.Mesh.Tris {
		switch tri := p.Mesh.Facet(f); {
		case tri.Normal().X < -1 && tri.Centroid().Z > 4 && tri.Centroid().X > -3 && !p.Upper[f]:
			t.Errorf("facet %d over the tread goes to the lower half", f)
		case tri.Normal().X > 1 && tri.Centroid().Z < 12 && tri.Centroid().X < 3 && p.Upper[f]:
			t.Errorf("facet %d under the upper slab goes to the upper half", f)
		}
	}
	near(t, "area", p.Loops[0].AreaMM2, 400, 1e-9)
}

// A tall facet that leans by more than the proof lets slide is no wall, however much line it could save.
func TestTallNarrowFacetKeepsItsHalf(t *testing.T) {
	tall := r3.Triangle{{X: 0, Y: 0, Z: 0}, {X: 0.5, Y: 0, Z: 0}, {X: 0.25, Y: 0.0168, Z: 14}}
	if isWall(tall) {
		t.Errorf("a facet %.4f mm wide along z counts as a wall", widthAlongZ(tall))
	}
	thin := r3.Triangle{{X: 0, Y: 0, Z: 0}, {X: 0.5, Y: 0, Z: 0}, {X: 0.25, Y: 0.0001, Z: 14}}
	if !isWall(thin) {
		t.Error("a facet 0.0001 mm wide along z does not count as a wall")
	}
}
