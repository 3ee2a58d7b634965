package batch

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"mouldwright/internal/record"
	"mouldwright/internal/steps"
)

// month puts down runs of signed steps and castings as a month at the bench would leave them: demoulding takes
// the factor of what is planned, spread by a fifth, twice as long in the second mould; a share of castings is scrap.
func month(t *testing.T, s *record.Store, seed uint64, runs int, demouldS, scrap float64) {
	t.Helper()
	rng := rand.New(rand.NewPCG(seed, 3))
	plan := steps.Plan{Job: "foot-ring", Steps: []steps.Step{{ID: "release", Phase: steps.Release, Stage: castingStage}, {ID: "stir", Phase: steps.Mix, Stage: castingStage},
		{ID: "pour", Phase: steps.Pour, Stage: castingStage}, {ID: "cure", Phase: steps.Cure, Stage: castingStage}, {ID: "open", Phase: steps.Open, Stage: castingStage}}}
	whole, err := json.Marshal(plan)
	if err != nil {
		t.Fatal(err)
	}
	err = s.Write(t.Context(), record.Entry{Operator: "Kim"}, func(tx *record.Tx) error {
		for k := range runs {
			at := time.Date(2026, 2, 1, 8, 0, 0, 0, benchPlace).Add(time.Duration(k) * 14 * time.Hour)
			mould, factor := ringIDs[k%2], 1.0
			if k%2 == 1 {
				factor = 2
			}
			run := &record.Run{Job: "foot-ring", Mould: mould, StartedAt: at, Operator: "Kim", Plan: string(whole)}
			for _, st := range plan.Steps {
				run.Steps = append(run.Steps, record.RunStep{Step: st.ID, Title: st.ID})
			}
			if err := tx.Add(run); err != nil {
				return err
			}
			for i, sec := range []float64{240, 120, 60, 10 * 3600, demouldS * factor * math.Exp(0.2*rng.NormFloat64())} {
				at = at.Add(time.Duration(sec * float64(time.Second)))
				if err := tx.Add(&record.SignOff{Run: run.ID, Step: plan.Steps[i].ID, Operator: "Kim", SignedAt: at}); err != nil {
					return err
				}
			}
			outcome := record.Good
			if rng.Float64() < scrap {
				outcome = record.Scrap
			}
			if err := tx.Add(&record.Shot{Mould: mould, Run: run.ID, Cavity: 1, PouredAt: run.StartedAt.Add(7 * time.Minute), Outcome: outcome, Operator: "Kim"}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func workOfName(t *testing.T, b *Bench, name string) WorkTimes {
	t.Helper()
	for _, l := range b.Learned {
		for _, w := range l.Works {
			if w.Work == name {
				return w
			}
		}
	}
	t.Fatalf("%s was not learned", name)
	return WorkTimes{}
}

// TestAMonthOfRecords: what is learned is within its own stated range of the truth, and the plan takes it when asked.
func TestAMonthOfRecords(t *testing.T) {
	const demouldS, scrap = 420.0, 0.2
	s := recorded(t)
	month(t, s, 11, 40, demouldS, scrap)
	b := recordBench(t)
	b.Tools[0].Job = "foot-ring"
	planned := b.Recipes[0].DemouldS
	if _, err := fromRecords(t, s, b, nil, "2026-03-01 07:00"); err != nil {
		t.Fatal(err)
	}
	w := workOfName(t, b, "demould")
	if !w.IsEnough || w.IsUsed || b.Recipes[0].DemouldS != planned {
		t.Errorf("not asked to learn: %+v, %d s", w, b.Recipes[0].DemouldS)
	}
	for name, truth := range map[string]float64{ringIDs[0]: demouldS, ringIDs[1]: 2 * demouldS} {
		if m, ok := w.ByMould[name]; !ok || m.Low > truth || m.High < truth || m.High > 1.4*truth {
			t.Errorf("%s: %+v, truly %g s", name, m, truth)
		}
	}
	if w := workOfName(t, b, "release coat"); w.Taken.Median != 240 {
		t.Errorf("release coat %+v", w)
	}
	sc := b.Learned[0].Scrap[0]
	if !sc.IsEnough || sc.Share.Of != 40 || sc.Share.Low > scrap || sc.Share.High < scrap {
		t.Errorf("scrap %+v, truly %g", sc, scrap)
	}

	b = recordBench(t)
	b.Tools[0].Job, b.Learn = "foot-ring", Learn{Times: true, Scrap: true}
	if _, err := fromRecords(t, s, b, nil, "2026-03-01 07:00"); err != nil {
		t.Fatal(err)
	}
	w = workOfName(t, b, "demould")
	if !w.IsUsed || math.Abs(float64(b.Recipes[0].DemouldS)-w.Taken.Median) > 1 || w.PlannedS != float64(planned) {
		t.Errorf("%+v, planned with %d s", w, b.Recipes[0].DemouldS)
	}
	if want := sparesFor(b.Learned[0].Scrap[0].Share.Rate); b.Versions[0].SparePct != want {
		t.Errorf("spares %g %%, want %g %%", b.Versions[0].SparePct, want)
	}
	if len(learnedWords(b.Learned)) < 5 {
		t.Errorf("%q", learnedWords(b.Learned))
	}
}

// TestFiveCastingsSayNothing: with five runs nothing is claimed and nothing is changed, even if asked.
func TestFiveCastingsSayNothing(t *testing.T) {
	s := recorded(t)
	month(t, s, 5, 5, 900, 0.8)
	b := recordBench(t)
	b.Tools[0].Job, b.Learn = "foot-ring", Learn{Times: true, Scrap: true}
	was, spare := b.Recipes[0], b.Versions[0].SparePct
	if _, err := fromRecords(t, s, b, nil, "2026-03-01 07:00"); err != nil {
		t.Fatal(err)
	}
	if b.Recipes[0] != was || b.Versions[0].SparePct != spare {
		t.Errorf("five castings changed the plan: %+v", b.Recipes[0])
	}
	if w := workOfName(t, b, "demould"); w.IsEnough || len(w.ByMould) > 0 {
		t.Errorf("claimed from five: %+v", w)
	}
}

// signedPour puts down a run in which the pour was signed, and no casting.
func signedPour(t *testing.T, s *record.Store, mould, at string) {
	t.Helper()
	whole, err := json.Marshal(steps.Plan{Job: "foot-ring", Steps: []steps.Step{{ID: "pour", Phase: steps.Pour, Stage: castingStage}}})
	if err != nil {
		t.Fatal(err)
	}
	run := &record.Run{Job: "foot-ring", Mould: mould, StartedAt: clockTime(t, at).Add(-time.Minute), Operator: "Kim", Plan: string(whole), Steps: []record.RunStep{{Step: "pour", Title: "pour"}}}
	put(t, s, run)
	put(t, s, &record.SignOff{Run: run.ID, Step: "pour", Operator: "Kim", SignedAt: clockTime(t, at)})
}
