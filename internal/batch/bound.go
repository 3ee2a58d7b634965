package batch

// LowerBound is an end that no plan of the demand can beat, whatever loads it makes up: the largest of
// three, each of which drops all constraints but some.
//
//   - Moulds: some mould of a tool is filled at least shots/moulds times, one round after the other,
//     its hand work inside shifts, nobody ever busy elsewhere.
//   - Pots: some pot is closed at least loads/pots times, likewise; a load holds at most what the pot
//     has volume for, the moulds there are, and what can be poured within the pot life.
//   - Hands: all hand work, with as few mixes, loads and purges as can be, fills the shifts from the
//     start.
func (b *Bench) LowerBound() int64 {
	h := b.hours()
	if _, err := b.findLimits(h); err != nil {
		return h.horizon
	}
	bound := h.after(b.handWork() / int64(b.Operators))
	for t := range b.Tools {
		bound = max(bound, b.mouldBound(t, h))
	}
	if b.Pot != nil {
		bound = max(bound, b.potBound(h))
	}
	return bound
}

func (b *Bench) hours() hours { return hours{b.openHours(), int64(b.Days) * day} }

// firstPour is the soonest that a mould which is free from a moment can be poured: coated and dry, and
// some mix ready. The mix may be made before the mould is free.
func (r *Recipe) firstPour(h hours, free int64) int64 {
	coated := h.fit(free, r.CoatS) + r.CoatS + r.DryS
	mixed := h.fit(0, r.MixS) + r.MixS + r.DegasS
	return h.fit(max(coated, mixed), r.PourS)
}

// pass is the end of one round of one mould that is free from a moment.
func (r *Recipe) pass(h hours, free int64) (demoulded int64) {
	poured := r.firstPour(h, free) + r.PourS
	at := h.fit(poured, r.CloseS) + r.CloseS
	if r.PressureS > 0 {
		at = h.fit(at, r.LoadS) + r.LoadS + r.PressureS
		at = h.fit(at, r.UnloadS) + r.UnloadS
	}
	return h.fit(max(at, poured+r.CureS), r.DemouldS) + r.DemouldS
}

// mouldBound takes for every round the quickest recipe that the tool is used with.
func (b *Bench) mouldBound(t int, h hours) int64 {
	shots := 0
	var recipes []*Recipe
	for v := range b.Versions {
		if b.Versions[v].Tool == t {
			shots += b.Shots(v)
			recipes = append(recipes, &b.Recipes[b.Versions[v].Recipe])
		}
	}
	if shots == 0 {
		return 0
	}
	at := int64(0)
	trim := int64(-1)
	for range (shots + b.Tools[t].Count - 1) / b.Tools[t].Count {
		next := h.horizon
		for _, r := range recipes {
			next = min(next, r.pass(h, at))
		}
		at = next
	}
	for _, r := range recipes {
		if trim < 0 || r.TrimS < trim {
			trim = r.TrimS
		}
	}
	return h.fit(at, trim) + trim
}

// potBound counts the loads that are needed at least and runs them one after the other.
func (b *Bench) potBound(h hours) int64 {
	shots, most := 0, 0
	first, load, press, unload := h.horizon, h.horizon, h.horizon, h.horizon
	tail := h.horizon
	for v := range b.Versions {
		ver := &b.Versions[v]
		r, tool := &b.Recipes[ver.Recipe], &b.Tools[ver.Tool]
		n := b.Shots(v)
		if r.PressureS == 0 || n == 0 {
			continue
		}
		shots += n
		room := r.PotLifeS - r.MixS - r.DegasS - r.LoadS
		byLife := b.Pot.most(tool.BoxMM)
		if s := r.PourS + r.CloseS; s > 0 {
			byLife = min(byLife, int(int64(b.Operators)*room/s))
		}
		most = max(most, byLife)
		poured := r.firstPour(h, 0) + r.PourS
		first = min(first, h.fit(poured, r.CloseS)+r.CloseS)
		load, press, unload = min(load, r.LoadS), min(press, r.PressureS), min(unload, r.UnloadS)
		tail = min(tail, r.DemouldS+r.TrimS)
	}
	if shots == 0 {
		return 0
	}
	moulds := 0
	for t := range b.Tools {
		moulds += b.Tools[t].Count
	}
	most = max(1, min(most, moulds))
	loads := (shots + most - 1) / most
	at := first
	for range (loads + b.Pot.Count - 1) / b.Pot.Count {
		at = h.fit(at, load) + load + press
		at = h.fit(at, unload) + unload
	}
	return at + tail
}

// handWork is the least time of hands that the demand takes.
func (b *Bench) handWork() (s int64) {
	colours := map[string]bool{}
	for v := range b.Versions {
		r := &b.Recipes[b.Versions[v].Recipe]
		n := b.Shots(v)
		if n == 0 {
			continue
		}
		parts := n * b.Tools[b.Versions[v].Tool].Cavities
		s += int64(n)*(r.CoatS+r.PourS+r.CloseS+r.DemouldS) + int64(parts)*r.TrimS
		most := b.mostPerMix(v)
		s += int64((n+most-1)/most) * r.MixS
		colours[b.Versions[v].Colour] = true
	}
	return s + int64(max(0, len(colours)-1))*b.Mixing.PurgeS
}

// mostPerMix is a number of shots that no mix of the version passes, whatever the packing.
func (b *Bench) mostPerMix(v int) int {
	r, tool := &b.Recipes[b.Versions[v].Recipe], &b.Tools[b.Versions[v].Tool]
	most := min(tool.Count, int(b.Mixing.CapacityG/r.ShotG+1e-9))
	if b.Vacuum != nil && r.DegasS > 0 {
		most = min(most, int(b.Vacuum.CapacityG/r.ShotG+1e-9))
	}
	if s := r.PourS + r.CloseS; s > 0 {
		most = min(most, int(int64(b.Operators)*(r.PotLifeS-r.MixS-r.DegasS)/s))
	}
	if b.Pot != nil && r.PressureS > 0 {
		most = min(most, b.Pot.most(tool.BoxMM))
	}
	return max(1, most)
}
