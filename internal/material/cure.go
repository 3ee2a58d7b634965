package material

import (
	"fmt"
	"math"
)

// TimeAt is how long something takes at a temperature, with the range it may lie in.
type TimeAt struct {
	Seconds float64 `json:"s"`
	LowS    float64 `json:"low_s"`
	HighS   float64 `json:"high_s"`
	AtC     float64 `json:"at_c"`
	Basis   string  `json:"basis"` // how it was found
	// RuleOfThumb: only one time is known, and the rule of half the time for each 10 °C was used.
	RuleOfThumb bool `json:"rule_of_thumb"`
}

const (
	gasJPerMolK = 8.314462618 // CODATA, exact since 2019
	zeroC       = 273.15

	// ruleQ10 halves a time for each +10 °C: common practice, no source. Cures between ruleLowQ10 and
	// ruleHighQ10 are met, which gives the range.
	ruleQ10, ruleLowQ10, ruleHighQ10 = 2.0, 1.6, 2.8

	// dataErrorPct: times on data sheets are rounded, and taken on their own sample sizes.
	dataErrorPct = 15.0
	// reachC is how far beyond the known temperatures a time is given at all.
	reachC = 30.0
)

// secondPointProblem says why two times do not make a law; "" if they do or there is no second.
func secondPointProblem(first, also *Duration) string {
	switch {
	case also == nil:
		return ""
	case first == nil:
		return "a second time is given without the first"
	case first.AtC == also.AtC:
		return fmt.Sprintf("both times are at %g °C", also.AtC)
	case (first.AtC < also.AtC) != (first.Seconds > also.Seconds):
		return fmt.Sprintf("%g s at %g °C and %g s at %g °C: it would be slower when warmer", first.Seconds, first.AtC, also.Seconds, also.AtC)
	}
	return ""
}

// PotLifeAt is the pot life at the shop's temperature. Errors: the pot life is not known, or not so
// far from the temperatures it is known at.
func (m *Material) PotLifeAt(tempC float64) (TimeAt, error) {
	return timeAt(m.ID, "pot life", m.PotLife, m.PotLifeToo, tempC)
}

// DemouldAt is the demould time at a cure temperature.
func (m *Material) DemouldAt(tempC float64) (TimeAt, error) {
	return timeAt(m.ID, "demould time", m.Demould, m.DemouldToo, tempC)
}

// ActivationJPerMol is the activation energy that makes a reaction take two times at two temperatures
// (Arrhenius: rate ∝ exp(−E/RT), so E = R·ln(t1/t2) / (1/T1 − 1/T2) in kelvin).
func ActivationJPerMol(a, b Duration) float64 {
	return gasJPerMolK * math.Log(a.Seconds/b.Seconds) / (1/(a.AtC+zeroC) - 1/(b.AtC+zeroC))
}

func timeAt(id, what string, d, also *Duration, tempC float64) (TimeAt, error) {
	if d == nil {
		return TimeAt{}, fmt.Errorf("the %s of %s is not known; time a small test mix and put it in the material file", what, id)
	}
	if why := secondPointProblem(d, also); why != "" {
		return TimeAt{}, fmt.Errorf("the %s of %s: %s", what, id, why)
	}
	lo, hi := d.AtC, d.AtC
	if also != nil {
		lo, hi = min(lo, also.AtC), max(hi, also.AtC)
	}
	if !(tempC >= lo-reachC && tempC <= hi+reachC) {
		known := fmt.Sprintf("at %g °C", lo)
		if hi > lo {
			known = fmt.Sprintf("from %g to %g °C", lo, hi)
		}
		return TimeAt{}, fmt.Errorf("the %s of %s at %g °C cannot be told: it is known %s, and is given within %g °C of that; time a test mix at that temperature", what, id, tempC, known, reachC)
	}
	if also != nil {
		e := ActivationJPerMol(*d, *also)
		s := d.Seconds * math.Exp(e/gasJPerMolK*(1/(tempC+zeroC)-1/(d.AtC+zeroC)))
		return TimeAt{Seconds: s, LowS: s * (1 - dataErrorPct/100), HighS: s * (1 + dataErrorPct/100), AtC: tempC,
			Basis: fmt.Sprintf("Arrhenius through %g s at %g °C and %g s at %g °C, activation energy %.0f kJ/mol, ± %g %%", d.Seconds, d.AtC, also.Seconds, also.AtC, e/1000, dataErrorPct)}, nil
	}
	steps := (d.AtC - tempC) / 10
	s := d.Seconds * math.Pow(ruleQ10, steps)
	a, b := d.Seconds*math.Pow(ruleLowQ10, steps), d.Seconds*math.Pow(ruleHighQ10, steps)
	return TimeAt{Seconds: s, LowS: min(a, b) * (1 - dataErrorPct/100), HighS: max(a, b) * (1 + dataErrorPct/100), AtC: tempC, RuleOfThumb: true,
		Basis: fmt.Sprintf("%g s at %g °C, halved for each +10 °C (rule of thumb; cures between 1/%g and 1/%g are met)", d.Seconds, d.AtC, ruleLowQ10, ruleHighQ10)}, nil
}

// CureShareAt is how much of a cure is done after a course of temperatures: the sum of each time over
// what the cure takes at its temperature. It reaches 1 when the casting can leave the mould.
func (m *Material) CureShareAt(course []Duration) (float64, error) {
	sum := 0.0
	for _, c := range course {
		if !(c.Seconds >= 0) {
			return 0, fmt.Errorf("a time of %g s", c.Seconds)
		}
		t, err := m.DemouldAt(c.AtC)
		if err != nil {
			return 0, err
		}
		sum += c.Seconds / t.Seconds
	}
	return sum, nil
}

// PeakRiseK is the most that a mix can warm up: all its heat stays in it, ΔT = q/c. A casting stays
// below it; a large cup comes near. ok is false where heat or heat capacity is not known.
func (m *Material) PeakRiseK() (kelvin float64, ok bool) {
	if m.HeatJPerG == 0 || m.HeatCapJPerGK == 0 {
		return 0, false
	}
	return m.HeatJPerG / m.HeatCapJPerGK, true
}
