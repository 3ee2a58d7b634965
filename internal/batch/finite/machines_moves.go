package finite

import (
	"context"
)

// move takes one operation of a critical block to another place in it: u goes to just after v, or,
// when backward, v to just before u. u stands before v.
type move struct {
	u, v     int
	backward bool
}

// findMoves lists the moves of one critical path, drawn at random where it forks.
func (t *machineTimes) findMoves() int {
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
	return len(t.moves)
}

// blockMoves lists the moves inside one block: any operation to either end, and either end to any
// place, as far as no cycle can arise. Within the first block only its end matters, within the last
// only its beginning (Nowicki & Smutnicki 1996).
func (t *machineTimes) blockMoves(firstBlock, lastBlock bool) {
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
func (t *machineTimes) forward(u, v int) {
	o, f := t.now, t.f
	if j := f.js[u]; j == f.n || o.q[v]+f.p[v] >= o.q[j]+f.p[j] {
		t.moves = append(t.moves, move{u, v, false})
	}
}

// backward adds "v to just before u" likewise.
func (t *machineTimes) backward(v, u int) {
	o, f := t.now, t.f
	if j := f.jp[v]; j == f.n || o.r[u]+f.p[u] >= o.r[j]+f.p[j] {
		t.moves = append(t.moves, move{u, v, true})
	}
}

// estimate is a lower bound on the makespan after the move that is nearly always exact (Balas &
// Vazacopoulos 1998): the longest way through the operations that change places.
func (t *machineTimes) estimate(k int) Value {
	m := t.moves[k]
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
	return Value{est}
}

func (t *machineTimes) isHeld(k int, iter int64) bool {
	m := t.moves[k]
	o, n := t.now, t.f.n
	if m.backward {
		for i := m.u; i != m.v; i = o.ms[i] {
			if t.until[m.v*n+i] >= iter {
				return true
			}
		}
		return false
	}
	for i := o.ms[m.u]; ; i = o.ms[i] {
		if t.until[i*n+m.u] >= iter {
			return true
		}
		if i == m.v {
			return false
		}
	}
}

// apply makes the move and forbids its undoing for a while. A move that closes a cycle, possible
// only with operations of no duration, is taken back.
func (t *machineTimes) apply(_ context.Context, k int, until int64) bool {
	m := t.moves[k]
	o, n := t.now, t.f.n
	if m.backward {
		for i := m.u; i != m.v; i = o.ms[i] {
			t.until[i*n+m.v] = until
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
		t.until[m.u*n+i] = until
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
