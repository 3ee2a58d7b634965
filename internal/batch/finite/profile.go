package finite

import "sort"

// profile is how much of a resource is used from each step on; steps are in order and neighbours
// differ.
type profile struct {
	capacity int
	steps    []step
	open     []step // as nothing is placed
}

type step struct {
	at   int64
	used int
}

// newProfile shuts the resource outside its windows by using it wholly there.
func newProfile(r *Resource) *profile {
	p := &profile{capacity: r.Capacity, steps: []step{{0, 0}}}
	if r.Windows == nil {
		p.open = []step{{0, 0}}
		return p
	}
	p.steps = p.steps[:0]
	last := int64(0)
	for _, w := range r.Windows {
		if w.From > last {
			p.steps = append(p.steps, step{last, r.Capacity})
		}
		away := 0
		if w.Units > 0 {
			away = r.Capacity - w.Units
		}
		p.steps = append(p.steps, step{w.From, away})
		last = w.To
	}
	p.steps = append(p.steps, step{last, r.Capacity})
	if p.steps[0].at > 0 {
		p.steps = append([]step{{0, r.Capacity}}, p.steps...)
	}
	p.open = append([]step(nil), p.steps...)
	return p
}

// reset takes away what was placed.
func (p *profile) reset() { p.steps = append(p.steps[:0], p.open...) }

// find is the last step at or before t.
func (p *profile) find(t int64) int {
	return sort.Search(len(p.steps), func(k int) bool { return p.steps[k].at > t }) - 1
}

// earliest is the first t ≥ from at which units are free for length seconds; horizon or more means
// none.
func (p *profile) earliest(from, length int64, units int, horizon int64) int64 {
	if units > p.capacity {
		return horizon
	}
	if length == 0 {
		return from
	}
	k, t := p.find(from), from
	for i := k; i < len(p.steps) && t < horizon; i++ {
		if p.steps[i].used+units > p.capacity {
			if i+1 == len(p.steps) {
				return horizon
			}
			t = p.steps[i+1].at
			continue
		}
		if i+1 == len(p.steps) || p.steps[i+1].at >= t+length {
			return t
		}
	}
	return min(t, horizon)
}

// add changes the use from t to end by units.
func (p *profile) add(t, end int64, units int) {
	if end <= t {
		return
	}
	a := p.split(t)
	b := p.split(end)
	for i := a; i < b; i++ {
		p.steps[i].used += units
	}
	p.join(b)
	p.join(a)
}

// split makes t a step and gives its index.
func (p *profile) split(t int64) int {
	k := p.find(t)
	if p.steps[k].at == t {
		return k
	}
	p.steps = append(p.steps, step{})
	copy(p.steps[k+2:], p.steps[k+1:])
	p.steps[k+1] = step{t, p.steps[k].used}
	return k + 1
}

// join drops step k if nothing changes there.
func (p *profile) join(k int) {
	if k > 0 && k < len(p.steps) && p.steps[k].used == p.steps[k-1].used {
		p.steps = append(p.steps[:k], p.steps[k+1:]...)
	}
}
