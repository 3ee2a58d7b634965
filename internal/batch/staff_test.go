package batch

import (
	"context"
	"errors"
	"math/rand/v2"
	"strings"
	"testing"
)

// TestStaff draws people with hours and absences of their own; the checker, which reads the hours by itself,
// agrees with every plan.
func TestStaff(t *testing.T) {
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 1))
		b := large(24, 10)
		b.Operators = 1 + rng.IntN(3)
		for k := range b.Operators {
			o := Operator{Name: string(rune('A' + k))}
			if rng.IntN(2) == 0 {
				from := int64(6+rng.IntN(6)) * 3600
				o.Shifts = []Shift{{Days: workdays, From: from, To: from + int64(4+rng.IntN(5))*3600}}
			}
			if rng.IntN(2) == 0 {
				from := int64(rng.IntN(5)) * day
				o.Away = []Away{{from, from + int64(1+rng.IntN(3))*day, "away"}}
			}
			b.Staff = append(b.Staff, o)
		}
		if p, err := Make(context.Background(), b, quick); err != nil {
			t.Errorf("seed %d: %v", seed, err)
		} else if p.EndS < p.BoundS {
			t.Errorf("seed %d: ends %d s before its bound", seed, p.BoundS-p.EndS)
		}
	}
}

// TestSomeoneIsAway: with the one person away for the first two days, nothing is done by hand before the third.
func TestSomeoneIsAway(t *testing.T) {
	b := large(10, 10)
	b.Operators, b.Staff = 1, []Operator{{Name: "Kim", Away: []Away{{0, 2 * day, "ill"}}}}
	p := mustPlan(t, b, quick)
	for _, st := range p.Steps {
		if st.ByHand && st.StartS < 2*day {
			t.Fatalf("%s is done on %s", st.ID, b.Clock(st.StartS))
		}
	}
	b.Staff[0].Away = []Away{{0, int64(b.Days) * day, "gone"}}
	if _, err := Make(context.Background(), b, quick); err == nil {
		t.Error("nobody is there, and it is planned")
	} else if r := new(Refusal); !errors.As(err, &r) {
		t.Errorf("%v", err)
	}
}

const calendarOfKim = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nBEGIN:VEVENT\r\nDTSTART;VALUE=DATE:20260303\r\nDTEND;VALUE=DATE:20260305\r\nSUMMARY:a long na\r\n me\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nDTSTART;TZID=Somewhere:20260306T090000\r\nDTEND;TZID=Somewhere:20260306T103000\r\nBEGIN:VALARM\r\nTRIGGER:-PT5M\r\nSUMMARY:no\r\nEND:VALARM\r\nSUMMARY:dentist\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nDTSTART:20260309T090000Z\r\nDTEND:20260309T100000Z\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

// TestReadCalendar on the forms of RFC 5545: days, times, folded lines, alarms inside, time left free.
func TestReadCalendar(t *testing.T) {
	b := large(10, 10)
	got, err := b.parseCalendar("kim.ics", calendarOfKim)
	if err != nil {
		t.Fatal(err)
	}
	want := []Away{{day, 3 * day, "a long name"}, {4*day + 9*3600, 4*day + 10*3600 + 1800, "dentist"}}
	if len(got) != 2 || got[0] != want[0] || got[1] != want[1] {
		t.Errorf("%+v", got)
	}
	for src, words := range map[string]string{
		"hello": "no iCalendar file",
		strings.Replace(calendarOfKim, "SUMMARY:dentist", "RRULE:FREQ=DAILY\r\nSUMMARY:dentist", 1): "repeats",
		strings.Replace(calendarOfKim, "20260306T103000", "20260306T080000", 1):                     "ends before",
		strings.Replace(calendarOfKim, "20260306T103000", "soon", 1):                                "no date or time",
	} {
		if _, err := b.parseCalendar("kim.ics", src); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%v, want %q", err, words)
		}
	}
}

// TestFilesOfStaff: every person has a calendar and a row of the board, and an order says when it is ready.
func TestFilesOfStaff(t *testing.T) {
	b := large(24, 10)
	b.Operators, b.Staff = 2, []Operator{{Name: "Kim"}, {Name: "Noor", Shifts: []Shift{{Days: workdays, From: 10 * 3600, To: 19 * 3600}}}}
	for v := range b.Versions {
		b.Versions[v].Order, b.Versions[v].Priority = []string{"first", "second"}[v%2], 1+v%2
	}
	p := mustPlan(t, b, quick)
	due := p.Versions[0].ReadyS - 3600 // the plan misses it by an hour
	b.Versions[0].Due = &due
	p.Orders = b.orders(p)
	if len(p.Orders) != 2 || p.Orders[0].Order != "first" || p.Orders[0].LateS != 3600 {
		t.Errorf("%+v", p.Orders)
	}
	all, kim := 0, 0
	for _, name := range []string{"Kim", "Noor"} {
		var buf strings.Builder
		if err := b.WriteCalendarOf(&buf, p, name); err != nil {
			t.Fatal(err)
		}
		n := strings.Count(buf.String(), "DTEND:")
		if all += n; name == "Kim" {
			kim = n
		}
	}
	if kim == 0 || all == kim {
		t.Errorf("%d entries of %d are Kim's", kim, all)
	}
	var board strings.Builder
	if err := b.WriteGantt(&board, p); err != nil || !strings.Contains(board.String(), "Kim") || !strings.Contains(board.String(), "Noor") {
		t.Errorf("the board has no row for each person (%v)", err)
	}
}

// TestSignedStepsMoveThePlan: a pour that was signed and not put down as a casting yet is a filling all the same.
func TestSignedStepsMoveThePlan(t *testing.T) {
	s := recorded(t)
	b := recordBench(t)
	p := mustPlan(t, b, quick)
	signedPour(t, s, ringIDs[0], "2026-03-02 09:40")
	h, err := fromRecords(t, s, recordBench(t), p, "2026-03-02 12:00")
	if err != nil || h == nil {
		t.Fatalf("%v %v", h, err)
	}
	poured := 0
	for _, st := range h.Steps {
		if strings.HasSuffix(st.ID, "/"+stepPour) {
			poured++
			if st.StartS != 9*3600+40*60 {
				t.Errorf("poured at %d s", st.StartS)
			}
		}
	}
	if poured != 1 {
		t.Errorf("%d pours happened", poured)
	}
}
