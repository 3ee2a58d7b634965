package tooling

import (
	"context"
	"errors"
	"math"
	"testing"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// bead is two truncated cones of n sides with their wide ends together in the plane z 0.
func bead(wide, narrow, h float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, e := range [3][2]float64{{narrow, -h}, {wide, 0}, {narrow, h}} {
		for j := range n {
			sin, cos := math.Sincos(2 * math.Pi * float64(j) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: e[0] * cos, Y: e[0] * sin, Z: e[1]})
		}
	}
	m.Verts = append(m.Verts, r3.Vec{Z: -h}, r3.Vec{Z: h})
	c := uint32(n)
	for j := range c {
		k := (j + 1) % c
		m.Tris = append(m.Tris, [3]uint32{3 * c, k, j}, [3]uint32{3*c + 1, 2*c + j, 2*c + k})
		for row := range uint32(2) {
			a := row * c
			m.Tris = append(m.Tris, [3]uint32{a + j, a + k, a + c + k}, [3]uint32{a + j, a + c + k, a + c + j})
		}
	}
	return m
}

func buildJig(t testing.TB, m *Mould, opt TrimOptions) *TrimJig {
	t.Helper()
	j, err := NewTrimJig(context.Background(), pool, m, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range j.Failed() {
		t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
	}
	size, sum := j.Block.Size(), 0.0
	for _, l := range j.Ledger {
		sum += l.VolumeMM3
	}
	near(t, "ledger", sum, size.X*size.Y*size.Z, 1e-9)
	return j
}

// A bead of two cones parts at its belly, a circle of known length in a plane. The slot is a ring from the
// clearance to the guides' edge.
func TestTrimJigForABead(t *testing.T) {
	const n, r = 64, 20.0
	part := bead(r, 15, 8, n)
	m, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: r3.Vec{Z: 1}, Bolt: NoBolts, Keys: -1, PrySlots: -1, Vents: -1})
	if err != nil {
		t.Fatal(err)
	}
	j := buildJig(t, m, TrimOptions{})
	near(t, "guided", j.GuidedMM, 2*r*n*math.Sin(math.Pi/n), 1e-9)
	if j.HandMM != 0 || j.StandMM > 0.4+0.2 {
		t.Errorf("%.2f mm by hand, guides %.2f mm from the line", j.HandMM, j.StandMM)
	}
	for _, s := range j.Stages {
		if s.Verdict.State == opening.Blocked {
			t.Error(s.Words())
		}
	}
	slot := 0.0
	for _, l := range j.Ledger {
		if l.Name == "blade slot" {
			slot = l.VolumeMM3
		}
	}
	// Between the line and 8 mm outside it, less the casting's own belly in it.
	ring := math.Pi * (28*28 - 20*20) * 0.6
	if slot < 0.97*ring || slot > 1.03*ring {
		t.Errorf("the slot holds %.1f mm³, a ring of 8 × 0.6 mm %.1f mm³", slot, ring)
	}
}

// Shrunk castings are smaller than the cavity: the jig is as small as they are.
func TestTrimJigFitsTheShrunkCasting(t *testing.T) {
	const n = 48
	part := bead(20, 15, 8, n)
	m, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: r3.Vec{Z: 1}, Bolt: NoBolts, Keys: -1, PrySlots: -1, Vents: -1, ShrinkPct: r3.Vec{X: 2, Y: 2, Z: 2}})
	if err != nil {
		t.Fatal(err)
	}
	j := buildJig(t, m, TrimOptions{})
	near(t, "casting", j.Casting.VolumeMM3(), part.VolumeMM3(), 1e-9)
	near(t, "guided", j.GuidedMM, 2*20*n*math.Sin(math.Pi/n), 1e-9)
}

// A torus has a line in its hole, where no blade gets in. Its show faces, a quarter of its top, stay clear of
// the cap by the relief; where all of a side is show face the jig has to bear on it, and says so.
func TestTrimJigKeepsOffShowFaces(t *testing.T) {
	const n, k = 24, 8
	part := torus(16, 4, n, k)
	show := make([]bool, len(part.Tris))
	up := make([]bool, len(part.Tris))
	for f := range show {
		c, z := part.Facet(f).Centroid(), part.Facet(f).Normal().Z
		show[f], up[f] = c.X > 0 && c.Y > 0 && z > 0, z > 0
	}
	m, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: r3.Vec{Z: 1}, Bolt: NoBolts, Keys: -1, PrySlots: -1, Vents: -1})
	if err != nil {
		t.Fatal(err)
	}
	j := buildJig(t, m, TrimOptions{Show: show, ErrorMM: 0.13})
	polygon := func(r float64) float64 { return 2 * r * n * math.Sin(math.Pi/n) }
	near(t, "guided", j.GuidedMM, polygon(20), 1e-9)
	near(t, "by hand", j.HandMM, polygon(12), 1e-9)
	lid := geom.NewBVH(j.Pieces[1].Mesh.Verts, j.Pieces[1].Mesh.Tris)
	least, others := math.Inf(1), math.Inf(1)
	for f := range part.Tris {
		if d := lid.Nearest(part.Map(m.Place.Into).Facet(f).Centroid()).Distance; show[f] {
			least = min(least, d)
		} else if up[f] {
			others = min(others, d)
		}
	}
	// The lid ends over the line, so the show faces there stay clear by less than the relief of 1 mm over
	// the clearance of 0.4 mm, but still further than what rests.
	if least < 0.4 || others > 0.3 {
		t.Errorf("the cap is %.2f mm from show faces, %.2f mm from others", least, others)
	}
	if j.ShowTouchMM2 != 0 {
		t.Errorf("it bears on %.1f mm² of show faces", j.ShowTouchMM2)
	}
	all := buildJig(t, m, TrimOptions{Show: up, ErrorMM: 0.13})
	want := 0.0
	for f, s := range up {
		if s {
			want += part.Facet(f).Area()
		}
	}
	near(t, "unavoidable", all.ShowTouchMM2, want, 1e-9)
}

// A cup from a silicone insert, whose walls lean inward, is as easily laid in its nest as any.
func TestTrimJigForAnInsert(t *testing.T) {
	c := cup{radius: 18, height: 8, floor: 2.5, wall: 2.5, outerDeg: 3, innerDeg: 3, n: 24}
	part, show := c.mesh()
	m, err := InsertMould(context.Background(), pool, part, softMaterials(InsertOptions{Show: show, Bolt: NoBolts, Keys: -1, PrySlots: -1, SoftKeys: -1, Vents: -1, ErrorMM: 0.1}))
	if err != nil {
		t.Fatal(err)
	}
	j := buildJig(t, m, TrimOptions{Show: show, ErrorMM: 0.13})
	rim := 18 - lean(8, 3)
	near(t, "guided", j.GuidedMM, 2*rim*24*math.Sin(math.Pi/24), 1e-9)
	// The guides stand back by how far the belly of the cup reaches out past its rim, and the clearance.
	if want := lean(8, 3) + 0.4; j.StandMM < want-0.2 || j.StandMM > want+0.4 {
		t.Errorf("guides %.2f mm from the line, want about %.2f mm", j.StandMM, want)
	}
}

func TestTrimJigRefuses(t *testing.T) {
	tray := buildTray(t, cone(t, 20, 0, 22, 8, 32), TrayOptions{Bolt: NoBolts})
	flat := *tray.Mould
	flat.Surface = nil
	if _, err := NewTrimJig(context.Background(), pool, &flat, TrimOptions{}); !errors.Is(err, ErrTrim) {
		t.Errorf("no parting surface: %v", err)
	}
	for _, o := range []TrimOptions{{BladeGapMM: 5}, {ClearanceMM: 0.1}, {GuideMM: math.NaN()}, {Show: []bool{true}}} {
		if _, err := NewTrimJig(context.Background(), pool, tray.Mould, o); !errors.Is(err, ErrOptions) {
			t.Errorf("%+v: %v", o, err)
		}
	}
}
