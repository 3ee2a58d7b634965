package choice

import (
	"context"
	"encoding/json"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
)

var (
	soft = &opening.Flex{ElongationPct: 400, ShoreA: 60}
	up   = r3.Vec{Z: 1}
)

func compared(t testing.TB, m *mesh.Mesh, show []bool, opt Options) *Table {
	t.Helper()
	table, err := Compare(t.Context(), m, show, opt)
	if err != nil {
		t.Fatal(err)
	}
	return table
}

// What the scenario says of the bumper cap: two rigid halves lock, the side split crosses the show
// face, the insert family is chosen; and its inner wall leans 5°, so 5° less makes two halves work.
func TestBumperCap(t *testing.T) {
	p := lantern.BumperCap()
	table := compared(t, p.Mesh, p.Show(), Options{Batch: 20, Casting: soft, Directions: 40})
	if r := table.Row("two-rigid-halves"); r.Opens || r.Release == nil || r.Release.Holds[0].Way != opening.Stuck {
		t.Errorf("two rigid halves: %s %v", r.Verdict, r.Reasons)
	}
	if r := table.Row("side-split"); !r.Opens || r.ShowFlashMM < 2*lantern.CapOuterRadiusMM-2*lantern.CapFrontRoundMM {
		t.Errorf("side split: %s, %.1f mm on show faces; it should cross the front", r.Verdict, r.ShowFlashMM)
	}
	if table.Best != "cradle-insert" {
		t.Errorf("best is %q, want the insert\n%s", table.Best, table.Words())
	}
	insert := table.Row("cradle-insert")
	var stretched bool
	for _, h := range insert.Release.Holds {
		if h.Piece == "the casting cap" {
			stretched = true
			// The roundings take something of the lean's full width.
			full := 2 * (lantern.CapHeightMM - lantern.CapFloorMM) * tan(lantern.CapInnerLeanDeg)
			if got := h.Shape.DMaxMM - h.Shape.DMinMM; got > full || got < 0.6*full {
				t.Errorf("the core is %.2f mm wider than the rim, want 0.6 to 1 of %.2f mm", got, full)
			}
		}
	}
	if !stretched {
		t.Error("the core holds nothing")
	}
	c := table.Change
	if c == nil || c.Key != "two-rigid-halves" {
		t.Fatalf("no change found: %s", table.NoChange)
	}
	if math.Abs(c.Deg-lantern.CapInnerLeanDeg) > 0.11 || c.Places[0].Walls != "inside walls" {
		t.Errorf("change of %.1f° at %s, want the inner lean of %g°", c.Deg, c.Places[0].Walls, lantern.CapInnerLeanDeg)
	}
	report, err := mouldability.Analyse(t.Context(), c.Part, up, mouldability.AnalyseOptions{})
	if err != nil || len(report.Undercuts) != 0 {
		t.Errorf("the changed part still has %d undercuts (%v)", len(report.Undercuts), err)
	}
}

func TestFootRing(t *testing.T) {
	p := lantern.FootRing()
	table := compared(t, p.Mesh, p.Show(), Options{Batch: 20, Casting: soft, Directions: 40})
	if r := table.Row("two-rigid-halves"); table.Best != "two-rigid-halves" || !r.Opens || r.ShowFlashMM > showFlashSlackMM {
		t.Errorf("best is %q; two halves: %s", table.Best, r.Verdict)
	}
	if r := table.Row("open-tray"); r.Opens {
		t.Error("the flank above the parting line looks up, so no tray can make it")
	}
}

// The carrier is flat on one side, so an open tray makes it; and a body with a flat back is poured
// round it in an open tray.
func TestCarrierAndOverMould(t *testing.T) {
	p := lantern.Carrier()
	if table := compared(t, p.Mesh, nil, Options{Batch: 20, Directions: 40}); table.Best != "open-tray" {
		t.Errorf("carrier: best is %q\n%s", table.Best, table.Words())
	}
	body := turnedBody([]r2.Vec{{X: 18}, {X: 33.5}, {X: 34, Y: 6}, {X: 17.5, Y: 6}}, 96)
	table := compared(t, body, nil, Options{Batch: 20, Casting: soft, Carrier: p.Mesh, Directions: 40})
	r := table.Row("open-tray")
	if table.Best != "open-tray" || !strings.Contains(strings.Join(r.Reasons, " "), "carrier") {
		t.Errorf("over-mould: best is %q\n%s", table.Best, table.Words())
	}
	if table.Row("cut-block").Opens {
		t.Error("a cut block has nowhere to hold the carrier")
	}
	plain := compared(t, body, nil, Options{Batch: 20, Casting: soft, Direction: up, NoChange: true})
	if got, want := plain.Row("open-tray").Cost.Castings-r.Cost.Castings, p.Mesh.VolumeMM3()/1000*0.02*22; math.Abs(got-want) > 1e-6 {
		t.Errorf("the carrier saves %.3f of casting, want its own volume %.3f", got, want)
	}
}

// A rigid cup leaves two rigid halves exactly when its inside does not narrow towards the rim. Where it
// does, the taper that frees it is its own lean, rounded up to a tenth of a degree.
func TestRandomCupsOpenAsTheClosedFormSays(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	for range randomCups {
		num := func(lo, hi, step float64) float64 { return lo + step*float64(rnd.IntN(int((hi-lo)/step+1.5))) }
		c := cup{radius: num(15, 40, 1), wall: num(3, 6, 0.5), floor: num(2, 5, 0.5), height: num(10, 25, 1),
			outerLean: num(-3, 3, 0.5), innerLean: num(-4, 4, 0.5)}
		m := c.mesh(16)
		table := compared(t, m, nil, Options{Direction: up})
		r := table.Row("two-rigid-halves")
		if r.Opens != (c.innerLean <= 0) {
			t.Errorf("%+v: inner lean %g°: %s", c, c.innerLean, r.Verdict)
		}
		if c.innerLean <= 0 {
			continue
		}
		h := r.Release.Holds[0]
		// The depth of two regular 16-gons is that of their sides: cos(180°/16) of the radii, to the corners at most.
		if h.Way != opening.Stuck || h.Shape.DMaxMM-h.Shape.DMinMM > 2*c.gripMM()*1.001 || h.Shape.DMaxMM-h.Shape.DMinMM < 2*c.gripMM()*0.97 {
			t.Errorf("%+v: held %+v, want 2·%g mm", c, h.Shape, c.gripMM())
		}
		// A soft cup: the strain of its rim over the floor of the core.
		inner := c.radius - c.height*tan(c.outerLean) - c.wall
		soft := compared(t, m, nil, Options{Direction: up, Casting: soft, NoChange: true})
		for _, h := range soft.Row("cradle-insert").Release.Holds {
			if h.Piece == "the casting cap" && math.Abs(h.Strain-c.gripMM()/inner) > 1e-6 {
				t.Errorf("%+v: strain %.5f, want %.5f", c, h.Strain, c.gripMM()/inner)
			}
		}
		if table.Change == nil {
			t.Errorf("%+v: no change: %s", c, table.NoChange)
			continue
		}
		if math.Abs(table.Change.Deg-c.innerLean) > 0.11 {
			t.Errorf("%+v: change %.2f°, want %.2f°", c, table.Change.Deg, c.innerLean)
		}
	}
}

// randomCups are judged in a few seconds.
const randomCups = 12

// Turned and moved, the part is judged the same.
func TestTurnedPartIsJudgedTheSame(t *testing.T) {
	m := cup{radius: 25, wall: 4, floor: 3, height: 16, outerLean: 2, innerLean: 2}.mesh(24)
	opt := Options{Direction: up, Casting: soft}
	want := compared(t, m, nil, opt)
	turn := r3.NewRotation(1.1, r3.Vec{X: 1, Y: 2, Z: 0.5})
	opt.Direction = turn.Rotate(up)
	got := compared(t, m.Map(func(v r3.Vec) r3.Vec { return r3.Add(turn.Rotate(v), r3.Vec{X: 30, Y: -8, Z: 3}) }), nil, opt)
	for _, w := range want.Rows {
		g := got.Row(w.Key)
		if g.Opens != w.Opens {
			t.Errorf("%s: %s, before turning %s", w.Key, g.Verdict, w.Verdict)
		}
	}
	if got.Best != want.Best || (got.Change == nil) != (want.Change == nil) || math.Abs(got.Change.Deg-want.Change.Deg) > 0.11 {
		t.Errorf("best %q, before turning %q", got.Best, want.Best)
	}
}

// Volumes by hand for a block of 40 × 30 × 10 mm with the default walls.
func TestAmountsOfABox(t *testing.T) {
	m := boxMesh(40, 30, 10)
	table := compared(t, m, nil, Options{Direction: up, NoChange: true})
	part := 12.0
	for key, want := range map[string][2]float64{ // print, silicone, mL
		"open-tray":        {64*54*18/1000.0 - part, 0},
		"two-rigid-halves": {64*54*26/1000.0 - part, 0},
		"cut-block":        {part + (2*(64+54)*34+64*54)*3/1000.0, 64*54*34/1000.0 - part},
	} {
		r := table.Row(key)
		if math.Abs(r.PrintML-want[0]) > 1e-6 || math.Abs(r.SiliconeML-want[1]) > 1e-6 {
			t.Errorf("%s: %.3f and %.3f mL, want %.3f and %.3f", key, r.PrintML, r.SiliconeML, want[0], want[1])
		}
	}
	r := table.Row("two-rigid-halves")
	// 11 shots for 10 good ones; two pieces of 10 min and 11 shots of 10 min, and trimming.
	if r.Shots != 11 || r.Moulds != 1 || math.Abs(r.Cost.LabourH-(20+11*(10+r.FlashMM*0.005))/60) > 1e-9 {
		t.Errorf("%d shots, %d moulds, %.4f h", r.Shots, r.Moulds, r.Cost.LabourH)
	}
	if c := r.Cost; math.Abs(c.Total-c.Prints-c.Silicone-c.Castings-c.Labour) > 1e-9 {
		t.Errorf("the costs do not add up: %+v", c)
	}
}

func boxMesh(x, y, z float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		m.Verts = append(m.Verts, r3.Vec{X: x * float64(i&1), Y: y * float64(i>>1&1), Z: z * float64(i>>2)})
	}
	for _, q := range [][4]uint32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, [3]uint32{q[0], q[1], q[2]}, [3]uint32{q[0], q[2], q[3]})
	}
	return m
}

// Builders run in rank order until the best way is proven; one that fails sends its way down. Only a way
// whose builder held is called proven.
func TestOnlyABuilderProves(t *testing.T) {
	m := boxMesh(40, 30, 10)
	var ran []string
	builder := func(key string, ok bool, err error) Prover {
		return func(context.Context, *mesh.Mesh, []bool, r3.Vec) (string, bool, error) {
			ran = append(ran, key)
			return "words of " + key, ok, err
		}
	}
	opt := Options{Direction: up, NoChange: true, Provers: map[string]Prover{
		"open-tray":        builder("open-tray", false, nil),
		"two-rigid-halves": builder("two-rigid-halves", true, nil),
		"side-split":       builder("side-split", false, nil),
		"two-part-block":   builder("two-part-block", false, errors.New("no room")),
	}}
	type state struct {
		opens bool
		basis string
	}
	check := func(table *Table, want map[string]state) {
		t.Helper()
		for key, want := range want {
			if r := table.Row(key); r.Opens != want.opens || r.Basis != want.basis {
				t.Errorf("%s: opens %v, %s", key, r.Opens, r.Basis)
			}
		}
		if table.Best != "two-rigid-halves" || table.Rows[0].Key != table.Best || !strings.Contains(table.Why, "open-face tray makes no sound mould") {
			t.Errorf("best is %q: %s", table.Best, table.Why)
		}
	}
	table := compared(t, m, nil, opt)
	check(table, map[string]state{"open-tray": {false, Tried}, "two-rigid-halves": {true, Proven}, "side-split": {true, Estimated}, "two-part-block": {true, Estimated}})
	if !slices.Equal(ran, []string{"open-tray", "two-rigid-halves"}) {
		t.Errorf("builders ran: %q", ran)
	}
	opt.ProveAll = true
	table = compared(t, m, nil, opt)
	check(table, map[string]state{"open-tray": {false, Tried}, "two-rigid-halves": {true, Proven}, "side-split": {false, Tried}, "two-part-block": {false, Tried}, "cradle-insert": {true, Estimated}})
	if r := table.Row("two-part-block"); !strings.Contains(r.Reasons[len(r.Reasons)-1], "no room") {
		t.Errorf("why there is no block: %q", r.Reasons)
	}
}

func TestSameInputSameTable(t *testing.T) {
	m := cup{radius: 25, wall: 4, floor: 3, height: 16, outerLean: 2, innerLean: 2}.mesh(24)
	var want []byte
	for _, workers := range []int{1, 2, 3} {
		got, err := json.Marshal(compared(t, m, nil, Options{Casting: soft, Workers: workers, Directions: 30}))
		if err != nil {
			t.Fatal(err)
		}
		if want != nil && string(got) != string(want) {
			t.Fatalf("%d workers give another table", workers)
		}
		want = got
	}
}

func TestCompareRefusesBadData(t *testing.T) {
	m := boxMesh(4, 3, 1)
	open := &mesh.Mesh{Verts: m.Verts, Tris: m.Tris[:10]}
	spoilt := m.Map(func(v r3.Vec) r3.Vec { return v })
	spoilt.Verts[0].X = math.NaN()
	for name, try := range map[string]func() error{
		"no part":    func() error { _, err := Compare(t.Context(), nil, nil, Options{}); return err },
		"empty":      func() error { _, err := Compare(t.Context(), &mesh.Mesh{}, nil, Options{}); return err },
		"inside out": func() error { _, err := Compare(t.Context(), m.Flipped(), nil, Options{}); return err },
		"not finite": func() error { _, err := Compare(t.Context(), spoilt, nil, Options{}); return err },
		"short show": func() error { _, err := Compare(t.Context(), m, make([]bool, 3), Options{}); return err },
		"batch":      func() error { _, err := Compare(t.Context(), m, nil, Options{Batch: -1}); return err },
		"price": func() error {
			_, err := Compare(t.Context(), m, nil, Options{Prices: Prices{LabourPerH: math.NaN()}})
			return err
		},
		"wall": func() error { _, err := Compare(t.Context(), m, nil, Options{WallMM: -2}); return err },
		"elongation": func() error {
			_, err := Compare(t.Context(), m, nil, Options{Casting: &opening.Flex{ShoreA: 40}})
			return err
		},
		"hardness": func() error {
			_, err := Compare(t.Context(), m, nil, Options{Silicone: &opening.Flex{ElongationPct: 300, ShoreA: 140}})
			return err
		},
		"direction": func() error {
			_, err := Compare(t.Context(), m, nil, Options{Direction: r3.Vec{X: math.Inf(1)}})
			return err
		},
		"open": func() error { _, err := Compare(t.Context(), open, nil, Options{}); return err },
		"given up": func() error {
			ctx, cancel := context.WithCancel(t.Context())
			cancel()
			_, err := Compare(ctx, m, nil, Options{})
			return err
		},
	} {
		if try() == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
