package jobshop

import (
	"context"
	"math/rand/v2"
)

// move takes one operation of a critical block to another place in it: u goes to just after v, or,
// when backward, v to just before u. u stands before v.
type move struct {
	u, v     int
	backward bool
}

// tabu is a tabu search from one order.
type tabu struct {
	ctx     context.Context
	f       *flat
	rng     *rand.Rand
	now     *order
	best    *order
	until   []int64 // until[a*n+b]: the iteration up to which a may not be put before b again
	iter    int64
	block   []int
	moves   []move
	segment []int
	rr      []int64
}

func newTabu(ctx context.Context, f *flat, rng *rand.Rand) *tabu {
	return &tabu{ctx: ctx, f: f, rng: rng, now: newOrder(f), best: newOrder(f), until: make([]int64, f.n*f.n)}
}

// contextEvery is the iterations between looks at the context: a few ms.
const contextEvery = 512

// run searches until the best order has not improved for patience iterations, or the makespan is
// the target, which is a proven bound. It returns the iterations done.
func (t *tabu) run(start *order, patience int, target int64) int {
	t.now.copyFrom(start)
	t.best.copyFrom(start)
	clear(t.until)
	t.iter = 0
	for since := 0; since < patience && t.best.makespan > target; since++ {
		if t.iter++; t.iter%contextEvery == 0 && t.ctx.Err() != nil {
			break
		}
		t.findMoves()
		if len(t.moves) == 0 {
			break // one critical job, or one machine's sequence without alternatives: optimal
		}
		m, ok := t.pick()
		if !ok || !t.apply(m) {
			continue
		}
		if t.now.makespan < t.best.makespan {
			t.best.copyFrom(t.now)
			since = -1
		}
	}
	return int(t.iter)
}

// findMoves lists the moves of one critical path, drawn at random where it forks.
func (t *tabu) findMoves() {
	o, f, n := t.now, t.f, t.f.n
	t.moves = t.moves[:0]
	at, seen := n, 0
	for i := range n {
		if o.q[i]+f.p[i] == o.makespan && o.r[i] == 0 {
			if seen++; t.rng.IntN(seen) == 0 {
				at = i
			}
		}
	}
	firstBlock := true
	for at != n {
		t.block = append(t.block[:0], at)
		next := n
		for {
			end := o.r[at] + f.p[at]
			j, m := f.js[at], o.ms[at]
			jobOn := j != n && o.r[j] == end && end+f.p[j]+o.q[j] == o.makespan
			machOn := m != n && o.r[m] == end && end+f.p[m]+o.q[m] == o.makespan
			if jobOn && machOn && f.mach[j] != f.mach[at] {
				if t.rng.IntN(2) == 0 {
					jobOn = false
				} else {
					machOn = false
				}
			}
			if machOn {
				t.block = append(t.block, m)
				at = m
				continue
			}
			if jobOn {
				next = j
			}
			break
		}
		t.blockMoves(firstBlock, next == n)
		firstBlock = false
		at = next
	}
}

// blockMoves lists the moves inside one block: any operation to either end, and either end to any
// place, as far as no cycle can arise. Within the first block only its end matters, within the last
// only its beginning (Nowicki & Smutnicki 1996).
func (t *tabu) blockMoves(firstBlock, lastBlock bool) {
	b := t.block
	if len(b) < 2 {
		return
	}
	last := len(b) - 1
	if !lastBlock || firstBlock {
		for i := range last {
			t.forward(b[i], b[last])
		}
		for i := 1; i < last; i++ { // the last operation into the block
			t.backward(b[last], b[i])
		}
	}
	if !firstBlock || lastBlock {
		from := 1
		if !lastBlock && last == 1 {
			from = 2 // the swap of the two is listed already
		}
		for i := from; i <= last; i++ {
			t.backward(b[i], b[0])
		}
		for i := 1; i < last; i++ { // the first operation into the block
			t.forward(b[0], b[i])
		}
	}
}

// forward adds "u to just after v" if no way leads from u's next operation to v or before.
func (t *tabu) forward(u, v int) {
	o, f := t.now, t.f
	if j := f.js[u]; j == f.n || o.q[v]+f.p[v] >= o.q[j]+f.p[j] {
		t.moves = append(t.moves, move{u, v, false})
	}
}

// backward adds "v to just before u" likewise.
func (t *tabu) backward(v, u int) {
	o, f := t.now, t.f
	if j := f.jp[v]; j == f.n || o.r[u]+f.p[u] >= o.r[j]+f.p[j] {
		t.moves = append(t.moves, move{u, v, true})
	}
}

// pick chooses the move with the least estimate that is not tabu, or that promises a new best; among
// equals it draws. If all are tabu it draws one of them.
func (t *tabu) pick() (move, bool) {
	var best, any move
	bestEst, ties, found := int64(0), 0, false
	for k, m := range t.moves {
		est := t.estimate(m)
		if t.isTabu(m) && est >= t.best.makespan {
			if t.rng.IntN(k+1) == 0 {
				any = m
			}
			continue
		}
		switch {
		case !found || est < bestEst:
			best, bestEst, ties, found = m, est, 1, true
		case est == bestEst:
			if ties++; t.rng.IntN(ties) == 0 {
				best = m
			}
		}
	}
	if !found {
		if any == (move{}) {
			any = t.moves[t.rng.IntN(len(t.moves))]
		}
		return any, true
	}
	return best, true
}

// estimate is a lower bound on the makespan after the move that is nearly always exact (Balas &
// Vazacopoulos 1998): the longest way through the operations that change places.
func (t *tabu) estimate(m move) int64 {
	o, f := t.now, t.f
	p, r, q, jp, js := f.p, o.r, o.q, f.jp, f.js
	seg := t.segment[:0]
	if m.backward {
		seg = append(seg, m.v)
	}
	for i := m.u; ; i = o.ms[i] {
		if !(m.backward && i == m.v) && !(!m.backward && i == m.u) {
			seg = append(seg, i)
		}
		if i == m.v {
			break
		}
	}
	if !m.backward {
		seg = append(seg, m.u)
	}
	t.segment = seg
	t.rr = t.rr[:0]
	a := o.mp[m.u]
	ready := r[a] + p[a]
	for _, i := range seg {
		head := max(ready, r[jp[i]]+p[jp[i]])
		t.rr = append(t.rr, head)
		ready = head + p[i]
	}
	b := o.ms[m.v]
	tail := q[b] + p[b]
	var est int64
	for k := len(seg) - 1; k >= 0; k-- {
		i := seg[k]
		tl := max(tail, q[js[i]]+p[js[i]])
		est = max(est, t.rr[k]+p[i]+tl)
		tail = tl + p[i]
	}
	return est
}

// isTabu says whether the move would put back a pair that was turned round lately.
func (t *tabu) isTabu(m move) bool {
	o, n := t.now, t.f.n
	if m.backward {
		for i := m.u; i != m.v; i = o.ms[i] {
			if t.until[m.v*n+i] >= t.iter {
				return true
			}
		}
		return false
	}
	for i := o.ms[m.u]; ; i = o.ms[i] {
		if t.until[i*n+m.u] >= t.iter {
			return true
		}
		if i == m.v {
			return false
		}
	}
}

// apply makes the move and forbids its undoing for a while. A move that closes a cycle, possible
// only with operations of no duration, is taken back.
func (t *tabu) apply(m move) bool {
	o, n := t.now, t.f.n
	tenure := t.tenure()
	if m.backward {
		for i := m.u; i != m.v; i = o.ms[i] {
			t.until[i*n+m.v] = t.iter + tenure
		}
		pred := o.mp[m.v]
		o.before(m.v, m.u)
		if !o.times() {
			o.after(m.v, pred)
			o.times()
			return false
		}
		return true
	}
	for i := o.ms[m.u]; ; i = o.ms[i] {
		t.until[m.u*n+i] = t.iter + tenure
		if i == m.v {
			break
		}
	}
	succ := o.ms[m.u]
	o.after(m.u, m.v)
	if !o.times() {
		o.before(m.u, succ)
		o.times()
		return false
	}
	return true
}

// tenure is drawn from 10 + jobs/machines to 1.4 times that (1.5 for many jobs), as Zhang et al.
// (2007) found good.
func (t *tabu) tenure() int64 {
	jobs, machines := int64(len(t.f.first)), int64(t.f.machines)
	low := 10 + jobs/machines
	high := low * 14 / 10
	if jobs > 2*machines {
		high = low * 15 / 10
	}
	return low + t.rng.Int64N(high-low+1)
}
