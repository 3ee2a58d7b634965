package material

import (
	"errors"
	"fmt"
	"math"
	"strings"
)

// Volume is a named part of what one shot fills: the cavity, the sprue, the gutter.
type Volume struct {
	Name      string
	VolumeMM3 float64
}

// Pigment is a colourant weighed as a percentage, by mass, of one component or of all together.
type Pigment struct {
	Name string
	Pct  float64
	Of   string // name of the component; "" for the sum of all components
}

// FillerShare is a filler as % by mass of the whole mix: components, thinner and filler together.
type FillerShare struct {
	Filler
	Pct float64
}

// ThinnerShare is a thinner as % by mass of the components.
type ThinnerShare struct {
	Name          string
	DensityGPerML float64
	Pct           float64
}

// ShotOptions are the maker's choices; the zero value asks for exactly the volumes given, weighed
// on a scale that reads 0.1 g.
type ShotOptions struct {
	OverfillPct   float64 // extra mix, % of the volumes
	CupResidueG   float64 // mix left in the cup, g; give this or CupResiduePct, not both
	CupResiduePct float64 // mix left in the cup, % of all that is mixed
	ScaleStepG    float64 // what the scale reads to; 0 means DefaultScaleStepG
	Pigments      []Pigment
	Filler        *FillerShare  // nil for none
	Thinner       *ThinnerShare // nil for none
}

// DefaultScaleStepG is the step of the kitchen-size scales that most benches have (common practice,
// no source).
const DefaultScaleStepG = 0.1

// Use is one place that mix goes to.
type Use struct {
	Name string  `json:"name"`
	ML   float64 `json:"ml"`
	G    float64 `json:"g"`
}

// Dose is what to weigh of one component. ML is 0 when the component's density is not known.
type Dose struct {
	Name string  `json:"name"`
	G    float64 `json:"g"`
	ML   float64 `json:"ml,omitempty"`
}

// Extra is what to weigh of a filler or a thinner, which are part of the mix and of its volume.
type Extra struct {
	Kind   string  `json:"kind"` // "filler" or "thinner"
	Name   string  `json:"name"`
	G      float64 `json:"g"`
	ML     float64 `json:"ml"`
	Of     string  `json:"of"`
	Pct    float64 `json:"pct_asked"`
	GotPct float64 `json:"pct_weighed"`
	// VolumeShare of the mix and how many times thicker the mix gets by it; 0 for a thinner.
	VolumeShare float64 `json:"volume_share,omitempty"`
	Thickens    float64 `json:"thickens,omitempty"`
}

// PigmentDose is what to weigh of a pigment and the percentage that the rounded weight comes to.
type PigmentDose struct {
	Name   string  `json:"name"`
	G      float64 `json:"g"`
	Of     string  `json:"of"`
	Pct    float64 `json:"pct_asked"`
	GotPct float64 `json:"pct_weighed"`
}

// Shot is the answer: what to weigh for one filling of one mould, and where it goes. Uses sum to
// MixML and MixG; Components and Extras sum to MixG. A pigment's own volume is left out of the need, so a
// pigmented mix comes out a little over, never under.
type Shot struct {
	MaterialID string  `json:"material"`
	Name       string  `json:"material_name"`
	Typical    bool    `json:"typical_values"`
	Density    Density `json:"mixed_density"`

	Uses       []Use         `json:"uses"`
	Components []Dose        `json:"components"`
	Extras     []Extra       `json:"extras,omitempty"`
	Pigments   []PigmentDose `json:"pigments"`
	MixML      float64       `json:"mix_ml"`
	MixG       float64       `json:"mix_g"`
	TotalG     float64       `json:"total_g"` // components, extras and pigments

	ScaleStepG        float64 `json:"scale_step_g"`
	RatioErrorPct     float64 `json:"ratio_error_pct"` // worst pair of components, from rounding alone
	RatioBoundPct     float64 `json:"ratio_bound_pct"` // no rounding to this step can exceed it
	RatioTolerancePct float64 `json:"ratio_tolerance_pct"`

	PotLife  *Duration `json:"pot_life,omitempty"`
	Warnings []string  `json:"warnings"`
	Cautions []string  `json:"cautions"`
}

// Shot works out one filling. It returns a *RatioError, with the remedy, when rounding to the
// scale's step would spoil the mixing ratio.
func (m *Material) Shot(volumes []Volume, opt ShotOptions) (*Shot, error) {
	if err := m.Check(); err != nil {
		return nil, err
	}
	if opt.ScaleStepG == 0 {
		opt.ScaleStepG = DefaultScaleStepG
	}
	if err := errors.Join(checkVolumes(volumes), opt.check(m)); err != nil {
		return nil, err
	}
	r, err := m.recipe(opt)
	if err != nil {
		return nil, err
	}
	s := &Shot{MaterialID: m.ID, Name: m.Name, Typical: m.Typical, Density: r.density,
		ScaleStepG: opt.ScaleStepG, RatioTolerancePct: m.RatioTolerancePct, PotLife: m.PotLife, Cautions: m.Cautions()}
	s.addUses(volumes, opt)
	exact := m.split(s.MixG * r.components)
	counts := roundUp(exact, opt.ScaleStepG)
	s.RatioErrorPct = ratioErrorPct(exact, counts)
	s.RatioBoundPct = 100 * opt.ScaleStepG / minOf(exact)
	if s.RatioErrorPct > m.RatioTolerancePct+ratioSlackPct {
		return nil, m.ratioError(exact, counts, opt.ScaleStepG)
	}
	s.weigh(m, counts, r)
	s.addPigments(m, opt)
	s.warn(m, opt)
	s.Warnings = append(s.Warnings, r.warnings...)
	return s, s.conserved()
}

// addUses lists the volumes, the overfill and the cup's residue, and sets the mix they need.
func (s *Shot) addUses(volumes []Volume, opt ShotOptions) {
	add := func(name string, ml float64) {
		s.Uses = append(s.Uses, Use{Name: name, ML: ml, G: ml * s.Density.GPerML})
		s.MixML += ml
	}
	for _, v := range volumes {
		add(v.Name, v.VolumeMM3/1000)
	}
	if opt.OverfillPct > 0 {
		add("overfill margin", s.MixML*opt.OverfillPct/100)
	}
	if opt.CupResiduePct > 0 {
		add("left in the cup", s.MixML*opt.CupResiduePct/(100-opt.CupResiduePct))
	}
	if opt.CupResidueG > 0 {
		add("left in the cup", opt.CupResidueG/s.Density.GPerML)
	}
	s.MixG = s.MixML * s.Density.GPerML
}

// split shares totalG among the components by the ratio, unrounded.
func (m *Material) split(totalG float64) []float64 {
	parts := m.MassParts()
	var sum float64
	for _, p := range parts {
		sum += p
	}
	g := make([]float64, len(parts))
	for i, p := range parts {
		g[i] = totalG * p / sum
	}
	return g
}

// weigh sets the rounded doses, and books what rounding adds as a use.
func (s *Shot) weigh(m *Material, counts []float64, r *recipe) {
	needML, needG := s.MixML, s.MixG
	s.MixG = 0
	for i, n := range counts {
		d := Dose{Name: m.Components[i].Name, G: onStep(n, s.ScaleStepG)}
		if rho := m.Components[i].DensityGPerML; rho > 0 {
			d.ML = d.G / rho
		}
		s.Components = append(s.Components, d)
		s.MixG = tidy(s.MixG + d.G)
	}
	components := s.MixG
	for _, e := range r.extras {
		x := e.weighed(components, s.MixG, s.ScaleStepG)
		s.Extras, s.MixG = append(s.Extras, x), tidy(s.MixG+x.G)
	}
	s.MixML = s.MixG / s.Density.GPerML
	s.Uses = append(s.Uses, Use{Name: "rounding up", ML: s.MixML - needML, G: s.MixG - needG})
	s.TotalG = s.MixG
}

func (s *Shot) addPigments(m *Material, opt ShotOptions) {
	s.Pigments = []PigmentDose{}
	for _, p := range opt.Pigments {
		base, of := 0.0, "all components"
		for _, d := range s.Components {
			base += d.G
		}
		for _, d := range s.Components {
			if d.Name == p.Of {
				base, of = d.G, d.Name
			}
		}
		g := onStep(roundUp([]float64{base * p.Pct / 100}, s.ScaleStepG)[0], s.ScaleStepG)
		s.Pigments = append(s.Pigments, PigmentDose{Name: p.Name, G: g, Of: of, Pct: p.Pct, GotPct: 100 * g / base})
		s.TotalG = tidy(s.TotalG + g)
	}
}

// pigmentOffPct is how far, as % of the percentage asked, rounding may move a pigment before the
// maker is told: beyond it the colour of two shots can be seen to differ (common practice, no source).
const pigmentOffPct = 10

func (s *Shot) warn(m *Material, opt ShotOptions) {
	s.Warnings = []string{}
	say := func(format string, args ...any) { s.Warnings = append(s.Warnings, fmt.Sprintf(format, args...)) }
	if m.Typical {
		say("The values of %q are typical, not a data sheet's: put in those of the product you hold before you rely on these weights.", m.ID)
	}
	if opt.OverfillPct < s.Density.ErrorPct {
		say("The mixed density may be off by %.2g %%, and the overfill margin is %.3g %%: the mould could stay short. Set a margin of at least %.2g %%.", s.Density.ErrorPct, opt.OverfillPct, s.Density.ErrorPct)
	}
	if opt.CupResidueG == 0 && opt.CupResiduePct == 0 {
		say("Nothing is counted for the mix that stays in the cup: weigh an emptied cup once and set it.")
	}
	if m.PotLife == nil {
		say("The pot life is not known: time a small test mix before you pour a mould.")
	}
	if m.ShrinkagePct == nil {
		say("The shrinkage is not known, so the mould is not made larger for it.")
	}
	for _, p := range s.Pigments {
		if math.Abs(p.GotPct-p.Pct) > p.Pct*pigmentOffPct/100 {
			say("Pigment %s comes to %.3g %% of %s instead of %.3g %%, because %.3g g is weighed in steps of %g g: use a finer scale for it.", p.Name, p.GotPct, p.Of, p.Pct, p.G, s.ScaleStepG)
		}
	}
}

// conservedRel is far above the rounding of a few dozen additions and far below any weighing.
const conservedRel = 1e-9

// conserved checks that the uses sum to the mix and the components too. It can only fail by a fault
// in this package.
func (s *Shot) conserved() error {
	var useML, useG, doseG float64
	for _, u := range s.Uses {
		useML, useG = useML+u.ML, useG+u.G
	}
	for _, d := range s.Components {
		doseG += d.G
	}
	for _, e := range s.Extras {
		doseG += e.G
	}
	for _, c := range [][2]float64{{useML, s.MixML}, {useG, s.MixG}, {doseG, s.MixG}} {
		if math.Abs(c[0]-c[1]) > conservedRel*c[1] {
			return fmt.Errorf("amounts do not add up: %.9g against %.9g; please report this fault with the job", c[0], c[1])
		}
	}
	return nil
}

func checkVolumes(volumes []Volume) error {
	var total float64
	for _, v := range volumes {
		if !(v.VolumeMM3 >= 0) || math.IsInf(v.VolumeMM3, 0) {
			return fmt.Errorf("volume %q is %g mm³; it must be a number that is not negative", v.Name, v.VolumeMM3)
		}
		total += v.VolumeMM3
	}
	if total <= 0 {
		return errors.New("nothing to fill: the volumes add up to 0 mm³")
	}
	return nil
}

func (opt *ShotOptions) check(m *Material) error {
	var all []error
	in := func(what string, v, lo, hi float64, unit string) {
		if !(v >= lo && v <= hi) {
			all = append(all, fmt.Errorf("%s is %g %s; it must be from %g to %g %s", what, v, unit, lo, hi, unit))
		}
	}
	in("the overfill margin", opt.OverfillPct, 0, 200, "%")
	in("the cup residue", opt.CupResidueG, 0, 1e5, "g")
	in("the cup residue", opt.CupResiduePct, 0, 90, "%")
	in("the scale's step", opt.ScaleStepG, 1e-4, 1000, "g")
	if opt.CupResidueG > 0 && opt.CupResiduePct > 0 {
		all = append(all, errors.New("the cup residue is given both in g and in %; give one of them"))
	}
	for _, p := range opt.Pigments {
		in("pigment "+p.Name, p.Pct, 1e-3, 50, "%")
		if p.Of != "" && !m.Has(p.Of) {
			all = append(all, fmt.Errorf("pigment %s is a percentage of %q, which %s does not have; its components are %s", p.Name, p.Of, m.ID, m.ComponentNames()))
		}
	}
	return errors.Join(all...)
}

// Has says whether the material has a component of that name.
func (m *Material) Has(component string) bool {
	for _, c := range m.Components {
		if c.Name == component {
			return true
		}
	}
	return false
}

// ComponentNames lists the components, quoted, for messages.
func (m *Material) ComponentNames() string {
	names := make([]string, len(m.Components))
	for i, c := range m.Components {
		names[i] = fmt.Sprintf("%q", c.Name)
	}
	return strings.Join(names, ", ")
}
