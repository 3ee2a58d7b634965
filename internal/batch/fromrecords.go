package batch

import (
	"fmt"
	"slices"
	"sort"
	"time"

	"mouldwright/internal/record"
	"mouldwright/internal/steps"
)

// HasRecords says whether the moulds of the bench have ids in the records.
func (b *Bench) HasRecords() bool {
	return slices.ContainsFunc(b.Tools, func(t Tool) bool { return len(t.MouldIDs) > 0 })
}

// FromRecords takes from the records how far the moulds are worn, into the bench, and what happened of
// the plan that was followed last. last is nil before the first plan; the history is nil when there is
// none. The bench's own clock is that of now's place. What does not agree becomes a warning of the bench.
//
// The records do not hold the colour of a casting. So the fillings of a mould are matched with the
// plan's pours into it in order; a filling that the plan has no pour for is wear alone.
func FromRecords(r *record.Reader, b *Bench, last *Plan, now time.Time) (*History, error) {
	k := &recordReader{r: r, b: b, last: last, place: now.Location(), poured: map[string]filling{}}
	k.nowS = k.seconds(now)
	if last != nil && last.Start != b.Start.Format(dateLayout) {
		return nil, fmt.Errorf("the plan that was followed starts %s, the batch now starts %s; keep the start to plan anew", last.Start, b.Start.Format(dateLayout))
	}
	if k.nowS >= int64(b.Days)*day {
		return nil, fmt.Errorf("now, %s, is after the %d days of the plan; raise days, or name another moment with --now", now.Format(momentLayout), b.Days)
	}
	for t := range b.Tools {
		if err := k.tool(&b.Tools[t]); err != nil {
			return nil, err
		}
	}
	if err := k.absences(); err != nil {
		return nil, err
	}
	if err := k.learn(); err != nil {
		return nil, err
	}
	if err := k.stock(); err != nil {
		return nil, err
	}
	if last == nil || len(k.poured) == 0 && k.nowS <= 0 {
		return nil, nil
	}
	return k.history()
}

// filling is one filling of a mould as the records have it.
type filling struct {
	atS               int64
	closedS, outS     *int64
	good, bad, inside int // castings
	nextS             int64
}

// far is later than any plan.
const far = int64(1) << 40

func (f *filling) isScrap() bool   { return f.bad > 0 && f.good+f.inside == 0 }
func (f *filling) isDecided() bool { return f.inside == 0 }

type recordReader struct {
	r      *record.Reader
	b      *Bench
	last   *Plan
	place  *time.Location
	nowS   int64
	poured map[string]filling // by the id of the pour's step in the last plan
}

func (k *recordReader) warn(format string, args ...any) {
	k.b.Warnings = append(k.b.Warnings, fmt.Sprintf(format, args...))
}

// seconds is a moment by the bench's own clock.
func (k *recordReader) seconds(t time.Time) int64 {
	l := t.In(k.place)
	return int64(time.Date(l.Year(), l.Month(), l.Day(), l.Hour(), l.Minute(), l.Second(), 0, time.UTC).Sub(k.b.Start) / time.Second)
}

// tool reads the moulds of a tool. Wear is every filling that no load of the plan stands for: those are
// counted when their loads are placed.
func (k *recordReader) tool(t *Tool) error {
	if len(t.MouldIDs) == 0 {
		return nil
	}
	used := make([]int, t.Count)
	lost := 0
	for m, id := range t.MouldIDs {
		if err := k.mould(t, m, id); err != nil {
			return err
		}
		fills, err := k.fillings(id)
		if err != nil {
			return err
		}
		before := sort.Search(len(fills), func(i int) bool { return fills[i].atS >= 0 })
		if m < len(t.Used) && t.Used[m] != before {
			k.warn("tool %q: used_shots of mould %s is %d, by the records it had %d before the batch; the records are used", t.Name, id, t.Used[m], before)
		}
		alone := k.match(t.MouldName(m), fills[before:])
		if alone > 0 {
			k.warn("mould %s: %d shots since the start of the batch are not in its plan; they count as wear alone", id, alone)
		}
		used[m] = before + alone
		for _, f := range fills[before:] {
			if !f.isScrap() {
				lost += f.bad
			}
		}
	}
	if lost > 0 {
		k.warn("tool %q: %d castings were scrap in shots that gave others; they come off the spares", t.Name, lost)
	}
	t.Used = used
	return k.others(t)
}

// mould checks that the mould is there and of the tool's job.
func (k *recordReader) mould(t *Tool, n int, id string) error {
	var m record.Mould
	if err := k.r.Get(&m, id); err != nil {
		return fmt.Errorf("tool %q, mould_ids: %w; \"mouldwright record mould\" lists the moulds", t.Name, err)
	}
	if m.RetiredOn != "" {
		if t.Broken == nil {
			t.Broken = make([]bool, t.Count)
		}
		t.Broken[n] = true
		k.warn("mould %s was retired on %s: nothing more is planned into it", id, m.RetiredOn)
	}
	if t.Job != "" && m.Job != "" && m.Job != t.Job {
		k.warn("tool %q: mould %s was made by the job %q, the tool names the job of %q", t.Name, id, m.Job, t.Job)
	}
	return nil
}

// absences takes out of the operators' hours when they are away.
func (k *recordReader) absences() error {
	list, err := k.r.Absences()
	if err != nil {
		return err
	}
	for _, a := range list {
		first, err1 := time.Parse(dateLayout, string(a.FromDay))
		last, err2 := time.Parse(dateLayout, string(a.UntilDay))
		if err1 != nil || err2 != nil {
			return fmt.Errorf("absence %s has no days that can be read", a.ID)
		}
		away := k.b.awayDays(first, last, a.Reason)
		if away.ToS <= 0 || away.FromS >= int64(k.b.Days)*day {
			continue
		}
		n := slices.IndexFunc(k.b.Staff, func(o Operator) bool { return o.Name == a.Operator })
		if n < 0 {
			k.warn("%s is away from %s to %s by the records, and is no [[operator]] of this batch; nothing was changed for it", a.Operator, a.FromDay, a.UntilDay)
			continue
		}
		k.b.Staff[n].Away = append(k.b.Staff[n].Away, away)
		k.warn("%s is away from %s to %s", a.Operator, a.FromDay, a.UntilDay)
	}
	return nil
}

// others names the moulds of the tool's job that the batch does not count, if they were poured.
func (k *recordReader) others(t *Tool) error {
	if t.Job == "" {
		return nil
	}
	shots, err := k.r.ShotsOfJob(t.Job)
	if err != nil {
		return err
	}
	n := 0
	for _, s := range shots {
		if at := k.seconds(s.PouredAt); at >= 0 && at <= k.nowS && !slices.Contains(t.MouldIDs, s.Mould) {
			n++
		}
	}
	if n > 0 {
		k.warn("tool %q: %d castings of the job %q since the start of the batch are of moulds that mould_ids does not name; they are not counted", t.Name, n, t.Job)
	}
	return nil
}

// fillings lists the fillings of a mould until now by time; castings poured at the same second are of one.
func (k *recordReader) fillings(id string) ([]filling, error) {
	shots, err := k.r.Shots(id)
	if err != nil {
		return nil, err
	}
	at := map[int64]*filling{}
	for _, s := range shots {
		sec := k.seconds(s.PouredAt)
		if sec > k.nowS {
			k.warn("mould %s: %s was poured after now; it is left out", id, s.ID)
			continue
		}
		f := at[sec]
		if f == nil {
			f = &filling{atS: sec, nextS: far}
			at[sec] = f
		}
		f.closedS, f.outS = k.later(f.closedS, s.ClosedAt), k.later(f.outS, s.DemouldedAt)
		switch s.Outcome {
		case record.Pending:
			f.inside++
		case record.Scrap:
			f.bad++
		default:
			f.good++
		}
	}
	if err := k.signed(id, shots, at); err != nil {
		return nil, err
	}
	var out []filling
	for _, f := range at {
		out = append(out, *f)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].atS < out[j].atS })
	for i := 1; i < len(out); i++ {
		out[i-1].nextS = out[i].atS
	}
	return out, nil
}

// signed adds what signed steps say about a mould: when a filling whose casting is not put down yet was poured,
// and when one that is was closed and opened.
func (k *recordReader) signed(mould string, shots []record.Shot, at map[int64]*filling) error {
	runs, err := k.r.Runs()
	if err != nil {
		return err
	}
	for i := range runs {
		run := &runs[i]
		if run.Mould != mould {
			continue
		}
		plan, err := steps.PlanOf(run)
		if err != nil || plan == nil {
			continue // it does not tell what a step was of
		}
		phase := map[string]steps.Phase{}
		for _, s := range plan.Steps {
			if s.Stage == castingStage && !s.Once {
				phase[s.ID] = s.Phase
			}
		}
		signs, err := k.r.SignOffs(run.ID)
		if err != nil {
			return err
		}
		first := map[steps.Phase]*time.Time{}
		last := map[steps.Phase]*time.Time{}
		for j := range signs {
			if s := &signs[j]; !s.Skipped && phase[s.Step] != "" {
				p := phase[s.Step]
				if first[p] == nil || s.SignedAt.Before(*first[p]) {
					first[p] = &s.SignedAt
				}
				if last[p] == nil || s.SignedAt.After(*last[p]) {
					last[p] = &s.SignedAt
				}
			}
		}
		if first[steps.Pour] == nil {
			continue
		}
		sec := k.seconds(*first[steps.Pour])
		known := slices.IndexFunc(shots, func(s record.Shot) bool { return s.Run == run.ID })
		if known >= 0 {
			sec = k.seconds(shots[known].PouredAt)
		}
		if sec > k.nowS {
			continue
		}
		f := at[sec]
		if f == nil {
			f = &filling{atS: sec, nextS: far, inside: 1}
			at[sec] = f
		}
		f.closedS, f.outS = k.later(f.closedS, last[steps.Pour]), k.later(f.outS, last[steps.Open])
	}
	return nil
}

func (k *recordReader) later(a *int64, t *time.Time) *int64 {
	if t == nil {
		return a
	}
	s := k.seconds(*t)
	if a != nil && *a > s {
		return a
	}
	return &s
}

// match gives each filling of a mould a pour of the plan: those that an earlier re-plan knew by their
// time, then the rest in order. It returns how many fillings are left.
func (k *recordReader) match(mould string, fills []filling) (left int) {
	if k.last == nil {
		return len(fills)
	}
	var pours []*Step
	known := map[int64]*Step{}
	for i := range k.last.Steps { // by start
		if s := &k.last.Steps[i]; s.Kind == stepPour && s.Mould == mould {
			pours = append(pours, s)
			if s.Done {
				known[s.StartS] = s
			}
		}
	}
	for _, f := range fills {
		if s := known[f.atS]; s != nil {
			k.poured[s.ID] = f
		}
	}
	for _, f := range fills {
		if known[f.atS] != nil {
			continue
		}
		for len(pours) > 0 {
			if _, taken := k.poured[pours[0].ID]; !taken {
				break
			}
			pours = pours[1:]
		}
		if len(pours) == 0 {
			left++
			continue
		}
		k.poured[pours[0].ID] = f
	}
	return left
}
