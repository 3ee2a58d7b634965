package job

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fill"
	"mouldwright/internal/tooling"
)

// VentTrial compares the mould as first built with one whose vents stand where the fill wants them.
type VentTrial struct {
	FirstMM3    float64      `json:"first_trapped_mm3"` // at the first mould's best tilt
	FirstVents  int          `json:"first_vents"`
	SecondMM3   float64      `json:"second_trapped_mm3"` // at the second's; meaningless when Refused
	SecondVents int          `json:"second_vents"`
	At          [][3]float64 `json:"vents_at"` // asked for in the second, mould frame
	Wanted      int          `json:"vents_wanted"`
	Refused     string       `json:"refused,omitempty"` // why the second is no sound mould
	Kept        string       `json:"kept"`              // "first" or "second"
	Words       string       `json:"words"`
}

// trappedStepMM3: less than this between two moulds is no difference; package fill's smallest pocket
// worth a vent.
const trappedStepMM3 = 0.5

// filled pours the mould on paper. Where air stays, it builds the mould once more with its vents where
// the fill wants them, pours that, and gives the better of the two: less trapped air, then fewer vents.
func (s *trying) filled(ctx context.Context, m *tooling.Mould) (*tooling.Mould, *FillReport, error) {
	const from, half, to = 0.85, 0.87, 0.9
	pour := func(m *tooling.Mould, from, to float64) (*FillReport, error) {
		p := pouring{show: s.part.show, material: s.poured, rule: s.file.Fill, workers: s.opt.Workers}
		return p.mould(ctx, m, s.opt.stage("filling the mould", from, to))
	}
	r, err := pour(m, from, half)
	if err != nil || r == nil || len(r.wanted) == 0 || r.used().TrappedMM3 < trappedStepMM3 {
		return m, r, err
	}
	asked := max(0, mouldOptions(s.part, s.file, s.material, s.font).Vents) * max(1, len(m.Cavities))
	at := r.wanted[:min(asked, len(r.wanted))]
	r.missVents(len(at))
	if len(at) == 0 || ventedAlready(m, at) {
		return m, r, nil
	}
	t := &VentTrial{FirstMM3: r.used().TrappedMM3, FirstVents: ventsOf(m), Wanted: len(r.wanted), Kept: "first"}
	for _, v := range at {
		t.At = append(t.At, array(v.At))
	}
	second, why, err := s.again(ctx, at, half, (half+to)/2)
	if err != nil {
		return nil, nil, err
	}
	if why != nil {
		t.Refused = why[0].What + ": " + why[0].Words
		r.tell(t)
		return m, r, nil
	}
	q, err := pour(second, (half+to)/2, to)
	if ctx.Err() != nil {
		return nil, nil, err
	}
	if err != nil || q == nil {
		// The first mould is good: what the second cannot do takes nothing from it.
		t.Refused = "it cannot be filled: no sprue"
		if err != nil {
			t.Refused = err.Error()
		}
		r.tell(t)
		return m, r, nil
	}
	t.SecondVents, t.SecondMM3 = ventsOf(second), q.used().TrappedMM3
	if t.secondBetter() {
		t.Kept = "second"
		q.missVents(len(at))
		m, r = second, q
	}
	r.tell(t)
	return m, r, nil
}

// again builds the mould that was found sound once more, with vents at places.
func (s *trying) again(ctx context.Context, at []fill.VentSpot, from, to float64) (*tooling.Mould, []Reason, error) {
	t := *s
	for _, v := range at {
		t.ventsAt = append(t.ventsAt, v.At)
	}
	if tell := s.opt.Progress; tell != nil {
		// build spreads over the span of directions; this is one more, later.
		t.attempts = 0
		t.opt.Progress = func(stage string, done float64) {
			tell(stage, from+(to-from)*min(1, max(0, (done-0.35)/0.25)))
		}
	}
	return t.build(ctx, s.used)
}

// secondBetter: less trapped air, then fewer vents.
func (t *VentTrial) secondBetter() bool {
	steps := func(mm3 float64) float64 { return math.Floor(mm3 / trappedStepMM3) }
	return cmp.Or(cmp.Compare(steps(t.SecondMM3), steps(t.FirstMM3)), cmp.Compare(t.SecondVents, t.FirstVents), cmp.Compare(t.SecondMM3, t.FirstMM3)) < 0
}

// tell puts the comparison into the report.
func (r *FillReport) tell(t *VentTrial) {
	first := fmt.Sprintf("as first built, with %s, %.3g mm³ of air stays", plural(t.FirstVents, "vent"), t.FirstMM3)
	second := fmt.Sprintf("built again with %s where the fill wants them, %.3g mm³", plural(t.SecondVents, "vent"), t.SecondMM3)
	switch {
	case t.Refused != "":
		t.Words = first + "; with vents where the fill wants them it is no sound mould (" + t.Refused + "), so the first is kept"
	case t.Kept == "second":
		t.Words = first + "; " + second + ": this one is kept"
	default:
		t.Words = first + "; " + second + ": the first is kept"
	}
	r.Trial = t
	r.Words = append(r.Words, t.Words)
}

// missVents says when the fill wants more vents than the job lets it have.
func (r *FillReport) missVents(have int) {
	if n := len(r.wanted); n > have && r.used().TrappedMM3 >= trappedStepMM3 {
		r.Words = append(r.Words, fmt.Sprintf("to let all air out the fill wants %s, the job allows %d: raise vents in [mould] of job.toml, or use vacuum or pressure", plural(n, "vent"), have))
	}
}

// ventsOf counts a mould's vents.
func ventsOf(m *tooling.Mould) (n int) {
	for _, f := range m.Features {
		if f.Kind == "vent" {
			n++
		}
	}
	return n
}

// ventedAlready says that each place is under a vent of the mould: to build again would change nothing.
func ventedAlready(m *tooling.Mould, at []fill.VentSpot) bool {
	for _, v := range at {
		if !slices.ContainsFunc(m.Features, func(f tooling.Feature) bool {
			b, ok := boreOf(f)
			return ok && f.Kind == "vent" && r2.Norm(r2.Vec{X: f.At.X - v.At.X, Y: f.At.Y - v.At.Y}) <= b.DiameterMM/2
		}) {
			return false
		}
	}
	return true
}

// want finds where vents should go, had the mould none yet: at the tilt that needs the fewest, the
// largest pocket first.
func (r *FillReport) want(ctx context.Context, c *fill.Cavity, o fill.TiltOptions) error {
	if r.used().TrappedMM3 < trappedStepMM3 {
		return nil
	}
	o.Vents, o.OnlyThese = nil, false
	all, err := c.SearchTilt(ctx, o)
	if err != nil {
		return err
	}
	up := all.Best.Up
	r.wanted = slices.Clone(all.Best.Spots)
	slices.SortStableFunc(r.wanted, func(a, b fill.VentSpot) int {
		return cmp.Or(cmp.Compare(b.PocketMM3, a.PocketMM3), cmp.Compare(r3.Dot(b.At, up), r3.Dot(a.At, up)))
	})
	return nil
}
