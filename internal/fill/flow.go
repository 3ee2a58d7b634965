package fill

import (
	"fmt"
	"math"
)

// Bore is a straight round channel.
type Bore struct {
	Name       string  `json:"name"`
	DiameterMM float64 `json:"diameter_mm"`
	LengthMM   float64 `json:"length_mm"`
}

// toMM3S takes mm⁴·kPa/(mPa·s·mm), the dimension of both flow laws, to mm³/s: with lengths in m and
// pressures in Pa it is 1e-12 · 1e3/(1e-3 · 1e-3) m³/s.
const toMM3S = 1e6

// airMPaS is the viscosity of air at 20 °C, mPa·s (handbook value, from memory).
const airMPaS = 0.0181

// BoreFlowMM3S is the laminar flow through a round bore, mm³/s, by the law of Hagen and Poiseuille:
// Q = π·d⁴·Δp/(128·μ·L).
func BoreFlowMM3S(b Bore, dropKPa, viscosityMPaS float64) float64 {
	return math.Pi * math.Pow(b.DiameterMM, 4) * dropKPa / (128 * viscosityMPaS * b.LengthMM) * toMM3S
}

// Tapered is the straight bore that lets through as much as a tapered one of the same length: the drop
// adds up as ∫ dz/d⁴.
func Tapered(name string, oneMM, otherMM, lengthMM float64) Bore {
	a, b := min(oneMM, otherMM), max(oneMM, otherMM)
	d := a
	if b-a > 1e-9*b {
		mean := (1/(a*a*a) - 1/(b*b*b)) / (3 * (b - a)) // of 1/d⁴
		d = math.Pow(mean, -0.25)
	}
	return Bore{name, d, lengthMM}
}

// GapFlowMM3S is the laminar flow between parallel plates, mm³/s: Q = w·h³·Δp/(12·μ·L).
func GapFlowMM3S(widthMM, gapMM, lengthMM, dropKPa, viscosityMPaS float64) float64 {
	return widthMM * math.Pow(gapMM, 3) * dropKPa / (12 * viscosityMPaS * lengthMM) * toMM3S
}

// GapTimeS is how long a front takes to run a length into an empty gap under a steady pressure: the
// gap behind it resists, so x² = h²·Δp·t/(6·μ), and t = 6·μ·L²/(h²·Δp).
func GapTimeS(gapMM, lengthMM, dropKPa, viscosityMPaS float64) float64 {
	return 6 * viscosityMPaS * lengthMM * lengthMM / (gapMM * gapMM * dropKPa) / toMM3S
}

// ReynoldsOfBore is ρ·v·d/μ; above about 2300 the flow is no longer laminar and slower than the law
// says (handbook value, from memory).
func ReynoldsOfBore(b Bore, flowMM3S, densityGML, viscosityMPaS float64) float64 {
	speed := flowMM3S / (math.Pi * b.DiameterMM * b.DiameterMM / 4) // mm/s
	return densityGML * 1000 * (speed / 1000) * (b.DiameterMM / 1000) / (viscosityMPaS / 1000)
}

const laminarReynolds = 2300

// FlowQuestion asks how long a cavity takes to fill through its sprue.
type FlowQuestion struct {
	Sprue         Bore
	Vents         []Bore
	RunnerMM3     float64 // resistance of what leads on from the sprue, 1/mm³: pressure lost = viscosity · flow · this
	CupMM         float64 // height of the resin kept in the cup, over the cavity's lowest point
	EntryMM       float64 // height of the sprue's foot over that point; a jet falls freely below it
	ViscosityMPaS float64
	DensityGML    float64 // 0 means 1.1
	// PotLifeS is the time the resin stays pourable; UsedS what mixing has taken of it.
	PotLifeS, UsedS float64
	// Share of the remaining pot life that may be used; 0 means 0.5, since the viscosity about
	// doubles on the way: common practice, no source.
	Share float64
}

// FlowAnswer is how long the fill takes.
type FlowAnswer struct {
	SecondsS   float64 `json:"seconds"`
	AllowedS   float64 `json:"allowed_seconds"`
	InTime     bool    `json:"in_time"`
	Stalls     bool    `json:"stalls"` // the cup is not above the cavity's top
	FirstMM3S  float64 `json:"first_mm3_s"`
	LastMM3S   float64 `json:"last_mm3_s"`
	AirShare   float64 `json:"air_share"` // of the resistance that is the vents'
	Reynolds   float64 `json:"reynolds"`
	NeedBoreMM float64 `json:"need_bore_mm"` // sprue that fills in the time allowed, at this length
	Words      string  `json:"words"`
}

const defaultFlowShare = 0.5

// FlowTime integrates the flow over the curve of level against volume. The head is that of the cup
// over the level, or over the sprue's foot while the level is below it; the air leaves through the
// vents by the same law, in series with the sprue.
func (r *Result) FlowTime(q FlowQuestion) (*FlowAnswer, error) {
	if q.DensityGML == 0 {
		q.DensityGML = defaultDensityGML
	}
	if q.Share == 0 {
		q.Share = defaultFlowShare
	}
	type named struct {
		name  string
		value float64
	}
	must := []named{{"the viscosity in mPa·s", q.ViscosityMPaS}, {"the density in g/mL", q.DensityGML}, {"the pot life in s", q.PotLifeS - q.UsedS}, {"the share of the pot life", q.Share}}
	if !(q.RunnerMM3 >= 0) || math.IsInf(q.RunnerMM3, 0) {
		return nil, &OptionError{"the runner's resistance in 1/mm³", q.RunnerMM3, "0 or above"}
	}
	for _, b := range append([]Bore{q.Sprue}, q.Vents...) {
		must = append(must, named{"the bore of " + b.Name + " in mm", b.DiameterMM}, named{"the length of " + b.Name + " in mm", b.LengthMM})
	}
	for _, v := range must {
		if !(v.value > 0) || math.IsInf(v.value, 0) {
			return nil, &OptionError{v.name, v.value, "above 0"}
		}
	}
	sprue := 1 / BoreFlowMM3S(q.Sprue, 1, q.ViscosityMPaS) // kPa·s/mm³
	runner := q.RunnerMM3 * q.ViscosityMPaS / toMM3S
	resin := sprue + runner
	air, open := 0.0, 0.0
	for _, v := range q.Vents {
		open += BoreFlowMM3S(v, 1, airMPaS)
	}
	if open > 0 {
		air = 1 / open
	}
	a := &FlowAnswer{AllowedS: (q.PotLifeS - q.UsedS) * q.Share, AirShare: air / (air + resin)}
	flow := func(level float64) float64 {
		return HeadKPa(q.DensityGML, q.CupMM-max(level, q.EntryMM)) / (resin + air)
	}
	r.integrate(a, flow)
	a.Reynolds = ReynoldsOfBore(q.Sprue, a.FirstMM3S, q.DensityGML, q.ViscosityMPaS)
	a.InTime = !a.Stalls && a.SecondsS <= a.AllowedS
	if !a.Stalls {
		// Time goes with the resistance; the sprue's with the fourth power of its bore.
		if spare := a.AllowedS/a.SecondsS*(resin+air) - air - runner; spare > 0 {
			a.NeedBoreMM = q.Sprue.DiameterMM * math.Pow(sprue/spare, 0.25)
		}
	}
	a.speak(q)
	return a, nil
}

// integrate adds up dV/Q along the curve; between its points the level runs straight.
func (r *Result) integrate(a *FlowAnswer, flow func(level float64) float64) {
	last := LevelPoint{}
	a.FirstMM3S = flow(0)
	for _, p := range r.Curve {
		const parts = 8
		for i := range parts {
			s := (float64(i) + 0.5) / parts
			q := flow(last.LevelMM + s*(p.LevelMM-last.LevelMM))
			if !(q > 0) {
				a.Stalls = true
				return
			}
			a.SecondsS += (p.PouredMM3 - last.PouredMM3) / parts / q
		}
		last = p
	}
	if a.LastMM3S = flow(last.LevelMM); !(a.LastMM3S > 0) {
		a.Stalls = true
	}
}

// holdup says what resists beside the sprue.
func (q FlowQuestion) holdup() string {
	if q.RunnerMM3 > 0 {
		return "the runner and its gates, or the vents, hold it back"
	}
	return "the vents hold the air back"
}

func (a *FlowAnswer) speak(q FlowQuestion) {
	switch {
	case a.Stalls:
		a.Words = fmt.Sprintf("the resin in the cup (%.1f mm) does not stand above the top of the cavity: the fill stops before it is full", q.CupMM)
		a.SecondsS = 0
		return
	case a.InTime:
		a.Words = fmt.Sprintf("fills in %.0f s; %.0f s of pot life are allowed for it", a.SecondsS, a.AllowedS)
	default:
		a.Words = fmt.Sprintf("takes %.0f s to fill, but only %.0f s of pot life are allowed for it", a.SecondsS, a.AllowedS)
		if a.NeedBoreMM > 0 {
			a.Words += fmt.Sprintf("; a sprue of %.1f mm would do", a.NeedBoreMM)
		} else {
			a.Words += "; no sprue is wide enough: " + q.holdup()
		}
	}
	if a.AirShare > 0.2 {
		a.Words += fmt.Sprintf("; %.0f %% of the resistance is air leaving through the vents", 100*a.AirShare)
	}
	if a.Reynolds > laminarReynolds {
		a.Words += fmt.Sprintf("; the flow is not laminar (Reynolds number %.0f), so this is a lower bound", a.Reynolds)
	}
}
