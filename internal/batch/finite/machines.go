package finite

import (
	"context"
	"math/rand/v2"
)

// flat is a shop in which every job is one task on one machine of its own choosing none, always open, and
// arcs make chains: a job shop. Number n, one past the last, stands for "none": its duration, head and
// tail are 0, which saves a branch at every end of a sequence.
type flat struct {
	n        int
	machines int
	p        []int64
	mach     []int
	jp, js   []int // before and after in the chain, n for none
	first    []int // number of each chain's first task
	byMach   [][]int
}

// flatten gives a problem as a job shop, or nil where it is more than that.
func flatten(p *Problem) *flat {
	if p.Value != nil || p.Then != nil || len(p.First) > 0 {
		return nil
	}
	f := &flat{n: len(p.Jobs), machines: len(p.Shop.Resources), byMach: make([][]int, len(p.Shop.Resources))}
	for i := range p.Shop.Resources {
		if r := &p.Shop.Resources[i]; r.Capacity != 1 || r.Windows != nil || r.Uses != 0 {
			return nil
		}
	}
	f.p, f.mach, f.jp, f.js = make([]int64, f.n+1), make([]int, f.n+1), make([]int, f.n+1), make([]int, f.n+1)
	for i := range f.jp {
		f.jp[i], f.js[i] = f.n, f.n
	}
	for i, j := range p.Jobs {
		if len(j.Tasks) != 1 || len(j.Holds)+len(j.After)+len(j.Lags) > 0 || j.Release != 0 {
			return nil
		}
		t := &j.Tasks[0]
		if len(t.Needs) != 1 || t.Needs[0].Units != 1 || t.Station != NoStation || t.Fixed != nil {
			return nil
		}
		f.p[i], f.mach[i] = t.Seconds, t.Needs[0].Resource
		f.byMach[f.mach[i]] = append(f.byMach[f.mach[i]], i)
	}
	for _, a := range p.Arcs {
		if f.js[a.From] != f.n || f.jp[a.To] != f.n {
			return nil
		}
		f.js[a.From], f.jp[a.To] = a.To, a.From
	}
	for i := range f.n {
		if f.jp[i] == f.n {
			f.first = append(f.first, i)
		}
	}
	return f
}

// inChains lists the tasks so that each comes after the one before it in its chain.
func (f *flat) inChains() []int {
	out := make([]int, 0, f.n)
	for _, i := range f.first {
		for ; i != f.n; i = f.js[i] {
			out = append(out, i)
		}
	}
	return out
}

// machineTimes times an order of a job shop as a graph.
type machineTimes struct {
	f       *flat
	rng     *rand.Rand
	now     *order
	until   []int64 // until[a*n+b]: the iteration up to which a may not be put before b again
	block   []int
	moves   []move
	segment []int
	rr      []int64
}

func newMachineTimes(f *flat, rng *rand.Rand) *machineTimes {
	return &machineTimes{f: f, rng: rng, now: newOrder(f), until: make([]int64, f.n*f.n)}
}

func (t *machineTimes) load(_ context.Context, list []int) bool {
	t.now.sequence(list)
	return t.now.times()
}

func (t *machineTimes) order(to []int) []int { return append(to, t.now.topo...) }
func (t *machineTimes) value() Value         { return Value{t.now.makespan} }
func (t *machineTimes) forget()              { clear(t.until) }

// ruleOrders are the active schedules of the rules of priority.
func (f *flat) ruleOrders(rng *rand.Rand) (out [][]int) {
	for _, r := range rules {
		out = append(out, dispatch(f, r, rng))
	}
	return out
}
