package tooling

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// conduct is the flow through stretches in series and side by side, by hand: resistances in series add up,
// conductances side by side do (Hagen and Poiseuille's law is linear).
func TestFlowByHand(t *testing.T) {
	gate := func(w float64) *flowGate {
		return &flowGate{branch: 2, lengthMM: 3, depthMM: 1.6, draftDeg: 10, widthMM: w}
	}
	a, b, c := gate(2.88), gate(2.88), gate(1.5)
	// One trunk of 1; from its end a stretch of 5 to a and b, and c at once.
	root := &flowNode{kids: []*flowNode{{run: 1, kids: []*flowNode{{run: 5, kids: []*flowNode{{gate: a}, {gate: b}}}, {gate: c}}}}}
	ra, rc := 2+3/ductMM4(2.88, 1.6, 10), 2+3/ductMM4(1.5, 1.6, 10)
	left := 5 + 1/(1/ra+1/ra)
	all := 1 + 1/(1/left+1/rc)
	near(t, "conductance", root.conductance(), 1/all, 1e-12)
	q := map[*flowGate]float64{}
	root.flows(1, q)
	atFork := 1 - 1/all // pressure after the trunk
	near(t, "flow to a", q[a], atFork/left/2, 1e-12)
	near(t, "flow to c", q[c], atFork/rc, 1e-12)
	near(t, "sum", q[a]+q[b]+q[c], 1/all, 1e-12)
	least, most := min(q[a], q[c]), max(q[a], q[c])
	near(t, "spread", root.spreadPct(), 100*(most-least)*3/(q[a]+q[b]+q[c]), 1e-9)

	// Balanced: where each takes 1, the drop to a's gate is 3·1 + 2·5, to c's 3·1; c's gate makes up 10.
	c.widthMM = 2.88
	root.balance(0.8)
	near(t, "c's gate", c.resistance()-a.resistance(), 10, 2e-3)
	if s := root.spreadPct(); s > 0.1 {
		t.Errorf("%.3f %% apart after balancing", s)
	}
}

// Four cavities by symmetry: the ways are equally long, the gates equally wide, and the pressure lost is
// that of Hagen and Poiseuille's law, stretch by stretch.
func TestFourCavitiesAreEquallyFar(t *testing.T) {
	cell := plainCell(t, 15)
	size, err := cell.prepareCell(runnerSize(4))
	if err != nil {
		t.Fatal(err)
	}
	packs, err := PackCavities(cell.shadow.Outer(), PackOptions{Cavities: 4, GapMM: 8, WallMM: 12, ChannelMM: size.channelMM()})
	if err != nil {
		t.Fatal(err)
	}
	r, err := cell.planRunner(packs[0], size)
	if err != nil {
		t.Fatal(err)
	}
	if len(packs[0].Channels) != 1 || len(r.Runs) != 2 {
		t.Fatalf("%s with %d stretches: want one channel with a stretch to either side", packs[0].Words, len(r.Runs))
	}
	pitch := 2*15.0 + 8 // and what simplifying and rounding leave
	for _, s := range r.Runs {
		if math.Abs(s.LengthMM()-pitch/2) > 0.1 || s.Cavities != 2 {
			t.Errorf("a stretch of %.3f mm to %d cavities, want %.1f mm to 2", s.LengthMM(), s.Cavities, pitch/2)
		}
	}
	for k, g := range r.Gates {
		near(t, "way", g.PathMM, r.Gates[0].PathMM, 1e-12)
		near(t, "width", g.WidthMM, gateWidthShare*4.8, 1e-12)
		near(t, "share", g.SharePct, 25, 1e-9)
		// The channel keeps the land on both sides of the widest it holds, the well.
		if want := size.channelMM()/2 - 4.8/2; math.Abs(g.LengthMM-want) > 0.05 {
			t.Errorf("gate %d is %.3f mm long, want %.3f", k+1, g.LengthMM, want)
		}
	}
	if r.SpreadPct > 1e-9 {
		t.Errorf("%.3g %% apart by symmetry", r.SpreadPct)
	}
	// Two halves side by side, each a stretch and then two gates side by side.
	stretch := r.Runs[0].LengthMM() / ductMM4(4.8, 3.2, 10)
	gate := r.Gates[0].LengthMM / ductMM4(gateWidthShare*4.8, gateDepthShare*3.2, 10)
	near(t, "resistance", r.Resistance, (stretch+gate/2)/2, 1e-3)
}

// Whatever the packing, gates even the flows out, no gate is narrower than prints, and the widest is full.
func TestRunnersBalance(t *testing.T) {
	cell := plainCell(t, 12)
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 12).Draw(t, "n")
		size, err := cell.prepareCell(runnerSize(rapid.Float64Range(3, 6).Draw(t, "runner")))
		if err != nil {
			t.Fatal(err)
		}
		packs, err := PackCavities(cell.shadow.Outer(), PackOptions{Cavities: n, GapMM: 8, WallMM: 12, ChannelMM: size.channelMM()})
		if err != nil {
			t.Fatal(err)
		}
		p := packs[rapid.IntRange(0, min(3, len(packs)-1)).Draw(t, "packing")]
		r, err := cell.planRunner(p, size)
		if err != nil {
			t.Fatal(err)
		}
		widest, sum := 0.0, 0.0
		narrow := false
		for _, g := range r.Gates {
			widest, sum = max(widest, g.WidthMM), sum+g.SharePct
			narrow = narrow || g.WidthMM <= leastGateWidthMM+gateStepMM
			if g.WidthMM < leastGateWidthMM-gateStepMM {
				t.Fatalf("a gate of %.3f mm", g.WidthMM)
			}
		}
		if math.Abs(widest-gateWidthShare*size.WidthMM) > gateStepMM || math.Abs(sum-100) > 1e-9 {
			t.Fatalf("widest gate %.3f mm, shares %.6f %%", widest, sum)
		}
		if !narrow && r.SpreadPct > 0.3 {
			t.Fatalf("%s: %.3f %% apart", p.Words, r.SpreadPct)
		}
		// What is fed through the stretches that leave the sprue is all there is, less those at it.
		fed := 0
		for _, s := range r.Runs {
			if r2.Norm(s.From) == 0 {
				fed += s.Cavities
			}
		}
		if fed > n {
			t.Fatalf("%d cavities fed through the first stretches, %d there are", fed, n)
		}
	})
}
