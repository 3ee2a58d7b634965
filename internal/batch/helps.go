package batch

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
)

// HelpKind is a change of the bench that may make a batch sooner or cheaper.
type HelpKind string

// The changes that are tried, each by itself.
const (
	MoreMoulds    HelpKind = "one more mould"
	MoreCavities  HelpKind = "one more cavity"
	MoreOperators HelpKind = "one more operator"
	MorePots      HelpKind = "one more pot"
	LaterShift    HelpKind = "a later shift"
	WeekendHour   HelpKind = "an hour at weekends"
)

// Help is what one change of the bench would do to a batch.
type Help struct {
	Kind       HelpKind `json:"kind"`
	About      string   `json:"about,omitempty"` // the tool
	EndS       int64    `json:"end_s"`
	SoonerS    int64    `json:"sooner_s"`     // against the plan
	LessLateS  int64    `json:"less_late_s"`  // of all versions that are late
	CostChange float64  `json:"cost_change"`  // of the batch, without what the change costs; less is negative
	Price      float64  `json:"price"`        // of the change, once
	HasPrice   bool     `json:"has_price"`    // false: nothing is known about it
	PayBack    float64  `json:"pay_back"`     // batches like this one until it has saved its price; 0: never, or no price
	PerDay     float64  `json:"price_of_day"` // price and change of cost for each day sooner; 0: none sooner
	CannotBe   string   `json:"cannot_be,omitempty"`
	Words      string   `json:"words"`
}

// helpTries is the share of the schedules of a first plan that are tried for a change.
const helpTries = 4

// mostHelpTools is for how many tools one more mould and cavity are tried: those with the most shots a mould.
const mostHelpTools = 3

// laterS is how much longer the last shift of a day would go; weekendFrom and weekendTo are when somebody would
// look in at a weekend (common practice, no source).
const (
	laterS      = 2 * 3600
	weekendFrom = 9 * 3600
	weekendTo   = 10 * 3600
)

// WhatHelps plans the batch anew with each change by itself, and ranks them: first what makes least late, then
// what makes most days sooner for its price. All but one more cavity leave every plan possible that was possible
// before, so an end that comes out later than the plan's is the search's and counts as no change.
func (b *Bench) WhatHelps(ctx context.Context, p *Plan, c *Costs, before *History) ([]Help, error) {
	var out []Help
	for _, v := range b.helpVariants() {
		h, err := b.tryHelp(ctx, v, p, c, before)
		if err != nil {
			return nil, err
		}
		h.Words = b.helpWords(&h)
		out = append(out, h)
	}
	sort.SliceStable(out, func(i, j int) bool {
		x, y := &out[i], &out[j]
		switch {
		case (x.CannotBe == "") != (y.CannotBe == ""):
			return x.CannotBe == ""
		case x.LessLateS != y.LessLateS:
			return x.LessLateS > y.LessLateS
		case (x.SoonerS > 0) != (y.SoonerS > 0):
			return x.SoonerS > 0
		case x.SoonerS > 0 && x.HasPrice && y.HasPrice && x.PerDay != y.PerDay:
			return x.PerDay < y.PerDay
		case x.SoonerS != y.SoonerS:
			return x.SoonerS > y.SoonerS
		}
		return x.CostChange < y.CostChange
	})
	return out, nil
}

// helpVariant is a bench with one change.
type helpVariant struct {
	Help
	bench *Bench
}

// changed is a copy of the bench whose lists can be changed.
func (b *Bench) changed() *Bench {
	n := *b
	n.Tools, n.Recipes, n.Versions = slices.Clone(b.Tools), slices.Clone(b.Recipes), slices.Clone(b.Versions)
	n.Shifts, n.Staff = slices.Clone(b.Shifts), slices.Clone(b.Staff)
	return &n
}

func (b *Bench) helpVariants() (out []helpVariant) {
	add := func(kind HelpKind, about string, price float64, known bool, n *Bench) {
		out = append(out, helpVariant{Help{Kind: kind, About: about, Price: price, HasPrice: known}, n})
	}
	for _, t := range b.busyTools() {
		cost := b.Money.ToolCost[b.Tools[t].Name]
		n := b.changed()
		n.Tools[t].Count++
		n.Tools[t].MouldIDs = nil
		add(MoreMoulds, b.Tools[t].Name, cost, cost > 0, n)
		add(MoreCavities, b.Tools[t].Name, 0, false, b.withCavity(t))
	}
	n := b.changed()
	n.Operators++
	if len(n.Staff) > 0 {
		n.Staff = append(n.Staff, Operator{Name: "one more"})
	}
	add(MoreOperators, "", 0, true, n) // hand work is charged by the hour, whoever does it
	if b.Pot != nil {
		n, pot := b.changed(), *b.Pot
		pot.Count++
		n.Pot = &pot
		add(MorePots, "", b.Pot.Price, b.Pot.Price > 0, n)
	}
	if n := b.changed(); n.stretch(laterS) {
		add(LaterShift, "", 0, true, n)
	}
	if n := b.changed(); n.weekends() {
		add(WeekendHour, "", 0, true, n)
	}
	return out
}

// busyTools are the tools with the most shots a mould.
func (b *Bench) busyTools() (out []int) {
	load := make([]float64, len(b.Tools))
	for v := range b.Versions {
		load[b.Versions[v].Tool] += float64(b.Shots(v)) / float64(max(1, b.Tools[b.Versions[v].Tool].usable()))
	}
	for t := range b.Tools {
		if load[t] > 1 { // with a mould for every shot one more does nothing
			out = append(out, t)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return load[out[i]] > load[out[j]] })
	return out[:min(len(out), mostHelpTools)]
}

// withCavity gives a tool one cavity more; the recipes that pour it take as much more material a shot.
func (b *Bench) withCavity(t int) *Bench {
	n := b.changed()
	c := float64(n.Tools[t].Cavities)
	n.Tools[t].Cavities++
	for v := range n.Versions {
		if n.Versions[v].Tool != t {
			continue
		}
		rec := n.Recipes[n.Versions[v].Recipe] // its own, since others may pour it too
		rec.ShotG *= (c + 1) / c
		n.Versions[v].Recipe = len(n.Recipes)
		n.Recipes = append(n.Recipes, rec)
	}
	return n
}

// stretch lengthens the last shift of every day; false where a shift ends at midnight already.
func (b *Bench) stretch(s int64) bool {
	last := int64(0)
	for _, sh := range b.Shifts {
		last = max(last, sh.To)
	}
	if last+s > day {
		return false
	}
	for k := range b.Shifts {
		if b.Shifts[k].To == last {
			b.Shifts[k].To += s
		}
	}
	return true
}

// weekends adds an hour on Saturdays and Sundays that have none; false where both have shifts.
func (b *Bench) weekends() bool {
	var add Shift
	for d := range weekdays {
		if d != "sat" && d != "sun" {
			continue
		}
		if !slices.ContainsFunc(b.Shifts, func(s Shift) bool { return slices.Contains(s.Days, weekdays[d]) }) {
			add.Days = append(add.Days, weekdays[d])
		}
	}
	if len(add.Days) == 0 {
		return false
	}
	slices.Sort(add.Days)
	add.From, add.To = weekendFrom, weekendTo
	b.Shifts = append(b.Shifts, add)
	return true
}

func (b *Bench) tryHelp(ctx context.Context, v helpVariant, p *Plan, c *Costs, before *History) (Help, error) {
	h := v.Help
	opt := Options{Iterations: max(12, defaultIterations(6*b.allShots())/helpTries), like: p}
	if before != nil {
		again := *before // a plan is prepared for the bench that it is made on
		again.Loads = nil
		opt.Before = &again
	}
	n, err := Make(ctx, v.bench, opt)
	if err != nil {
		if ctx.Err() != nil {
			return h, ctx.Err()
		}
		var no *Refusal
		if !errors.As(err, &no) {
			h.CannotBe = err.Error()
			return h, nil
		}
		h.CannotBe = no.Findings[0].Words
		return h, nil
	}
	h.EndS = n.EndS
	if h.Kind != MoreCavities {
		h.EndS = min(n.EndS, p.EndS)
	}
	h.SoonerS = p.EndS - h.EndS
	h.LessLateS = max(0, b.lateS(p)-b.lateS(n))
	h.CostChange = v.bench.Costs(n).Total - c.Total
	if saved := -h.CostChange; h.HasPrice && h.Price > 0 && saved > 0.005 {
		h.PayBack = h.Price / saved
	}
	if h.SoonerS > 0 {
		h.PerDay = (h.Price + h.CostChange) / (float64(h.SoonerS) / float64(day))
	}
	return h, nil
}

func (b *Bench) allShots() (n int) {
	for v := range b.Versions {
		n += b.Shots(v)
	}
	return n
}

// lateS is how late the versions of a plan are in all.
func (b *Bench) lateS(p *Plan) (s int64) {
	for v := range p.Versions {
		if k := b.version(p.Versions[v].Version); k >= 0 && b.Versions[k].Due != nil {
			s += max(0, p.Versions[v].ReadyS-*b.Versions[k].Due)
		}
	}
	return s
}

func (b *Bench) helpWords(h *Help) string {
	name := string(h.Kind)
	if h.About != "" {
		name += " of " + h.About
	}
	switch h.Kind {
	case LaterShift:
		name = fmt.Sprintf("the last shift %s longer", spell(laterS))
	case MoreCavities:
		name = "one more cavity in each " + h.About + ", at the same size"
	}
	if h.CannotBe != "" {
		return fmt.Sprintf("%s: cannot be (%s)", name, h.CannotBe)
	}
	cur := b.Money.Currency
	s := name + ": "
	switch {
	case h.SoonerS > 0:
		s += spell(h.SoonerS) + " sooner"
	case h.SoonerS < 0:
		s += spell(-h.SoonerS) + " later"
	default:
		s += "no sooner"
	}
	if h.LessLateS > 0 {
		s += ", " + spell(h.LessLateS) + " less late"
	}
	switch {
	case h.CostChange > 0.005:
		s += fmt.Sprintf("; the batch costs %.2f %s more", h.CostChange, cur)
	case h.CostChange < -0.005:
		s += fmt.Sprintf("; the batch costs %.2f %s less", -h.CostChange, cur)
	default:
		s += "; the batch costs the same"
	}
	switch {
	case !h.HasPrice:
		s += "; its own price is not known"
	case h.Price == 0:
	case h.PayBack > 0:
		s += fmt.Sprintf("; %.2f %s, paid back by %.1f such batches", h.Price, cur, h.PayBack)
	case h.SoonerS > 0:
		s += fmt.Sprintf("; %.2f %s, which saves no money: a day sooner costs %.2f %s", h.Price, cur, h.PerDay, cur)
	default:
		s += fmt.Sprintf("; %.2f %s, which saves nothing", h.Price, cur)
	}
	return s
}
