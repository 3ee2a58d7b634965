package batch

import (
	"fmt"
	"slices"
	"sort"
	"time"

	"mouldwright/internal/batch/finite"
)

// Operator is a person at the bench.
type Operator struct {
	Name   string  // "" where the file has a number of operators alone
	Shifts []Shift // of their own; nil: the shop's
	Away   []Away
}

// Away is a time in which a person is not there.
type Away struct {
	FromS, ToS int64
	Why        string
}

// staff are the operators: those of the file by name, or as many without one.
func (b *Bench) staff() []Operator {
	if len(b.Staff) > 0 {
		return b.Staff
	}
	return make([]Operator, b.Operators)
}

// CalledBy is how operator k is called on lists.
func (b *Bench) CalledBy(k int) string {
	if k < len(b.Staff) && b.Staff[k].Name != "" {
		return b.Staff[k].Name
	}
	return fmt.Sprintf("operator %d", k+1)
}

// present are the times at which an operator works, in order and apart.
func (b *Bench) present(o *Operator) (out []finite.Window) {
	shifts := o.Shifts
	if shifts == nil {
		shifts = b.Shifts
	}
	for d := range int64(b.Days) {
		date := b.at(d * day)
		if slices.ContainsFunc(b.Closed, date.Equal) {
			continue
		}
		var today []finite.Window
		for _, s := range shifts {
			if slices.Contains(s.Days, date.Weekday()) {
				today = append(today, finite.Window{From: d*day + s.From, To: d*day + s.To})
			}
		}
		sort.Slice(today, func(i, j int) bool { return today[i].From < today[j].From })
		for _, w := range today {
			for _, part := range without(w, o.Away) {
				if n := len(out); n > 0 && out[n-1].To >= part.From {
					out[n-1].To = max(out[n-1].To, part.To)
				} else {
					out = append(out, part)
				}
			}
		}
	}
	return out
}

// without cuts absences out of a window.
func without(w finite.Window, away []Away) []finite.Window {
	out := []finite.Window{w}
	for _, a := range away {
		var left []finite.Window
		for _, p := range out {
			if a.ToS <= p.From || a.FromS >= p.To {
				left = append(left, p)
				continue
			}
			if p.From < a.FromS {
				left = append(left, finite.Window{From: p.From, To: a.FromS})
			}
			if a.ToS < p.To {
				left = append(left, finite.Window{From: a.ToS, To: p.To})
			}
		}
		out = left
	}
	return out
}

// handOverS is kept free of hand work at every moment at which somebody comes or goes while others are there.
// So no step runs across such a moment, and any that fits the number of people who are there fits one of them.
const handOverS = 1

// windows are the times at which somebody works, with how many there are, in order.
func (b *Bench) windows() []finite.Window {
	staff := b.staff()
	type change struct {
		at int64
		by int
	}
	var changes []change
	for k := range staff {
		if k > 0 && len(b.Staff) == 0 {
			break // all are alike
		}
		n := 1
		if len(b.Staff) == 0 {
			n = len(staff)
		}
		for _, w := range b.present(&staff[k]) {
			changes = append(changes, change{w.From, n}, change{w.To, -n})
		}
	}
	sort.SliceStable(changes, func(i, j int) bool { return changes[i].at < changes[j].at })
	out := []finite.Window{}
	there, since := 0, int64(0)
	for i := 0; i < len(changes); {
		at, was := changes[i].at, there
		for ; i < len(changes) && changes[i].at == at; i++ {
			there += changes[i].by
		}
		if was == there {
			continue // one goes as another comes: see the hand-over below
		}
		if was > 0 && since < at {
			to := at
			if there > 0 {
				to -= handOverS
			}
			out = append(out, finite.Window{From: since, To: to, Units: was})
		}
		since = at
	}
	return b.splitAtExchanges(out, changesAt(b, staff))
}

// changesAt lists every moment at which somebody comes or goes.
func changesAt(b *Bench, staff []Operator) (out []int64) {
	if len(b.Staff) == 0 {
		return nil
	}
	for k := range staff {
		for _, w := range b.present(&staff[k]) {
			out = append(out, w.From, w.To)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// splitAtExchanges parts windows at moments at which one goes as another comes, so that the number stays.
func (b *Bench) splitAtExchanges(ws []finite.Window, at []int64) []finite.Window {
	if len(at) == 0 {
		return ws
	}
	var out []finite.Window
	k := 0
	for _, w := range ws {
		for k < len(at) && at[k] <= w.From {
			k++
		}
		for i := k; i < len(at) && at[i] < w.To-handOverS; i++ {
			if at[i]-handOverS > w.From {
				out = append(out, finite.Window{From: w.From, To: at[i] - handOverS, Units: w.Units})
				w.From = at[i]
			}
		}
		out = append(out, w)
	}
	return out
}

// assign gives every step by hand that is still to come to somebody who is there and free, the same person
// for the steps of a load where that can be.
func (b *Bench) assign(p *Plan) error {
	staff := b.staff()
	present := make([][]finite.Window, len(staff))
	for k := range staff {
		if k > 0 && len(b.Staff) == 0 {
			present[k] = present[0]
			continue
		}
		present[k] = b.present(&staff[k])
	}
	free := make([]int64, len(staff))
	last := map[string]int{}
	for i := range p.Steps { // by start
		st := &p.Steps[i]
		if !st.ByHand || st.Done {
			continue
		}
		best := -1
		order := func(k int) bool { // whether k is better than best
			if best < 0 {
				return true
			}
			mine, known := last[st.Load]
			if known && (k == mine) != (best == mine) {
				return k == mine
			}
			return free[k] > free[best] // the one who worked last: the others stay free for longer
		}
		for k := range staff {
			if free[k] <= st.StartS && covers(present[k], st.StartS, st.EndS) && order(k) {
				best = k
			}
		}
		if best < 0 && st.EndS > st.StartS {
			return fmt.Errorf("%s: nobody is there and free from %s to %s", st.ID, b.Clock(st.StartS), b.Clock(st.EndS))
		}
		if best < 0 {
			continue
		}
		st.By = b.CalledBy(best)
		free[best] = st.EndS
		last[st.Load] = best
	}
	return nil
}

// covers says whether one window holds the whole time.
func covers(ws []finite.Window, from, to int64) bool {
	k := sort.Search(len(ws), func(k int) bool { return ws[k].To >= to })
	return k < len(ws) && ws[k].From <= from
}

// openHours are the times at which anybody works, whoever it is.
func (b *Bench) openHours() []finite.Window {
	var out []finite.Window
	for _, w := range b.windows() {
		if n := len(out); n > 0 && w.From-out[n-1].To <= handOverS {
			out[n-1].To = max(out[n-1].To, w.To)
		} else {
			out = append(out, finite.Window{From: w.From, To: w.To})
		}
	}
	return out
}

// awayDays reads a day or a span of days, such as "2026-03-04" or "2026-03-04..2026-03-06".
func (b *Bench) awayDays(first, last time.Time, why string) Away {
	return Away{int64(first.Sub(b.Start) / time.Second), int64(last.Sub(b.Start)/time.Second) + day, why}
}
