package batch

import (
	"fmt"
	"slices"
	"sort"

	"mouldwright/internal/record"
)

// Stock is what is there of each material; the zero value is nothing.
type Stock struct {
	Materials []MaterialStock
}

// MaterialStock is what can be mixed of one material from its lots.
type MaterialStock struct {
	Material string
	Shares   map[string]float64 // of each component in a mix, by mass
	Lots     []record.LotStock  // in the order in which they are used
}

// leftOf is what can be mixed of a material, g: what the scarcest component allows.
func (s *Stock) leftOf(material string) float64 {
	for i := range s.Materials {
		m := &s.Materials[i]
		if m.Material != material || len(m.Shares) == 0 {
			continue
		}
		left := map[string]float64{}
		for _, l := range m.Lots {
			if l.Usable() {
				left[l.Component] += l.LeftG
			}
		}
		least := -1.0
		for c, share := range m.Shares {
			if g := left[c] / share; share > 0 && (least < 0 || g < least) {
				least = g
			}
		}
		return max(0, least)
	}
	return 0
}

// Draw is what one mix takes out of one lot.
type Draw struct {
	Mix       string  `json:"mix"`
	Lot       string  `json:"lot"`
	Component string  `json:"component"`
	G         float64 `json:"g"`
}

// Shortage is when a material runs out.
type Shortage struct {
	Material  string  `json:"material"`
	Component string  `json:"component"`
	Mix       string  `json:"mix"` // the first mix that cannot be made of the stock
	AtS       int64   `json:"at_s"`
	MissingG  float64 `json:"missing_g"` // in all, of the component
	BuyByS    int64   `json:"buy_by_s"`  // the start of the day of that mix
}

// StockUse is what a plan takes out of the stock.
type StockUse struct {
	Draws     []Draw     `json:"draws"`
	Shortages []Shortage `json:"shortages,omitempty"`
	Unused    []string   `json:"goes_off,omitempty"` // lots that pass their date with something left
}

// UseStock draws every mix that is still to come out of the lots: of each component the lot that was opened
// first, while it is good on the day of the mix. nil where nothing is known of the stock.
func (b *Bench) UseStock(p *Plan) *StockUse {
	if len(b.Stock.Materials) == 0 {
		return nil
	}
	u := &StockUse{}
	type mixAt struct {
		step  *Step
		massG float64
		rec   *Recipe
	}
	var mixes []mixAt
	for i := range p.Steps {
		if s := &p.Steps[i]; s.Kind == stepMix && !s.Done {
			mixes = append(mixes, mixAt{s, p.massOf(s.Mix) * (1 + b.Money.WastePct/100), &b.Recipes[b.Versions[b.version(s.Version)].Recipe]})
		}
	}
	for i := range b.Stock.Materials {
		m := &b.Stock.Materials[i]
		lots := slices.Clone(m.Lots)
		for _, component := range sortedKeys(m.Shares) {
			var short *Shortage
			for _, x := range mixes {
				if x.rec.Material != m.Material {
					continue
				}
				need := x.massG * m.Shares[component]
				on := record.Date(b.at(x.step.StartS).Format(dateLayout))
				for k := range lots {
					l := &lots[k]
					if need <= 1e-9 || l.Component != component || !l.IsKnown || l.LeftG <= 0 || l.LastDay != "" && l.LastDay < on {
						continue
					}
					g := min(need, l.LeftG)
					l.LeftG -= g
					need -= g
					u.Draws = append(u.Draws, Draw{x.step.Mix, l.ID, component, g})
				}
				if need > 1e-6 {
					if short == nil {
						short = &Shortage{Material: m.Material, Component: component, Mix: x.step.Mix, AtS: x.step.StartS, BuyByS: x.step.StartS / day * day}
					}
					short.MissingG += need
				}
			}
			if short != nil {
				u.Shortages = append(u.Shortages, *short)
			}
		}
		end := record.Date(b.at(p.EndS).Format(dateLayout))
		for k := range lots {
			if l := &lots[k]; l.IsKnown && l.LeftG > 0 && l.LastDay != "" && l.LastDay <= end {
				u.Unused = append(u.Unused, fmt.Sprintf("%s, %s: %.0f g are left when it passes %s", l.ID, l.Component, l.LeftG, l.LastDay))
			}
		}
	}
	sort.SliceStable(u.Shortages, func(a, c int) bool { return u.Shortages[a].AtS < u.Shortages[c].AtS })
	return u
}

func sortedKeys(m map[string]float64) (out []string) {
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// stockWords says what runs out when.
func (b *Bench) stockWords(u *StockUse) (out []string) {
	for _, s := range u.Shortages {
		out = append(out, fmt.Sprintf("%s, %s runs out with %s, %s: %.0f g more are needed; buy before that day.", s.Material, s.Component, s.Mix, b.Clock(s.AtS), s.MissingG))
	}
	return append(out, u.Unused...)
}

// stock reads the lots of the bench's materials. In which shares the components go into a mix is taken from the
// last mix of the material that was put down.
func (k *recordReader) stock() error {
	lots, err := k.r.Stock(record.Date(k.b.at(max(0, k.nowS)).Format(dateLayout)))
	if err != nil {
		return err
	}
	mixes, err := k.r.Mixes()
	if err != nil {
		return err
	}
	k.b.Stock = Stock{}
	for i := range k.b.Materials {
		m := MaterialStock{Material: k.b.Materials[i].Name, Shares: map[string]float64{}}
		known := false
		for _, l := range lots {
			if l.Material == m.Material {
				m.Lots = append(m.Lots, l)
				known = known || l.IsKnown
			}
		}
		if !known {
			continue
		}
		for j := len(mixes) - 1; j >= 0; j-- {
			if mixes[j].Material != m.Material {
				continue
			}
			sum := 0.0
			for _, p := range mixes[j].Parts {
				m.Shares[p.Component] += p.AskedG
				sum += p.AskedG
			}
			for c := range m.Shares {
				m.Shares[c] /= sum
			}
			break
		}
		if len(m.Shares) == 0 {
			k.warn("%s is in stock, and no mix of it was put down yet, so its ratio is not known; what is there is not counted", m.Material)
			continue
		}
		k.b.Stock.Materials = append(k.b.Stock.Materials, m)
	}
	return nil
}
