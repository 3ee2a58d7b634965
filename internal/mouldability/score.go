package mouldability

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Term is one line of a direction's score. Points are Weight times a share of the part; less is
// better, and they add up to the candidate's Total.
type Term struct {
	Name   string
	Value  float64 // in Unit
	Unit   string
	Weight float64
	Points float64
	Words  string
}

// measures are what one direction costs, estimated at the middles of facets.
type measures struct {
	caught, lowDraft       float64 // mm² of surface
	showCaught             float64 // mm² of show faces
	showUp, showDown       float64 // mm² of show faces by half
	parting, showParting   float64 // mm
	heightMM, projectedMM2 float64
}

// whole is what the terms are shares of.
type whole struct{ areaMM2, showMM2, diagonalMM float64 }

// scoreTerms is the table behind a score. Weights are judgement (common practice, no source): an
// undercut can stop a rigid mould altogether, flash on a show face scraps a casting, the rest costs
// work. A millimetre of line on a show face weighs DefaultShowCost millimetres elsewhere.
var scoreTerms = []struct {
	name, unit string
	weight     float64
	value      func(m *measures) float64           // in unit
	share      func(m *measures, w *whole) float64 // what the weight multiplies
	words      func(m *measures, w *whole, asked float64) string
}{
	{"undercut", "mm²", 100,
		func(m *measures) float64 { return m.caught },
		func(m *measures, w *whole) float64 { return m.caught / w.areaMM2 },
		func(m *measures, w *whole, _ float64) string {
			if m.caught == 0 {
				return "nothing is caught at the middle of any facet"
			}
			return fmt.Sprintf("about %.2g %% of the surface is caught behind the part itself", 100*m.caught/w.areaMM2)
		}},
	{"undercut on show faces", "mm²", 50,
		func(m *measures) float64 { return m.showCaught },
		func(m *measures, w *whole) float64 { return share(m.showCaught, w.showMM2) },
		func(m *measures, w *whole, _ float64) string {
			return fmt.Sprintf("about %.2g %% of the show faces is caught and would rub or tear", 100*share(m.showCaught, w.showMM2))
		}},
	{"low draft", "mm²", 3,
		func(m *measures) float64 { return m.lowDraft },
		func(m *measures, w *whole) float64 { return m.lowDraft / w.areaMM2 },
		func(m *measures, w *whole, asked float64) string {
			return fmt.Sprintf("%.2g %% of the surface has less than %g° of draft and drags on the way out", 100*m.lowDraft/w.areaMM2, asked)
		}},
	{"parting line", "mm", 1,
		func(m *measures) float64 { return m.parting },
		func(m *measures, w *whole) float64 { return m.parting / math.Sqrt(w.areaMM2) },
		func(m *measures, _ *whole, _ float64) string {
			return fmt.Sprintf("about %.0f mm of flash to trim", m.parting)
		}},
	{"parting line on show faces", "mm", DefaultShowCost,
		func(m *measures) float64 { return m.showParting },
		func(m *measures, w *whole) float64 { return m.showParting / math.Sqrt(w.areaMM2) },
		func(m *measures, _ *whole, _ float64) string {
			if m.showParting == 0 {
				return "no flash on show faces"
			}
			return fmt.Sprintf("about %.0f mm of flash on show faces, which can't be trimmed unseen", m.showParting)
		}},
	{"show faces in both halves", "mm²", 2,
		func(m *measures) float64 { return min(m.showUp, m.showDown) },
		func(m *measures, w *whole) float64 { return share(min(m.showUp, m.showDown), w.showMM2) },
		func(m *measures, w *whole, _ float64) string {
			return fmt.Sprintf("%.2g %% of the show faces lies in the other half than the rest", 100*share(min(m.showUp, m.showDown), w.showMM2))
		}},
	{"mould height", "mm", 1,
		func(m *measures) float64 { return m.heightMM },
		func(m *measures, w *whole) float64 { return m.heightMM / w.diagonalMM },
		func(m *measures, _ *whole, _ float64) string {
			return fmt.Sprintf("the part stands %.1f mm tall in the mould", m.heightMM)
		}},
	{"projected area", "mm²", 0.5,
		func(m *measures) float64 { return m.projectedMM2 },
		func(m *measures, w *whole) float64 { return m.projectedMM2 / w.areaMM2 },
		func(m *measures, _ *whole, _ float64) string {
			return fmt.Sprintf("about %.0f mm² press the halves apart", m.projectedMM2)
		}},
}

func share(part, of float64) float64 {
	if of == 0 {
		return 0
	}
	return part / of
}

func total(m *measures, w *whole) (sum float64) {
	for i := range scoreTerms {
		sum += scoreTerms[i].weight * scoreTerms[i].share(m, w)
	}
	return sum
}

func explain(m *measures, w *whole, asked float64) []Term {
	out := make([]Term, len(scoreTerms))
	for i, t := range scoreTerms {
		out[i] = Term{Name: t.name, Value: t.value(m), Unit: t.unit, Weight: t.weight,
			Points: t.weight * t.share(m, w), Words: t.words(m, w, asked)}
	}
	return out
}

// seam is an edge between two facets, by their place in visibility.
type seam struct {
	a, b   int32
	length float32
	show   bool // both facets are show faces
}

// measure sums up what the sight has seen in direction d.
func (s *Searcher) measure(w *sight, d r3.Vec, lowSine float64) (m measures) {
	m.heightMM = w.heightMM
	z := toPoint(d)
	low := float32(lowSine)
	for i, facing := range w.facing {
		a := s.area[i]
		n := s.vis.normal[i]
		nz := z.x*n.x + z.y*n.y + z.z*n.z
		if w.caught[i] {
			m.caught += a
			if s.onShow[i] {
				m.showCaught += a
			}
			continue
		}
		if nz < low && nz > -low {
			m.lowDraft += a
		}
		if facing > 0 {
			m.projectedMM2 += a * float64(nz)
		}
		if s.onShow[i] && facing == 1 {
			m.showUp += a
		} else if s.onShow[i] && facing == -1 {
			m.showDown += a
		}
	}
	m.parting, m.showParting = s.measureSeams(w)
	return m
}

// measureSeams is outline over the seams of the part; see there.
func (s *Searcher) measureSeams(w *sight) (length, onShow float64) {
	var total, shown [2]float64
	for i := range s.seams {
		e := &s.seams[i]
		a, b := w.facing[e.a], w.facing[e.b]
		if a == b || w.caught[e.a] && w.caught[e.b] {
			continue
		}
		for k, side := range [2]int8{1, -1} {
			if (a == side) != (b == side) {
				total[k] += float64(e.length)
				if e.show {
					shown[k] += float64(e.length)
				}
			}
		}
	}
	if shown[1] < shown[0] || shown[1] == shown[0] && total[1] < total[0] {
		return total[1], shown[1]
	}
	return total[0], shown[0]
}
