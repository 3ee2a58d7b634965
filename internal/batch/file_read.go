package batch

import (
	"slices"
	"strings"
)

// The most of anything that a file may ask for: far above any workshop, and low enough that every
// sum and every list stays small.
const (
	maxDays     = 730
	maxCount    = 10_000
	maxQuantity = 1_000_000
	maxShots    = 20_000
	maxMoney    = 1e9
)

func (r *reader) bench() (*Bench, error) {
	f := r.f
	if f.Format != Format {
		r.fail("", 0, "format", "this file has format %d; this program reads format %d", f.Format, Format)
	}
	b := &Bench{Name: f.Name, Start: r.date("", 0, "start", f.Start), Days: f.Days}
	if b.Days == 0 {
		b.Days = 60
	}
	r.between("", 0, "days", float64(b.Days), 1, maxDays, "days")
	b.Learn = Learn{f.Learn.Times, f.Learn.Scrap}
	r.operators(b)
	b.Shelf = int(r.between("shop", 0, "shelf_places", float64(f.Shop.ShelfPlaces), 0, maxCount, "places (0: any number)"))
	for _, c := range f.Shop.Closed {
		b.Closed = append(b.Closed, r.date("shop", 0, "closed", c))
	}
	r.shifts(b)
	b.Mixing = Mixing{r.between("mixing", 0, "capacity_g", f.Mixing.CapacityG, 0.1, 1e6, "g"), r.span("mixing", 0, "purge_min", f.Mixing.PurgeMin, 0)}
	if p := f.Pot; p != nil {
		b.Pot = &Pot{int(r.between("pot", 0, "count", float64(p.Count), 1, 100, "pots")), r.between("pot", 0, "diameter_mm", p.DiameterMM, 10, 5000, "mm"),
			r.between("pot", 0, "height_mm", p.HeightMM, 10, 5000, "mm"), r.between("pot", 0, "clearance_mm", p.ClearanceMM, 0, 200, "mm"),
			r.between("pot", 0, "price", p.Price, 0, maxMoney, "")}
	}
	if v := f.Vacuum; v != nil {
		b.Vacuum = &Vacuum{int(r.between("vacuum", 0, "count", float64(v.Count), 1, 100, "chambers")), r.between("vacuum", 0, "capacity_g", v.CapacityG, 0.1, 1e6, "g")}
	}
	r.money(b)
	r.tools(b)
	r.recipes(b)
	r.versions(b)
	r.ways(b)
	if r.err != nil {
		return nil, r.err
	}
	b.Warnings, b.Money.MouldCosts = r.warnings, r.mouldCosts
	return b, nil
}

func (r *reader) shifts(b *Bench) {
	if len(r.f.Shifts) == 0 {
		r.fail("", 0, "shift", "add at least one [[shift]] with days, from and to")
	}
	b.Shifts = r.shiftList("shift", func(k int) int { return k }, r.f.Shifts)
}

// shiftList reads shifts; place is the table that each stands in, for messages.
func (r *reader) shiftList(table string, place func(k int) int, list []shiftFile) (out []Shift) {
	for k, s := range list {
		n := place(k)
		sh := Shift{From: r.clock(table, n, "from", s.From), To: r.clock(table, n, "to", s.To)}
		if sh.From >= sh.To {
			r.fail(table, n, "to", "%q is not after %q; a shift over midnight is written as two", s.To, s.From)
		}
		for _, d := range s.Days {
			w, ok := weekdays[strings.ToLower(d)]
			if !ok {
				r.fail(table, n, "days", "%q is not a day; use mon, tue, wed, thu, fri, sat or sun", d)
			}
			sh.Days = append(sh.Days, w)
		}
		out = append(out, sh)
	}
	return out
}

// operators reads the people at the bench by name.
func (r *reader) operators(b *Bench) {
	if len(r.f.Operators) == 0 {
		b.Operators = int(r.between("shop", 0, "operators", float64(r.f.Shop.Operators), 1, 100, "operators"))
		return
	}
	if n := r.f.Shop.Operators; n != 0 && n != len(r.f.Operators) {
		r.fail("shop", 0, "operators", "it says %d, and there are %d [[operator]] tables; leave it out", n, len(r.f.Operators))
	}
	b.Operators = len(r.f.Operators)
	seen := map[string]bool{}
	for n, f := range r.f.Operators {
		if f.Name == "" || seen[f.Name] {
			r.fail("operator", n, "name", "give every operator a name of their own; found %q", f.Name)
		}
		seen[f.Name] = true
		o := Operator{Name: f.Name, Shifts: r.shiftList("operator", func(int) int { return n }, f.Shifts)}
		for _, text := range f.Away {
			from, to, isSpan := strings.Cut(text, "..")
			if !isSpan {
				to = from
			}
			first, last := r.date("operator", n, "away", from), r.date("operator", n, "away", to)
			if last.Before(first) {
				r.fail("operator", n, "away", "%q ends before it begins", text)
			}
			o.Away = append(o.Away, b.awayDays(first, last, "away"))
		}
		if path := r.besides("operator", n, "calendar", f.Calendar); path != "" && r.err == nil {
			away, err := b.readCalendar(path)
			if err != nil {
				r.fail("operator", n, "calendar", "%v", err)
			}
			o.Away = append(o.Away, away...)
		}
		b.Staff = append(b.Staff, o)
	}
}

func (r *reader) money(b *Bench) {
	m := r.f.Money
	amount := func(key string, v float64) float64 { return r.between("money", 0, key, v, 0, maxMoney, "") }
	b.Money = Money{Currency: m.Currency, LabourPerH: amount("labour_per_h", m.LabourPerH), BenchPerDay: amount("bench_per_day", m.BenchPerDay),
		CoatPerShot: amount("coat_per_shot", m.CoatPerShot), CupPerMix: amount("cup_per_mix", m.CupPerMix),
		WastePct: r.between("money", 0, "waste_pct", m.WastePct, 0, 100, "%"), MarginPct: r.between("money", 0, "margin_pct", m.MarginPct, 0, 95, "% of the price"), ToolCost: map[string]float64{},
		PotPerH: amount("pot_per_h", m.PotPerH), VacuumPerH: amount("vacuum_per_h", m.VacuumPerH), OverheadPct: r.between("money", 0, "overhead_pct", m.OverheadPct, 0, 1000, "%"), MouldsWhole: m.Moulds == "whole"}
	if m.Moulds != "" && m.Moulds != "whole" && m.Moulds != "wear" {
		r.fail("money", 0, "moulds", "%q is neither \"wear\" nor \"whole\"", m.Moulds)
	}
	r.consumables(b)
	r.quote(b)
	for n, mf := range r.f.Material {
		mat := Material{Name: mf.Name, ShelfDays: int(r.between("material", n, "shelf_days", float64(mf.ShelfDays), 0, 3650, "days"))}
		if len(mf.Kits) == 0 {
			r.fail("material", n, "kit", "give %q at least one kit = [{mass_g = …, price = …}]", mf.Name)
		}
		for _, k := range mf.Kits {
			mat.Kits = append(mat.Kits, Kit{r.between("material", n, "kit", k.MassG, 0.1, 1e7, "g"), r.between("material", n, "kit", k.Price, 0, maxMoney, "")})
		}
		b.Materials = append(b.Materials, mat)
	}
}

func (r *reader) consumables(b *Bench) {
	own := []string{"hands", "material", "moulds", "bench", "release coat", "cups", "pressure pot", "vacuum chamber", "overhead"}
	for n, f := range r.f.Consumables {
		c := Consumable{Name: f.Name, Unit: f.Unit, Per: Per(f.Per), Amount: r.between("consumable", n, "amount", f.Amount, 0, 1e6, f.Unit), Price: r.between("consumable", n, "price", f.Price, 0, maxMoney, "")}
		switch c.Per {
		case PerShot, PerMix, PerPart, PerLoad, PerBatch:
		default:
			r.fail("consumable", n, "per", "%q is none of shot, mix, part, load and batch", f.Per)
		}
		if f.Name == "" || slices.Contains(own, f.Name) {
			r.fail("consumable", n, "name", "give it a name that no other cost has; found %q", f.Name)
		}
		own = append(own, f.Name)
		b.Money.Consumables = append(b.Money.Consumables, c)
	}
}

func (r *reader) quote(b *Bench) {
	f := r.f.Quote
	q := &b.Quoting
	*q = Quoting{From: f.From, To: f.To, Number: f.Number, Terms: f.Terms, TaxName: f.TaxName, TaxPct: r.between("quote", 0, "tax_pct", f.TaxPct, 0, 100, "%"),
		MinOrder: r.between("quote", 0, "min_order", f.MinOrder, 0, maxMoney, ""), ValidDays: int(r.between("quote", 0, "valid_days", float64(f.ValidDays), 0, 3650, "days")), Date: b.Start}
	if f.Date != "" {
		q.Date = r.date("quote", 0, "date", f.Date)
	}
	if f.Logo != "" {
		q.Logo = r.besides("quote", 0, "logo", f.Logo)
	}
	const most = 8
	if len(f.Quantities) > most {
		r.fail("quote", 0, "quantities", "%d are given; at most %d fit the page", len(f.Quantities), most)
	}
	for _, n := range f.Quantities {
		q.Quantities = append(q.Quantities, int(r.between("quote", 0, "quantities", float64(n), 1, maxQuantity, "parts")))
	}
}

func (r *reader) tools(b *Bench) {
	for n := range r.f.Tools {
		r.toolJob(n)
		t := r.f.Tools[n]
		tool := Tool{Name: t.Name, Count: int(r.between("tool", n, "count", float64(t.Count), 0, maxCount, "moulds")), Cavities: max(1, t.Cavities),
			LifeShots: int(r.between("tool", n, "life_shots", float64(t.LifeShots), 0, 1e7, "shots")), Used: t.Used, MouldIDs: t.MouldIDs}
		if rep := r.jobs[n]; rep != nil {
			tool.Job = rep.Part.Name
		}
		r.mouldIDs(b, n)
		r.between("tool", n, "cavities", float64(tool.Cavities), 1, 1000, "cavities")
		if t.Name == "" {
			r.fail("tool", n, "name", "give the tool a name")
		}
		for _, o := range b.Tools {
			if o.Name == t.Name {
				r.fail("tool", n, "name", "%q is the name of another tool", t.Name)
			}
		}
		if len(t.BoxMM) != 3 {
			r.fail("tool", n, "box_mm", "give three sizes: width, depth, height of the closed mould as it stands; found %d", len(t.BoxMM))
		}
		for k, v := range t.BoxMM {
			if k < 3 {
				tool.BoxMM[k] = r.between("tool", n, "box_mm", v, 1, 5000, "mm")
			}
		}
		for _, u := range t.Used {
			r.between("tool", n, "used_shots", float64(u), 0, 1e7, "shots")
		}
		b.Money.ToolCost[t.Name] = r.between("tool", n, "cost", t.Cost, 0, maxMoney, "")
		b.Tools = append(b.Tools, tool)
	}
}

func (r *reader) recipes(b *Bench) {
	for n := range r.f.Recipes {
		shotG, potLifeMin := r.recipeJobs(b, n)
		f := r.f.Recipes[n]
		s := func(key string, v, lo float64) int64 { return r.span("recipe", n, key, v, lo) }
		rec := Recipe{Name: f.Name, Material: f.Material, ShotG: r.between("recipe", n, "shot_g", shotG, 0.01, 1e6, "g"),
			CoatS: s("coat_min", f.CoatMin, 0), DryS: s("dry_min", f.DryMin, 0), CoatValidS: s("coat_valid_min", f.CoatValidMin, 0),
			MixS: s("mix_min", f.MixMin, 0.1), DegasS: s("degas_min", f.DegasMin, 0), PourS: s("pour_min", f.PourMin, 0.1), CloseS: s("close_min", f.CloseMin, 0),
			PotLifeS: s("pot_life_min", potLifeMin, 0.1), LoadS: s("load_min", f.LoadMin, 0), PressureS: s("pressure_min", f.PressureMin, 0), UnloadS: s("unload_min", f.UnloadMin, 0),
			CureS: s("cure_min", f.CureMin, 0), DemouldS: s("demould_min", f.DemouldMin, 0.1), TrimS: s("trim_min", f.TrimMin, 0)}
		if rec.CoatValidS == 0 {
			rec.CoatValidS = 60 * day // no limit was given
		}
		if rec.CoatValidS < rec.DryS {
			r.fail("recipe", n, "coat_valid_min", "the coat is no longer good after %g min but dry only after %g min", f.CoatValidMin, f.DryMin)
		}
		if rec.PressureS > 0 && b.Pot == nil {
			r.fail("recipe", n, "pressure_min", "cures under pressure, but the file has no [pot]")
		}
		if rec.DegasS > 0 && b.Vacuum == nil {
			r.fail("recipe", n, "degas_min", "is degassed, but the file has no [vacuum]")
		}
		if f.Material != "" && b.material(f.Material) == nil {
			r.fail("recipe", n, "material", "no [[material]] has the name %q", f.Material)
		}
		b.Recipes = append(b.Recipes, rec)
	}
}

func (b *Bench) material(name string) *Material {
	for i := range b.Materials {
		if b.Materials[i].Name == name {
			return &b.Materials[i]
		}
	}
	return nil
}

func (r *reader) versions(b *Bench) {
	shots := 0
	for n, f := range r.f.Versions {
		v := Version{Name: f.Name, Colour: f.Colour, Quantity: int(r.between("version", n, "quantity", float64(f.Quantity), 0, maxQuantity, "parts")),
			SparePct: r.between("version", n, "spare_pct", f.SparePct, 0, 500, "%"), Order: f.Order,
			Priority: int(r.between("version", n, "priority", float64(f.Priority), 0, 100, "times")), Tool: -1, Recipe: -1}
		if f.Name == "" || b.version(f.Name) >= 0 {
			r.fail("version", n, "name", "give every version a name of its own; found %q", f.Name)
		}
		for t := range b.Tools {
			if b.Tools[t].Name == f.Tool {
				v.Tool = t
			}
		}
		if v.Tool < 0 {
			r.fail("version", n, "tool", "no [[tool]] has the name %q", f.Tool)
			return
		}
		for k := range b.Recipes {
			if b.Recipes[k].Name == f.Recipe {
				v.Recipe = k
			}
		}
		if v.Recipe < 0 {
			r.fail("version", n, "recipe", "no [[recipe]] has the name %q", f.Recipe)
			return
		}
		if f.Due != "" {
			due := int64(r.date("version", n, "due", f.Due).Sub(b.Start).Seconds()) + day
			if due <= 0 {
				r.fail("version", n, "due", "%q is before the plan starts, %q", f.Due, r.f.Start)
			}
			v.Due = &due
		}
		b.Versions = append(b.Versions, v)
		if shots += b.Shots(n); shots > maxShots {
			r.fail("version", n, "quantity", "the batch takes more than %d shots; plan it in parts", maxShots)
		}
	}
	if shots == 0 {
		r.fail("", 0, "version", "add at least one [[version]] with a quantity")
	}
}

func (r *reader) ways(b *Bench) {
	for n, w := range r.f.Ways {
		num := func(key string, v, lo, hi float64, unit string) float64 {
			return r.between("way", n, key, v, lo, hi, unit)
		}
		way := Way{Name: w.Name, Moulds: int(num("moulds", float64(w.Moulds), 1, maxCount, "moulds")), Cavities: int(num("cavities", float64(max(1, w.Cavities)), 1, 1000, "cavities")),
			MouldCost: num("mould_cost", w.MouldCost, 0, maxMoney, ""), LifeShots: int(num("life_shots", float64(w.LifeShots), 0, 1e7, "shots")),
			MasterCost: num("master_cost", w.MasterCost, 0, maxMoney, ""), MasterMoulds: int(num("master_moulds", float64(w.MasterMoulds), 0, 1e6, "moulds")),
			HandS: r.span("way", n, "hand_min", w.HandMin, 0), ShotG: num("shot_g", w.ShotG, 0.01, 1e6, "g"), RoundsPerDay: num("rounds_per_day", w.RoundsPerDay, 0.01, 1000, "rounds")}
		if w.Name == "" {
			r.fail("way", n, "name", "give the way of tooling a name")
		}
		b.Ways = append(b.Ways, way)
	}
}
