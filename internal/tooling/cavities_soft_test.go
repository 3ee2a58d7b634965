package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// Two cups in one insert: each cavity holds the cup's volume over the shrinkage, each has its vent and its
// bleeds, and the insert is one body. The cavities stand so far apart that two lands and an overflow find
// room, and the masters farther by the silicone's shrinkage.
func TestTwoCupsInOneInsert(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	c := cup{radius: 8, height: 4, floor: 1.5, wall: 1.5, outerDeg: 3, innerDeg: 4, n: 20}
	part, show := c.mesh()
	o := plain(InsertOptions{Show: show, Cavities: 2, InsertMM: 3, Vents: 1, SoftKeys: 2, SiliconeShrinkPct: 0.5, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}, ErrorMM: 0.1})
	b := buildInsertParts(t, part, o)
	in, m := b.out, b.mould
	grown := math.Pow(1/0.99, 3)
	for k := range 2 {
		near(t, "cavity", lineOf(m, CavityName(k+1, 2)), part.VolumeMM3()*grown, 1e-6)
	}
	near(t, "filling", in.CastML*1000-vents(in), 2*part.VolumeMM3()*grown, 1e-6)
	for kind, want := range map[string]int{"vent": 2, "overflow bleed": 4, "fill port for the silicone": 1} {
		if got := count(m, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	for _, l := range [][]LedgerLine{in.Ledger, in.Pours[0].Ledger} {
		s := m.Block.Size()
		near(t, "ledger", sumOf(l), s.X*s.Y*s.Z, 1e-9)
	}
	if _, n := m.Cast.Components(); n != 2 {
		t.Errorf("%d castings", n)
	}
	// Seen from above the cups are regular polygons of the front's radius, corner to corner or side to side.
	gap := checkOf(t, m, InsertBody+": silicone between the cavities").Value
	apart := r2.Norm(r2.Sub(m.Cavities[0].At, m.Cavities[1].At)) / 0.995
	wide := 2 * c.radius / 0.99 / 0.995
	if most := apart - wide*math.Cos(math.Pi/float64(c.n)); gap < apart-wide-1e-6 || gap > most+1e-6 {
		t.Errorf("%.3f mm between the masters, the middles are %.3f mm apart", gap, apart)
	}
	if least := (2*b.opt.LandMM + b.opt.OverflowMM) / 0.995; gap < least || gap > least+0.5 {
		t.Errorf("%.3f mm between the masters, want a little over %.3f mm", gap, least)
	}
	// While both are full the wall between them is squeezed by the catch: u/t.
	if got := checkOf(t, m, "neighbours leave the silicone room to give way"); math.Abs(got.Value-lean(c.height, c.outerDeg)/0.99/8) > 0.004 {
		t.Errorf("%s: want a strain of %.3f", got.Words, lean(c.height, c.outerDeg)/0.99/8)
	}
}

// One cavity is what it was: to ask for one changes nothing that is planned.
func TestOneCavityInSiliconeIsThePlainOne(t *testing.T) {
	c := cup{radius: 8, height: 4, floor: 1.5, wall: 1.5, outerDeg: 3, innerDeg: 4, n: 16}
	part, show := c.mesh()
	ctx := context.Background()
	var got []string
	for n := range 2 {
		o := InsertOptions{Show: show, Cavities: n, InsertMM: 3, ErrorMM: 0.2}.withDefaults()
		b, err := planInsert(ctx, pool, part, o)
		if err != nil {
			t.Fatal(err)
		}
		if b.many != nil || b.mould.Cavities != nil {
			t.Error("one cavity has places")
		}
		got = append(got, fmt.Sprint(b.lower, b.upper, b.pattern, b.sheet.Verts, b.ports, b.vents, b.layout, b.mould.Place))
	}
	if got[0] != got[1] {
		t.Error("one cavity is planned otherwise than the plain mould")
	}
}

func TestSoftCavitiesThatCannotBeHad(t *testing.T) {
	c := cup{radius: 8, height: 4, floor: 1.5, wall: 1.5, outerDeg: 3, innerDeg: 4, n: 16}
	part, show := c.mesh()
	for name, o := range map[string]InsertOptions{
		"too many":          {Cavities: MostCavities + 1},
		"fewer than none":   {Cavities: -1},
		"too far apart":     {Cavities: 2, CavityGapMM: 60},
		"printer too small": {Cavities: 9, BuildVolumeMM: r3.Vec{X: 100, Y: 100, Z: 100}},
	} {
		o.Show = show
		if _, err := BuildInsert(context.Background(), pool, part, o); !errors.Is(err, ErrCavities) {
			t.Errorf("insert, %s: %v, want ErrCavities", name, err)
		}
	}
	if _, err := BuildInsert(context.Background(), pool, part, InsertOptions{Show: show, Cavities: 2, CavityGapMM: math.NaN()}); !errors.Is(err, ErrOptions) {
		t.Errorf("gap NaN: %v, want ErrOptions", err)
	}
}

// A gap is never less than what must lie in it, nor by default more than the silicone bridges.
func TestSoftGap(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		mm := rapid.Float64Range(0.1, 20)
		least, ring, thick := mm.Draw(t, "least"), mm.Draw(t, "ring"), mm.Draw(t, "thick")
		least = min(least, 2*ring)
		g := webGap(least, ring, thick)
		if d := g.of(0); d < least || d < thick || d > 2*ring+thick || g.check(2, d) != nil {
			t.Fatalf("default gap %.3f mm", d)
		}
		asked := mm.Draw(t, "asked")
		if d := g.of(asked); d != max(asked, least, thick) {
			t.Fatalf("asked for %.3f mm: %.3f mm", asked, d)
		}
	})
}

// Spots asked for in any of several cavities are spots of the one, wherever its copies lie.
func TestBackIntoTheOneCavity(t *testing.T) {
	o := Outline{ring(r2.Vec{}, 10, 12)}
	packs, err := PackCavities(o, PackOptions{Cavities: 4})
	if err != nil {
		t.Fatal(err)
	}
	c := &softCavities{outline: o, places: packs[0].Places}
	rapid.Check(t, func(t *rapid.T) {
		at := r3.Vec{X: rapid.Float64Range(-6, 6).Draw(t, "x"), Y: rapid.Float64Range(-6, 6).Draw(t, "y"), Z: 3}
		var all []r3.Vec
		for _, p := range c.places {
			all = append(all, p.into3(at))
		}
		got := c.backInto(all)
		if len(got) != 1 || r3.Norm(r3.Sub(got[0], at)) > 1e-9 {
			t.Fatalf("%v comes back as %v", at, got)
		}
		s := c.into([]Sprue{{At: r2.Vec{X: at.X, Y: at.Y}}})
		if len(s) != 4 || !slices.ContainsFunc(s, func(s Sprue) bool { return r2.Norm(r2.Sub(s.At, r2.Vec{X: all[3].X, Y: all[3].Y})) < 1e-9 }) {
			t.Fatalf("%v goes to %v", at, s)
		}
	})
}

// A neighbour that is still full takes the room that silicone needs: the limit is the material's.
func TestNeighboursMayLeaveNoRoom(t *testing.T) {
	c := cup{radius: 20, height: 14, floor: 2, wall: 2, outerDeg: 5, innerDeg: 5, n: 24}
	part, show := c.mesh()
	_, _, b := splitBodies(t, part, show)
	b.opt = softMaterials(b.opt)
	b.opt.Casting = nil // the master, rigid
	v := &opening.Verdict{State: opening.Blocked, OverlapDepthMM: 1}
	b.out.Mould = &Mould{}
	b.out.Stages = []Stage{{Name: "the pattern cap leaves the cured insert", Moving: PatternCap, Fixed: InsertBody, Verdict: v}}
	many := &softCavities{places: make([]CavityPlace, 2)}
	for gap, want := range map[float64]bool{8: true, 0.5: false} {
		b.mould = b.out.Mould
		b.out.Checks = nil
		if err := b.out.judgeBetween(context.Background(), many, gap, b.releaseSetup, InsertBody); err != nil {
			t.Fatal(err)
		}
		if got := checkOf(t, b.out.Mould, "neighbours leave the silicone room to give way"); got.OK != want || got.Value == 0 {
			t.Errorf("with %g mm between the cavities: %v, %s", gap, got.OK, got.Words)
		}
	}
}

// Two eggs in two skins: both skins are one body each, each cavity has the egg's volume over the shrinkage,
// a sprue and a vent of its own at the same place of it, and all peels.
func TestTwoEggsInTwoSkins(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	egg := ellipsoid(16, 6, 6, 12)
	b := buildSkinParts(t, egg, SkinOptions{Direction: r3.Vec{Z: 1}, Cavities: 2, SkinMM: 3, LandMM: 3, SiliconeShrinkPct: 0.2, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1},
		Vents: 1, PortVents: -1, SoftKeys: 2, SprueMM: 4, VentMM: 1.5, SleeveMM: 2, Bolt: NoBolts, Keys: -1, PrySlots: -1, ErrorMM: 0.08})
	m := b.mould
	grown := math.Pow(1/0.99, 3)
	for k := range 2 {
		near(t, "cavity", lineOf(m, CavityName(k+1, 2)), egg.VolumeMM3()*grown, 1e-6)
	}
	for kind, want := range map[string]int{"sprue": 2, "vent": 2, "fill port for the silicone": 2} {
		if got := count(m, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	if _, n := m.Cast.Components(); n != 2 {
		t.Errorf("%d castings", n)
	}
	for i, s := range b.sprues {
		if at := m.Cavities[i].Back(s.At); math.Abs(at.X) > 16 || math.Abs(at.Y) > 6 || r2.Norm(r2.Sub(at, m.Cavities[0].Back(b.sprues[0].At))) > 1e-9 {
			t.Errorf("sprue %d stands at %v of its cavity", i+1, at)
		}
	}
	held := 0.0
	for _, f := range m.Features {
		if f.Kind == "sprue" || f.Kind == "vent" {
			held += f.VolumeMM3
		}
	}
	if got := b.out.CastML * 1000; got < 2*egg.VolumeMM3()*grown || got > 2*egg.VolumeMM3()*grown+held+1e-6 {
		t.Errorf("one filling is %.1f mm³; the eggs are %.1f, sprues and vents %.1f mm³", got, 2*egg.VolumeMM3()*grown, held)
	}
}

// Films without volume are no bodies.
func TestBodiesOf(t *testing.T) {
	cube := puck(t, 5, 0, 5)
	far := cube.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, r3.Vec{X: 30}) })
	film := &mesh.Mesh{Verts: []r3.Vec{{X: 60}, {X: 61}, {X: 60, Y: 1}}, Tris: [][3]uint32{{0, 1, 2}, {0, 2, 1}}}
	all := &mesh.Mesh{}
	for i, m := range []*mesh.Mesh{cube, far, film} {
		n := uint32(len(all.Verts))
		all.Verts = append(all.Verts, m.Verts...)
		for _, f := range m.Tris {
			all.Tris = append(all.Tris, [3]uint32{f[0] + n, f[1] + n, f[2] + n})
		}
		if got, want := bodiesOf(all), min(i+1, 2); got != want {
			t.Errorf("%d bodies, want %d", got, want)
		}
	}
}
