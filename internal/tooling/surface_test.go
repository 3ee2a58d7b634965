package tooling

import (
	"context"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// zBar has the section of a Z: a low slab from x 0 to 16, th high, a riser from x 16 to 20, and a high
// slab from there to x 40 whose underside is h up. It is 30 mm long in y.
func zBar(t *testing.T, th, h float64) *mesh.Mesh {
	m := prismOf(t, []r2.Vec{{}, {X: 20}, {X: 20, Y: h}, {X: 40, Y: h}, {X: 40, Y: h + th}, {X: 16, Y: h + th}, {X: 16, Y: th}, {Y: th}}, 0, 30)
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Z, Z: v.Y} })
}

// labelled makes a parting of m by a rule, with the loops traced along the edges between the halves.
func labelled(t *testing.T, m *mesh.Mesh, upper func(f r3.Triangle, n r3.Vec) bool) *mouldability.Parting {
	t.Helper()
	p := &mouldability.Parting{Mesh: m, Upper: make([]bool, len(m.Tris)), Source: make([]int32, len(m.Tris)), MinZ: 1e9, MaxZ: -1e9}
	for f := range m.Tris {
		tri := m.Facet(f)
		p.Source[f], p.Upper[f] = int32(f), upper(tri, r3.Unit(tri.Normal()))
	}
	next := map[uint32]uint32{}
	start := uint32(0)
	for f, adj := range m.Adjacency() {
		for k, g := range adj {
			if p.Upper[f] && !p.Upper[g] {
				a, b := m.Tris[f][k], m.Tris[f][(k+1)%3]
				next[a], start = b, a
				p.LengthMM += r3.Norm(r3.Sub(m.Verts[b], m.Verts[a]))
				p.MinZ, p.MaxZ = min(p.MinZ, m.Verts[a].Z), max(p.MaxZ, m.Verts[a].Z)
			}
		}
	}
	loop := []uint32{start}
	for v := next[start]; v != start; v = next[v] {
		loop = append(loop, v)
	}
	if len(loop) != len(next) {
		t.Fatalf("%d of %d edges in one loop", len(loop), len(next))
	}
	p.Loops = []mouldability.Loop{{Verts: loop}}
	return p
}

// When the line climbs straight up a wall the parting surface needs an upright facet there. All walls of
// the Z go with the lower half but the inner one over the low slab, which the upper half must make; so
// the line climbs from the low slab to the high one along both upright edges at x 16.
func TestLineThatClimbsAWall(t *testing.T) {
	part := zBar(t, 4, 6)
	m, placing, err := place(part, up, r3.Vec{})
	if err != nil {
		t.Fatal(err)
	}
	o := TwoHalfOptions{Direction: up, Bolt: NoBolts}.withDefaults()
	b := &twoHalves{opt: o, mould: &Mould{Place: placing, Part: m}}
	inner := 16.0 - 20
	b.parting = labelled(t, m, func(f r3.Triangle, n r3.Vec) bool { return n.Z > 0.5 || (n.X < -0.5 && f.Centroid().X > inner-0.1) })
	if err := b.lay(context.Background()); err != nil {
		t.Fatal(err)
	}
	// Each upright facet stands on the line's climb, 4 to 10 mm up; its width is the spoke's.
	if s := b.mould.Surface; s.StepAreaMM2 <= 0 {
		t.Errorf("steps of %g mm²", s.StepAreaMM2)
	}
	size := b.mould.Block.Size()
	near(t, "halves and part", b.upper.VolumeMM3()+b.lower.VolumeMM3()+m.VolumeMM3(), size.X*size.Y*size.Z, 1e-12)
	if err := pool.Do(context.Background(), func(k *solid.Kernel) error { return b.cut(context.Background(), k) }); err != nil {
		t.Fatal(err)
	}
	if err := b.verify(context.Background()); err != nil {
		t.Fatal(err)
	}
	for _, c := range b.mould.Failed() {
		// The film must climb 6 mm within the room of one cell there: the slope check may say so.
		if c.Name != "parting surface slope" {
			t.Errorf("%s: %s", c.Name, c.Words)
		}
	}
	if s := b.mould.Opening.State(); s != opening.Sliding {
		t.Errorf("%v: the steps and the walls rub", s)
	}
}

// The same bar through the whole builder: the line finds a way over the riser's end walls.
func TestZBar(t *testing.T) {
	m := build(t, zBar(t, 4, 6), TwoHalfOptions{})
	near(t, "part", m.Part.VolumeMM3(), 30*(16*4+4*10+20*4), 1e-12)
	if m.Surface.Flat {
		t.Error("flat: the slabs have no height in common")
	}
}

// On a level line the surface is level; a plane line gives that plane when the rim is far (checked on the
// film's own equations: linear functions are harmonic, and cotangent weights keep them exactly).
func TestFilmKeepsPlanes(t *testing.T) {
	f := fieldMesh(func(x, y float64) float64 { return 3 + 0.2*x - 0.1*y }, -60, -45, 60, 45)
	var edge, inside []int
	for i, v := range f.Verts {
		if v.X == -60 || v.X == 60 || v.Y == -45 || v.Y == 45 {
			edge = append(edge, i)
		} else {
			inside = append(inside, i)
		}
	}
	order := append(append([]int(nil), edge...), inside...)
	at := make([]int32, len(order))
	pts, z := make([]r2.Vec, len(order)), make([]float64, len(order))
	for n, i := range order {
		at[i] = int32(n)
		pts[n] = r2.Vec{X: f.Verts[i].X, Y: f.Verts[i].Y}
		if n < len(edge) {
			z[n] = f.Verts[i].Z
		}
	}
	var tris [][3]int32
	for _, tr := range f.Tris {
		tris = append(tris, [3]int32{at[tr[0]], at[tr[1]], at[tr[2]]})
	}
	if err := filmMatrix(pts, tris).relax(context.Background(), z, len(edge)); err != nil {
		t.Fatal(err)
	}
	for n, i := range order {
		near(t, "height", z[n], f.Verts[i].Z, 1e-8)
	}
}
