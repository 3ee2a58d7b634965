package record

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// refused writes a record that must not be taken, and gives the message.
func refused(t *testing.T, s *Store, r Record) string {
	t.Helper()
	err := s.Write(context.Background(), Entry{Operator: "Kim"}, func(tx *Tx) error { return tx.Add(r) })
	if err == nil {
		t.Fatalf("taken: %+v", r)
	}
	return err.Error()
}

func TestBadMixes(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		for name, c := range map[string]struct {
			change func(*Mix)
			want   string
		}{
			"past its date":      {func(m *Mix) { m.MixedAt = time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC) }, "lot lot-1 of A was good until 2026-06-30, and the mix is of 2026-07-01"},
			"open too long":      {func(m *Mix) { m.MixedAt = time.Date(2026, 4, 3, 8, 0, 0, 0, time.UTC) }, "lot lot-2 of B was good until 2026-04-02"},
			"another material":   {func(m *Mix) { m.Material = "epoxy" }, `lot lot-1 is of "pu", and the mix is of "epoxy"`},
			"swapped components": {func(m *Mix) { m.Parts[0].Lot, m.Parts[1].Lot = "lot-2", "lot-1" }, `lot lot-2 is of the component "B", not "A"`},
			"wrong weight":       {func(m *Mix) { m.Parts[0].WeighedG = 21 }, "the weights put the mixing ratio off by 5 %, and the material allows 3 %"},
		} {
			_, _, _, m := bench()
			c.change(m)
			msg := refused(t, s, m)
			if !strings.Contains(msg, c.want) || !strings.Contains(msg, "give the reason") {
				t.Errorf("%s: %s", name, msg)
			}
			_, _, _, m = bench()
			c.change(m)
			m.Deviation = "tested in a cup, cures well"
			add(t, s, m)
		}
		for name, c := range map[string]struct {
			change func(*Mix)
			want   string
		}{
			"unknown lot":     {func(m *Mix) { m.Parts[0].Lot = "lot-9" }, `there is no lot "lot-9"`},
			"negative weight": {func(m *Mix) { m.Parts[0].WeighedG = -1 }, "it is -1 g"},
			"kg for g":        {func(m *Mix) { m.Parts[0].AskedG = 0 }, "it is 0 g"},
			"no components":   {func(m *Mix) { m.Parts = nil }, "no components"},
			"fahrenheit":      {func(m *Mix) { m.TemperatureC = number(451) }, "check the value and its unit"},
			"nobody":          {func(m *Mix) { m.Operator = " " }, "say who mixed"},
			"not text":        {func(m *Mix) { m.Notes = "a\x00b" }, "bytes that are no letters"},
		} {
			_, _, _, m := bench()
			c.change(m)
			m.Deviation = "a reason does not help here"
			if msg := refused(t, s, m); !strings.Contains(msg, c.want) {
				t.Errorf("%s: %s", name, msg)
			}
		}
		read(t, s, func(r *Reader) error { return r.Verify() })
	})
}

// The ratio's error against a hand calculation: 20 and 10 asked, 20.4 and 10 weighed is 2 % off.
func TestRatioError(t *testing.T) {
	m := Mix{Parts: []MixPart{{"A", "1", 12, 12.4}, {"A", "2", 8, 8}, {"B", "3", 10, 10}}}
	if e := m.RatioErrorPct(); e < 1.999999 || e > 2.000001 {
		t.Errorf("%g %%", e)
	}
}

func runOf(steps ...RunStep) *Run {
	return &Run{Job: "ring", Mould: "mould-1", StartedAt: day, Operator: "Kim", Steps: steps}
}

// A hard stop cannot be passed: neither by signing what follows, nor by recording the casting, nor by
// skipping it without a reason; and a reason is kept with the name.
func TestHardStops(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		add(t, s, runOf(RunStep{"clean", "clean the halves", false}, RunStep{"release-lower", "release on the lower half", true}, RunStep{"release-upper", "release on the upper half", true},
			RunStep{"pour", "pour", false}))
		sign := func(step string) *SignOff {
			return &SignOff{Run: "run-1", Step: step, Operator: "Kim", SignedAt: day}
		}
		msg := refused(t, s, sign("pour"))
		if !strings.Contains(msg, "release on the lower half") || !strings.Contains(msg, "release on the upper half") {
			t.Errorf("%s", msg)
		}
		skip := sign("release-lower")
		skip.Skipped = true
		if msg := refused(t, s, skip); !strings.Contains(msg, "only with a reason") {
			t.Errorf("%s", msg)
		}
		skip.Operator, skip.Reason = "", "dry"
		if msg := refused(t, s, skip); !strings.Contains(msg, "needs a name") {
			t.Errorf("%s", msg)
		}
		shot := &Shot{Mould: "mould-1", Run: "run-1", Cavity: 1, PouredAt: day, Outcome: Good, Operator: "Kim"}
		if msg := refused(t, s, shot); !strings.Contains(msg, "waits for hard stops") {
			t.Errorf("%s", msg)
		}
		skip = sign("release-lower")
		skip.Skipped, skip.Reason = true, "coated an hour ago, still wet"
		add(t, s, skip, sign("release-upper"), sign("pour")) // what is not hard may stay open: clean was not signed
		if msg := refused(t, s, sign("pour")); !strings.Contains(msg, "signed already") {
			t.Errorf("%s", msg)
		}
		if msg := refused(t, s, sign("dance")); !strings.Contains(msg, "has no step") {
			t.Errorf("%s", msg)
		}
		shot.Head = Head{}
		add(t, s, shot)
		read(t, s, func(r *Reader) error {
			signed, err := r.SignOffs("run-1")
			if err != nil || len(signed) != 3 || signed[0].Reason != "coated an hour ago, still wet" || signed[0].Operator != "Kim" || !signed[0].Skipped {
				t.Errorf("%+v, %v", signed, err)
			}
			return r.Verify()
		})
		// Not even SQL by hand can store a skipped step without a reason.
		if _, err := s.write.Exec("UPDATE sign_offs SET reason = '' WHERE skipped = 1"); err == nil {
			t.Error("the database took a skipped step without a reason")
		}
		// Nor can a correction move a sign-off to another step, or change the steps of a run.
		err := s.Write(context.Background(), Entry{Operator: "Kim", Why: "x"}, func(tx *Tx) error {
			var q SignOff
			if err := tx.Get(&q, skip.ID); err != nil {
				return err
			}
			q.Step = "clean"
			return tx.Correct(&q)
		})
		if err == nil || !strings.Contains(err.Error(), "cannot be changed") {
			t.Errorf("%v", err)
		}
	})
}

// A plan of many fillings is long; a note of that length is a slip.
func TestLongPlans(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "records.db"))
	for _, q := range []struct {
		plan, notes int
		ok          bool
	}{{600_000, 0, true}, {maxPlanBytes, maxTextBytes, true}, {maxPlanBytes + 1, 0, false}, {0, maxTextBytes + 1, false}} {
		run := &Run{Job: "ring", StartedAt: day, Operator: "Kim", Steps: []RunStep{{Step: "a", Title: "A"}}, Plan: strings.Repeat("x", q.plan), Notes: strings.Repeat("x", q.notes)}
		err := s.Write(context.Background(), Entry{Operator: "Kim"}, func(tx *Tx) error { return tx.Add(run) })
		var no *InputError
		if q.ok && err != nil || !q.ok && !errors.As(err, &no) {
			t.Errorf("a plan of %d bytes, notes of %d: %v", q.plan, q.notes, err)
		}
	}
}

func TestBadShotsAndOthers(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		before := day.Add(-time.Hour)
		for _, c := range []struct {
			r    Record
			want string
		}{
			{&Shot{Mould: "mould-9", Cavity: 1, PouredAt: day, Outcome: Good, Operator: "Kim"}, `no mould "mould-9"`},
			{&Shot{Mould: "mould-1", Mix: "mix-1", Cavity: 1, PouredAt: before, Outcome: Good, Operator: "Kim"}, "before mix-1 was mixed"},
			{&Shot{Mould: "mould-1", Cavity: 1, PouredAt: day, DemouldedAt: &before, Outcome: Good, Operator: "Kim"}, "before the pour"},
			{&Shot{Mould: "mould-1", Cavity: 0, PouredAt: day, Outcome: "fine", Operator: "Kim"}, "use good, mended, scrap or pending"},
			{&Shot{Mould: "mould-1", Cavity: 1, PouredAt: day, Outcome: Scrap, Operator: "Kim", Defects: []Defect{{Code: "ugly"}}}, "use one of: void"},
			{&Mould{Name: "x", MadeOn: "yesterday"}, "write it as 2026-03-31"},
			{&Mould{Head: Head{ID: "mould-1"}, Name: "x"}, "there is one with this id already"},
			{&Mould{Head: Head{ID: "../x"}, Name: "x"}, "the id is not usable"},
			{&Lot{Material: "pu", Component: "A", DaysOpenMax: 30}, "not marked as opened"},
			{&Photo{Shot: "shot-1", SHA256: "00", Bytes: 1}, "not kept yet"},
			{runOf(RunStep{"a", "a", true}, RunStep{"a", "b", true}), "stands twice"},
		} {
			if msg := refused(t, s, c.r); !strings.Contains(msg, c.want) {
				t.Errorf("%s; want %q", msg, c.want)
			}
		}
		if err := s.Write(context.Background(), Entry{}, func(*Tx) error { return nil }); err == nil || !strings.Contains(err.Error(), "say who") {
			t.Errorf("%v", err)
		}
		var m Mould
		err := s.Read(context.Background(), func(r *Reader) error { return r.Get(&m, "mould-7") })
		if !errors.Is(err, ErrNotFound) {
			t.Errorf("%v", err)
		}
	})
}

func pngBytes(t testing.TB, w int) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := png.Encode(&b, image.NewGray(image.Rect(0, 0, w, 2))); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestPhotos(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		add(t, s, &Shot{Mould: "mould-1", Cavity: 1, PouredAt: day, Outcome: Good, Operator: "Kim"})
		ctx := context.Background()
		want := pngBytes(t, 7)
		p, err := s.KeepPhoto(ctx, bytes.NewReader(want))
		if err != nil {
			t.Fatal(err)
		}
		p.Shot = "shot-1"
		add(t, s, &p)
		if got, err := s.PhotoBytes(p); err != nil || !bytes.Equal(got, want) || p.MediaType != "image/png" {
			t.Errorf("%v %+v", err, p)
		}
		if _, err := s.KeepPhoto(ctx, strings.NewReader("#!/bin/sh")); err == nil || !strings.Contains(err.Error(), "it is no photo") {
			t.Errorf("%v", err)
		}
		if err := os.WriteFile(s.photoPath(p.SHA256), want[:len(want)-3], 0o644); err != nil {
			t.Fatal(err)
		}
		if _, err := s.PhotoBytes(p); !errors.Is(err, ErrDamaged) {
			t.Errorf("a cut photo was read: %v", err)
		}
		if _, err := s.KeepPhoto(ctx, bytes.NewReader(want)); err != nil { // keeping it again mends the file
			t.Fatal(err)
		}
		if _, err := s.PhotoBytes(p); err != nil {
			t.Error(err)
		}
	})
}

// Life counts fillings, not castings: two cavities of one filling wear the mould once.
func TestMouldLife(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		for i := range 9 {
			for cavity := 1; cavity <= 2; cavity++ {
				add(t, s, &Shot{Mould: "mould-1", Cavity: cavity, PouredAt: day.Add(time.Duration(i) * time.Hour), Outcome: []Outcome{Good, Scrap}[i%2], Operator: "Kim"})
			}
			read(t, s, func(r *Reader) error {
				l, err := r.MouldLife("mould-1")
				if err != nil {
					return err
				}
				if l.Fillings != i+1 || l.Castings != 2*(i+1) || l.Good != 2*((i+2)/2) {
					t.Errorf("%+v", l)
				}
				if near := strings.Contains(l.Words, "plan the next mould"); near != (l.Fillings >= 8) {
					t.Errorf("after %d of 10: %s", l.Fillings, l.Words)
				}
				return nil
			})
		}
	})
}

func TestCorrectJSON(t *testing.T) {
	eachDatabase(t, func(t *testing.T, dsn string) {
		s := open(t, dsn)
		benchIn(t, s)
		for fields, want := range map[string]string{
			`{"wieght": 3}`:                     "unknown field",
			`{"parts": [{"component": "A"}]}`:   "give the lot",
			`[1]`:                               "write the fields as JSON",
			`{"temperature_c": 451}`:            "check the value and its unit",
			`{"id": "mix-7", "notes": "moved"}`: "",
			`{"parts": [{"component": "A", "lot": "lot-1", "asked_g": 5, "weighed_g": 5}]}`: "",
		} {
			err := s.Write(context.Background(), Entry{Operator: "Lee", Why: "typing error"}, func(tx *Tx) error {
				_, err := tx.CorrectJSON("mix", "mix-1", []byte(fields))
				return err
			})
			if want == "" && err != nil || want != "" && (err == nil || !strings.Contains(err.Error(), want)) {
				t.Errorf("%s: %v", fields, err)
			}
		}
		read(t, s, func(r *Reader) error {
			var m Mix
			if err := r.Get(&m, "mix-1"); err != nil || m.Notes != "moved" || len(m.Parts) != 1 || m.Rev != 3 {
				t.Errorf("%+v, %v", m, err)
			}
			return r.Verify()
		})
	})
}
