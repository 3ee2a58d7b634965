package material

import (
	"errors"
	"fmt"
	"math"
)

// BatchOptions describe the bench on which shots are mixed and poured. Zero times are taken from the
// material where it has them.
type BatchOptions struct {
	Shots int     // fillings to pour; at least 1
	CupML float64 // a cup's brim volume
	TempC float64 // of shop and components

	StirS  float64 // for one cup; 0: the material's
	DegasS float64 // for one batch of cups in the vacuum chamber; 0: the material's
	PourS  float64 // for one filling
	CloseS float64 // for one filling, until nothing moves any more

	NoDegas bool // leave degassing out, whatever the material says
}

const (
	// cupFill is how full a cup is stirred without spilling (common practice, no source).
	cupFill = 0.75
	// defaultFoamRise: thick mixes rise to several times their volume under vacuum before they
	// collapse (common practice, no source).
	defaultFoamRise = 4.0
	// defaultStirS for one cup (common practice, no source).
	defaultStirS = 90.0
	// mostCups is how many cups one person stirs for one mix (common practice, no source).
	mostCups = 4
	// maxShots keeps a slip of the finger from asking for a million mixes.
	maxShots = 10_000
)

// MixPlan is one mix: what is stirred, degassed and poured before the next is begun.
type MixPlan struct {
	Shots   int     `json:"shots"` // fillings it serves
	ML      float64 `json:"ml"`
	G       float64 `json:"g"`
	Cups    int     `json:"cups"` // each stirred by itself
	CupML   float64 `json:"ml_a_cup"`
	UsedS   float64 `json:"used_s"`  // from wetting the first cup to the last mould closed
	SpareS  float64 `json:"spare_s"` // of the pot life's low estimate
	HeadML  float64 `json:"headroom_ml"`
	NeedsML float64 `json:"foam_needs_ml"` // what a cup's contents rise to under vacuum
}

// BatchPlan is how shots are split over mixes and cups.
type BatchPlan struct {
	Mixes    []MixPlan `json:"mixes"`
	PotLife  TimeAt    `json:"pot_life"`
	FoamRise float64   `json:"foam_rise"` // 1 when not degassed
	MaxCupML float64   `json:"most_ml_a_cup"`
	Warnings []string  `json:"warnings"`
}

// CupError says that a cup is too small for what one filling takes.
type CupError struct {
	CupML, MostML, NeedML, EnoughML float64
	FoamRise                        float64
}

func (e *CupError) Error() string {
	why := fmt.Sprintf("it is stirred %g %% full at most", 100*cupFill)
	if e.FoamRise > 1 {
		why = fmt.Sprintf("the mix rises to %g times its volume under vacuum", e.FoamRise)
	}
	return fmt.Sprintf("a cup of %.0f mL takes %.0f mL of mix, because %s; one filling takes %.0f mL, and that is more cups than can be stirred and poured in time; use a cup of at least %.0f mL", e.CupML, e.MostML, why, e.NeedML, math.Ceil(e.EnoughML))
}

// PotLifeError says that the work on one filling takes longer than the mix can be poured.
type PotLifeError struct {
	ID            string
	NeedS         float64
	StirS, DegasS float64
	PotLife       TimeAt
}

func (e *PotLifeError) Error() string {
	return fmt.Sprintf("one filling of %s takes %.0f s from the first stir to the closed mould (stirring %.0f s, degassing %.0f s), and its pot life at %g °C may be as short as %.0f s; work cooler, leave out degassing, shorten the pour, or take a slower material", e.ID, e.NeedS, e.StirS, e.DegasS, e.PotLife.AtC, e.PotLife.LowS)
}

// HeatError says that one filling alone is more than may be mixed at once.
type HeatError struct {
	ID          string
	NeedG, MaxG float64
}

func (e *HeatError) Error() string {
	return fmt.Sprintf("one filling takes %.0f g of %s, and at most %.0f g may be mixed at once for its heat; pour in layers, or take a slower material", e.NeedG, e.ID, e.MaxG)
}

// PlanMixes splits shots of the given amount over mixes and cups: as few mixes as the pot life, the
// cups with their headroom for foam, and the heat allow, of sizes as even as can be. The amounts are
// conserved: the mixes' shots add up to those asked. Errors: *CupError, *PotLifeError, *HeatError.
func (m *Material) PlanMixes(shotML float64, opt BatchOptions) (*BatchPlan, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	if err := opt.check(shotML); err != nil {
		return nil, err
	}
	opt = opt.filled(m)
	life, err := m.PotLifeAt(opt.TempC)
	if err != nil {
		return nil, err
	}
	p := &BatchPlan{PotLife: life, FoamRise: 1, Warnings: []string{}}
	share := cupFill
	if opt.DegasS > 0 {
		p.FoamRise = m.FoamRise
		if p.FoamRise == 0 {
			p.FoamRise = defaultFoamRise
			p.Warnings = append(p.Warnings, fmt.Sprintf("How far %s rises under vacuum is not known: %g times is assumed. Watch the first cup.", m.ID, defaultFoamRise))
		}
		share = min(share, 1/p.FoamRise)
	}
	p.MaxCupML = opt.CupML * share
	rho := m.MixedDensity().GPerML
	fits := func(n int) bool { return m.misfit(n, shotML, rho, opt, p) == nil }
	if err := m.misfit(1, shotML, rho, opt, p); err != nil {
		return nil, err
	}
	most := 1
	for most < opt.Shots && fits(most+1) {
		most++
	}
	mixes := (opt.Shots + most - 1) / most
	for i := range mixes {
		n := opt.Shots*(i+1)/mixes - opt.Shots*i/mixes
		p.Mixes = append(p.Mixes, mixOf(n, shotML, rho, opt, p))
	}
	if life.RuleOfThumb {
		p.Warnings = append(p.Warnings, fmt.Sprintf("The pot life of %s at %g °C is a rule of thumb, %.0f s to %.0f s: time a test mix.", m.ID, opt.TempC, life.LowS, life.HighS))
	}
	if m.MaxMixG == 0 {
		p.Warnings = append(p.Warnings, fmt.Sprintf("The largest mass of %s that may be mixed at once is not known: see its data sheet.", m.ID))
	}
	return p, nil
}

func (opt BatchOptions) filled(m *Material) BatchOptions {
	if opt.StirS == 0 {
		opt.StirS = m.StirS
	}
	if opt.StirS == 0 {
		opt.StirS = defaultStirS
	}
	if opt.DegasS == 0 {
		opt.DegasS = m.DegasS
	}
	if opt.NoDegas {
		opt.DegasS = 0
	}
	return opt
}

func (opt BatchOptions) check(shotML float64) error {
	var all []error
	in := func(what string, v, lo, hi float64, unit string) {
		if !(v >= lo && v <= hi) {
			all = append(all, fmt.Errorf("%s is %g %s; it must be from %g to %g %s", what, v, unit, lo, hi, unit))
		}
	}
	in("one filling", shotML, 1e-3, 1e6, "mL")
	in("the number of shots", float64(opt.Shots), 1, maxShots, "")
	in("the cup", opt.CupML, 1, 1e5, "mL")
	in("the shop's temperature", opt.TempC, -20, 100, "°C")
	for _, t := range []struct {
		what string
		s    float64
	}{{"stirring", opt.StirS}, {"degassing", opt.DegasS}, {"pouring", opt.PourS}, {"closing", opt.CloseS}} {
		in(t.what, t.s, 0, 1e5, "s")
	}
	return errors.Join(all...)
}

// mixOf is a mix for n fillings.
func mixOf(n int, shotML, rho float64, opt BatchOptions, p *BatchPlan) MixPlan {
	ml := float64(n) * shotML
	cups := int(math.Ceil(ml/p.MaxCupML - countSlack))
	x := MixPlan{Shots: n, ML: ml, G: ml * rho, Cups: cups, CupML: ml / float64(cups)}
	// Cups are stirred one after the other and degassed together; the first one's clock runs all along.
	x.UsedS = float64(cups)*opt.StirS + opt.DegasS + float64(n)*(opt.PourS+opt.CloseS)
	x.SpareS = p.PotLife.LowS - x.UsedS
	x.NeedsML = x.CupML * p.FoamRise
	x.HeadML = opt.CupML - x.NeedsML
	return x
}

// misfit says why n fillings cannot be one mix. The low estimate of the pot life decides.
func (m *Material) misfit(n int, shotML, rho float64, opt BatchOptions, p *BatchPlan) error {
	x := mixOf(n, shotML, rho, opt, p)
	if m.MaxMixG > 0 && x.G > m.MaxMixG {
		return &HeatError{m.ID, x.G, m.MaxMixG}
	}
	if x.SpareS >= 0 && x.Cups <= mostCups {
		return nil
	}
	oneCup := x.UsedS - float64(x.Cups-1)*opt.StirS
	if x.Cups > 1 && oneCup <= p.PotLife.LowS { // with one large enough cup it would do
		return &CupError{opt.CupML, p.MaxCupML, x.ML, x.ML * opt.CupML / p.MaxCupML, p.FoamRise}
	}
	return &PotLifeError{m.ID, x.UsedS, float64(x.Cups) * opt.StirS, opt.DegasS, p.PotLife}
}

// CupFor is the smallest usual cup, in steps of 50 mL, for a filling of the given amount: stirred no
// fuller than it may be, and with headroom for foam when it is degassed.
func (m *Material) CupFor(shotML float64, degassed bool) float64 {
	room := 1 / cupFill
	if degassed {
		room = max(room, m.FoamRise)
		if m.FoamRise == 0 {
			room = defaultFoamRise
		}
	}
	return max(leastCupML, math.Ceil(shotML*room/cupStepML-countSlack)*cupStepML)
}

// Usual cups (common practice, no source).
const (
	leastCupML = 100
	cupStepML  = 50
)
