package jobshop

import (
	"context"
	"fmt"
	"math/rand/v2"
	"sort"
	"time"
)

// Options steers Solve; the zero value is a sensible search of a few seconds at 200 operations.
type Options struct {
	Seed       uint64
	Iterations int           // tabu iterations in all; 0 means 1,000,000
	Patience   int           // iterations without a better order that end one search; 0 means 12,500
	Elites     int           // orders that are joined; 0 means 12
	TimeLimit  time.Duration // looked at between searches; 0 means none
	Shaves     int           // rounds of shaving in the bound; 0 means 1, negative none
	Progress   func(Progress)
}

// Progress is what Solve reports after each search.
type Progress struct {
	Iterations           int
	Makespan, LowerBound int64
}

// Result is a schedule with what is proven about it.
type Result struct {
	Starts     [][]int64 // job, operation
	Makespan   int64
	LowerBound int64 // no schedule is shorter
	Iterations int
}

// Optimal says whether the bound proves that no schedule is shorter.
func (r *Result) Optimal() bool { return r.Makespan == r.LowerBound }

// Gap is how much longer than the optimum the schedule can be at most, as a share of the bound.
func (r *Result) Gap() float64 {
	if r.Makespan == r.LowerBound {
		return 0
	}
	return float64(r.Makespan-r.LowerBound) / float64(r.LowerBound)
}

func (o Options) defaults() Options {
	if o.Iterations == 0 {
		o.Iterations = 1_000_000
	}
	if o.Patience == 0 {
		o.Patience = 12_500
	}
	if o.Elites == 0 {
		o.Elites = 12
	}
	if o.Shaves == 0 {
		o.Shaves = 1
	}
	return o
}

// Solve schedules the instance. On a cancelled ctx it returns the best schedule so far along with
// ctx's error.
func Solve(ctx context.Context, in *Instance, opt Options) (*Result, error) {
	if err := in.Check(); err != nil {
		return nil, fmt.Errorf("job shop %q: %w", in.Name, err)
	}
	opt = opt.defaults()
	f := flatten(in)
	s := &solver{ctx: ctx, f: f, opt: opt, rng: rand.New(rand.NewPCG(opt.Seed, 0x6a6f6273686f70)), begun: time.Now()}
	s.tabu = newTabu(ctx, f, s.rng)
	s.bound = machineBound(f)
	s.firstElite()
	if err := s.raiseBound(); err == nil {
		s.freshElites()
		s.relink()
	}
	best := s.elites[0]
	return &Result{Starts: best.starts(in), Makespan: best.makespan, LowerBound: s.bound, Iterations: s.iterations}, ctx.Err()
}

type solver struct {
	ctx        context.Context
	f          *flat
	opt        Options
	rng        *rand.Rand
	tabu       *tabu
	elites     []*order // best first
	bound      int64
	iterations int
	begun      time.Time
}

// over says whether to stop, between searches.
func (s *solver) over() bool {
	return s.ctx.Err() != nil || s.elites[0].makespan <= s.bound || s.iterations >= s.opt.Iterations ||
		s.opt.TimeLimit > 0 && time.Since(s.begun) > s.opt.TimeLimit
}

// raiseBound refutes makespans below the best one found.
func (s *solver) raiseBound() error {
	if s.elites[0].makespan <= s.bound {
		return nil
	}
	b, err := refute(s.ctx, s.f, s.bound, s.elites[0].makespan, s.opt.Shaves)
	s.bound = max(s.bound, b)
	return err
}

// firstElite searches from the best of the rules' schedules.
func (s *solver) firstElite() {
	var best []int
	start := newOrder(s.f)
	for _, r := range rules {
		list := dispatch(s.f, r, s.rng)
		start.sequence(list)
		start.times()
		if best == nil || start.makespan < s.tabu.best.makespan {
			best = list
			s.tabu.best.copyFrom(start)
		}
	}
	start.sequence(best)
	start.times()
	first := newOrder(s.f)
	first.copyFrom(start)
	s.elites = append(s.elites, first) // a schedule is there whatever happens
	s.search(start)
	s.elites = s.elites[:1]
}

// freshElites fills up with searches from random active schedules.
func (s *solver) freshElites() {
	start := newOrder(s.f)
	for k := 1; k < s.opt.Elites && !s.over(); k++ {
		start.sequence(dispatch(s.f, nil, s.rng))
		start.times()
		s.search(start)
	}
}

// search runs the tabu search and keeps its best order if it is new and better than the worst elite.
func (s *solver) search(start *order) {
	s.iterations += s.tabu.run(start, s.opt.Patience, s.bound)
	got := s.tabu.best
	for _, e := range s.elites {
		if e.makespan == got.makespan && e.distance(got) == 0 {
			return
		}
	}
	keep := newOrder(s.f)
	keep.copyFrom(got)
	s.elites = append(s.elites, keep)
	sort.SliceStable(s.elites, func(a, b int) bool { return s.elites[a].makespan < s.elites[b].makespan })
	if len(s.elites) > s.opt.Elites {
		s.elites = s.elites[:s.opt.Elites]
	}
	if s.opt.Progress != nil {
		s.opt.Progress(Progress{s.iterations, s.elites[0].makespan, s.bound})
	}
}

// relink searches from orders between two elites. When elites have grown alike, all but the best
// make room for fresh ones.
func (s *solver) relink() {
	start := newOrder(s.f)
	stale := 0
	for !s.over() {
		if len(s.elites) < 2 || stale > 2*s.opt.Elites {
			s.elites, stale = s.elites[:1], 0
			s.freshElites()
			continue
		}
		a := s.rng.IntN(len(s.elites))
		b := s.rng.IntN(len(s.elites) - 1)
		if b >= a {
			b++
		}
		start.sequence(between(s.elites[a], s.elites[b], 0.3+0.4*s.rng.Float64()))
		start.times()
		worst := s.elites[len(s.elites)-1]
		s.search(start)
		if s.elites[len(s.elites)-1] == worst {
			stale++
		} else {
			stale = 0
		}
	}
}

// between lists the operations in an order on the way from a to b. Every operation's place is a
// weighted mean of its places in both, so that whatever both agree on, the jobs' own sequences among
// it, stays, and no cycle can arise.
func between(a, b *order, share float64) []int {
	n := a.f.n
	key := make([]float64, n)
	for k, i := range a.topo {
		key[i] += (1 - share) * float64(k)
	}
	for k, i := range b.topo {
		key[i] += share * float64(k)
	}
	list := append([]int(nil), a.topo...)
	sort.SliceStable(list, func(x, y int) bool { return key[list[x]] < key[list[y]] })
	return list
}

// distance is how many operations have another neighbour before them on their machine.
func (o *order) distance(b *order) int {
	d := 0
	for i := range o.f.n {
		if o.mp[i] != b.mp[i] {
			d++
		}
	}
	return d
}
