package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// puckSides is how many sides the pucks of these tests have.
const puckSides = 48

// puck is a round plate h mm high, of radius r at its top and less by in at its foot.
func puck(t testing.TB, r, in, h float64) *mesh.Mesh {
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		return k.Frustum(r3.Vec{}, r3.Vec{Z: h}, r-in, r, puckSides)
	})
}

// puckMM3 is its volume: of a frustum of a regular polygon.
func puckMM3(r, in, h float64) float64 {
	a := puckSides / 2.0 * math.Sin(2*math.Pi/puckSides) // area of the polygon in a circle of radius 1
	q := r - in
	return a * h / 3 * (r*r + r*q + q*q)
}

// plainCell is a cavity of a puck of radius r, standing alone, as planCavities has it.
func plainCell(t testing.TB, r float64) *twoHalves {
	t.Helper()
	o := TwoHalfOptions{Direction: up, Cavities: 2}.withDefaults()
	m, placing, err := place(puck(t, r, 1, 10), up, r3.Vec{})
	if err != nil {
		t.Fatal(err)
	}
	b := &twoHalves{opt: o, mould: &Mould{Place: placing, Part: m}}
	if b.parting, err = mouldability.Part(context.Background(), m, mouldability.PartOptions{}); err != nil {
		t.Fatal(err)
	}
	b.outline()
	b.top, b.topSource = facetsAs(b.parting, Upper)
	return b
}

func checkOf(t *testing.T, m *Mould, name string) Check {
	t.Helper()
	for _, c := range m.Checks {
		if c.Name == name {
			return c
		}
	}
	t.Fatalf("no check %q", name)
	return Check{}
}

// Four pucks in a block: its size is a sum, each cavity has the frustum's volume over the shrinkage, each
// its vent, gate and number, and what cures comes out with runner and sprue in one.
func TestFourPucks(t *testing.T) {
	r, in, h := 15.0, 1.0, 10.0
	m := build(t, puck(t, r, in, h), TwoHalfOptions{Cavities: 4, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}, Label: LabelOptions{Text: "puck"}})
	big := r / 0.99
	wide := 2*(2*big) + 8 + 2*12
	deep := 2*(2*big) + 2*12 + m.Runner.channelMM()
	// The features may want a block larger still, which Layout says; it never is smaller.
	s := m.Block.Size()
	if s.X < wide-0.1 || s.X > wide+1.1 || s.Y < deep-0.1 {
		t.Errorf("block %.2f × %.2f mm, want %.2f × at least %.2f", s.X, s.Y, wide, deep)
	}
	for k := range 4 {
		near(t, "cavity", lineOf(m, CavityName(k+1, 4)), puckMM3(r, in, h)/(0.99*0.99*0.99), 1e-9)
	}
	for kind, want := range map[string]int{"sprue": 1, "vent": 4, "runner": 1, "gate": 4, "cavity number": 4, "label": 2} {
		if got := count(m, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	if st := m.Opening.State(); st != opening.Free {
		t.Errorf("%v: all in it has draft", st)
	}
	if _, n := m.Cast.Components(); n != 1 {
		t.Errorf("the casting with its runner is %d bodies", n)
	}
	if _, n := m.Part.Components(); n != 4 || len(m.Cavities) != 4 {
		t.Errorf("%d bodies in %d places", n, len(m.Cavities))
	}
	// The runner holds what its stretches come to: trapezoids of its section, the gates, and the well.
	section := m.Runner.DepthMM * (m.Runner.WidthMM - m.Runner.DepthMM*math.Tan(10*math.Pi/180))
	length := 0.0
	for _, q := range m.Runner.Runs {
		length += q.LengthMM()
	}
	if v := lineOf(m, "runner"); v < section*(length-2*m.Runner.wellRadius) || v > section*(length+3*m.Runner.WidthMM)+m.Runner.wellRadius*m.Runner.wellRadius*math.Pi*4+4*40 {
		t.Errorf("the runner holds %.1f mm³, its stretches alone %.1f", v, section*length)
	}
	// The first place is where Place takes the maker's part.
	v := r3.Vec{X: r, Z: h}
	near(t, "place", distanceTo(m.Part.Verts[:len(m.Part.Verts)/4], m.Place.Into(v)), 0, 1e-9)
}

func distanceTo(verts []r3.Vec, v r3.Vec) float64 {
	d := math.Inf(1)
	for _, q := range verts {
		d = min(d, r3.Norm(r3.Sub(q, v)))
	}
	return d
}

// Vents asked for by place may lie in any cavity: all get one there.
func TestVentsByPlaceInEveryCavity(t *testing.T) {
	part := puck(t, 15, 1, 10)
	plan := func(at []r3.Vec, n int) *twoHalves {
		b, err := planTwoHalves(context.Background(), part, TwoHalfOptions{Direction: up, Cavities: 2, Vents: n, VentsAt: at}.withDefaults())
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	first := plan(nil, 1)
	at := []r3.Vec{first.mould.Cavities[0].into3(r3.Vec{X: 6, Y: 4, Z: 5}), first.mould.Cavities[1].into3(r3.Vec{X: -6, Y: 4, Z: 5}), first.mould.Cavities[1].into3(r3.Vec{X: 6, Y: 4, Z: 5})}
	b := plan(at, 3)
	if len(b.feed.vents) != 6 {
		t.Fatalf("%d vents, want 3 in each of 2", len(b.feed.vents))
	}
	for _, want := range []r2.Vec{{X: 6, Y: 4}, {X: -6, Y: 4}} {
		for k, c := range b.mould.Cavities {
			if !slices.ContainsFunc(b.feed.vents, func(v channel) bool { return r2.Norm(r2.Sub(c.Back(v.(Sprue).At), want)) < 0.1 }) {
				t.Errorf("no vent at %v of cavity %d", want, k+1)
			}
		}
	}
}

// One cavity is what it was: to ask for one changes nothing.
func TestOneCavityIsThePlainMould(t *testing.T) {
	part := platter(t)
	a := build(t, part, TwoHalfOptions{})
	b := build(t, part, TwoHalfOptions{Cavities: 1})
	if !slices.Equal(a.Pieces[0].Mesh.Verts, b.Pieces[0].Mesh.Verts) || !slices.Equal(a.Pieces[1].Mesh.Verts, b.Pieces[1].Mesh.Verts) ||
		fmt.Sprint(a.Ledger, a.Checks, a.Features, a.Notes) != fmt.Sprint(b.Ledger, b.Checks, b.Features, b.Notes) {
		t.Error("a mould of one cavity differs from the plain one")
	}
	if a.Cavities != nil || a.Runner != nil {
		t.Error("one cavity has places and a runner")
	}
}

// No gate, vent or sprue touches a show face: under a thin plate whose foot shows there is no room for a
// gate, so gates come from the upper half.
func TestGatesKeepOffShowFaces(t *testing.T) {
	part := puck(t, 15, 0.2, 1)
	show := make([]bool, len(part.Tris))
	for f := range show {
		n := part.Facet(f).Normal()
		show[f] = n.Z < -0.9*r3.Norm(n)
	}
	m := build(t, part, TwoHalfOptions{Cavities: 2, Show: show})
	for _, g := range m.Runner.Gates {
		if !g.Upper {
			t.Error("a gate in the lower half would mark the foot, which shows")
		}
	}
	all := make([]bool, len(part.Tris))
	for f := range all {
		all[f] = true
	}
	_, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: up, Cavities: 2, Show: all})
	if !errors.Is(err, ErrSprue) {
		t.Errorf("%v: every face shows, so no gate finds a place", err)
	}
}

func TestCavitiesThatCannotBeHad(t *testing.T) {
	part := puck(t, 15, 1, 10)
	for name, o := range map[string]TwoHalfOptions{
		"printer too small": {Cavities: 6, BuildVolumeMM: r3.Vec{X: 90, Y: 90, Z: 90}},
		"too many":          {Cavities: MostCavities + 1},
		"fewer than none":   {Cavities: -1},
	} {
		o.Direction = up
		if _, err := TwoHalves(context.Background(), pool, part, o); !errors.Is(err, ErrCavities) {
			t.Errorf("%s: %v, want ErrCavities", name, err)
		}
	}
}

// The lantern's foot ring, four at once, with a gutter round each: its line is notched, so the parting
// surface is not flat, and the runner follows it.
func TestFourFootRings(t *testing.T) {
	if testing.Short() {
		t.Skip("half a minute on one core")
	}
	part := lantern.FootRing().Mesh
	m := build(t, part, TwoHalfOptions{Cavities: 4, Gutter: &GutterOptions{VolumeML: 4}, Label: LabelOptions{Text: "foot"}})
	for k := range 4 {
		near(t, "cavity", lineOf(m, CavityName(k+1, 4)), part.VolumeMM3(), 1e-9)
	}
	if m.Surface.Flat {
		t.Error("the ring's line is notched")
	}
	near(t, "gutter", lineOf(m, "overflow gutter"), 4000, 0.02)
	if c := checkOf(t, m, "cavities fill equally"); !c.OK {
		t.Error(c.Words)
	}
}

// Where show faces run along the whole parting line no gate finds a place: each cavity then has a sprue of
// its own, and what cures are as many bodies.
func TestCavitiesApart(t *testing.T) {
	part := puck(t, 15, 1, 10)
	show := make([]bool, len(part.Tris))
	for f := range show {
		n := part.Facet(f).Normal()
		show[f] = math.Abs(n.Z) < 0.5*r3.Norm(n) // the wall
	}
	m := build(t, part, TwoHalfOptions{Cavities: 3, Show: show, Label: LabelOptions{Text: "puck"}})
	if m.Runner != nil || count(m, "sprue") != 3 || count(m, "vent") != 3 || count(m, "gate") != 0 || count(m, "cavity number") != 3 {
		t.Errorf("%d sprues, %d vents, %d gates, %d numbers", count(m, "sprue"), count(m, "vent"), count(m, "gate"), count(m, "cavity number"))
	}
	if _, n := m.Cast.Components(); n != 3 {
		t.Errorf("%d castings", n)
	}
	if !noted(m, "each cavity has a sprue of its own") {
		t.Error("nothing says why there is no runner")
	}
	// Each channel holds what the same channel of one cavity holds.
	one := build(t, part, TwoHalfOptions{Show: show})
	near(t, "sprues", lineOf(m, "sprue"), 3*lineOf(one, "sprue"), 1e-9)
	near(t, "vents", lineOf(m, "vents"), 3*lineOf(one, "vents"), 1e-9)
}

// Three pucks in one tray, each poured by itself: each cavity is the frustum over the shrinkage, the poured
// face is three times its top, and all leave upward.
func TestTrayWithCavities(t *testing.T) {
	r, in, h := 15.0, 1.0, 10.0
	part := puck(t, r, in, h)
	o := TrayOptions{Direction: up, Cavities: 3, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}}
	m, err := BuildTray(context.Background(), pool, part, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range m.Failed() {
		t.Errorf("%s: %s", c.Name, c.Words)
	}
	for k := range 3 {
		near(t, "cavity", lineOf(m.Mould, CavityName(k+1, 3)), puckMM3(r, in, h)/(0.99*0.99*0.99), 1e-9)
	}
	near(t, "poured face", m.OpenMM2, 3*puckSides/2.0*math.Sin(2*math.Pi/puckSides)*r*r/(0.99*0.99), 1e-9)
	near(t, "filling", m.CastML, 3*puckMM3(r, in, h)/(0.99*0.99*0.99)/1000, 1e-9)
	sum, s := 0.0, m.Block.Size()
	for _, l := range m.Ledger {
		sum += l.VolumeMM3
	}
	near(t, "ledger", sum, s.X*s.Y*s.Z, 1e-9)
	if _, n := m.Cast.Components(); n != 3 {
		t.Errorf("%d castings", n)
	}
	o.Carrier = part
	if _, err := BuildTray(context.Background(), pool, part, o); !errors.Is(err, ErrCavities) {
		t.Errorf("a carrier in one of three cavities: %v", err)
	}
}
