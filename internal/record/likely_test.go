package record

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// The tea tasting of R. A. Fisher, The Design of Experiments (1935), chapter II: of 8 cups all 4 right
// has chance 1/70, at least 3 right 17/70.
func TestFisherTea(t *testing.T) {
	for _, c := range []struct {
		bad  int
		want float64
	}{{4, 1.0 / 70}, {3, 17.0 / 70}, {0, 1}} {
		if p := fisherTail(c.bad, 4, 4-c.bad, 4); math.Abs(p-c.want) > 1e-12 {
			t.Errorf("at least %d of 4: %.12g, want %.12g", c.bad, p, c.want)
		}
	}
}

// Against counting: every way to deal the defects among the castings, equally likely.
func TestFisherAgainstCounting(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		of, ofO := rapid.IntRange(1, 7).Draw(t, "with"), rapid.IntRange(1, 7).Draw(t, "without")
		bad, badO := rapid.IntRange(0, of).Draw(t, "bad"), rapid.IntRange(0, ofO).Draw(t, "bad others")
		hit, all := 0, 0
		for deal := range 1 << (of + ofO) {
			n, k := 0, 0
			for i := range of + ofO {
				if deal>>i&1 == 1 {
					n++
					if i < of {
						k++
					}
				}
			}
			if n == bad+badO {
				all++
				if k >= bad {
					hit++
				}
			}
		}
		if got, want := fisherTail(bad, of, badO, ofO), float64(hit)/float64(all); math.Abs(got-want) > 1e-12 {
			t.Fatalf("%g, counted %g", got, want)
		}
	})
}

// The table itself: every defect has a cause, every sign a signal, nothing is named twice.
func TestCausesTable(t *testing.T) {
	ids := map[string]bool{}
	for _, c := range causes {
		if ids[c.id] || c.words == "" || c.why == "" || c.do == "" || c.base < 1 || c.base > 3 {
			t.Errorf("cause %q is named twice or lacks something", c.id)
		}
		ids[c.id] = true
		for _, s := range c.signs {
			if signals[s.signal] == nil {
				t.Errorf("cause %s: no signal %q", c.id, s.signal)
			}
		}
		for _, d := range c.defects {
			if !slices.Contains(defectCodes(), d) {
				t.Errorf("cause %s: no defect %q", c.id, d)
			}
		}
	}
	for _, d := range Defects {
		if !slices.ContainsFunc(causes, func(c cause) bool { return slices.Contains(c.defects, d.Code) }) {
			t.Errorf("defect %s has no cause", d.Code)
		}
	}
}

func first(t *testing.T, s *Store, shot, defect string, facts JobFacts) Likely {
	t.Helper()
	var out []Likely
	read(t, s, func(r *Reader) (err error) { out, err = r.LikelyCauses(shot, defect, facts); return err })
	for i := range out[1:] {
		if out[i].Score < out[i+1].Score {
			t.Errorf("not ranked: %+v", out)
		}
	}
	return out[0]
}

// One thing is made wrong at a time; the ranking must put it first and say why.
func TestTheWrongThingComesFirst(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		_, _, _, cold := bench()
		cold.TemperatureC = number(11)
		_, _, _, damp := bench()
		damp.HumidityPct = number(88)
		_, _, _, off := bench()
		off.Parts[0].WeighedG, off.Deviation = 22, "spilled some"
		_, _, _, old := bench()
		old.MixedAt, old.Deviation = time.Date(2026, 8, 1, 9, 0, 0, 0, time.UTC), "nothing else left"
		add(t, s, cold, damp, off, old) // mix-2 to mix-5
		add(t, s, runOf(RunStep{ReleaseStep + "-lower", "release", true}),
			&SignOff{Run: "run-1", Step: ReleaseStep + "-lower", Operator: "Kim", SignedAt: day, Skipped: true, Reason: "none left"})
		shot := func(mix string, after time.Duration, run string) *Shot {
			at := day
			if mix == "mix-5" {
				at = old.MixedAt
			}
			s := &Shot{Mould: "mould-1", Mix: mix, Run: run, Cavity: 1, PouredAt: at.Add(after), Outcome: Scrap, Operator: "Kim", PotKPa: number(300), CastingG: number(36), PredictedG: number(36)}
			return s
		}
		early := shot("mix-1", time.Minute, "")
		out := early.PouredAt.Add(2 * time.Hour)
		early.DemouldedAt = &out
		recs := []Record{shot("mix-1", time.Minute, ""), shot("mix-1", 590*time.Second, ""), shot("mix-2", time.Minute, ""), shot("mix-3", time.Minute, ""),
			shot("mix-4", time.Minute, ""), shot("mix-5", time.Minute, ""), shot("mix-1", time.Minute, "run-1"), early}
		add(t, s, recs...)
		good := JobFacts{MinDraftDeg: number(2), UndercutDepthMM: number(0), TrappedMM3: number(0), LineOnShowMM: number(0), DemouldS: number(36000)}
		air, under := good, good
		air.TrappedMM3, under.UndercutDepthMM = number(120), number(1.2)
		for _, c := range []struct {
			shot, defect string
			facts        JobFacts
			want, says   string
		}{
			{"shot-1", "void", air, "trapped-air", "120 mm³ of air"},
			{"shot-1", "stuck", under, "undercut", "undercut by 1.2 mm"},
			{"shot-2", "short", good, "late-pour", "590 s after mixing, 98 % of the pot life"},
			{"shot-3", "soft", good, "cold-cure", "mixed at 11.0 °C"},
			{"shot-4", "foam", good, "moisture", "88 % humidity"},
			{"shot-5", "tacky", good, "ratio", "off by 10 %"},
			{"shot-6", "foam", good, "old", "lot-1 was good until 2026-06-30"},
			{"shot-7", "stuck", good, "no-release", "none left, Kim"},
			{"shot-8", "torn", good, "early-demould", "taken out after 2.0 h, 20 % of the demould time"},
		} {
			got := first(t, s, c.shot, c.defect, c.facts)
			if got.Cause != c.want || !strings.Contains(strings.Join(got.For, "; "), c.says) {
				t.Errorf("%s of %s: %+v; want %s because %q", c.defect, c.shot, got, c.want, c.says)
			}
			if got.Source == "" || got.Do == "" || got.Why == "" {
				t.Errorf("%+v", got)
			}
		}
	})
}

// History speaks: a defect that comes with one mould only points at it, with the counts.
func TestHistoryPointsAtAMould(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		add(t, s, &Mould{Name: "ring 2", Job: "ring", ExpectedShots: 100})
		for i := range 12 {
			shot := &Shot{Mould: []string{"mould-1", "mould-2"}[i%2], Cavity: 1, PouredAt: day.Add(time.Duration(i) * time.Hour), Outcome: Good, Operator: "Kim"}
			if i%2 == 1 && i > 2 {
				shot.Outcome, shot.Defects = Scrap, []Defect{{"flash", "seam"}}
			}
			add(t, s, shot)
		}
		got := first(t, s, "shot-12", "flash", JobFacts{})
		if !strings.Contains(strings.Join(got.For, ";"), "mould mould-2: 5 of 6 castings have it, others 0 of 6 (by luck alone: 0.0076)") {
			t.Errorf("%+v", got) // C(6,5)·C(6,0)/C(12,5) = 6/792
		}
	})
}
