package finite

import (
	"context"
	"math/rand/v2"
	"sort"
)

// listTimes times an order of any jobs by placing them one after the other.
type listTimes struct {
	p        *Problem
	arcs     *precedence
	rng      *rand.Rand
	list     []int
	schedule *Schedule
	at       []int // the placement of each job
	rated    Value
	held     map[[2]int]int64 // a, b: the iteration up to which a may not be put before b again
	moves    []listMove
	next     *Schedule // scratch
	uses     []uint64
	mirror   *mirror // nil where time runs one way alone
}

// listMove takes a job to just before or just after another in the order.
type listMove struct {
	job, to int
	after   bool
	list    []int
	rated   Value
	ok      bool
	tried   bool
}

func newListTimes(p *Problem, arcs *precedence, rng *rand.Rand) *listTimes {
	return &listTimes{p: p, arcs: arcs, rng: rng, schedule: NewSchedule(p.Shop), next: NewSchedule(p.Shop), at: make([]int, len(p.Jobs)), held: map[[2]int]int64{}, uses: p.uses(), mirror: mirrored(p)}
}

func (p *Problem) identity() []int {
	list := make([]int, len(p.Jobs))
	for i := range list {
		list[i] = i
	}
	return list
}

// place fills an empty schedule: what is first, the jobs in an order that keeps the arcs, and the rest.
func (p *Problem) place(ctx context.Context, arcs *precedence, list []int, s *Schedule) (*Schedule, error) {
	for _, j := range p.First {
		if _, err := s.Place(j); err != nil {
			return nil, err
		}
	}
	ends := make([]int64, len(p.Jobs))
	for _, i := range list {
		if len(p.Jobs[i].Tasks) > 8 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		after := int64(0)
		for _, b := range arcs.before[i] {
			after = max(after, ends[b])
		}
		pl, err := s.placeAfter(p.Jobs[i], after)
		if err != nil {
			return nil, err
		}
		ends[i] = pl.LastEnd()
	}
	if p.Then != nil {
		if err := p.Then(s); err != nil {
			return nil, err
		}
	}
	return s, ctx.Err()
}

func (p *Problem) rate(s *Schedule) Value {
	if p.Value != nil {
		return p.Value(s)
	}
	end := int64(0)
	for _, pl := range s.placed {
		end = max(end, pl.LastEnd())
	}
	return Value{end}
}

func (t *listTimes) load(ctx context.Context, list []int) bool {
	t.next.reset()
	s, err := t.p.place(ctx, t.arcs, list, t.next)
	if err != nil {
		return false
	}
	t.take(list, t.p.rate(s))
	return true
}

// take makes what is placed in next the times.
func (t *listTimes) take(list []int, v Value) {
	t.schedule, t.next = t.next, t.schedule
	t.list = append(t.list[:0], list...)
	for k, i := range list {
		t.at[i] = len(t.p.First) + k
	}
	t.rated = v
}

func (t *listTimes) order(to []int) []int { return append(to, t.list...) }
func (t *listTimes) value() Value         { return t.rated }
func (t *listTimes) forget()              { clear(t.held) }

// sampledMoves is how many changes are tried in one iteration: each is timed in full.
const sampledMoves = 6

// findMoves draws changes of pairs along a critical path, and one of any pair, since where resources are
// shared by several tasks the path does not tell all.
func (t *listTimes) findMoves() int {
	t.moves = t.moves[:0]
	n := len(t.list)
	if n < 2 {
		return 0
	}
	pairs := t.criticalPairs()
	for range sampledMoves - 2 {
		if len(pairs) == 0 {
			break
		}
		k := t.rng.IntN(len(pairs))
		pr := pairs[k]
		pairs[k] = pairs[len(pairs)-1]
		pairs = pairs[:len(pairs)-1]
		if t.rng.IntN(2) == 0 {
			t.moves = append(t.moves, listMove{job: pr[1], to: pr[0]})
		} else {
			t.moves = append(t.moves, listMove{job: pr[0], to: pr[1], after: true})
		}
	}
	for len(t.moves) < sampledMoves {
		a, b := t.rng.IntN(n), t.rng.IntN(n)
		if a != b {
			t.moves = append(t.moves, listMove{job: t.list[a], to: t.list[b], after: a < b})
		}
	}
	return len(t.moves)
}

// criticalPairs walks from the last end back: each job waited for the one that let it start, by a
// resource that both use. Pairs tied by an arc cannot be turned round.
func (t *listTimes) criticalPairs() (pairs [][2]int) {
	pos := 0
	for k := range t.list {
		if t.end(k) > t.end(pos) {
			pos = k
		}
	}
	for {
		i := t.list[pos]
		start := t.start(pos)
		best, bestEnd, ties := -1, int64(-1), 0
		for k := range t.list {
			if k == pos || t.start(k) >= start && k > pos {
				continue
			}
			o := t.list[k]
			end := t.end(k)
			if end > start {
				if t.start(k) >= start || t.uses[i]&t.uses[o] == 0 {
					continue
				}
				end = t.start(k) // jobs of many tasks overlap: the earlier one goes first
			} else if t.uses[i]&t.uses[o] == 0 && !t.arc(o, i) {
				continue
			}
			switch {
			case end > bestEnd:
				best, bestEnd, ties = k, end, 1
			case end == bestEnd:
				if ties++; t.rng.IntN(ties) == 0 {
					best = k
				}
			}
		}
		if best < 0 {
			return pairs
		}
		if o := t.list[best]; !t.arc(o, i) {
			pairs = append(pairs, [2]int{o, i})
		}
		if t.start(best) >= start && best >= pos {
			return pairs
		}
		pos = best
		if len(pairs) > 64 {
			return pairs
		}
	}
}

func (t *listTimes) start(k int) int64 { return t.schedule.placed[len(t.p.First)+k].FirstStart() }
func (t *listTimes) end(k int) int64   { return t.schedule.placed[len(t.p.First)+k].LastEnd() }

func (t *listTimes) arc(a, b int) bool {
	for _, x := range t.arcs.before[b] {
		if x == a {
			return true
		}
	}
	return false
}

// uses is the set of the resources of each job, folded into 64 bits: two jobs that share none may seem to,
// which costs a try and nothing else.
func (p *Problem) uses() []uint64 {
	out := make([]uint64, len(p.Jobs))
	for i, j := range p.Jobs {
		for _, t := range j.Tasks {
			for _, n := range t.Needs {
				if n.Units > 0 {
					out[i] |= 1 << (n.Resource % 64)
				}
			}
		}
		for _, h := range j.Holds {
			for _, r := range h.Choice {
				out[i] |= 1 << (r % 64)
			}
		}
	}
	return out
}

func (t *listTimes) estimate(k int) Value {
	m := &t.moves[k]
	if !m.tried {
		t.try(m)
	}
	if !m.ok {
		return Value{1 << 62}
	}
	return m.rated
}

// try times a move in full.
func (t *listTimes) try(m *listMove) {
	m.tried = true
	list := make([]int, 0, len(t.list))
	for _, i := range t.list {
		if i == m.job {
			continue
		}
		if i == m.to && !m.after {
			list = append(list, m.job)
		}
		list = append(list, i)
		if i == m.to && m.after {
			list = append(list, m.job)
		}
	}
	if len(t.p.Arcs) > 0 {
		list, _ = t.arcs.repair(list)
	}
	t.next.reset()
	s, err := t.p.place(context.Background(), t.arcs, list, t.next)
	if err != nil {
		return
	}
	m.list, m.rated, m.ok = list, t.p.rate(s), true
}

func (t *listTimes) pair(m *listMove) [2]int {
	if m.after {
		return [2]int{m.to, m.job}
	}
	return [2]int{m.job, m.to}
}

func (t *listTimes) isHeld(k int, iteration int64) bool {
	return t.held[t.pair(&t.moves[k])] >= iteration
}

func (t *listTimes) apply(ctx context.Context, k int, until int64) bool {
	m := &t.moves[k]
	if m.tried && !m.ok {
		return false
	}
	pr := t.pair(m)
	list := m.list
	if !m.tried {
		t.try(m)
		if list = m.list; !m.ok {
			return false
		}
	}
	if !t.load(ctx, list) {
		return false
	}
	t.held[[2]int{pr[1], pr[0]}] = until
	t.justify(ctx)
	return true
}

// justify shifts all jobs to the right and back to the left, if that is no worse.
func (t *listTimes) justify(ctx context.Context) {
	if t.mirror == nil {
		return
	}
	list := t.mirror.justify(ctx, t.list, t.schedule.placed)
	if list == nil {
		return
	}
	list, _ = t.arcs.repair(list)
	t.next.reset()
	if s, err := t.p.place(ctx, t.arcs, list, t.next); err == nil {
		if v := t.p.rate(s); !t.rated.Less(v) {
			t.take(list, v)
		}
	}
}

// listRules are orders by simple rules: as given, by latest start, by most work after, by longest job.
func (s *solver) listRules() (out [][]int) {
	n := len(s.p.Jobs)
	length, tail := make([]int64, n), make([]int64, n)
	topo, _ := s.arcs.repair(nil)
	for k := n - 1; k >= 0; k-- {
		i := topo[k]
		length[i] = s.p.Jobs[i].chain()
		for _, a := range s.arcs.after[i] {
			tail[i] = max(tail[i], length[a]+tail[a])
		}
	}
	keys := []func(i int) int64{
		func(i int) int64 { return int64(i) },
		func(i int) int64 { return -length[i] - tail[i] },
		func(i int) int64 { return -tail[i] },
		func(i int) int64 { return -length[i] },
	}
	for _, key := range keys {
		list := s.p.identity()
		sort.SliceStable(list, func(a, b int) bool { return key(list[a]) < key(list[b]) })
		list, _ = s.arcs.repair(list)
		out = append(out, list)
	}
	return out
}

// chain is the least time that a job takes from its first start to its last end.
func (j *Job) chain() (end int64) {
	ends := make([]int64, len(j.Tasks))
	for k := range j.Tasks {
		start := int64(0)
		for _, l := range j.Lags {
			if l.To == k {
				start = max(start, ends[l.From]+l.Min)
			}
		}
		ends[k] = start
		if !j.Tasks[k].IsChange {
			ends[k] += j.Tasks[k].Seconds
		}
		end = max(end, ends[k])
	}
	return end
}
