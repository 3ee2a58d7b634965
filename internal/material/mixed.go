package material

import "fmt"

// CheckAsked says what is wrong with the weights that a mix was asked for, by component: one that is left
// out, one that the material does not have, or amounts that are not in its ratio. Weights beside the
// components, such as pigments, are not among them.
func (m *Material) CheckAsked(askedG map[string]float64) error {
	for name := range askedG {
		if !m.Has(name) {
			return fmt.Errorf("%s has no component %q; its components are %s", m.ID, name, m.ComponentNames())
		}
	}
	total := 0.0
	asked := make([]float64, len(m.Components))
	for i, c := range m.Components {
		g, ok := askedG[c.Name]
		if !ok {
			return fmt.Errorf("the mix has no %q; %s is mixed of %s", c.Name, m.ID, m.ComponentNames())
		}
		total += g
		asked[i] = g
	}
	exact := m.split(total)
	if off := ratioErrorPct(exact, asked); !(off <= m.RatioTolerancePct+ratioSlackPct) {
		return fmt.Errorf("the weights asked for are off the mixing ratio of %s by %s %%, and it allows %s %%; for %.4g g in all it takes %s", m.ID, significant(off), significant(m.RatioTolerancePct), total, m.dosesWords(exact))
	}
	return nil
}

// dosesWords lists weights by component.
func (m *Material) dosesWords(g []float64) string {
	out := ""
	for i, c := range m.Components {
		if i > 0 {
			out += " and "
		}
		out += fmt.Sprintf("%.4g g of %s", g[i], c.Name)
	}
	return out
}
