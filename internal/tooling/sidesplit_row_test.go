package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// Two spools in a row: each cavity holds what the frustums of a spool sum up to, the line is twice that of
// one, and the pieces, moved out in steps, share nothing with each other or with either casting.
func TestSideSplitPartsTwoSpools(t *testing.T) {
	t.Parallel()
	part := turnedSolid(16, spoolRows...)
	o := SideSplitOptions{Side: r3.Vec{X: 1}, Direction: r3.Vec{Z: 1}, Cavities: 2, ShrinkPct: r3.Vec{X: 1, Y: 1, Z: 1}}
	b := buildSides(t, part, o)
	mustPass(t, b.mould)
	grow := 1 / 0.99
	sum := 0.0
	for _, l := range b.mould.Ledger {
		sum += l.VolumeMM3
	}
	for k := 1; k <= 2; k++ {
		near(t, "cavity", lineOf(b.mould, CavityName(k, 2)), turnedMM3(16, spoolRows...)*grow*grow*grow, 1e-9)
	}
	s := b.mould.Block.Size()
	near(t, "ledger", sum, s.X*s.Y*s.Z, 1e-9)
	edge := 2 * 16 * 15 * grow * math.Sin(math.Pi/16)
	split := 2 * grow * 14.0
	for i := range len(spoolRows) - 1 {
		split += 2 * grow * r2.Norm(r2.Sub(spoolRows[i+1], spoolRows[i]))
	}
	near(t, "line", b.mould.LineMM, 2*(edge+split), 1e-7)
	if parts, n := b.mould.Cast.Components(); n != 2 {
		t.Errorf("%d castings of %d facets", n, len(parts))
	}
	// Each stands in the split with sprue and vents at the same places of it.
	if f := b.feed; len(f.more) != 1 || len(f.vents) != 4 {
		t.Errorf("%d sprues and %d vents", 1+len(f.more), len(f.vents))
	}
	for _, st := range b.out.Stages {
		if st.Verdict.State == opening.Blocked {
			t.Error(st.Words())
		}
	}
	stepsFree(t, b)
	for kind, want := range map[string]int{"sprue": 2, "vent": 4, "rail": 3, "cross bolt": 3, "cavity number": 2} {
		if got := count(b.mould, kind); got != want {
			t.Errorf("%d × %s, want %d", got, kind, want)
		}
	}
	// Not farther apart than the bolts' pitch, and none in a cavity.
	for i, y := range b.plan.across {
		for _, bay := range b.plan.bays {
			if y.X > bay[0]-besideMM && y.X < bay[1]+besideMM {
				t.Errorf("cross bolt %d at y %.1f is in cavities from %.1f to %.1f mm", i+1, y.X, bay[0], bay[1])
			}
		}
	}
}

// Rows of any length keep their gap, lie about the middle, and stand round lanes no farther apart than asked,
// unless a single cavity is wider.
func TestRowsKeepGapAndPitch(t *testing.T) {
	bolt, err := chooseSideBolt("M4", 40)
	if err != nil {
		t.Fatal(err)
	}
	rapid.Check(t, func(t *rapid.T) {
		wide, gap := rapid.Float64Range(2, 120).Draw(t, "wide"), rapid.Float64Range(1, 40).Draw(t, "gap")
		n, pitch := rapid.IntRange(2, MostCavities).Draw(t, "cavities"), rapid.Float64Range(20, 200).Draw(t, "pitch")
		b := &sideSplit{opt: SideSplitOptions{Cavities: n, CavityGapMM: gap, BoltPitchMM: pitch}, plan: sideLayout{clearY: besideMM, cross: bolt}}
		const lane = 5.0
		box := b.lineUp(r3.Box{Min: r3.Vec{Y: -wide / 3}, Max: r3.Vec{Y: 2 * wide / 3}}, lane)
		if math.Abs(box.Min.Y+box.Max.Y-wide/3) > 4*packStepMM || len(b.plan.at) != n {
			t.Fatalf("%d cavities from %g to %g", len(b.plan.at), box.Min.Y, box.Max.Y)
		}
		for i, y := range b.plan.at[1:] {
			if free := y - b.plan.at[i] - wide; free < gap-1e-9 || free > max(gap, 2*(besideMM+lane))+packStepMM {
				t.Fatalf("%g mm between cavities %d and %d", free, i+1, i+2)
			}
		}
		lanes := []float64{box.Min.Y - besideMM - lane}
		for i, bay := range b.plan.bays[1:] {
			if bay[0]-b.plan.bays[i][1] < 2*(besideMM+lane)-1e-9 {
				t.Fatalf("no room for a lane before %v", bay)
			}
			lanes = append(lanes, (b.plan.bays[i][1]+bay[0])/2)
		}
		lanes = append(lanes, box.Max.Y+besideMM+lane)
		one := wide + max(gap, 2*(besideMM+lane)) // round a single cavity, whatever the pitch
		for i, y := range lanes[1:] {
			if y-lanes[i] > max(pitch, one)+2*packStepMM {
				t.Fatalf("lanes at %g and %g are %g mm apart, of at most %g", lanes[i], y, y-lanes[i], pitch)
			}
		}
	})
}

func TestRowsRefuse(t *testing.T) {
	spool := turnedSolid(8, spoolRows...)
	along := SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{X: 1}}
	for name, q := range map[string]struct {
		n     int
		build r3.Vec
		want  error
		words string
	}{
		"too many":       {MostCavities + 1, r3.Vec{}, ErrCavities, "1 to 64"},
		"fewer than one": {-1, r3.Vec{}, ErrOptions, "1 to 64"},
		// Three spools of 30 mm with lanes round each need 3·30 + 6·(4 + 5 and more) mm.
		"too long":        {3, r3.Vec{X: 70, Y: 150, Z: 100}, ErrCavities, "take 2"},
		"too long by far": {3, r3.Vec{X: 60, Y: 60, Z: 60}, ErrCavities, "not even one"},
	} {
		opt := along
		opt.Cavities, opt.BuildVolumeMM = q.n, q.build
		_, err := SideSplit(context.Background(), pool, spool, opt)
		if !errors.Is(err, q.want) || !strings.Contains(fmt.Sprint(err), q.words) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// One cavity asked for is the mould that nothing asked for gives.
func TestOneCavityIsThePlainSideSplit(t *testing.T) {
	part := turnedSolid(8, spoolRows...)
	opt := SideSplitOptions{Direction: r3.Vec{Z: 1}, Side: r3.Vec{X: 1}}.bare()
	plain := buildSides(t, part, opt)
	opt.Cavities, opt.CavityGapMM = 1, 3
	if one := buildSides(t, part, opt); !reflect.DeepEqual(one.out, plain.out) {
		t.Error("the moulds differ")
	}
}
