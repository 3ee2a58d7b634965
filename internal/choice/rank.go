package choice

import (
	"cmp"
	"fmt"
	"slices"
)

// showFlashSlackMM: less flash than this on a show face is rounding of the line's estimate.
const showFlashSlackMM = 0.5

func (r *Row) onShow() bool { return r.ShowFlashMM > showFlashSlackMM }

// Locks says that the way does not open because something is held; else one that does not open does not
// suit the part, or no sound mould came of it.
func (r *Row) Locks() bool { return !r.Opens && r.Release != nil && !r.Release.Releases }

// verdict says in a line how it stands.
func (r *Row) verdict() string {
	switch {
	case r.Basis == Tried:
		return "makes no sound mould (tried)"
	case r.Locks():
		return fmt.Sprintf("locks (%s)", r.Basis)
	case !r.Opens:
		return fmt.Sprintf("does not suit the part (%s)", r.Basis)
	case r.onShow():
		return fmt.Sprintf("opens, but leaves %.0f mm of flash on show faces (%s)", r.ShowFlashMM, r.Basis)
	}
	return fmt.Sprintf("opens, show faces stay clean (%s)", r.Basis)
}

// class: what opens with clean show faces comes first, then what opens, then the rest.
func (r *Row) class() int {
	switch {
	case !r.Opens:
		return 2
	case r.onShow():
		return 1
	}
	return 0
}

// table ranks the rows: by class, then by cost; equal costs keep the simpler way first.
func (c *comparison) table() *Table {
	t := &Table{PartML: c.stances[0].volume / mm3PerML, Batch: c.opt.Batch, Prices: c.opt.Prices, Rows: slices.Clone(c.rows)}
	for _, s := range c.stances {
		t.Directions = append(t.Directions, Along{s.d, len(s.report.Undercuts), s.report.UndercutAreaMM2})
	}
	slices.SortStableFunc(t.Rows, func(a, b Row) int {
		return cmp.Or(cmp.Compare(a.class(), b.class()), cmp.Compare(a.Cost.Total, b.Cost.Total))
	})
	for i := range t.Rows {
		t.Rows[i].Rank = i + 1
	}
	best := &t.Rows[0]
	if !best.Opens {
		t.Why = "No way to mould the part opens: look at the reasons below, or cast it in more than one piece."
		return t
	}
	t.Best = best.Key
	t.Why = fmt.Sprintf("Best: %s (%s). It %s.", best.Name, best.Basis, whyBest(t.Rows))
	return t
}

// whyBest compares the best with the simpler ways that it beats, and with the next.
func whyBest(rows []Row) string {
	best := &rows[0]
	words := "opens, its show faces stay clean"
	if best.onShow() {
		words = fmt.Sprintf("opens; every way that opens leaves flash on show faces, this one %.0f mm", best.ShowFlashMM)
	}
	for _, f := range families {
		if f.key == best.Key {
			break
		}
		for i := range rows {
			r := &rows[i]
			switch {
			case r.Key != f.key:
			case r.Basis == Tried:
				words += fmt.Sprintf("; %s makes no sound mould", f.name)
			case r.Locks():
				words += fmt.Sprintf("; %s would lock", f.name)
			case !r.Opens:
				words += fmt.Sprintf("; %s does not suit the part", f.name)
			case r.onShow() && !best.onShow():
				words += fmt.Sprintf("; %s would leave %.0f mm of flash on show faces", f.name, r.ShowFlashMM)
			default:
				words += fmt.Sprintf("; %s costs more", f.name)
			}
		}
	}
	if len(rows) > 1 && rows[1].class() == best.class() {
		words += fmt.Sprintf("; next is %s, which costs %.0f %% more", rows[1].Name, 100*(rows[1].Cost.Total/best.Cost.Total-1))
		if rows[1].Cost.Total*(1-rows[1].Cost.ErrorPct/100) < best.Cost.Total {
			words += ", less than the estimate's error"
		}
	}
	return words
}
