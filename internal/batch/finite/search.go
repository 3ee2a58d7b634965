package finite

import (
	"context"
	"math/rand/v2"
	"slices"
	"sort"
	"sync"
	"time"
)

// Solve orders the jobs and places them. On a cancelled ctx it returns the best schedule so far along
// with ctx's error.
func Solve(ctx context.Context, p *Problem, opt Options) (*Result, error) {
	if err := p.Check(); err != nil {
		return nil, err
	}
	s := newSolver(ctx, p, opt)
	if err := s.first(); err != nil {
		return nil, err
	}
	if err := s.raiseBound(); err == nil {
		s.fresh()
		s.relink()
	}
	return s.result()
}

// elite is an order that a search ended with.
type elite struct {
	list  []int
	value Value
}

// lane is a search with its own timetable and random numbers, so that lanes can run side by side.
type lane struct {
	times timetable
	rng   *rand.Rand
}

type solver struct {
	ctx        context.Context
	p          *Problem
	opt        Options
	flat       *flat // nil where the shop is more than machines
	arcs       *precedence
	lanes      []lane
	elites     []elite // best first
	bound      int64
	iterations int
	begun      time.Time
}

func newSolver(ctx context.Context, p *Problem, opt Options) *solver {
	s := &solver{ctx: ctx, p: p, opt: opt, flat: flatten(p), arcs: newPrecedence(p), bound: p.Bound, begun: time.Now()}
	s.defaults()
	for k := range s.opt.Lanes {
		rng := rand.New(rand.NewPCG(opt.Seed, 0x6a6f6273686f70+uint64(k)))
		var t timetable
		if s.flat != nil {
			t = newMachineTimes(s.flat, rng)
		} else {
			t = newListTimes(p, s.arcs, rng)
		}
		s.lanes = append(s.lanes, lane{t, rng})
	}
	return s
}

func (s *solver) defaults() {
	n := len(s.p.Jobs)
	set := func(v *int, to int) {
		if *v == 0 {
			*v = to
		}
	}
	if s.flat != nil {
		set(&s.opt.Iterations, 1_000_000)
		set(&s.opt.Patience, 12_500)
	} else {
		set(&s.opt.Iterations, min(20_000, max(8, 200_000/max(1, s.tasks()))))
		set(&s.opt.Patience, max(4, min(2000, s.opt.Iterations/8, 60*n)))
	}
	set(&s.opt.Elites, 12)
	set(&s.opt.Lanes, 2)
	set(&s.opt.Shaves, 1)
}

func (s *solver) tasks() (n int) {
	for _, j := range s.p.Jobs {
		n += len(j.Tasks)
	}
	return n
}

// target is the end of all that ends the search.
func (s *solver) target() int64 { return max(s.bound, s.opt.Target) }

// over says whether to stop, between searches.
func (s *solver) over() bool {
	return s.ctx.Err() != nil || s.reached(s.elites[0].value) || s.iterations >= s.opt.Iterations ||
		s.opt.TimeLimit > 0 && time.Since(s.begun) > s.opt.TimeLimit
}

// reached says whether nothing better can be: a value of its own kind has no known bound.
func (s *solver) reached(v Value) bool { return s.p.Value == nil && v[0] <= s.target() }

// first keeps the orders of the rules as elites, and searches from the best.
func (s *solver) first() error {
	t := s.lanes[0].times
	for _, list := range s.rules() {
		if t.load(s.ctx, list) {
			s.keep(elite{t.order(nil), t.value()})
		}
	}
	if len(s.elites) == 0 {
		if err := s.ctx.Err(); err != nil {
			return err
		}
		_, err := s.place(s.p.identity())
		return err
	}
	best := s.elites[0]
	s.elites = s.elites[:1]
	if s.reached(best.value) {
		return nil
	}
	s.round([][]int{best.list})
	s.elites = s.elites[:1]
	return nil
}

// rules are the orders to begin with: the caller's, or those of simple rules.
func (s *solver) rules() [][]int {
	switch {
	case s.opt.Start != nil:
		list, _ := s.arcs.repair(s.opt.Start)
		return [][]int{list}
	case s.flat != nil:
		return s.flat.ruleOrders(s.lanes[0].rng)
	}
	return s.listRules()
}

// random is an order drawn anew.
func (s *solver) random(rng *rand.Rand) []int {
	if s.flat != nil {
		return dispatch(s.flat, nil, rng)
	}
	list := rng.Perm(len(s.p.Jobs))
	out, _ := s.arcs.repair(list)
	return out
}

// fresh fills the elites up with searches from orders drawn anew.
func (s *solver) fresh() {
	for k := 1; k < s.opt.Elites && !s.over(); k += len(s.lanes) {
		var starts [][]int
		for _, l := range s.lanes {
			starts = append(starts, s.random(l.rng))
		}
		s.round(starts)
	}
}

// relink searches from orders between two elites. When elites have grown alike, all but the best
// make room for fresh ones.
func (s *solver) relink() {
	stale := 0
	for !s.over() {
		if len(s.elites) < 2 || stale > 2*s.opt.Elites {
			s.elites, stale = s.elites[:1], 0
			s.fresh()
			if len(s.elites) < 2 && !s.over() { // every search ends in the same order
				s.iterations += s.opt.Patience * len(s.lanes)
			}
			continue
		}
		var starts [][]int
		for _, l := range s.lanes {
			a := l.rng.IntN(len(s.elites))
			b := l.rng.IntN(len(s.elites) - 1)
			if b >= a {
				b++
			}
			mixed := between(s.elites[a].list, s.elites[b].list, 0.3+0.4*l.rng.Float64())
			list, _ := s.arcs.repair(mixed)
			starts = append(starts, list)
		}
		if s.round(starts) {
			stale = 0
		} else {
			stale += len(s.lanes)
		}
	}
}

// round searches from one start in each lane, side by side, and keeps what is new and good, lane by
// lane. It says whether anything was kept.
func (s *solver) round(starts [][]int) (kept bool) {
	found := make([]elite, len(starts))
	done := make([]int, len(starts))
	var wait sync.WaitGroup
	for k := range starts {
		wait.Add(1)
		go func() {
			defer wait.Done()
			found[k], done[k] = s.search(&s.lanes[k], starts[k])
		}()
	}
	wait.Wait()
	for k, e := range found {
		s.iterations += done[k]
		if e.list != nil && s.keep(e) {
			kept = true
		}
	}
	if s.opt.Progress != nil {
		s.opt.Progress(Progress{s.iterations, s.elites[0].value, s.bound})
	}
	return kept
}

// keep adds an order to the elites if it is new and among the best.
func (s *solver) keep(e elite) bool {
	for _, o := range s.elites {
		if o.value == e.value && slices.Equal(o.list, e.list) {
			return false
		}
	}
	s.elites = append(s.elites, e)
	sort.SliceStable(s.elites, func(a, b int) bool { return s.elites[a].value.Less(s.elites[b].value) })
	if n := s.opt.Elites; len(s.elites) > n {
		worst := s.elites[n]
		s.elites = s.elites[:n]
		return !slices.Equal(worst.list, e.list)
	}
	return true
}

// between lists the jobs in an order on the way from a to b. Every job's place is a weighted mean of its
// places in both, so that whatever both agree on stays.
func between(a, b []int, share float64) []int {
	key := make([]float64, len(a))
	for k, i := range a {
		key[i] += (1 - share) * float64(k)
	}
	for k, i := range b {
		key[i] += share * float64(k)
	}
	list := append([]int(nil), a...)
	sort.SliceStable(list, func(x, y int) bool { return key[list[x]] < key[list[y]] })
	return list
}

// contextEvery is the iterations between looks at the context: a few ms where an order is timed fast.
const contextEvery = 512

// search is a tabu search from one order: the change on a critical path that promises most is made, also
// if it is for the worse, and pairs that were turned round stay so for a while. It ends when the best has
// not become better for a number of iterations.
func (s *solver) search(l *lane, start []int) (best elite, iterations int) {
	t := l.times
	if !t.load(s.ctx, start) {
		return best, 1
	}
	t.forget()
	best = elite{t.order(nil), t.value()}
	low, high := s.tenure()
	iter := int64(0)
	for since := 0; since < s.opt.Patience && !s.reached(best.value); since++ {
		if iter++; iter%contextEvery == 0 || s.flat == nil {
			if s.ctx.Err() != nil || s.opt.TimeLimit > 0 && time.Since(s.begun) > s.opt.TimeLimit {
				break
			}
		}
		moves := t.findMoves()
		if moves == 0 {
			break // one critical job, or one machine's sequence without alternatives: nothing is better
		}
		k := pick(l, moves, iter, best.value)
		if !t.apply(s.ctx, k, iter+low+l.rng.Int64N(high-low+1)) {
			continue
		}
		if t.value().Less(best.value) {
			best = elite{t.order(best.list[:0]), t.value()}
			since = -1
		}
	}
	return best, int(iter)
}

// pick chooses the move with the best estimate that turns no held pair, or that promises a new best; among
// equals it draws. If all turn held pairs it draws one of them.
func pick(l *lane, moves int, iter int64, best Value) int {
	chosen, held, ties, heldSeen := -1, 0, 0, 0
	var least Value
	for k := range moves {
		est := l.times.estimate(k)
		if !est.Less(best) && l.times.isHeld(k, iter) {
			if heldSeen++; l.rng.IntN(heldSeen) == 0 {
				held = k
			}
			continue
		}
		switch {
		case chosen < 0 || est.Less(least):
			chosen, least, ties = k, est, 1
		case est == least:
			if ties++; l.rng.IntN(ties) == 0 {
				chosen = k
			}
		}
	}
	if chosen < 0 {
		return held
	}
	return chosen
}

// tenure is for how many iterations a pair is held: from 10 + jobs/machines to 1.4 times that (1.5 for many
// jobs) where every task has a machine, as Zhang et al. (2007) found good; in other shops from a root of the
// number of jobs to twice that.
func (s *solver) tenure() (low, high int64) {
	if s.flat != nil {
		jobs, machines := int64(len(s.flat.first)), int64(s.flat.machines)
		low = 10 + jobs/machines
		if jobs > 2*machines {
			return low, low * 15 / 10
		}
		return low, low * 14 / 10
	}
	low = 2
	for low*low < int64(len(s.p.Jobs)) {
		low++
	}
	return low, 2 * low
}

// raiseBound proves what it can about the end of all.
func (s *solver) raiseBound() error {
	if s.p.Value != nil {
		return nil
	}
	if s.bound = max(s.bound, relaxedBound(s.p, s.arcs)); s.flat == nil || s.reached(s.elites[0].value) {
		return nil
	}
	s.bound = max(s.bound, machineBound(s.flat))
	if s.elites[0].value[0] <= s.bound {
		return nil
	}
	b, err := refute(s.ctx, s.flat, s.bound, s.elites[0].value[0], s.opt.Shaves)
	s.bound = max(s.bound, b)
	return err
}

// place places the jobs in an order.
func (s *solver) place(list []int) (*Schedule, error) {
	return s.p.place(s.ctx, s.arcs, list, NewSchedule(s.p.Shop))
}

func (s *solver) result() (*Result, error) {
	best := s.elites[0]
	ctx := s.ctx
	s.ctx = context.WithoutCancel(ctx) // what was found is placed in any case
	sched, err := s.place(best.list)
	if err != nil {
		return nil, err
	}
	r := &Result{Order: best.list, Schedule: sched, Value: best.value, LowerBound: s.bound, Iterations: s.iterations}
	for _, pl := range sched.Placed() {
		r.End = max(r.End, pl.LastEnd())
	}
	if s.p.Value == nil {
		r.Value = Value{r.End}
	}
	return r, ctx.Err()
}
