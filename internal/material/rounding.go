package material

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

const (
	// countSlack lets a weight that is a whole number of steps but for float noise stay on it
	// instead of going up a whole step.
	countSlack = 1e-9
	// ratioSlackPct keeps float noise from refusing an error that equals the tolerance.
	ratioSlackPct = 1e-9
)

// roundUp is each weight as a number of whole steps, upwards.
func roundUp(g []float64, step float64) []float64 {
	n := make([]float64, len(g))
	for i, w := range g {
		n[i] = max(1, math.Ceil(w/step-countSlack*(1+w/step)))
	}
	return n
}

// onStep is n steps in g.
func onStep(n, step float64) float64 { return tidy(n * step) }

// tidy takes the tail of float noise off a weight that is a whole number of steps; the finest step
// allowed is 100 times coarser than what is kept.
func tidy(g float64) float64 { return math.Round(g*1e6) / 1e6 }

// ratioErrorPct is the worst error that the counts make in the ratio of any two components: the
// largest count/exact over the smallest, less one, in %.
func ratioErrorPct(exact, counts []float64) float64 {
	lo, hi := math.Inf(1), 0.0
	for i := range exact {
		q := counts[i] / exact[i]
		lo, hi = min(lo, q), max(hi, q)
	}
	return 100 * (hi/lo - 1)
}

func minOf(v []float64) float64 {
	lo := math.Inf(1)
	for _, x := range v {
		lo = min(lo, x)
	}
	return lo
}

// RatioError says that weights on the scale's step would spoil the mixing ratio, and gives the ways
// out: a finer scale, or the next larger amounts that the same scale can weigh well enough.
type RatioError struct {
	ErrorPct, TolerancePct float64
	StepG                  float64
	FinerStepG             float64 // 0 if no usual scale is fine enough
	Larger                 []Dose  // empty if nothing up to 100 times as much works
}

func (e *RatioError) Error() string {
	var b strings.Builder
	fmt.Fprintf(&b, "weighed in steps of %g g the mixing ratio is off by %s %%, and the material allows %s %%", e.StepG, significant(e.ErrorPct), significant(e.TolerancePct))
	if e.FinerStepG > 0 {
		fmt.Fprintf(&b, "; use a scale that reads %g g", e.FinerStepG)
	}
	if len(e.Larger) > 0 {
		words := make([]string, len(e.Larger))
		for i, d := range e.Larger {
			words[i] = fmt.Sprintf("%g g of %s", d.G, d.Name)
		}
		fmt.Fprintf(&b, "; or mix more: %s", strings.Join(words, " with "))
	}
	return b.String()
}

// significant prints v to two significant digits, without an exponent.
func significant(v float64) string {
	if v >= 100 {
		return strconv.FormatFloat(v, 'f', 0, 64)
	}
	return strconv.FormatFloat(v, 'g', 2, 64)
}

// usualStepsG are the steps that scales come in.
var usualStepsG = []float64{10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001}

func (m *Material) ratioError(exact, counts []float64, step float64) *RatioError {
	e := &RatioError{ErrorPct: ratioErrorPct(exact, counts), TolerancePct: m.RatioTolerancePct, StepG: step}
	for _, s := range usualStepsG {
		if s < step && ratioErrorPct(exact, roundUp(exact, s)) <= m.RatioTolerancePct {
			e.FinerStepG = s
			break
		}
	}
	if n := m.largerCounts(exact, step); n != nil {
		for i := range n {
			e.Larger = append(e.Larger, Dose{Name: m.Components[i].Name, G: onStep(n[i], step)})
		}
	}
	return e
}

// largerCounts is the smallest mix, at least as large as exact, whose counts keep the ratio within
// tolerance when each is the nearest or next count; nil if none is found up to 100 times as much.
func (m *Material) largerCounts(exact []float64, step float64) []float64 {
	// The ratio can only be right when the smallest component sits near a whole count, so scales
	// that put it on a whole count, and just above, are all that need trying.
	least := minOf(exact)
	first := math.Ceil(least/step - countSlack)
	for n := max(1, first); n <= first+100*max(1, least/step); n++ {
		scale := n * step / least
		scaled := make([]float64, len(exact))
		for i, g := range exact {
			scaled[i] = g * scale
		}
		counts := roundUp(scaled, step)
		if ratioErrorPct(exact, counts) <= m.RatioTolerancePct {
			return counts
		}
	}
	return nil
}
