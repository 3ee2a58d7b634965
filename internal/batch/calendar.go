package batch

import (
	"sort"

	"mouldwright/internal/batch/finite"
)

const day = int64(86400)

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
