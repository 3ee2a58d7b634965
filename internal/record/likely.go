package record

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// Likely is one possible cause of a defect with what speaks for and against it.
type Likely struct {
	Cause   string   `json:"cause"`
	Words   string   `json:"words"`
	Why     string   `json:"why"`
	Do      string   `json:"do"`
	Score   float64  `json:"score"` // more is likelier; a rank, no probability
	For     []string `json:"for,omitempty"`
	Against []string `json:"against,omitempty"`
	Source  string   `json:"source"`
}

// causeSource stands by every row of the table of causes.
const causeSource = "common practice, no source"

// LikelyCauses ranks what may have caused a defect of a casting, by its own record, the job's geometry,
// and the castings of the same job before and after it.
func (r *Reader) LikelyCauses(shot, defect string, facts JobFacts) ([]Likely, error) {
	if !slices.Contains(defectCodes(), defect) {
		return nil, &InputError{"shot", shot, "defect", fmt.Sprintf("%q is not known", defect), "use one of: " + strings.Join(defectCodes(), ", ")}
	}
	e, err := r.gather(shot, defect, facts)
	if err != nil {
		return nil, err
	}
	var out []Likely
	for _, c := range causes {
		if slices.Contains(c.defects, defect) {
			out = append(out, c.weigh(e))
		}
	}
	slices.SortStableFunc(out, func(a, b Likely) int {
		switch {
		case a.Score > b.Score:
			return -1
		case a.Score < b.Score:
			return 1
		}
		return 0
	})
	return out, nil
}

// absentShare is how much of a sign's weight counts against a cause when it was looked for and not
// there: absence of a sign says less than its presence.
const absentShare = 0.4

// weigh adds a cause's signs up.
func (c cause) weigh(e *evidence) Likely {
	l := Likely{Cause: c.id, Words: c.words, Why: c.why, Do: c.do, Score: c.base, Source: causeSource}
	for _, s := range c.signs {
		sig := signals[s.signal](e)
		if !sig.known {
			continue
		}
		switch {
		case sig.strength > 0 && s.weight > 0:
			l.Score += s.weight * sig.strength
			l.For = append(l.For, sig.words)
		case sig.strength > 0: // a sign of another cause
			l.Score += s.weight * sig.strength
			l.Against = append(l.Against, sig.words)
		case s.weight > 0:
			l.Score -= absentShare * s.weight
			l.Against = append(l.Against, sig.words)
		}
	}
	l.Score = math.Round(l.Score*1000) / 1000
	return l
}

// gather reads everything about one casting, and what the job's history says of its circumstances.
func (r *Reader) gather(shot, defect string, facts JobFacts) (*evidence, error) {
	e := &evidence{facts: facts, factors: map[string]factor{}}
	if err := r.load(&e.shot, shot); err != nil {
		return nil, err
	}
	var mould Mould
	if err := r.load(&mould, e.shot.Mould); err != nil {
		return nil, err
	}
	var err error
	if e.life, err = r.MouldLife(mould.ID); err != nil {
		return nil, err
	}
	if e.shot.Run != "" {
		if e.signed, err = r.SignOffs(e.shot.Run); err != nil {
			return nil, err
		}
	}
	mixes, err := r.Mixes()
	if err != nil {
		return nil, err
	}
	byID := map[string]*Mix{}
	for i := range mixes {
		byID[mixes[i].ID] = &mixes[i]
	}
	if e.mix = byID[e.shot.Mix]; e.mix != nil {
		for _, p := range e.mix.Parts {
			var l Lot
			if err := r.load(&l, p.Lot); err != nil && !errors.Is(err, ErrNotFound) {
				return nil, err
			}
			e.lots = append(e.lots, l)
		}
	}
	shots, err := r.ShotsOfJob(mould.Job)
	if err != nil {
		return nil, err
	}
	e.compare(shots, byID, defect)
	return e, nil
}

// factor is how often a defect came with a circumstance and without it.
type factor struct {
	what               string
	bad, of, badO, ofO int // with the circumstance: bad out of of; others: badO out of ofO
	p                  float64
}

const (
	factorP    = 0.2 // chance of so uneven a split by luck, below which it counts
	factorFrom = 4   // castings with the circumstance and without it that are needed to say anything
)

// compare fills in the factors: is the defect more frequent with this casting's mould, cavity, lots or
// operator than without?
func (e *evidence) compare(shots []Shot, mixes map[string]*Mix, defect string) {
	has := func(s Shot) bool {
		return slices.ContainsFunc(s.Defects, func(d Defect) bool { return d.Code == defect })
	}
	add := func(signal, what string, with func(Shot) bool) {
		f := factor{what: what}
		for _, s := range shots {
			if s.Outcome == Pending {
				continue
			}
			n, bad := &f.ofO, &f.badO
			if with(s) {
				n, bad = &f.of, &f.bad
			}
			*n++
			if has(s) {
				*bad++
			}
		}
		if f.of+f.ofO < factorFrom || f.of == 0 || f.ofO == 0 {
			return
		}
		f.p = fisherTail(f.bad, f.of, f.badO, f.ofO)
		if old, ok := e.factors[signal]; !ok || f.p < old.p {
			e.factors[signal] = f
		}
	}
	add("factor-mould", "mould "+e.shot.Mould, func(s Shot) bool { return s.Mould == e.shot.Mould })
	add("factor-cavity", fmt.Sprintf("cavity %d", e.shot.Cavity), func(s Shot) bool { return s.Cavity == e.shot.Cavity })
	add("factor-operator", "pours by "+e.shot.Operator, func(s Shot) bool { return s.Operator == e.shot.Operator })
	if e.mix == nil {
		return
	}
	for _, p := range e.mix.Parts {
		add("factor-lot", "lot "+p.Lot, func(s Shot) bool {
			m := mixes[s.Mix]
			return m != nil && slices.ContainsFunc(m.Parts, func(q MixPart) bool { return q.Lot == p.Lot })
		})
	}
}

func (e *evidence) factor(id string) signal {
	f, ok := e.factors[id]
	if !ok {
		return signal{}
	}
	words := fmt.Sprintf("%s: %d of %d castings have it, others %d of %d (by luck alone: %.2g)", f.what, f.bad, f.of, f.badO, f.ofO, f.p)
	return signal{max(0, 1-f.p/factorP), words, true}
}

// fisherTail is the chance, if the circumstance made no difference, that at least bad of the of
// castings with it have the defect: the upper tail of the hypergeometric distribution, which is the
// one-sided exact test of a 2 × 2 table (R. A. Fisher, 1935).
func fisherTail(bad, of, badO, ofO int) float64 {
	total, defects := of+ofO, bad+badO
	p := 0.0
	for k := bad; k <= min(of, defects); k++ {
		if defects-k <= ofO {
			p += math.Exp(logChoose(of, k) + logChoose(ofO, defects-k) - logChoose(total, defects))
		}
	}
	return min(1, p)
}

func logChoose(n, k int) float64 {
	lg := func(v int) float64 { l, _ := math.Lgamma(float64(v + 1)); return l }
	return lg(n) - lg(k) - lg(n-k)
}

func daysBetween(from, to Date) (float64, bool) {
	a, err1 := time.Parse(dateLayout, string(from))
	b, err2 := time.Parse(dateLayout, string(to))
	return b.Sub(a).Hours() / 24, err1 == nil && err2 == nil
}
