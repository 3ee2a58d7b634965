package batch

import (
	"math/rand/v2"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"mouldwright/internal/record"
)

var ringIDs = []string{"ring-a", "ring-b", "ring-c", "ring-d"}

// recorded opens fresh records with the demo's four moulds in them.
func recorded(t *testing.T) *record.Store {
	t.Helper()
	s, err := record.Open(t.Context(), filepath.Join(t.TempDir(), "records.db"), record.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	for _, id := range ringIDs {
		put(t, s, &record.Mould{Head: record.Head{ID: id}, Name: id, Job: "foot-ring", MadeOn: "2026-02-01"})
	}
	return s
}

func put(t *testing.T, s *record.Store, r record.Record) {
	t.Helper()
	if err := s.Write(t.Context(), record.Entry{Operator: "tester"}, func(tx *record.Tx) error { return tx.Add(r) }); err != nil {
		t.Fatal(err)
	}
}

// cast puts down a casting; at is by the bench's clock, as in "2026-03-02 09:00".
func cast(t *testing.T, s *record.Store, mould, at string, o record.Outcome) {
	t.Helper()
	put(t, s, &record.Shot{Mould: mould, Cavity: 1, PouredAt: clockTime(t, at), Outcome: o, Operator: "tester"})
}

// benchPlace is a place with another clock than UTC.
var benchPlace = time.FixedZone("bench", 2*3600)

func clockTime(t *testing.T, at string) time.Time {
	t.Helper()
	v, err := time.ParseInLocation(momentLayout, at, benchPlace)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func fromRecords(t *testing.T, s *record.Store, b *Bench, last *Plan, now string) (h *History, err error) {
	t.Helper()
	err = s.Read(t.Context(), func(r *record.Reader) (err error) {
		h, err = FromRecords(r, b, last, clockTime(t, now))
		return err
	})
	return h, err
}

func recordBench(t *testing.T) *Bench {
	b := demo(t)
	b.Tools[0].MouldIDs, b.Tools[0].Used = ringIDs, nil
	return b
}

func countPours(p *Plan) (done, scrap, all int) {
	for _, s := range p.Steps {
		if s.Kind == stepPour {
			all++
			if s.Done {
				done++
			}
			if s.Scrap {
				scrap++
			}
		}
	}
	return done, scrap, all
}

func TestRecordsWear(t *testing.T) {
	s := recorded(t)
	cast(t, s, "ring-b", "2026-02-20 09:00", record.Good)
	cast(t, s, "ring-b", "2026-02-21 09:00", record.Scrap)
	b := recordBench(t)
	h, err := fromRecords(t, s, b, nil, "2026-02-25 12:00")
	if err != nil || h != nil {
		t.Fatalf("%v, history %v", err, h)
	}
	if u := b.Tools[0].Used; len(u) != 4 || u[0] != 0 || u[1] != 2 {
		t.Errorf("used %v", u)
	}
	b = demo(t) // its file says 3, 3, 0, 0
	b.Tools[0].MouldIDs = ringIDs
	if _, err := fromRecords(t, s, b, nil, "2026-02-25 12:00"); err != nil || len(b.Warnings) != 2 || !strings.Contains(b.Warnings[0], "ring-a is 3") {
		t.Errorf("%v %q", err, b.Warnings)
	}
}

// The first load came to three of its four shots, at other times than planned and one of them scrap.
func TestRecordsReplan(t *testing.T) {
	s := recorded(t)
	b := recordBench(t)
	p := mustPlan(t, b, quick)
	_, _, planned := countPours(p)
	cast(t, s, "ring-a", "2026-03-02 09:40", record.Good)
	cast(t, s, "ring-b", "2026-03-02 09:41", record.Scrap)
	cast(t, s, "ring-c", "2026-03-02 09:41", record.Pending) // noted in one go
	opt := quick
	replan := func(last *Plan, now string) (*Bench, *Plan) {
		t.Helper()
		b := recordBench(t)
		h, err := fromRecords(t, s, b, last, now)
		if err != nil {
			t.Fatal(err)
		}
		opt.Before = h
		return b, mustPlan(t, b, opt)
	}
	b, again := replan(p, "2026-03-03 08:30")
	if done, scrap, all := countPours(again); done != 3 || scrap != 1 || all != planned+1 {
		t.Errorf("%d done, %d scrap, %d in all of %d planned", done, scrap, all, planned)
	}
	if err := Verify(b, again); err != nil {
		t.Error(err)
	}
	want := int64(9*3600 + 40*60)
	for _, st := range again.Steps {
		if st.Kind == stepPour && st.Done && st.Mould == b.Tools[0].MouldName(0) && st.StartS != want {
			t.Errorf("the pour of 09:40 is at %s", b.Clock(st.StartS))
		}
		if !st.Done && st.StartS < again.NowS && st.Kind != stepPress {
			t.Errorf("%s is planned in the past", st.ID)
		}
	}
	if len(b.Warnings) > 0 || b.Tools[0].Used[0] != 0 { // the load in the plan stands for the wear
		t.Errorf("%v %v", b.Warnings, b.Tools[0].Used)
	}
	// The next day's round is matched with the new plan; the first stays what it was.
	for _, id := range ringIDs {
		cast(t, s, id, "2026-03-04 10:00", record.Good)
	}
	_, third := replan(again, "2026-03-05 08:30")
	if done, scrap, all := countPours(third); done != 7 || scrap != 1 || all != planned+1 {
		t.Errorf("%d done, %d scrap, %d in all", done, scrap, all)
	}
	if _, same := replan(again, "2026-03-05 08:30"); len(same.Steps) != len(third.Steps) || same.EndS != third.EndS {
		t.Error("the same records gave another plan")
	}
}

// A casting that the plan has no pour for is wear, and said so.
func TestRecordsBeyondPlan(t *testing.T) {
	s := recorded(t)
	cast(t, s, "ring-a", "2026-03-02 07:00", record.Good)
	b := recordBench(t)
	if h, err := fromRecords(t, s, b, nil, "2026-03-02 07:30"); err != nil || h != nil || b.Tools[0].Used[0] != 1 || len(b.Warnings) != 1 {
		t.Errorf("%v %v %v %q", h, err, b.Tools[0].Used, b.Warnings)
	}
}

func TestRecordsBad(t *testing.T) {
	s := recorded(t)
	b := recordBench(t)
	b.Tools[0].MouldIDs = []string{"ring-a", "ring-b", "ring-c", "ring-x"}
	if _, err := fromRecords(t, s, b, nil, "2026-03-02 07:30"); err == nil || !strings.Contains(err.Error(), "ring-x") {
		t.Errorf("%v", err)
	}
	if _, err := fromRecords(t, s, recordBench(t), nil, "2027-03-02 07:30"); err == nil || !strings.Contains(err.Error(), "--now") {
		t.Errorf("%v", err)
	}
	put(t, s, &record.Mould{Head: record.Head{ID: "ring-x"}, Name: "x", MadeOn: "2026-02-01", RetiredOn: "2026-02-10"})
	if _, err := fromRecords(t, s, b, nil, "2026-03-02 07:30"); err != nil || b.Tools[0].usable() != 3 || len(b.Warnings) != 1 {
		t.Errorf("a retired mould: %v, %d usable, %q", err, b.Tools[0].usable(), b.Warnings)
	}
	p := mustPlan(t, b, quick)
	for _, st := range p.Steps {
		if st.Mould == b.Tools[0].MouldName(3) {
			t.Fatalf("%s is planned into a retired mould", st.ID)
		}
	}
}

// Whatever was put down, in whatever order and late, gives a plan that passes its check and keeps every
// filling that the plan had a pour for.
func TestRecordsAnyHistory(t *testing.T) {
	first := mustPlan(t, recordBench(t), quick)
	for seed := range uint64(20) {
		rng := rand.New(rand.NewPCG(seed, 7))
		s := recorded(t)
		start := clockTime(t, "2026-03-02 08:00")
		now := start.Add(time.Duration(rng.IntN(5*24*60)) * time.Minute)
		made := 0
		for _, id := range ringIDs {
			at := start
			for range rng.IntN(4) {
				at = at.Add(time.Duration(30+rng.IntN(36*60)) * time.Minute)
				if at.After(now) {
					break
				}
				o := []record.Outcome{record.Good, record.Mended, record.Scrap, record.Pending}[rng.IntN(4)]
				put(t, s, &record.Shot{Mould: id, Cavity: 1, PouredAt: at, Outcome: o, Operator: "tester"})
				made++
			}
		}
		b := recordBench(t)
		h, err := fromRecords(t, s, b, first, now.Format(momentLayout))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		opt := quick
		opt.Before = h
		p, err := Make(t.Context(), b, opt)
		if err != nil {
			t.Errorf("seed %d, %d fillings, now %s: %v", seed, made, now.Format(momentLayout), err)
			continue
		}
		if done, _, _ := countPours(p); done != made {
			t.Errorf("seed %d: %d of %d fillings are in the plan", seed, done, made)
		}
	}
}
