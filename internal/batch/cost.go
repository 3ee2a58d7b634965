package batch

import (
	"fmt"
	"math"
	"sort"
)

// Purchase is what to buy of one material.
type Purchase struct {
	Material  string    `json:"material"`
	NeedG     float64   `json:"need_g"` // mixed by the plan, with waste
	Kits      []KitLine `json:"kits"`
	BoughtG   float64   `json:"bought_g"`
	Price     float64   `json:"price"`
	LeftG     float64   `json:"left_g"`
	UseBy     string    `json:"use_by,omitempty"` // if bought on the first day
	Words     string    `json:"words"`
	ShelfFits bool      `json:"shelf_life_covers_plan"`
}

// KitLine is a number of kits of one size.
type KitLine struct {
	Count int     `json:"count"`
	MassG float64 `json:"mass_g"`
	Price float64 `json:"price"`
}

// CostLine is a share of the cost of the batch.
type CostLine struct {
	Name   string  `json:"name"`
	Amount float64 `json:"amount"`
	Share  float64 `json:"share"`
	RestOn string  `json:"rests_on"`
}

// Costs are what a plan costs.
type Costs struct {
	Currency  string     `json:"currency"`
	Lines     []CostLine `json:"lines"` // the largest first
	Total     float64    `json:"total"`
	Parts     int        `json:"parts"` // wanted, without spares
	PerPart   float64    `json:"per_part"`
	PricePart float64    `json:"price_per_part"`
	MarginPct float64    `json:"margin_pct"`
	Purchases []Purchase `json:"purchases"`
	CashOut   float64    `json:"purchases_total"` // whole kits
}

// Costs works out what to buy and what a part costs. Materials are charged as used; whole kits are
// in the purchases.
func (b *Bench) Costs(p *Plan) *Costs {
	c := &Costs{Currency: b.Money.Currency, MarginPct: b.Money.MarginPct}
	for v := range b.Versions {
		c.Parts += b.Versions[v].Quantity
	}
	need := b.materialNeed(p)
	var material float64
	for i := range b.Materials {
		m := &b.Materials[i]
		if need[m.Name] == 0 {
			continue
		}
		pu := b.purchase(m, need[m.Name], p)
		c.Purchases = append(c.Purchases, pu)
		c.CashOut += pu.Price
		material += need[m.Name] * pu.Price / pu.BoughtG
	}
	hands, mixes, shots := 0.0, 0, 0
	for _, s := range p.Steps {
		if s.ByHand {
			hands += float64(s.EndS-s.StartS) / 3600
		}
	}
	tools := 0.0
	for _, l := range p.Loads {
		for _, m := range l.Mixes {
			mixes++
			shots += len(m.Moulds)
			t := &b.Tools[b.Versions[b.version(m.Version)].Tool]
			if t.LifeShots > 0 {
				tools += b.Money.ToolCost[t.Name] * float64(len(m.Moulds)) / float64(t.LifeShots)
			}
		}
	}
	for t := range b.Tools {
		if b.Tools[t].LifeShots == 0 {
			tools += b.Money.ToolCost[b.Tools[t].Name] * float64(b.Tools[t].Count)
		}
	}
	days := math.Ceil(float64(p.EndS) / float64(day))
	add := func(name string, amount float64, format string, args ...any) {
		c.Lines = append(c.Lines, CostLine{Name: name, Amount: amount, RestOn: fmt.Sprintf(format, args...)})
		c.Total += amount
	}
	add("hands", hands*b.Money.LabourPerH, "%.1f h of hand work at %.2f an hour; waiting is not charged", hands, b.Money.LabourPerH)
	add("material", material, "what the plan mixes and %.4g %% waste, at the price per gram of the kits to buy", b.Money.WastePct)
	add("moulds", tools, "each mould's cost over its life in shots; whole where no life is known")
	add("bench", days*b.Money.BenchPerDay, "%.0f days at %.2f", days, b.Money.BenchPerDay)
	add("release coat", float64(shots)*b.Money.CoatPerShot, "%d shots at %.2f", shots, b.Money.CoatPerShot)
	add("cups", float64(mixes)*b.Money.CupPerMix, "%d mixes at %.2f", mixes, b.Money.CupPerMix)
	sort.SliceStable(c.Lines, func(i, j int) bool { return c.Lines[i].Amount > c.Lines[j].Amount })
	for i := range c.Lines {
		if c.Total > 0 {
			c.Lines[i].Share = c.Lines[i].Amount / c.Total
		}
	}
	if c.Parts > 0 {
		c.PerPart = c.Total / float64(c.Parts)
	}
	c.PricePart = c.PerPart / (1 - b.Money.MarginPct/100)
	return c
}

func (b *Bench) materialNeed(p *Plan) map[string]float64 {
	need := map[string]float64{}
	for _, l := range p.Loads {
		for _, m := range l.Mixes {
			r := &b.Recipes[b.Versions[b.version(m.Version)].Recipe]
			need[r.Material] += m.MassG * (1 + b.Money.WastePct/100)
		}
	}
	return need
}

func (b *Bench) purchase(m *Material, needG float64, p *Plan) Purchase {
	pu := Purchase{Material: m.Name, NeedG: needG, ShelfFits: true}
	for k, n := range cheapest(m.Kits, needG) {
		if n > 0 {
			pu.Kits = append(pu.Kits, KitLine{n, m.Kits[k].MassG, m.Kits[k].Price})
			pu.BoughtG += float64(n) * m.Kits[k].MassG
			pu.Price += float64(n) * m.Kits[k].Price
		}
	}
	pu.LeftG = pu.BoughtG - needG
	pu.Words = fmt.Sprintf("%.0f g are left over", pu.LeftG)
	if m.ShelfDays > 0 {
		by := b.Start.AddDate(0, 0, m.ShelfDays)
		pu.UseBy = by.Format(dateLayout)
		pu.Words += fmt.Sprintf("; if bought on the first day, use it up by %s", by.Format("2 January 2006"))
		if int64(m.ShelfDays)*day < p.EndS {
			pu.ShelfFits = false
			pu.Words += fmt.Sprintf("; the plan runs %s longer than the shelf life: buy in two parts", spell(p.EndS-int64(m.ShelfDays)*day))
		}
	}
	return pu
}

// kitSteps is the resolution of the choice of kits: the need is counted in this many steps at most.
const kitSteps = 200_000

// cheapest is how many kits of each size cover a mass at the least price; among equal prices, more
// material. The mass is counted in steps of 1 g (finer for tiny kits, coarser above 200 kg), upward for
// the need and downward for kits, so what is bought always suffices.
func cheapest(kits []Kit, needG float64) []int {
	small := math.Inf(1)
	for _, k := range kits {
		small = min(small, k.MassG)
	}
	unit := max(min(1, small/20), needG/kitSteps)
	n := int(math.Ceil(needG/unit - 1e-9))
	best := make([]float64, n+1)
	mass := make([]float64, n+1)
	pick := make([]int, n+1)
	for i := 1; i <= n; i++ {
		best[i] = math.Inf(1)
		for k, kit := range kits {
			rest := max(0, i-max(1, int(kit.MassG/unit+1e-9)))
			if p, g := best[rest]+kit.Price, mass[rest]+kit.MassG; p < best[i]-1e-9 || p < best[i]+1e-9 && g > mass[i] {
				best[i], mass[i], pick[i] = p, g, k
			}
		}
	}
	out := make([]int, len(kits))
	for i := n; i > 0; {
		k := pick[i]
		out[k]++
		i = max(0, i-max(1, int(kits[k].MassG/unit+1e-9)))
	}
	return out
}
