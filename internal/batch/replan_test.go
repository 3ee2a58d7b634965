package batch

import (
	"testing"
)

// followed is a history in which everything that begins before now happened as planned.
func followed(p *Plan, now int64) *History {
	h := &History{NowS: now, Plan: p, Followed: p}
	for _, s := range p.Steps {
		if s.EndS <= now {
			h.Steps = append(h.Steps, Happened{ID: s.ID, StartS: s.StartS})
		}
	}
	return h
}

// TestNothingChangedMovesNothing: a plan made anew while all goes as planned is the same plan.
func TestNothingChangedMovesNothing(t *testing.T) {
	b := large(60, 10)
	first := mustPlan(t, b, quick)
	for _, now := range []int64{9 * 3600, first.EndS / 3, 2 * first.EndS / 3} {
		opt := quick
		opt.Before = followed(first, now)
		again := mustPlan(t, b, opt)
		c := b.Compare(first, again)
		if len(c.Moved)+len(c.Fresh)+len(c.Gone) > 0 || again.EndS > first.EndS+stillS {
			t.Errorf("now %s: %+v", b.Clock(now), c)
		}
	}
}

// TestScrapMovesLittle: one shot that failed is planned anew; most of what is to come stays where it was.
func TestScrapMovesLittle(t *testing.T) {
	b := large(60, 10)
	first := mustPlan(t, b, quick)
	now := first.EndS / 3
	h := followed(first, now)
	for i := range h.Steps {
		if st := stepOf(first, h.Steps[i].ID); st.Kind == stepPour {
			h.Steps[i].Scrap = true
			break
		}
	}
	opt := quick
	opt.Before = h
	again := mustPlan(t, b, opt)
	c := b.Compare(first, again)
	shots := func(p *Plan) (n int) {
		for _, d := range p.Versions {
			n += d.Shots
		}
		return n
	}
	if shots(again) != shots(first)+1 {
		t.Errorf("%d shots became %d", shots(first), shots(again))
	}
	if len(c.Moved) > c.Kept {
		t.Errorf("%d loads moved, %d kept", len(c.Moved), c.Kept)
	}
	if len(b.changeWords(c)) == 0 {
		t.Error("no words")
	}
}

func stepOf(p *Plan, id string) *Step {
	for i := range p.Steps {
		if p.Steps[i].ID == id {
			return &p.Steps[i]
		}
	}
	return nil
}
