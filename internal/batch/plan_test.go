package batch

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func demo(t testing.TB) *Bench {
	t.Helper()
	b, err := Load("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func mustPlan(t testing.TB, b *Bench, opt Options) *Plan {
	t.Helper()
	p, err := Make(context.Background(), b, opt)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// quick is a short search: the tests ask whether plans are right, not whether they are the best.
var quick = Options{Iterations: 60}

func TestDemoPlan(t *testing.T) {
	b := demo(t)
	p := mustPlan(t, b, Options{Iterations: 400})
	t.Logf("%d loads, end %s, bound %s, gap %.2f %%, overnight %d", len(p.Loads), b.Clock(p.EndS), b.Clock(p.BoundS), 100*p.Gap(), p.Overnight)
	if err := Verify(b, p); err != nil {
		t.Error(err)
	}
	if p.Overnight == 0 {
		t.Error("no cure runs overnight")
	}
	if len(p.Late) > 0 {
		t.Error(p.Late)
	}
	if p.BoundS > p.EndS {
		t.Errorf("bound %d above the end %d", p.BoundS, p.EndS)
	}
	if p.Gap() > 0.01 {
		t.Errorf("gap %.2f %%", 100*p.Gap())
	}
}

func TestSameInputSamePlan(t *testing.T) {
	var first []byte
	for k := range 2 {
		b := demo(t)
		opt := quick
		opt.TimeLimit = time.Hour * time.Duration(k) // a limit that is not reached changes nothing
		got, err := json.Marshal(mustPlan(t, b, opt))
		if err != nil {
			t.Fatal(err)
		}
		if k == 0 {
			first = got
		} else if !bytes.Equal(first, got) {
			t.Error("two runs differ")
		}
	}
}

// TestRefusals: each impossible demand names its constraint, and by how much.
func TestRefusals(t *testing.T) {
	due := int64(2 * 86400)
	for _, c := range []struct {
		name, constraint string
		change           func(b *Bench)
		need, have       float64
		words            string
	}{
		{"pot too narrow", "pot size", func(b *Bench) { b.Pot.DiameterMM = 200 }, 197.99, 190, "8.0 mm too small"}, // the diagonal of 140 × 140 is 140·√2
		{"pot too low", "pot size", func(b *Bench) { b.Pot.HeightMM = 50 }, 52, 50, "2.0 mm too low"},
		{"mould life", "mould life", func(b *Bench) { b.Tools[0].LifeShots = 6; b.Tools[0].Used = []int{3, 3, 0, 0} }, 22, 18, "4 short, which is 1 more moulds"},
		{"pot life", "pot life", func(b *Bench) { b.Recipes[0].PotLifeS = 300 }, 6.5, 5, "1 min 30 s too long"}, // 2 + 1.5 + 1 + 0.5 + 1.5 min
		{"mixing", "mixing capacity", func(b *Bench) { b.Mixing.CapacityG = 50 }, 62, 50, "12.0 g too much"},
		{"date", "date", func(b *Bench) { b.Versions[0].Due = &due }, 0, 48, "too late"},
		{"no mould", "tools", func(b *Bench) { b.Tools[0].Count = 0; b.Tools[0].Used = nil }, 1, 0, "there is none"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := demo(t)
			c.change(b)
			_, err := Make(context.Background(), b, quick)
			var no *Refusal
			if !errors.As(err, &no) || !no.Refused() {
				t.Fatalf("got %v", err)
			}
			f := no.Findings[0]
			if f.Constraint != c.constraint || !strings.Contains(f.Words, c.words) {
				t.Errorf("%+v", f)
			}
			if c.need > 0 && (abs(f.Need-c.need) > 0.01 || abs(f.Have-c.have) > 0.01) {
				t.Errorf("need %g, have %g; expected %g, %g", f.Need, f.Have, c.need, c.have)
			}
			t.Log(err)
		})
	}
}

func abs(x float64) float64 { return max(x, -x) }

// TestLateIsSaid: a date that is not proven impossible but that the plan misses is in the plan.
func TestLateIsSaid(t *testing.T) {
	b := demo(t)
	due := b.LowerBound() + 1 // the bound of a single version is earlier, so nothing is refused
	for v := range b.Versions {
		b.Versions[v].Due = &due
	}
	p := mustPlan(t, b, quick)
	if p.EndS > due && len(p.Late) == 0 {
		t.Error("the plan is late and does not say so")
	}
}

// randomBench draws a bench that can be planned.
func randomBench(t *rapid.T) *Bench {
	b := &Bench{Name: "random", Start: mustDate("2026-03-02"), Days: 120, Operators: rapid.IntRange(1, 3).Draw(t, "operators"),
		Shelf:  rapid.SampledFrom([]int{0, 0, 12}).Draw(t, "shelf"),
		Mixing: Mixing{rapid.Float64Range(100, 400).Draw(t, "cup"), int64(rapid.IntRange(0, 600).Draw(t, "purge"))}}
	b.Shifts = []Shift{{workdays, 8 * 3600, 12 * 3600}, {workdays, 13 * 3600, 17 * 3600}}
	if rapid.Bool().Draw(t, "pot") {
		b.Pot = &Pot{Count: rapid.IntRange(1, 2).Draw(t, "pots"), DiameterMM: rapid.Float64Range(200, 500).Draw(t, "wide"), HeightMM: rapid.Float64Range(100, 400).Draw(t, "high"), ClearanceMM: 5}
	}
	if rapid.Bool().Draw(t, "vacuum") {
		b.Vacuum = &Vacuum{1, 200}
	}
	s := func(name string, lo, hi int) int64 { return int64(rapid.IntRange(lo, hi).Draw(t, name)) }
	for k := range rapid.IntRange(1, 2).Draw(t, "recipes") {
		r := Recipe{Name: letter(k), ShotG: rapid.Float64Range(20, 90).Draw(t, "shot"), CoatS: s("coat", 0, 300), DryS: s("dry", 0, 900), MixS: s("mix", 60, 200),
			PourS: s("pour", 20, 120), CloseS: s("close", 0, 60), PotLifeS: s("life", 600, 3000), CureS: s("cure", 3600, 90_000), DemouldS: s("demould", 60, 400), TrimS: s("trim", 0, 500)}
		r.CoatValidS = r.DryS + 7200
		if b.Vacuum != nil && rapid.Bool().Draw(t, "degas") {
			r.DegasS = 90
		}
		if b.Pot != nil && rapid.Bool().Draw(t, "pressed") {
			r.LoadS, r.PressureS, r.UnloadS = 30, s("press", 600, 20_000), 60
		}
		b.Recipes = append(b.Recipes, r)
	}
	for k := range rapid.IntRange(1, 2).Draw(t, "tools") {
		b.Tools = append(b.Tools, Tool{Name: "tool " + letter(k), Count: rapid.IntRange(1, 5).Draw(t, "moulds"), Cavities: rapid.IntRange(1, 2).Draw(t, "cavities"),
			BoxMM: [3]float64{rapid.Float64Range(40, 120).Draw(t, "w"), rapid.Float64Range(40, 120).Draw(t, "d"), rapid.Float64Range(20, 90).Draw(t, "h")}, LifeShots: rapid.SampledFrom([]int{0, 40}).Draw(t, "lifeShots")})
	}
	for k := range rapid.IntRange(1, 3).Draw(t, "versions") {
		b.Versions = append(b.Versions, Version{Name: "version " + letter(k), Colour: letter(k % 2), Quantity: rapid.IntRange(0, 8).Draw(t, "quantity"),
			Tool: rapid.IntRange(0, len(b.Tools)-1).Draw(t, "tool"), Recipe: rapid.IntRange(0, len(b.Recipes)-1).Draw(t, "recipe")})
	}
	b.Versions[0].Quantity++
	return b
}

// TestPlansKeepEveryConstraint: Make verifies its plans with two checkers; whatever the bench, they
// find nothing, and the bound holds.
func TestPlansKeepEveryConstraint(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := randomBench(t)
		p, err := Make(context.Background(), b, Options{Iterations: 20})
		var no *Refusal
		if errors.As(err, &no) {
			t.Skip("impossible bench")
		}
		if err != nil {
			t.Fatal(err)
		}
		if p.BoundS > p.EndS {
			t.Fatalf("bound %d, end %d", p.BoundS, p.EndS)
		}
	})
}

// TestMoreNeverWorsensTheBound: another operator, pot or mould leaves the bound or lowers it.
func TestMoreNeverWorsensTheBound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := randomBench(t)
		if _, err := b.findLimits(b.hours()); err != nil {
			t.Skip("impossible bench")
		}
		before := b.LowerBound()
		switch rapid.IntRange(0, 2).Draw(t, "more") {
		case 0:
			b.Operators++
		case 1:
			if b.Pot != nil {
				b.Pot.Count++
			}
		case 2:
			b.Tools[rapid.IntRange(0, len(b.Tools)-1).Draw(t, "of")].Count++
		}
		if after := b.LowerBound(); after > before {
			t.Fatalf("bound %d became %d", before, after)
		}
	})
}

// TestVerifyFindsFaults spoils a sound plan in each way that matters at the bench.
func TestVerifyFindsFaults(t *testing.T) {
	b := demo(t)
	src, err := json.Marshal(mustPlan(t, b, quick))
	if err != nil {
		t.Fatal(err)
	}
	first := func(p *Plan, kind string) *Step {
		for i := range p.Steps {
			if p.Steps[i].Kind == kind {
				return &p.Steps[i]
			}
		}
		t.Fatal("no step of kind " + kind)
		return nil
	}
	for name, spoil := range map[string]func(b *Bench, p *Plan){
		"a pour after the pot life": func(b *Bench, p *Plan) { b.Recipes[0].PotLifeS -= 120 },
		"a coat too old":            func(b *Bench, p *Plan) { b.Recipes[0].CoatValidS = 60; b.Recipes[0].DryS = 0 },
		"a demoulding too soon":     func(b *Bench, p *Plan) { b.Recipes[0].CureS += 86400 * 4 },
		"a step in the night": func(b *Bench, p *Plan) {
			s := first(p, stepTrim)
			d := s.EndS - s.StartS
			s.StartS = 86400*20 + 3600
			s.EndS = s.StartS + d
		},
		"two things at once": func(b *Bench, p *Plan) {
			s, o := first(p, stepTrim), first(p, stepDemould)
			d := s.EndS - s.StartS
			s.StartS = o.StartS
			s.EndS = s.StartS + d
		},
		"a mould too many":        func(b *Bench, p *Plan) { p.Loads[0].InPot = p.Loads[0].InPot[1:] },
		"a mould outside the pot": func(b *Bench, p *Plan) { p.Loads[0].InPot[0].XMM += 400 },
		"a mould not there":       func(b *Bench, p *Plan) { b.Tools[0].Count = 1 },
		"a worn mould":            func(b *Bench, p *Plan) { b.Tools[0].LifeShots = 4 },
		"too heavy a mix":         func(b *Bench, p *Plan) { b.Mixing.CapacityG = 100 },
		"parts missing":           func(b *Bench, p *Plan) { b.Versions[0].Quantity = 30 },
		"no purge": func(b *Bench, p *Plan) {
			for i := range p.Steps {
				if p.Steps[i].Kind == stepPurge {
					p.Steps[i].Kind = "rest"
				}
			}
		},
		"pressure too short": func(b *Bench, p *Plan) { b.Recipes[0].PressureS += 60 },
		"a shelf too small":  func(b *Bench, p *Plan) { b.Shelf = 1 },
		"two loads in one pot": func(b *Bench, p *Plan) {
			for i := range p.Steps {
				if p.Steps[i].Kind == stepUnload && p.Steps[i].Load == "L1" {
					p.Steps[i].StartS += 86400 * 7
					p.Steps[i].EndS += 86400 * 7
				}
			}
		},
	} {
		t.Run(name, func(t *testing.T) {
			b, p := demo(t), &Plan{}
			if err := json.Unmarshal(src, p); err != nil {
				t.Fatal(err)
			}
			if err := Verify(b, p); err != nil {
				t.Fatal(err)
			}
			spoil(b, p)
			if err := Verify(b, p); err == nil {
				t.Error("the checker finds nothing")
			} else {
				t.Log(err)
			}
		})
	}
}

// TestReplan: the first load is cast half an hour late and one of its shots is spoiled.
func TestReplan(t *testing.T) {
	b := demo(t)
	p := mustPlan(t, b, quick)
	h := &History{Plan: p, NowS: 12 * 3600}
	for _, s := range p.Steps {
		if s.Load == "L1" && s.StartS+1800 <= h.NowS && s.Kind != stepPress {
			h.Steps = append(h.Steps, Happened{ID: s.ID, StartS: s.StartS + 1800, Scrap: s.Kind == stepPour && strings.Contains(s.ID, "/S1/")})
		}
	}
	opt := quick
	opt.Before = h
	again := mustPlan(t, b, opt)
	if err := Verify(b, again); err != nil {
		t.Error(err)
	}
	shots := func(p *Plan) (n int) {
		for _, l := range p.Loads {
			for _, m := range l.Mixes {
				n += len(m.Moulds)
			}
		}
		return n
	}
	if shots(again) != shots(p)+1 {
		t.Errorf("%d shots after one of %d was spoiled", shots(again), shots(p))
	}
	if again.Loads[0].Name != "L1" {
		t.Errorf("the load under way is now %s", again.Loads[0].Name)
	}
	at := map[string]int64{}
	for _, s := range again.Steps {
		at[s.ID] = s.StartS
		if !s.Done && s.StartS < h.NowS {
			t.Errorf("%s is planned in the past", s.ID)
		}
	}
	for _, s := range h.Steps {
		if at[s.ID] != s.StartS {
			t.Errorf("%s happened at %d but is planned at %d", s.ID, s.StartS, at[s.ID])
		}
	}
}
