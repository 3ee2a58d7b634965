package steps

import (
	"bytes"
	"encoding/json"
	"errors"
	"math"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/record"
	"mouldwright/internal/tooling"
)

func generic(t testing.TB, id string) *material.Material {
	t.Helper()
	lib, err := material.Generic()
	if err != nil {
		t.Fatal(err)
	}
	m, err := lib.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// report is the report of a mould with the given pieces; features name pieces as package tooling does.
func report(t testing.TB, m *material.Material, family string, pieces ...job.PieceReport) *job.Report {
	t.Helper()
	shot, err := m.Shot([]material.Volume{{Name: "cavity", VolumeMM3: 24000}}, material.ShotOptions{OverfillPct: 5, CupResidueG: 3, Pigments: []material.Pigment{{Name: "paste", Pct: 1.5}}})
	if err != nil {
		t.Fatal(err)
	}
	return &job.Report{Part: job.PartReport{Name: "Ring", SizeMM: [3]float64{66, 68, 10}, VolumeMM3: 24000, ShowCount: 5, ShowMM2: 1400}, Shot: shot,
		Mould: &job.MouldReport{Family: family, LineMM: 362, LineOnShowMM: 3, Opening: "empty, the pieces part freely\nwith the casting too", Pieces: pieces,
			Ledger: []job.LedgerReport{{Name: "cavity", VolumeMM3: 24200}},
			Features: []job.FeatureReport{{Name: "B1", Kind: "bolt", Piece: "both", Words: "M5 × 20 cap screw (ISO 4762), hex nut"}, {Name: "B2", Kind: "bolt", Piece: "both", Words: "M5 × 20 cap screw (ISO 4762), hex nut"},
				{Name: "K1", Kind: "key", Piece: "both"}, {Name: "S1", Kind: "sprue", Piece: "upper"}, {Name: "V1", Kind: "vent", Piece: "upper"}, {Name: "G1", Kind: "gutter", Piece: "lower"}, {Name: "P1", Kind: "pry slot", Piece: "both"}}}}
}

func halves() []job.PieceReport {
	return []job.PieceReport{{Name: "lower half", Exit: [3]float64{0, 0, -1}}, {Name: "upper half", Exit: [3]float64{0, 0, 1}}}
}

func mustMake(t testing.TB, rep *job.Report, m *material.Material, b Bench) *Plan {
	t.Helper()
	p, err := Make(rep, m, b)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func (p *Plan) at(id string) int {
	return slices.IndexFunc(p.Steps, func(s Step) bool { return s.ID == id })
}

// inOrder wants steps to be there, one after the other.
func inOrder(t testing.TB, p *Plan, ids ...string) {
	t.Helper()
	for i := range ids[1:] {
		if a, b := p.at(ids[i]), p.at(ids[i+1]); a < 0 || b < 0 || a >= b {
			t.Errorf("%s (%d) and %s (%d) are not in order", ids[i], a, ids[i+1], b)
		}
	}
}

// say wants of each step, by its id, words that it must say and words that it must not.
func say(t testing.TB, p *Plan, words map[string][2]string) {
	t.Helper()
	for id, c := range words {
		got := strings.Join(p.Steps[p.at(id)].Words, " ")
		if !strings.Contains(got, c[0]) || strings.Contains(got, c[1]) {
			t.Errorf("%s: %s", id, got)
		}
	}
}

// checkPlan holds of every plan: ids are unique, quantities and timers make sense and have units, and
// sealing comes before release, release before the resin, weighing before pouring.
func checkPlan(t interface{ Errorf(string, ...any) }, p *Plan) {
	seen := map[string]bool{}
	last := map[Phase]int{}
	first := map[Phase]int{}
	for i, s := range p.Steps {
		if s.ID == "" || seen[s.ID] || s.Title == "" || len(s.Words) == 0 {
			t.Errorf("step %d (%q) lacks something or stands twice", i, s.ID)
		}
		seen[s.ID] = true
		for _, q := range s.Quantities {
			if q.Unit == "" || !(q.Value > 0) || q.Name == "" {
				t.Errorf("%s: %+v", s.ID, q)
			}
		}
		for _, q := range s.Timers {
			if !(q.S > 0) || q.LowS > q.S || q.HighS != 0 && q.HighS < q.S {
				t.Errorf("%s: %+v", s.ID, q)
			}
		}
		if s.Ask != nil && (s.Ask.Unit == "" || s.Ask.Words == "") {
			t.Errorf("%s asks for %+v", s.ID, s.Ask)
		}
		if s.Stage == "casting" {
			if _, ok := first[s.Phase]; !ok {
				first[s.Phase] = i
			}
			last[s.Phase] = i
		}
	}
	for _, o := range [][2]Phase{{Release, Mix}, {Release, Pour}, {Pour, Cure}, {Cure, Open}, {Open, Finish}, {Finish, Record}} {
		if last[o[0]] >= first[o[1]] {
			t.Errorf("%s is not over before %s begins", o[0], o[1])
		}
	}
}

func TestTwoHalves(t *testing.T) {
	m := generic(t, "pu-flexible")
	p := mustMake(t, report(t, m, "two rigid halves", halves()...), m, Bench{Pot: true, PotRatedKPa: 250, Vacuum: true, GrainCoats: 3})
	checkPlan(t, p)
	for _, id := range []string{"supports", "wash", "post-cure", "sand", "grain", "fit", "seal-lower-half", "release-lower-half", "release-upper-half", "bolts", "weigh", "stir", "pour", "purge-v1", "pot", "cure", "unbolt", "open", "trim", "inspect", "record"} {
		if p.at(id) < 0 {
			t.Errorf("no step %s", id)
		}
	}
	low, up := p.Steps[p.at("release-lower-half")], p.Steps[p.at("release-upper-half")]
	if !low.Hard || !up.Hard || !strings.Contains(low.Words[0], "gutter G1") || strings.Contains(low.Words[0], "sprue") || !strings.Contains(up.Words[0], "sprue S1") || !strings.Contains(up.Words[0], "vent V1") {
		t.Errorf("%+v\n%+v", low, up)
	}
	if s := p.Steps[p.at("sand")]; !strings.Contains(s.Words[0], "120, 180, 240, 320 and 400") {
		t.Errorf("%v", s.Words)
	}
	pot := p.Steps[p.at("pot")]
	if pot.Ask.Want != 250 || !strings.Contains(strings.Join(pot.Words, " "), "300 kPa are asked for, the pot is rated for 250 kPa") || len(pot.Cautions) < 3 || !pot.Hard {
		t.Errorf("%+v", pot)
	}
	// Boyle by hand: 101.325/(101.325 + 250) = 29 %.
	if !strings.Contains(pot.Quantities[0].Note, "29 %") {
		t.Errorf("%+v", pot.Quantities)
	}
	order := p.Steps[p.at("open")].Words
	if !strings.Contains(strings.Join(order, " "), "1. The upper half leaves along (0, 0, 1), straight. 2. The lower half") {
		t.Errorf("%q", order)
	}
	if w := p.Steps[p.at("inspect")]; w.Quantities[0].Value != 25 { // 24.2 mL × 1.035 g/mL = 25.05
		t.Errorf("%+v", w.Quantities)
	}
	if s := p.Steps[p.at("bolts")]; !strings.Contains(s.Title, "2 × M5 × 20") || len(s.Quantities) != 0 { // no torque without data
		t.Errorf("%+v", s)
	}
	if len(p.NeverTouch) != 3 {
		t.Errorf("%q", p.NeverTouch)
	}
}

// Whatever the pieces are called and however many fillings: every printed piece has its release as a hard
// stop before anything is weighed, and what is weighed over all mixes is fillings times one shot.
func TestEveryPieceIsReleased(t *testing.T) {
	m := generic(t, "pu-flexible")
	rapid.Check(t, func(r *rapid.T) {
		var pieces []job.PieceReport
		names := rapid.SliceOfNDistinct(rapid.StringMatching(`[a-z]{1,8} [a-z]{1,8}`), 1, 5, rapid.ID).Draw(r, "pieces")
		for _, n := range names {
			pieces = append(pieces, job.PieceReport{Name: n, Exit: [3]float64{0, 0, 1}})
		}
		rep := report(t, m, rapid.SampledFrom([]string{"two rigid halves", "something new"}).Draw(r, "family"), pieces...)
		b := Bench{Shots: rapid.IntRange(1, 40).Draw(r, "shots"), Vacuum: rapid.Bool().Draw(r, "vacuum"), TempC: rapid.Float64Range(16, 24).Draw(r, "C"), CupML: rapid.Float64Range(200, 2000).Draw(r, "cup")}
		p, err := Make(rep, m, b)
		if err != nil {
			r.Fatal(err)
		}
		checkPlan(r, p)
		for _, n := range names {
			i := p.at(record.ReleaseStep + "-" + slug(n))
			if i < 0 || !p.Steps[i].Hard {
				r.Fatalf("no hard stop to release %s", n)
			}
		}
		weighed := 0.0
		for _, s := range p.Steps {
			if strings.HasPrefix(s.ID, "weigh") {
				for _, q := range s.Quantities {
					weighed += q.Value
				}
			}
		}
		if want := rep.Shot.TotalG * float64(b.Shots); math.Abs(weighed-want) > 1e-9*want {
			r.Fatalf("%g g weighed for %d fillings of %g g", weighed, b.Shots, rep.Shot.TotalG)
		}
	})
}

// An insert is two pours: a platinum silicone against prints of photopolymer must be sealed and tested
// as a hard stop with the reason; then the resin, which parts freely from silicone.
func TestInsert(t *testing.T) {
	m, silicone := generic(t, "pu-flexible"), generic(t, "silicone-platinum")
	rep := report(t, m, tooling.InsertFamily, job.PieceReport{Name: tooling.Cradle}, job.PieceReport{Name: tooling.PatternCap, Exit: [3]float64{0, 0, 1}},
		job.PieceReport{Name: tooling.CastingCap, Exit: [3]float64{0, 0, 1}}, job.PieceReport{Name: tooling.InsertBody, Poured: true, VolumeMM3: 58000})
	rep.Pours = []job.PourReport{{Piece: tooling.InsertBody, In: []string{tooling.Cradle, tooling.PatternCap}, ML: 60}}
	rep.Mould.Features = slices.DeleteFunc(rep.Mould.Features, func(f job.FeatureReport) bool { return f.Kind == "sprue" })
	rep.Mould.Opening = ""
	rep.Mould.Stages = []string{"the pattern cap leaves the cradle: free", "the casting cap leaves the insert: free"}
	rep.Mould.Features = append(rep.Mould.Features, job.FeatureReport{Name: "F1", Kind: "fill port for the silicone", Piece: tooling.PatternCap}, job.FeatureReport{Name: "F2", Kind: "vent for the silicone", Piece: tooling.PatternCap},
		job.FeatureReport{Name: "V9", Kind: "vent", Piece: tooling.CastingCap})
	if _, err := Make(rep, m, Bench{}); err == nil || !strings.Contains(err.Error(), "needs the silicone") {
		t.Errorf("%v", err)
	}
	p := mustMake(t, rep, m, Bench{Silicone: silicone, Vacuum: true})
	checkPlan(t, p)
	seal := p.Steps[p.at("seal-pattern-cap-insert")]
	if !seal.Hard || !strings.Contains(seal.Why, "photopolymer") || !strings.Contains(seal.Title, "does not stop the cure") {
		t.Errorf("%+v", seal)
	}
	inOrder(t, p, "seal-cradle-insert", "release-cradle-insert", "weigh-insert", "cure-insert", "open-insert", "release-casting-cap", "weigh", "pour", "close", "cure", "open")
	if s := p.Steps[p.at("release-silicone-insert")]; s.Hard || s.Why == "" { // helps, but is no stop
		t.Errorf("%+v", s)
	}
	if s := p.Steps[p.at("close")]; !s.Hard || !strings.Contains(s.Title, "casting cap at an angle") {
		t.Errorf("%+v", s)
	}
	// 60 mL with 5 % over and 5 % left in the cup, 1.12 g/mL, 1:1: 60·1.05/0.95·1.12/2 = 37.1 g each.
	if q := p.Steps[p.at("weigh-insert")].Quantities; math.Abs(q[0].Value-37.15) > 0.06 {
		t.Errorf("%+v", q)
	}
	for i, id := range []string{"pour", "close", "bolts", "purge-v1", "purge-v9", "cure"} { // poured open, so its vents are shut after it is closed
		if i > 0 && p.at(id) < p.at([]string{"pour", "close", "bolts", "purge-v1", "purge-v9"}[i-1]) {
			t.Errorf("%s comes too early", id)
		}
	}
	for id, c := range map[string][2]string{ // what it must say, and what belongs to the other pour
		"pour-insert":                {"into F1 alone", "V9"},
		"purge-f2-insert":            {"runs out of F2", "V9"},
		"open-insert":                {"From the proof: the pattern cap leaves the cradle: free.", "casting cap"},
		"open":                       {"1. The casting cap leaves along (0, 0, 1), straight. Lift one edge of the casting", "pattern cap"},
		"release-pattern-cap-insert": {"fill port F1 and vent F2", "V9"},
		"release-casting-cap":        {"vent V9", "F1"},
		"release-cradle":             {"the rim around the insert", "the cavity"},
	} {
		words := strings.Join(p.Steps[p.at(id)].Words, " ")
		if !strings.Contains(words, c[0]) || strings.Contains(words, c[1]) {
			t.Errorf("%s: %s", id, words)
		}
	}
	if p.at("seal-cradle") >= 0 || p.at("seal-casting-cap") < 0 {
		t.Error("a piece is sealed once, before its first pour")
	}
	again := mustMake(t, rep, m, Bench{Silicone: silicone, Vacuum: true, Again: true})
	for _, s := range again.Steps {
		if s.Once || s.Stage == "insert" || s.Phase == Prepare {
			t.Errorf("%s is done again", s.ID)
		}
	}
}

func TestTiltAndWedge(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, "two rigid halves", halves()...)
	rep.Fill = &job.FillReport{Flat: &fill.Result{TrappedMM3: 90}, Tilted: &fill.Result{TrappedMM3: 2}, Tilt: fill.TiltChoice{TiltDeg: 12.34, Words: "raise the side toward x by 12.3°"}, Wedge: &fill.Wedge{Words: "wedge 120 × 95 mm"}}
	s := mustMake(t, rep, m, Bench{}).Steps
	set := s[slices.IndexFunc(s, func(s Step) bool { return s.ID == "set-up" })]
	if !strings.Contains(set.Title, "12.3°") || set.Ask.Want != 12.3 || !strings.Contains(strings.Join(set.Words, " "), "Stand it on its wedge 120 × 95 mm.") {
		t.Errorf("%+v", set)
	}
	f := Facts(rep, m)
	if *f.TrappedMM3 != 2 || *f.TiltDeg != 12.34 || *f.LineOnShowMM != 3 || *f.MostMixG != 1000 || f.Platinum {
		t.Errorf("%+v", f)
	}
}

// Each vent of the report is purged and plugged as a step of its own, with its place, for each mix.
func TestEveryVentIsPurged(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, "two rigid halves", halves()...)
	rep.Mould.Features = append(rep.Mould.Features, job.FeatureReport{Name: "V2", Kind: "vent", Piece: "upper", AtMM: [3]float64{12.34, -5, 9}})
	for shots, mixes := range map[int]int{1: 1, 30: 0} {
		p := mustMake(t, rep, m, Bench{Shots: shots})
		checkPlan(t, p)
		if mixes == 0 {
			mixes = len(p.Batch.Mixes)
		}
		n := 0
		for i, s := range p.Steps {
			if !strings.HasPrefix(s.ID, "purge-v2") {
				continue
			}
			if n++; !strings.Contains(s.Words[0], "At x 12.3, y -5.0 mm") || !strings.Contains(s.Words[1], "top S1 up") || !strings.HasPrefix(p.Steps[i-1].ID, "purge-v1") {
				t.Errorf("%+v", s)
			}
		}
		if n != mixes {
			t.Errorf("%d fillings: V2 is purged %d times in %d mixes", shots, n, mixes)
		}
	}
}

// The bench of the job is taken where the maker says nothing else; blasting and finer grades are choices.
func TestBenchOfTheJob(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, "two rigid halves", halves()...)
	rep.Bench = &job.BenchReport{ShopC: 19, CureC: 40, CupML: 300, CupGiven: true, Fillings: 3, Vacuum: true, PourS: 45, CloseS: 20, Printed: material.PrintedFilament, PotKPa: 351.325, MouldPerK: 9e-5,
		Thin: "Thin sections: leave it longer."}
	p := mustMake(t, rep, m, Bench{Blast: true, FinestGrit: 1000})
	checkPlan(t, p)
	if p.Shots != 3 || p.CupML != 300 || p.Batch.FoamRise != 3 || p.Batch.PotLife.AtC != 19 || p.at("wash") >= 0 {
		t.Errorf("%+v", p)
	}
	if s := p.Steps[p.at("sand")]; !strings.Contains(s.Words[0], "400, 600, 800 and 1000") {
		t.Errorf("%q", s.Words)
	}
	if p.at("blast") != p.at("sand")+1 {
		t.Error("no blasting after sanding")
	}
	if s := p.Steps[p.at("pot")]; s.Ask.Want != 250 {
		t.Errorf("%+v", s)
	}
	// By hand: the cavity grows by 9e-5·68·21 = 0.129 mm; that much longer, the casting shrinks by
	// 1.6e-4·68.129·21 = 0.229 mm.
	cure := strings.Join(p.Steps[p.at("cure")].Words, " ")
	if !strings.Contains(cure, "+0.129 mm larger and shrink 0.229 mm on cooling: -0.100 mm in all.") || !strings.Contains(cure, "Thin sections: leave it longer.") {
		t.Errorf("%s", cure)
	}
	if s := p.Steps[p.at("weigh")]; !strings.Contains(strings.Join(s.Words, " "), "under vacuum that rises to") {
		t.Errorf("%q", s.Words)
	}
	q := mustMake(t, rep, m, Bench{Shots: 1, TempC: 23, CureC: 23})
	if q.Shots != 1 || strings.Contains(strings.Join(q.Steps[q.at("cure")].Words, " "), "Size:") {
		t.Errorf("the maker's own bench does not go first: %+v", q)
	}
}

// A hollow is filled after the casting was inspected: balls, backfill with its hard stops, weight. Balls in
// the casting go in before the mould is closed, and count in its weight.
func TestBallast(t *testing.T) {
	m, fill := generic(t, "pu-flexible"), generic(t, "epoxy-2-1")
	rep := report(t, m, "two rigid halves", halves()...)
	r, err := material.BallFill(50000, 7.85, 3, 30, fill.MixedDensity().GPerML)
	if err != nil {
		t.Fatal(err)
	}
	shot, err := fill.Shot([]material.Volume{{Name: "between the balls", VolumeMM3: 1000 * r.ResinML}}, material.ShotOptions{OverfillPct: 5})
	if err != nil {
		t.Fatal(err)
	}
	tip := 61.0
	rep.Ballast = &job.BallastReport{From: "the trough", Where: "hollow", BallMM: 3, BallGPerML: 7.85, Balls: 2122, Packing: "loose", Fill: r, Used: r.Loose, Backfill: shot,
		With: job.Standing{MassG: 280, TipDeg: &tip, HighMM: 14}}
	if _, err := Make(rep, m, Bench{}); err == nil || !strings.Contains(err.Error(), "no backfill material") {
		t.Errorf("%v", err)
	}
	p := mustMake(t, rep, m, Bench{Backfill: fill, Shots: 2})
	checkPlan(t, p)
	inOrder(t, p, "inspect", "key-ballast", "fill-ballast", "weigh-ballast", "stir-ballast", "pour-ballast", "cure-ballast", "balance-ballast", "record")
	if s := p.Steps[p.at("weigh-ballast")]; !s.Hard || math.Abs(s.Ask.Want-2*shot.TotalG) > 1e-9 {
		t.Errorf("%+v", s)
	}
	if s := p.Steps[p.at("fill-ballast")]; s.Quantities[0].Value != 235.5 || s.Ask.Want != 471 { // 50 · 0.6 · 7.85, for two castings
		t.Errorf("%+v", s)
	}
	if p.Batch.Mixes[0].ML > 60 || len(p.BackfillCautions) == 0 {
		t.Error("the plan's mixes are those of the casting")
	}
	rep.Ballast.Backfill, rep.Ballast.Where = nil, "casting"
	p = mustMake(t, rep, m, Bench{})
	checkPlan(t, p)
	if a, b := p.at("balls"), p.at("bolts"); a < 0 || a >= b || p.at("fill-ballast") >= 0 {
		t.Errorf("balls at %d, bolts at %d", a, b)
	}
	if s := p.Steps[p.at("inspect")]; s.Ask.Want != 280 {
		t.Errorf("%+v", s)
	}
}

func TestSameBytes(t *testing.T) {
	m := generic(t, "epoxy-2-1")
	var before []byte
	for range 5 {
		b, err := json.Marshal(mustMake(t, report(t, m, "two rigid halves", halves()...), m, Bench{Shots: 7}))
		if err != nil {
			t.Fatal(err)
		}
		if before != nil && !bytes.Equal(before, b) {
			t.Fatal("the same job gave another plan")
		}
		before = b
	}
}

func TestErrors(t *testing.T) {
	m := generic(t, "pu-flexible")
	ok := func() *job.Report { return report(t, m, "two rigid halves", halves()...) }
	if _, err := Make(&job.Report{Refused: true}, m, Bench{}); !errors.Is(err, ErrNoMould) {
		t.Errorf("%v", err)
	}
	if _, err := Make(ok(), generic(t, "epoxy-2-1"), Bench{}); err == nil || !strings.Contains(err.Error(), `the report is of "pu-flexible"`) {
		t.Errorf("%v", err)
	}
	var life *material.PotLifeError
	if _, err := Make(ok(), m, Bench{PourS: 900}); !errors.As(err, &life) {
		t.Errorf("%v", err)
	}
	var cup *material.CupError
	if _, err := Make(ok(), m, Bench{CupML: 8}); !errors.As(err, &cup) {
		t.Errorf("%v", err)
	}
	for name, b := range map[string]Bench{"temperature": {TempC: 99}, "shots": {Shots: -1}, "printed": {Printed: "butter"}, "rating": {PotRatedKPa: -1}} {
		if _, err := Make(ok(), m, b); err == nil {
			t.Errorf("%s taken", name)
		}
	}
}

// The plan's hard stops are the record's: signing the pour before the release is refused there.
func TestPlanAsRun(t *testing.T) {
	m := generic(t, "pu-flexible")
	p := mustMake(t, report(t, m, "two rigid halves", halves()...), m, Bench{Again: true})
	s, err := record.Open(t.Context(), t.TempDir()+"/r.db", record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	now := time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)
	run, err := p.Run("", "Kim", now)
	if err != nil {
		t.Fatal(err)
	}
	add := func(r record.Record) error {
		return s.Write(t.Context(), record.Entry{Operator: "Kim"}, func(tx *record.Tx) error { return tx.Add(r) })
	}
	if err := add(run); err != nil {
		t.Fatal(err)
	}
	var kept record.Run
	if err := s.Read(t.Context(), func(r *record.Reader) error { return r.Get(&kept, run.ID) }); err != nil {
		t.Fatal(err)
	}
	if q, err := PlanOf(&kept); err != nil || !reflect.DeepEqual(q, p) {
		t.Errorf("the run kept another plan than it began with: %v", err)
	}
	var stop *record.HardStopError
	if err := add(&record.SignOff{Run: run.ID, Step: "pour", Operator: "Kim", SignedAt: now}); !errors.As(err, &stop) || len(stop.Open) != 3 { // two coats, and the weights
		t.Errorf("%v", err)
	}
	for _, q := range p.Steps {
		if err := add(&record.SignOff{Run: run.ID, Step: q.ID, Operator: "Kim", SignedAt: now}); err != nil {
			t.Errorf("%s: %v", q.ID, err)
		}
	}
}

// A mould of several cavities: each casting is weighed by itself and keeps its cavity's number.
func TestSeveralCavities(t *testing.T) {
	m := generic(t, "pu-flexible")
	rep := report(t, m, "two rigid halves", halves()...)
	rep.Mould.Cavities, rep.Mould.Ledger = 2, []job.LedgerReport{{Name: "cavity 1", VolumeMM3: 12000}, {Name: "cavity 2", VolumeMM3: 12000}}
	p := mustMake(t, rep, m, Bench{Shots: 1})
	checkPlan(t, p)
	look := p.Steps[p.at("inspect")]
	if want := math.Round(12*rep.Shot.Density.GPerML*10) / 10; look.Quantities[0].Value != want || !strings.Contains(look.Quantities[0].Name, "each of 2") {
		t.Errorf("%+v, want %g g for each of 2", look.Quantities[0], want)
	}
	for want, features := range map[string][]job.FeatureReport{
		"off the runner":     {{Name: "C1", Kind: "gate"}, {Name: "1", Kind: "cavity number"}},
		"beside the cavity":  {{Name: "1", Kind: "cavity number"}, {Name: "S1", Kind: "sprue"}, {Name: "S2", Kind: "sprue"}},
		"S1 for cavity 1":    {{Name: "S1", Kind: "sprue"}, {Name: "S2", Kind: "sprue"}},
		"by their places in": {{Name: "V1", Kind: "vent"}},
	} {
		rep.Mould.Features = features
		p := mustMake(t, rep, m, Bench{Shots: 1})
		for _, id := range []string{"trim", "record"} {
			if s := strings.Join(p.Steps[p.at(id)].Words, " "); !strings.Contains(s, "cavity number") {
				t.Errorf("%s says nothing of cavity numbers: %s", id, s)
			}
		}
		s := strings.Join(p.Steps[p.at("trim")].Words, " ")
		if !strings.Contains(s, want) || want != "off the runner" && strings.Contains(s, "runner") {
			t.Errorf("how castings are told apart: %s, want %q", s, want)
		}
	}
}
