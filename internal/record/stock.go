package record

import (
	"slices"
	"sort"
	"time"
)

// LotStock is a lot with what is left of it.
type LotStock struct {
	Lot
	UsedG   float64 `json:"used_g"` // weighed out of it, as the mixes have it
	LeftG   float64 `json:"left_g"` // 0 where what it held is not known, or it is empty
	IsKnown bool    `json:"left_is_known"`
	IsPast  bool    `json:"past_its_date"`
	LastDay Date    `json:"last_day,omitempty"`
	Mixes   int     `json:"mixes"`
}

// Usable says whether something can be mixed from the lot.
func (l *LotStock) Usable() bool { return l.IsKnown && l.LeftG > 0 && !l.IsPast }

// Stock lists every lot with what was weighed out of it and what is left on a day, in the order in which they
// are used: of a component what was opened first, then what must be used up first, then what came first.
func (r *Reader) Stock(on Date) ([]LotStock, error) {
	lots, err := r.Lots()
	if err != nil {
		return nil, err
	}
	mixes, err := r.Mixes()
	if err != nil {
		return nil, err
	}
	used, times := map[string]float64{}, map[string]int{}
	for _, m := range mixes {
		for _, p := range m.Parts {
			used[p.Lot] += p.WeighedG
			times[p.Lot]++
		}
	}
	out := make([]LotStock, 0, len(lots))
	for _, l := range lots {
		s := LotStock{Lot: l, UsedG: used[l.ID], Mixes: times[l.ID], LastDay: l.LastDay(), IsKnown: l.NetG > 0 || l.EmptiedOn != ""}
		s.IsPast = s.LastDay != "" && s.LastDay < on
		if l.EmptiedOn == "" {
			s.LeftG = max(0, l.NetG-s.UsedG)
		}
		out = append(out, s)
	}
	const late = Date("9999")
	key := func(d Date) Date {
		if d == "" {
			return late
		}
		return d
	}
	sort.SliceStable(out, func(a, b int) bool {
		x, y := &out[a], &out[b]
		switch {
		case x.Material != y.Material:
			return x.Material < y.Material
		case x.Component != y.Component:
			return x.Component < y.Component
		case key(x.OpenedOn) != key(y.OpenedOn):
			return key(x.OpenedOn) < key(y.OpenedOn)
		}
		return key(x.LastDay) < key(y.LastDay)
	})
	return out, nil
}

// Recall is all that was made from a lot.
type Recall struct {
	Lot      Lot    `json:"lot"`
	Mixes    []Mix  `json:"mixes"`
	Castings []Shot `json:"castings"`
	Good     int    `json:"good"`    // castings that may have left the shop: good or mended
	Pending  int    `json:"pending"` // still in the mould
	Scrap    int    `json:"scrap"`
}

// Recall finds the mixes that a lot went into and the castings that were poured from them, by time.
func (r *Reader) Recall(lot string) (*Recall, error) {
	out := &Recall{}
	if err := r.load(&out.Lot, lot); err != nil {
		return nil, err
	}
	mixes, err := r.Mixes()
	if err != nil {
		return nil, err
	}
	of := map[string]bool{}
	for _, m := range mixes {
		if slices.ContainsFunc(m.Parts, func(p MixPart) bool { return p.Lot == lot }) {
			out.Mixes = append(out.Mixes, m)
			of[m.ID] = true
		}
	}
	shots, err := r.Shots("")
	if err != nil {
		return nil, err
	}
	for _, s := range shots {
		if !of[s.Mix] {
			continue
		}
		out.Castings = append(out.Castings, s)
		switch s.Outcome {
		case Scrap:
			out.Scrap++
		case Pending:
			out.Pending++
		default:
			out.Good++
		}
	}
	sort.SliceStable(out.Castings, func(a, b int) bool { return out.Castings[a].PouredAt.Before(out.Castings[b].PouredAt) })
	return out, nil
}

// Today is a moment's day in its own place.
func Today(t time.Time) Date { return Date(t.Format(dateLayout)) }
