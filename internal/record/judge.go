package record

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// judge is all that a record must satisfy before it is written: by itself, and against the others.
func (tx *Tx) judge(r Record) error {
	if err := r.check(); err != nil {
		return err
	}
	switch r := r.(type) {
	case *Mix:
		return tx.judgeMix(r)
	case *SignOff:
		return tx.judgeSignOff(r)
	case *Shot:
		return tx.judgeShot(r)
	case *Photo:
		return tx.refers(r, "shot", r.Shot, "record the casting first")
	}
	return nil
}

// refers checks that the record a field names is there.
func (tx *Tx) refers(r Record, kind, id, do string) error {
	found, err := tx.has(kind, id)
	if err != nil || found {
		return err
	}
	return &InputError{r.kind(), r.head().ID, kind, fmt.Sprintf("there is no %s %q in the records", kind, id), do}
}

// judgeMix refuses unknown lots, and what is off without a reason given.
func (tx *Tx) judgeMix(m *Mix) error {
	var off []string
	for _, p := range m.Parts {
		if err := tx.refers(m, "lot", p.Lot, "add the lot first, or correct its id"); err != nil {
			return err
		}
		var l Lot
		if err := tx.load(&l, p.Lot); err != nil {
			return err
		}
		switch {
		case l.Material != m.Material:
			off = append(off, fmt.Sprintf("lot %s is of %q, and the mix is of %q", l.ID, l.Material, m.Material))
		case l.Component != p.Component:
			off = append(off, fmt.Sprintf("lot %s is of the component %q, not %q", l.ID, l.Component, p.Component))
		}
		if last := l.LastDay(); last != "" && m.day() > last {
			off = append(off, fmt.Sprintf("lot %s of %s was good until %s, and the mix is of %s", l.ID, l.Component, last, m.day()))
		}
	}
	if e := m.RatioErrorPct(); e > m.TolerancePct*(1+1e-9) { // float noise must not refuse an error that equals the tolerance
		off = append(off, fmt.Sprintf("the weights put the mixing ratio off by %.2g %%, and the material allows %.2g %%", e, m.TolerancePct))
	}
	if len(off) > 0 && strings.TrimSpace(m.Deviation) == "" {
		return &DeviationError{m.ID, off}
	}
	return nil
}

// day is the date of the mix. Dates on labels have no time zone; the mix's time is kept in UTC, so near
// midnight the day may be one off.
func (m *Mix) day() Date { return Date(m.MixedAt.UTC().Format(dateLayout)) }

// judgeSignOff keeps the order of hard stops.
func (tx *Tx) judgeSignOff(s *SignOff) error {
	var run Run
	if err := tx.refers(s, "run", s.Run, "start the run first"); err != nil {
		return err
	}
	if err := tx.load(&run, s.Run); err != nil {
		return err
	}
	at := slices.IndexFunc(run.Steps, func(q RunStep) bool { return q.Step == s.Step })
	if at < 0 {
		return &InputError{s.kind(), s.ID, "step", fmt.Sprintf("run %s has no step %q", s.Run, s.Step), "use the ids of the run's steps"}
	}
	signed, err := tx.SignOffs(s.Run)
	if err != nil {
		return err
	}
	for _, q := range signed {
		if q.Step == s.Step && q.ID != s.ID {
			return &InputError{s.kind(), s.ID, "step", fmt.Sprintf("%q is signed already, by %s (%s)", run.Steps[at].Title, q.Operator, q.ID), "correct that sign-off if it is wrong"}
		}
	}
	return unsigned(run, signed, at, fmt.Sprintf("%q", run.Steps[at].Title))
}

// unsigned is a *HardStopError if a hard stop among the first n steps is not signed.
func unsigned(run Run, signed []SignOff, n int, before string) error {
	var open []RunStep
	for _, q := range run.Steps[:n] {
		if q.Hard && !slices.ContainsFunc(signed, func(s SignOff) bool { return s.Step == q.Step }) {
			open = append(open, q)
		}
	}
	if len(open) > 0 {
		return &HardStopError{run.ID, before, open}
	}
	return nil
}

// judgeShot checks what a casting refers to. A casting of a run is recorded only once every hard stop
// of the run is signed, except while it is still in the mould.
func (tx *Tx) judgeShot(s *Shot) error {
	if err := tx.refers(s, "mould", s.Mould, "add the mould first, or correct its id"); err != nil {
		return err
	}
	if s.Mix != "" {
		if err := tx.refers(s, "mix", s.Mix, "record the mix first, or correct its id"); err != nil {
			return err
		}
		var m Mix
		if err := tx.load(&m, s.Mix); err != nil {
			return err
		}
		if s.PouredAt.Before(m.MixedAt) {
			return &InputError{s.kind(), s.ID, "poured_at", fmt.Sprintf("it is %s, before %s was mixed at %s", s.PouredAt.Format(time.RFC3339), m.ID, m.MixedAt.Format(time.RFC3339)), "check both times"}
		}
	}
	if s.Run == "" {
		return nil
	}
	if err := tx.refers(s, "run", s.Run, "correct its id"); err != nil {
		return err
	}
	if s.Outcome == Pending {
		return nil
	}
	var run Run
	if err := tx.load(&run, s.Run); err != nil {
		return err
	}
	signed, err := tx.SignOffs(s.Run)
	if err != nil {
		return err
	}
	return unsigned(run, signed, len(run.Steps), "the casting")
}

// frozen refuses corrections that would turn a record into another one.
func frozen(old, now Record) error {
	wrong := func(field string) error {
		return &InputError{now.kind(), now.head().ID, field, "it cannot be changed", "add a new record instead"}
	}
	switch now := now.(type) {
	case *SignOff:
		if o := old.(*SignOff); o.Run != now.Run || o.Step != now.Step {
			return wrong("step")
		}
	case *Run:
		o := old.(*Run)
		if !slices.Equal(o.Steps, now.Steps) {
			return wrong("steps")
		}
		if o.Plan != now.Plan {
			return wrong("plan")
		}
	case *Photo:
		if o := old.(*Photo); o.SHA256 != now.SHA256 || o.Shot != now.Shot {
			return wrong("sha256")
		}
	}
	return nil
}
