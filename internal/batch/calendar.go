package batch

import (
	"slices"
	"sort"

	"mouldwright/internal/batch/finite"
)

const day = int64(86400)

// windows are the operators' shifts over the days of the plan, in order; shifts that touch are one.
func (b *Bench) windows() []finite.Window {
	out := []finite.Window{}
	for d := range int64(b.Days) {
		date := b.at(d * day)
		closed := slices.ContainsFunc(b.Closed, date.Equal)
		var today []finite.Window
		for _, s := range b.Shifts {
			if !closed && slices.Contains(s.Days, date.Weekday()) {
				today = append(today, finite.Window{From: d*day + s.From, To: d*day + s.To})
			}
		}
		sort.Slice(today, func(i, j int) bool { return today[i].From < today[j].From })
		for _, w := range today {
			if n := len(out); n > 0 && out[n-1].To >= w.From {
				out[n-1].To = max(out[n-1].To, w.To)
			} else {
				out = append(out, w)
			}
		}
	}
	return out
}

// hours answers questions about open time; it remembers nothing of what is planned.
type hours struct {
	windows []finite.Window
	horizon int64
}

// fit is the earliest start, not before from, of s seconds inside one window; past the last window it
// is the horizon.
func (h hours) fit(from, s int64) int64 {
	if s == 0 {
		return from
	}
	k := sort.Search(len(h.windows), func(k int) bool { return h.windows[k].To > from })
	for ; k < len(h.windows); k++ {
		if t := max(from, h.windows[k].From); t+s <= h.windows[k].To {
			return t
		}
	}
	return h.horizon
}

// after is the earliest moment by which the given open seconds have passed.
func (h hours) after(s int64) int64 {
	if s <= 0 {
		return 0
	}
	for _, w := range h.windows {
		if s <= w.To-w.From {
			return w.From + s
		}
		s -= w.To - w.From
	}
	return h.horizon
}

// longest is the longest window.
func (h hours) longest() (s int64) {
	for _, w := range h.windows {
		s = max(s, w.To-w.From)
	}
	return s
}
