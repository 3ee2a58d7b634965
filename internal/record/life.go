package record

import (
	"fmt"
	"time"
)

// Life says how far a mould is worn.
type Life struct {
	Mould         string    `json:"mould"`
	Name          string    `json:"name"`
	Fillings      int       `json:"fillings"` // times it was filled
	Castings      int       `json:"castings"`
	Good          int       `json:"good"`
	Mended        int       `json:"mended"`
	Scrap         int       `json:"scrap"`
	Pending       int       `json:"pending"`
	ExpectedShots int       `json:"expected_shots"` // 0: not known
	LastPour      time.Time `json:"last_pour"`
	RetiredOn     Date      `json:"retired_on,omitempty"`
	Words         string    `json:"words"`
}

// nearEndShare is how much of the expected life may be used before the maker is told to plan the next
// mould (common practice, no source).
const nearEndShare = 0.8

// MouldLife counts what a mould has done against what it is expected to last.
func (r *Reader) MouldLife(id string) (Life, error) {
	var m Mould
	if err := r.load(&m, id); err != nil {
		return Life{}, err
	}
	shots, err := r.Shots(id)
	if err != nil {
		return Life{}, err
	}
	l := Life{Mould: id, Name: m.Name, ExpectedShots: m.ExpectedShots, RetiredOn: m.RetiredOn, Castings: len(shots)}
	filled := map[time.Time]bool{}
	for _, s := range shots {
		filled[s.PouredAt] = true
		if s.PouredAt.After(l.LastPour) {
			l.LastPour = s.PouredAt
		}
		switch s.Outcome {
		case Good:
			l.Good++
		case Mended:
			l.Mended++
		case Scrap:
			l.Scrap++
		case Pending:
			l.Pending++
		}
	}
	l.Fillings = len(filled)
	l.Words = l.words()
	return l, nil
}

func (l Life) words() string {
	switch left := l.ExpectedShots - l.Fillings; {
	case l.RetiredOn != "":
		return fmt.Sprintf("retired on %s after %d shots", l.RetiredOn, l.Fillings)
	case l.ExpectedShots == 0:
		return fmt.Sprintf("%d shots; how many it lasts is not known", l.Fillings)
	case left <= 0:
		return fmt.Sprintf("%d shots, %d over the %d expected: look at its edges and release before each shot, or make the next one", l.Fillings, -left, l.ExpectedShots)
	case float64(l.Fillings) >= nearEndShare*float64(l.ExpectedShots):
		return fmt.Sprintf("%d of about %d shots; plan the next mould", l.Fillings, l.ExpectedShots)
	}
	return fmt.Sprintf("%d of about %d shots", l.Fillings, l.ExpectedShots)
}
