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
	UnitPrice float64   `json:"price_per_g"` // of the kits, or the cheapest where the stock is enough
	StockG    float64   `json:"stock_g"`     // of the need that is in stock
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

// CostLine is a share of a cost.
type CostLine struct {
	Name   string  `json:"name"`
	Amount float64 `json:"amount"`
	Share  float64 `json:"share"`
	RestOn string  `json:"rests_on"`
}

// VersionCost is what a version costs.
type VersionCost struct {
	Version   string     `json:"version"`
	Parts     int        `json:"parts"` // wanted, without spares
	Shots     int        `json:"shots"` // with scrap and spares
	Lines     []CostLine `json:"lines"` // the largest first
	Total     float64    `json:"total"`
	PerPart   float64    `json:"per_part"`
	PricePart float64    `json:"price_per_part"`
	Tooling   float64    `json:"tooling"` // of Total: moulds charged whole
}

// Costs are what a plan costs.
type Costs struct {
	Currency  string        `json:"currency"`
	Lines     []CostLine    `json:"lines"` // of all versions, the largest first
	Versions  []VersionCost `json:"versions"`
	Total     float64       `json:"total"`
	Parts     int           `json:"parts"` // wanted, without spares
	PerPart   float64       `json:"per_part"`
	PricePart float64       `json:"price_per_part"`
	MarginPct float64       `json:"margin_pct"`
	Purchases []Purchase    `json:"purchases"`
	CashOut   float64       `json:"purchases_total"` // whole kits
}

// account gathers amounts by name and version.
type account struct {
	names  []string // in the order of first use
	rests  map[string]string
	amount map[string][]float64 // by name: of each version
	n      int
}

func (a *account) add(name string, version int, amount float64) {
	if amount == 0 {
		return
	}
	if a.amount[name] == nil {
		a.names = append(a.names, name)
		a.amount[name] = make([]float64, a.n)
	}
	a.amount[name][version] += amount
}

// share adds an amount to versions by their shots.
func (a *account) share(name string, amount float64, shots map[int]int) {
	all := 0
	for _, n := range shots {
		all += n
	}
	for v := range a.n {
		if n := shots[v]; n > 0 {
			a.add(name, v, amount*float64(n)/float64(all))
		}
	}
}

func (a *account) rest(name, format string, args ...any) {
	a.rests[name] = fmt.Sprintf(format, args...)
}

// Costs works out what to buy and what a part costs. Materials are charged as used; whole kits are
// in the purchases. What several versions share is divided by their shots.
func (b *Bench) Costs(p *Plan) *Costs {
	c := &Costs{Currency: b.Money.Currency, MarginPct: b.Money.MarginPct}
	a := &account{rests: map[string]string{}, amount: map[string][]float64{}, n: len(b.Versions)}
	c.Purchases, c.CashOut = b.materialCost(p, a)
	shots := b.loadCosts(p, a)
	b.handCosts(p, a)
	b.mouldCosts(p, a, shots)
	days := math.Ceil(float64(p.EndS) / float64(day))
	a.share("bench", days*b.Money.BenchPerDay, shots)
	a.rest("bench", "%.0f days at %.2f, shared by shots", days, b.Money.BenchPerDay)
	if pct := b.Money.OverheadPct; pct > 0 {
		for v := range b.Versions {
			sum := 0.0
			for _, name := range a.names {
				if name != "overhead" {
					sum += a.amount[name][v]
				}
			}
			a.add("overhead", v, sum*pct/100)
		}
		a.rest("overhead", "%.4g %% of all the other lines", pct)
	}
	for v := range b.Versions {
		vc := VersionCost{Version: b.Versions[v].Name, Parts: b.Versions[v].Quantity, Shots: shots[v]}
		for _, name := range a.names {
			if amount := a.amount[name][v]; amount != 0 {
				vc.Lines = append(vc.Lines, CostLine{Name: name, Amount: amount, RestOn: a.rests[name]})
				vc.Total += amount
				if name == "moulds" && b.Money.MouldsWhole {
					vc.Tooling = amount
				}
			}
		}
		finishLines(vc.Lines, vc.Total)
		if vc.Parts > 0 {
			vc.PerPart = vc.Total / float64(vc.Parts)
		}
		vc.PricePart = b.priced(vc.PerPart)
		c.Versions = append(c.Versions, vc)
		c.Parts += vc.Parts
		c.Total += vc.Total
	}
	for _, name := range a.names {
		l := CostLine{Name: name, RestOn: a.rests[name]}
		for _, amount := range a.amount[name] {
			l.Amount += amount
		}
		c.Lines = append(c.Lines, l)
	}
	finishLines(c.Lines, c.Total)
	if c.Parts > 0 {
		c.PerPart = c.Total / float64(c.Parts)
	}
	c.PricePart = b.priced(c.PerPart)
	return c
}

// priced is a cost with the margin.
func (b *Bench) priced(cost float64) float64 { return cost / (1 - b.Money.MarginPct/100) }

func finishLines(lines []CostLine, total float64) {
	sort.SliceStable(lines, func(i, j int) bool { return lines[i].Amount > lines[j].Amount })
	for i := range lines {
		if total > 0 {
			lines[i].Share = lines[i].Amount / total
		}
	}
}

// materialCost charges what is mixed, at the price per gram of the kits to buy.
func (b *Bench) materialCost(p *Plan, a *account) (purchases []Purchase, cash float64) {
	need := b.materialNeed(p)
	perG := map[string]float64{}
	for i := range b.Materials {
		m := &b.Materials[i]
		if need[m.Name] == 0 {
			continue
		}
		pu := b.purchase(m, need[m.Name], p)
		purchases = append(purchases, pu)
		cash += pu.Price
		perG[m.Name] = pu.UnitPrice
	}
	for _, l := range p.Loads {
		for _, mp := range l.Mixes {
			v := b.version(mp.Version)
			a.add("material", v, mp.MassG*(1+b.Money.WastePct/100)*perG[b.Recipes[b.Versions[v].Recipe].Material])
		}
	}
	a.rest("material", "what the plan mixes and %.4g %% waste, at the price per gram of the kits to buy", b.Money.WastePct)
	return purchases, cash
}

// loadCosts charges what goes by loads, mixes, shots and parts; shots are those of each version.
func (b *Bench) loadCosts(p *Plan, a *account) (shots map[int]int) {
	shots = map[int]int{}
	in, out := map[string]int64{}, map[string]int64{}
	for _, s := range p.Steps {
		switch s.Kind {
		case stepLoad:
			in[s.Load] = s.StartS
		case stepUnload:
			out[s.Load] = s.EndS
		case stepDegas:
			a.add("vacuum chamber", b.version(s.Version), float64(s.EndS-s.StartS)/3600*b.Money.VacuumPerH)
		}
	}
	potS, mixes, all, loads := int64(0), 0, 0, len(p.Loads)
	for _, l := range p.Loads {
		of := map[int]int{}
		for _, m := range l.Mixes {
			v := b.version(m.Version)
			of[v] += len(m.Moulds)
			shots[v] += len(m.Moulds)
			all += len(m.Moulds)
			mixes++
			a.add("release coat", v, float64(len(m.Moulds))*b.Money.CoatPerShot)
			a.add("cups", v, b.Money.CupPerMix)
			for _, c := range b.Money.Consumables {
				switch c.Per {
				case PerShot:
					a.add(c.Name, v, float64(len(m.Moulds))*c.Amount*c.Price)
				case PerMix:
					a.add(c.Name, v, c.Amount*c.Price)
				}
			}
		}
		potS += out[l.Name] - in[l.Name]
		a.share("pressure pot", float64(out[l.Name]-in[l.Name])/3600*b.Money.PotPerH, of)
		for _, c := range b.Money.Consumables {
			if c.Per == PerLoad {
				a.share(c.Name, c.Amount*c.Price, of)
			}
		}
	}
	for _, c := range b.Money.Consumables {
		if c.Per == PerBatch {
			a.share(c.Name, c.Amount*c.Price, shots)
		}
		for v := range b.Versions {
			if c.Per == PerPart {
				a.add(c.Name, v, float64(shots[v]*b.Tools[b.Versions[v].Tool].Cavities)*c.Amount*c.Price)
			}
		}
		a.rest(c.Name, "%.4g %s a %s at %.2f", c.Amount, c.Unit, c.Per, c.Price)
	}
	a.rest("release coat", "%d shots at %.2f", all, b.Money.CoatPerShot)
	a.rest("cups", "%d mixes at %.2f", mixes, b.Money.CupPerMix)
	a.rest("pressure pot", "%.1f h of %d loads at %.2f an hour", float64(potS)/3600, loads, b.Money.PotPerH)
	a.rest("vacuum chamber", "the degassing of %d mixes at %.2f an hour", mixes, b.Money.VacuumPerH)
	return shots
}

// handCosts charges hand work: that of a version to it, that of a load to what is in it.
func (b *Bench) handCosts(p *Plan, a *account) {
	of := map[string]map[int]int{}
	for _, l := range p.Loads {
		of[l.Name] = map[int]int{}
		for _, m := range l.Mixes {
			of[l.Name][b.version(m.Version)] += len(m.Moulds)
		}
	}
	hours := 0.0
	for _, s := range p.Steps {
		if !s.ByHand {
			continue
		}
		h := float64(s.EndS-s.StartS) / 3600
		hours += h
		if v := b.version(s.Version); v >= 0 {
			a.add("hands", v, h*b.Money.LabourPerH)
		} else {
			a.share("hands", h*b.Money.LabourPerH, of[s.Load])
		}
	}
	a.rest("hands", "%.1f h of hand work at %.2f an hour; waiting is not charged", hours, b.Money.LabourPerH)
}

// mouldCosts charges moulds by their wear, or whole.
func (b *Bench) mouldCosts(p *Plan, a *account, shots map[int]int) {
	for t := range b.Tools {
		tool := &b.Tools[t]
		cost := b.Money.ToolCost[tool.Name]
		of := map[int]int{}
		all := 0
		for v := range b.Versions {
			if b.Versions[v].Tool == t && shots[v] > 0 {
				of[v] = shots[v]
				all += shots[v]
			}
		}
		if all == 0 {
			continue
		}
		if b.Money.MouldsWhole || tool.LifeShots == 0 {
			a.share("moulds", cost*float64(tool.Count), of)
		} else {
			a.share("moulds", cost*float64(all)/float64(tool.LifeShots), of)
		}
	}
	words := "each mould's cost over its life in shots; whole where no life is known"
	if b.Money.MouldsWhole {
		words = "every mould whole"
	}
	for t := range b.Tools {
		if c, ok := b.Money.MouldCosts[b.Tools[t].Name]; ok {
			words += fmt.Sprintf("; one of %s: %.1f mL printed in %s (%.2f), %.1f mL of silicone in %s (%.2f), hands %.2f", b.Tools[t].Name, c.PrintML, counted(c.Pieces, "piece"), c.Print,
				c.SiliconeML, counted(c.Pours, "pour"), c.Silicone, c.Labour)
		}
	}
	a.rest("moulds", "%s", words)
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
	pu := Purchase{Material: m.Name, NeedG: needG, ShelfFits: true, UnitPrice: math.Inf(1)}
	pu.StockG = min(needG, b.Stock.leftOf(m.Name))
	for k, n := range cheapest(m.Kits, needG-pu.StockG) {
		pu.UnitPrice = min(pu.UnitPrice, m.Kits[k].Price/m.Kits[k].MassG)
		if n > 0 {
			pu.Kits = append(pu.Kits, KitLine{n, m.Kits[k].MassG, m.Kits[k].Price})
			pu.BoughtG += float64(n) * m.Kits[k].MassG
			pu.Price += float64(n) * m.Kits[k].Price
		}
	}
	if pu.BoughtG > 0 {
		pu.UnitPrice = pu.Price / pu.BoughtG
	}
	pu.LeftG = pu.BoughtG + b.Stock.leftOf(m.Name) - needG
	pu.Words = fmt.Sprintf("%.0f g are left over", pu.LeftG)
	if pu.StockG > 0 {
		pu.Words = fmt.Sprintf("%.0f g of it are in stock; %s", pu.StockG, pu.Words)
	}
	if m.ShelfDays > 0 && pu.BoughtG > 0 {
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
