package material

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// Problem is one thing wrong in a material file: where, what, and what to do.
type Problem struct {
	File         string
	Line, Column int    // from 1; 0 when there is no place
	Entry        string // which material
	What, Do     string

	field field
}

// field is a key of a material, or of its component number comp (from 1; 0 for the material).
type field struct {
	comp int
	key  string
}

func (p *Problem) Error() string {
	var b strings.Builder
	if p.File != "" {
		fmt.Fprintf(&b, "%s:%d:%d: ", p.File, p.Line, p.Column)
	}
	if p.Entry != "" {
		fmt.Fprintf(&b, "%s: ", p.Entry)
	}
	b.WriteString(p.What)
	if p.Do != "" {
		fmt.Fprintf(&b, "; %s", p.Do)
	}
	return b.String()
}

// limit is the range that a number must lie in. The bounds are far outside what any material of the
// trade has: they catch a wrong unit (kg/m³ for g/mL, minutes for s), not an odd product.
type limit struct {
	key      string
	value    float64
	lo, hi   float64
	optional bool // 0 stands for not known
	unit     string
}

// problems lists what is wrong with m, material first, then its components in order.
func (m *Material) problems() []Problem {
	var ps []Problem
	add := func(comp int, key, what, do string) {
		ps = append(ps, Problem{field: field{comp, key}, What: what, Do: do})
	}
	if !validID(m.ID) {
		add(0, "id", fmt.Sprintf("id %q is not usable", m.ID), "use small letters, digits and hyphens, as in pu-flexible")
	}
	if strings.TrimSpace(m.Name) == "" {
		add(0, "name", "name is missing", "say what you call the material")
	}
	if !slices.Contains(Families, m.Family) {
		add(0, "family", fmt.Sprintf("family %q is not known", m.Family), "use one of: "+joinWords(Families))
	}
	if m.RatioBy != ByMass && m.RatioBy != ByVolume {
		add(0, "ratio_by", fmt.Sprintf("ratio_by %q is not known", m.RatioBy), `use "mass" or "volume", as the data sheet gives the ratio`)
	}
	for _, h := range m.Hazards {
		if !slices.Contains(Hazards(), h) {
			add(0, "hazards", fmt.Sprintf("hazard %q is not known", h), "use any of: "+joinWords(Hazards()))
		}
	}
	if m.Hardness != nil && !slices.Contains([]string{"00", "A", "D"}, m.Hardness.Scale) {
		add(0, "hardness", fmt.Sprintf("hardness scale %q is not known", m.Hardness.Scale), `use "00", "A" or "D"`)
	}
	for _, l := range m.limits() {
		if what := l.broken(); what != "" {
			add(0, l.key, what, l.remedy())
		}
	}
	for _, pair := range []struct {
		key         string
		first, also *Duration
	}{{"pot_life_too", m.PotLife, m.PotLifeToo}, {"demould_too", m.Demould, m.DemouldToo}} {
		if what := secondPointProblem(pair.first, pair.also); what != "" {
			add(0, pair.key, what, "give two times at two temperatures, the shorter at the warmer")
		}
	}
	if m.PotLife != nil && m.StirS+m.DegasS >= m.PotLife.Seconds {
		add(0, "pot_life", fmt.Sprintf("the pot life of %g s is over before stirring (%g s) and degassing (%g s) are done", m.PotLife.Seconds, m.StirS, m.DegasS), "check the times and their unit, s")
	}
	return append(ps, m.componentProblems()...)
}

func (m *Material) limits() []limit {
	ls := []limit{
		{"ratio_tolerance_pct", m.RatioTolerancePct, 0.1, 50, false, "%"},
		{"mixed_density_g_per_ml", m.MixedDensityGPerML, 0.1, 10, true, "g/mL"},
		{"viscosity_mpas", m.ViscosityMPaS, 0.1, 1e7, true, "mPa·s"},
		{"elongation_pct", m.ElongationPct, 0.1, 2000, true, "%"},
		{"stir_s", m.StirS, 5, 3600, true, "s"},
		{"degas_s", m.DegasS, 5, 7200, true, "s"},
		{"foam_rise", m.FoamRise, 1, 20, true, "times"},
		{"max_mix_g", m.MaxMixG, 1, 1e6, true, "g"},
		{"least_section_mm", m.LeastMM, 0.1, 50, true, "mm"},
		{"heat_j_per_g", m.HeatJPerG, 1, 2000, true, "J/g"},
		{"heat_cap_j_per_gk", m.HeatCapJPerGK, 0.3, 5, true, "J/(g·K)"},
		{"expansion_per_k", m.ExpansionPerK, 1e-6, 1e-3, true, "1/K"},
		{"filler_max_pct", m.FillerMaxPct, 0.1, 95, true, "%"},
		{"thinner_max_pct", m.ThinnerMaxPct, 0.1, 30, true, "%"},
		{"pot_kpa", m.PotKPa, 50, 1000, true, "kPa over the air"},
	}
	if m.ShrinkagePct != nil {
		ls = append(ls, limit{"shrinkage_pct", *m.ShrinkagePct, -5, 15, false, "%"})
	}
	if m.Hardness != nil {
		ls = append(ls, limit{"hardness", m.Hardness.Value, 0, 100, false, "Shore"})
	}
	for _, d := range []struct {
		key string
		d   *Duration
	}{{"pot_life", m.PotLife}, {"demould", m.Demould}, {"pot_life_too", m.PotLifeToo}, {"demould_too", m.DemouldToo}} {
		if d.d != nil {
			ls = append(ls, limit{d.key, d.d.Seconds, 1, 3e6, false, "s"}, limit{d.key, d.d.AtC, -20, 200, false, "°C"})
		}
	}
	return ls
}

func (m *Material) componentProblems() []Problem {
	var ps []Problem
	if len(m.Components) == 0 {
		return []Problem{{field: field{0, "component"}, What: "no components", Do: "add a [[material.component]] for each liquid that is mixed"}}
	}
	needDensity := m.RatioBy == ByVolume || m.MixedDensityGPerML == 0
	seen := map[string]bool{}
	for i, c := range m.Components {
		add := func(key, what, do string) {
			ps = append(ps, Problem{field: field{i + 1, key}, What: fmt.Sprintf("component %d (%s): %s", i+1, c.Name, what), Do: do})
		}
		if strings.TrimSpace(c.Name) == "" {
			add("name", "name is missing", "use what stands on the bottle")
		} else if seen[c.Name] {
			add("name", "the name is used twice", "give each component its own name")
		}
		seen[c.Name] = true
		for _, l := range []limit{
			{"parts", c.Parts, 1e-4, 1e5, false, "parts"},
			{"density_g_per_ml", c.DensityGPerML, 0.1, 10, !needDensity, "g/mL"},
			{"viscosity_mpas", c.ViscosityMPaS, 0.1, 1e7, true, "mPa·s"},
		} {
			if what := l.broken(); what != "" {
				add(l.key, what, l.remedy())
			}
		}
	}
	return ps
}

// broken says how the value breaks the limit; "" if it does not. NaN breaks every limit.
func (l limit) broken() string {
	if l.optional && l.value == 0 {
		return ""
	}
	if l.value >= l.lo && l.value <= l.hi && !math.IsNaN(l.value) {
		return ""
	}
	return fmt.Sprintf("%s is %g %s", l.key, l.value, l.unit)
}

func (l limit) remedy() string {
	return fmt.Sprintf("it must be from %g to %g %s; check the value and its unit", l.lo, l.hi, l.unit)
}

func validID(id string) bool {
	if id == "" || len(id) > 64 || id[0] == '-' {
		return false
	}
	for _, r := range id {
		if (r < 'a' || r > 'z') && (r < '0' || r > '9') && r != '-' {
			return false
		}
	}
	return true
}

func joinWords[S ~string](list []S) string {
	words := make([]string, len(list))
	for i, w := range list {
		words[i] = string(w)
	}
	return strings.Join(words, ", ")
}
