package material

import "math"

// Basis says what a mixing ratio counts.
type Basis string

// A ratio counts parts by mass or parts by volume.
const (
	ByMass   Basis = "mass"
	ByVolume Basis = "volume"
)

// Material is one maker's entry: the values of a data sheet, or typical ones. A nil pointer or a
// zero number means that the value is not known, except where a field says otherwise.
type Material struct {
	ID      string `toml:"id" json:"id"`                 // short name used in job files and commands
	Name    string `toml:"name" json:"name"`             // what a person calls it
	Family  Family `toml:"family" json:"family"`         // chemistry; see the Family constants
	Typical bool   `toml:"typical" json:"typical"`       // true: typical values, not a data sheet
	Source  string `toml:"source" json:"source"`         // where the values come from
	Notes   string `toml:"notes" json:"notes,omitempty"` // anything the maker wants to keep by it

	RatioBy           Basis       `toml:"ratio_by" json:"ratio_by"`
	RatioTolerancePct float64     `toml:"ratio_tolerance_pct" json:"ratio_tolerance_pct"` // largest error of the ratio, % of itself
	Components        []Component `toml:"component" json:"components"`

	// MixedDensityGPerML is the density of the mixed liquid when the data sheet gives it; 0 means
	// that it is estimated from the components.
	MixedDensityGPerML float64   `toml:"mixed_density_g_per_ml" json:"mixed_density_g_per_ml,omitempty"`
	ViscosityMPaS      float64   `toml:"viscosity_mpas" json:"viscosity_mpas,omitempty"` // of the fresh mix
	PotLife            *Duration `toml:"pot_life" json:"pot_life,omitempty"`
	Demould            *Duration `toml:"demould" json:"demould,omitempty"`
	ShrinkagePct       *float64  `toml:"shrinkage_pct" json:"shrinkage_pct,omitempty"` // linear, % of the mould's length
	Hardness           *Hardness `toml:"hardness" json:"hardness,omitempty"`
	ElongationPct      float64   `toml:"elongation_pct" json:"elongation_pct,omitempty"` // at break
	Hazards            []Hazard  `toml:"hazards" json:"hazards,omitempty"`

	// PotLifeToo and DemouldToo are the same times at a second temperature, from which the law of their
	// change with temperature follows.
	PotLifeToo *Duration `toml:"pot_life_too" json:"pot_life_too,omitempty"`
	DemouldToo *Duration `toml:"demould_too" json:"demould_too,omitempty"`

	StirS         float64 `toml:"stir_s" json:"stir_s,omitempty"`                     // stirring one cup
	DegasS        float64 `toml:"degas_s" json:"degas_s,omitempty"`                   // under vacuum; 0: not degassed
	FoamRise      float64 `toml:"foam_rise" json:"foam_rise,omitempty"`               // volume under vacuum over volume at rest
	MaxMixG       float64 `toml:"max_mix_g" json:"max_mix_g,omitempty"`               // largest mass mixed at once, for its heat
	LeastMM       float64 `toml:"least_section_mm" json:"least_section_mm,omitempty"` // thinner sections cure slowly, for want of heat
	HeatJPerG     float64 `toml:"heat_j_per_g" json:"heat_j_per_g,omitempty"`         // set free by the whole cure
	HeatCapJPerGK float64 `toml:"heat_cap_j_per_gk" json:"heat_cap_j_per_gk,omitempty"`
	ExpansionPerK float64 `toml:"expansion_per_k" json:"expansion_per_k,omitempty"` // linear, of the cured material
	FillerMaxPct  float64 `toml:"filler_max_pct" json:"filler_max_pct,omitempty"`   // % of the mix by mass
	ThinnerMaxPct float64 `toml:"thinner_max_pct" json:"thinner_max_pct,omitempty"` // % of the mix by mass
	PotKPa        float64 `toml:"pot_kpa" json:"pot_kpa,omitempty"`                 // pressure over the air's to cure under
}

// Component is one of the liquids that are mixed.
type Component struct {
	Name          string  `toml:"name" json:"name"`
	Parts         float64 `toml:"parts" json:"parts"`                                 // share in the ratio, > 0
	DensityGPerML float64 `toml:"density_g_per_ml" json:"density_g_per_ml,omitempty"` // 0: not known
	ViscosityMPaS float64 `toml:"viscosity_mpas" json:"viscosity_mpas,omitempty"`     // 0: not known
}

// Duration is a time at the temperature it was measured at.
type Duration struct {
	Seconds float64 `toml:"s" json:"s"`
	AtC     float64 `toml:"at_c" json:"at_c"`
}

// Hardness is a Shore reading.
type Hardness struct {
	Scale string  `toml:"scale" json:"scale"` // "00", "A" or "D"
	Value float64 `toml:"value" json:"value"`
}

// MouldScale is the factor by which the mould must be larger than the part so that the casting,
// once shrunk, has the part's size: 1/(1 − s/100). Moulding shrinkage is counted as % of the
// cavity's length (the definition of ISO 2577 and ISO 294-4; from memory). ok is false when the
// shrinkage is not known, and the factor is then 1.
func (m *Material) MouldScale() (factor float64, ok bool) {
	if m.ShrinkagePct == nil {
		return 1, false
	}
	return 1 / (1 - *m.ShrinkagePct/100), true
}

// MassParts are the components' shares by mass in the ratio's own scale, in the order of
// Components: parts as they stand, or parts × density for a ratio by volume.
func (m *Material) MassParts() []float64 {
	w := make([]float64, len(m.Components))
	for i, c := range m.Components {
		w[i] = c.Parts
		if m.RatioBy == ByVolume {
			w[i] *= c.DensityGPerML
		}
	}
	return w
}

// Density is the density of the fresh mix. Without a measured value it assumes that volumes add
// (ρ = Σm / Σ(m/ρ)); ErrorPct is how far the figure may be off.
type Density struct {
	GPerML    float64 `json:"g_per_ml"`
	Estimated bool    `json:"estimated"`
	ErrorPct  float64 `json:"error_pct"`
}

const (
	// AdditiveErrorPct: reacting liquids of this trade mix with a change of volume of a few tenths
	// of a per cent up to about 2 % (common practice, no source). For scale: the strongest everyday
	// case, ethanol in water, loses about 3.6 %.
	AdditiveErrorPct = 2.0
	// MeasuredErrorPct: data sheets print densities to two decimals, and lots differ in the second.
	MeasuredErrorPct = 1.0
)

// MixedDensity is the density of the fresh mix, from the data sheet or by additive volumes.
func (m *Material) MixedDensity() Density {
	if m.MixedDensityGPerML > 0 {
		return Density{GPerML: m.MixedDensityGPerML, ErrorPct: MeasuredErrorPct}
	}
	return Density{GPerML: m.additiveDensity(), Estimated: true, ErrorPct: AdditiveErrorPct}
}

// additiveDensity is NaN when a component's density is not known.
func (m *Material) additiveDensity() float64 {
	var mass, vol float64
	for i, w := range m.MassParts() {
		d := m.Components[i].DensityGPerML
		if d <= 0 {
			return math.NaN()
		}
		mass += w
		vol += w / d
	}
	return mass / vol
}
