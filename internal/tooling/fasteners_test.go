package tooling

import (
	"errors"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"mouldwright/internal/solid"
)

// The rows below were read from public reprints of the standards, not from our own table:
//   - ISO 4762 (2004): head diameter of a plain head, head height, socket size, pitch: boltport.com
//     and amesweb.info give the standard's table; engineeringhardware.com agrees.
//   - ISO 4032: BS EN ISO 4032:2001, table 1 (s nom. = max., m max.), as reprinted by engineersedge.com;
//     trojansf.co.uk agrees. The sheet on engineeringhardware.com gives the lower M5 to M8 nuts of the
//     older DIN 934 under the same name; the 2001 standard rules.
//   - ISO 273 medium series: engineeringhardware.com; nbk1560.com gives the same column ("grade 2").
//   - ISO 7089 d2 and h: engineeringhardware.com.
var reprints = []struct {
	name                                                  string
	pitch, head, headHigh, key, flats, nut, hole, washer2 float64
	washer                                                float64
}{
	{"M3", 0.5, 5.50, 3, 2.5, 5.5, 2.4, 3.4, 7, 0.5},
	{"M4", 0.7, 7.00, 4, 3, 7, 3.2, 4.5, 9, 0.8},
	{"M5", 0.8, 8.50, 5, 4, 8, 4.7, 5.5, 10, 1.0},
	{"M6", 1, 10.00, 6, 5, 10, 5.2, 6.6, 12, 1.6},
	{"M8", 1.25, 13.00, 8, 6, 13, 6.8, 9.0, 16, 1.6},
}

func TestThreadsAgreeWithReprintsOfTheStandards(t *testing.T) {
	got := Threads()
	if len(got) != len(reprints) {
		t.Fatalf("%d threads, want %d", len(got), len(reprints))
	}
	for i, w := range reprints {
		g := got[i]
		if g.Name != w.name || g.PitchMM != w.pitch || g.HeadDiamMM != w.head || g.HeadHighMM != w.headHigh || g.KeyMM != w.key ||
			g.NutFlatsMM != w.flats || g.NutHighMM != w.nut || g.HoleMM != w.hole || g.WasherDiaMM != w.washer2 || g.WasherMM != w.washer {
			t.Errorf("got %+v, want %+v", g, w)
		}
	}
}

// ISO 4762 gives commercial lengths from about 1.6 d to 10 d for these sizes (M3: 5 to 30, M8: 12 to 80;
// from memory); the steps are those of ISO 888.
func TestScrewLengths(t *testing.T) {
	for _, th := range Threads() {
		l := th.LengthsMM
		if l[len(l)-1] != 10*th.DiameterMM {
			t.Errorf("%s: longest %g, want %g", th.Name, l[len(l)-1], 10*th.DiameterMM)
		}
		for i := 1; i < len(l); i++ {
			if l[i] <= l[i-1] {
				t.Errorf("%s: lengths do not rise: %v", th.Name, l)
			}
		}
	}
}

func TestChooseBoltWorkedExample(t *testing.T) {
	// M4 in a block of 40 mm, head on a washer in a counterbore: counterbore 4 + 0.8 + 0.3 = 5.1; from
	// under the head to the lower face 40 − 5.1 + 0.8 = 35.7, so 35 mm is the longest screw inside.
	// Pocket: 35.7 + 3.2 + 0.7 − 35 = 4.6; grip 40 − 5.1 − 4.6 = 30.3.
	b, err := ChooseBolt(40, BoltOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what      string
		got, want float64
	}{{"length", b.LengthMM, 35}, {"counterbore", b.CounterboreMM, 5.1}, {"pocket", b.PocketMM, 4.6}, {"grip", b.GripMM, 30.3}} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("%s %g mm, want %g", c.what, c.got, c.want)
		}
	}
	if !strings.Contains(b.Words, "M4 × 35") || !strings.Contains(b.Words, "ISO 4032") {
		t.Errorf("words %q", b.Words)
	}
}

func TestChooseBoltHoldsForEveryHeight(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := rapid.Float64Range(5, 140).Draw(t, "block")
		o := BoltOptions{
			Thread:    rapid.SampledFrom([]string{"M3", "M4", "M5", "M6", "M8"}).Draw(t, "thread"),
			HeadOnTop: rapid.Bool().Draw(t, "on top"), NoWasher: rapid.Bool().Draw(t, "bare"),
		}
		b, err := ChooseBolt(h, o)
		if err != nil {
			if !errors.Is(err, ErrNoBolt) {
				t.Fatal(err)
			}
			return
		}
		if math.Abs(b.GripMM+b.PocketMM+b.CounterboreMM-h) > 1e-9 {
			t.Fatalf("grip, pocket and counterbore do not fill the block: %+v", b)
		}
		tip := b.LengthMM - b.GripMM - b.WasherMM // past the nut's seat
		if tip < b.Thread.NutHighMM+b.Thread.PitchMM-1e-9 {
			t.Fatalf("the screw ends %.3f mm past the seat of a %.1f mm nut", tip, b.Thread.NutHighMM)
		}
		if tip > b.PocketMM+1e-9 {
			t.Fatalf("the screw stands %.3f mm out of the lower face", tip-b.PocketMM)
		}
		if b.CounterboreMM > 0 && b.CounterboreMM < b.Thread.HeadHighMM+b.WasherMM {
			t.Fatal("the head stands out of its counterbore")
		}
		found := false
		for _, l := range b.Thread.LengthsMM {
			found = found || l == b.LengthMM
		}
		if !found {
			t.Fatalf("%g mm is no standard length", b.LengthMM)
		}
	})
}

func TestChooseBoltErrors(t *testing.T) {
	for _, c := range []struct {
		block float64
		opt   BoltOptions
		want  string
	}{
		{40, BoltOptions{Thread: "M7"}, "use one of M3, M4"},
		{8, BoltOptions{}, "M4 in a block 8.0 mm high"},
		{400, BoltOptions{Thread: "M3"}, "larger"},
		{math.NaN(), BoltOptions{}, "block height"},
		{40, BoltOptions{MinWallMM: -1}, "least wall"},
	} {
		if _, err := ChooseBolt(c.block, c.opt); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%g %+v: error %v, want one with %q", c.block, c.opt, err, c.want)
		}
	}
}

// A regular n-gon about a circle of radius r has area n r² tan(π/n), the hexagon of width s across flats
// (√3/2) s²: closed forms for the material a bolt takes.
func TestBoltToolVolumes(t *testing.T) {
	b, err := ChooseBolt(40, BoltOptions{Thread: "M5"})
	if err != nil {
		t.Fatal(err)
	}
	ngon := func(d float64) float64 {
		n := float64(circleSegments(d / 2))
		return n * d * d / 4 * math.Tan(math.Pi/n)
	}
	hex := math.Sqrt(3) / 2 * b.PocketFlatsMM() * b.PocketFlatsMM()
	hole := ngon(b.Thread.HoleMM)
	head := ngon(2 * b.headRadiusMM())
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, func(x, y float64) float64 { return 18 })
		tools, err := b.Tools(k, r2.Vec{X: 40, Y: 30}, f.block)
		if err != nil {
			t.Fatal(err)
		}
		low, up := heldBy(t, f.lower, Lower, tools), heldBy(t, f.upper, Upper, tools)
		near(t, "lower", low, hole*(18-b.PocketMM)+hex*b.PocketMM, 1e-9)
		near(t, "upper", up, hole*(40-18-b.CounterboreMM)+head*b.CounterboreMM, 1e-9)
	})
}

func TestBoltWalls(t *testing.T) {
	b, err := ChooseBolt(40, BoltOptions{})
	if err != nil {
		t.Fatal(err)
	}
	// A plane z = 10 + x/10: under the bolt's circle about x = 30 it runs from 13 − r/10 to 13 + r/10.
	h := heightsOf(t, func(x, y float64) float64 { return 10 + x/10 })
	c, err := b.Walls(r2.Vec{X: 30, Y: 10}, blockOf(0, 40), h)
	if err != nil {
		t.Fatal(err)
	}
	// The reach in x of the polygon about the circle lies between the radius and a corner's distance.
	r := b.RadiusMM()
	corner := r / math.Cos(math.Pi/float64(circleSegments(r)))
	if most, least := 13-r/10-b.PocketMM, 13-corner/10-b.PocketMM; c.Value > most+1e-9 || c.Value < least-1e-9 {
		t.Errorf("wall %g mm, want %g to %g", c.Value, least, most)
	}
	if !c.OK {
		t.Error("a wall of 8 mm fails a limit of 3 mm")
	}
	if c, _ := b.Walls(r2.Vec{X: 30, Y: 10}, blockOf(6, 46), h); c.OK {
		t.Errorf("a wall of %g mm passes a limit of %g mm", c.Value, c.Limit)
	}
	if _, err := b.Walls(r2.Vec{X: 59, Y: 10}, blockOf(0, 40), h); err == nil {
		t.Error("a bolt over the edge of the surface passes")
	}
}
