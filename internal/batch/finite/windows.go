package finite

import (
	"context"
	"sort"
)

// windows holds for every operation the earliest start and the latest end that a given makespan
// leaves, and narrows them until nothing follows any more. It only draws conclusions that hold in
// every schedule within the makespan, so an empty window refutes the makespan.
type windows struct {
	f        *flat
	chains   []int // the tasks, each after the one before it
	est, lct []int64
	dirty    []bool // machines whose windows changed

	// Scratch of one machine's edge-finding.
	ids      []int
	e, l, p  []int64
	raised   []int64
	prefixes []int64
	byE      []int

	stack []savedWindows
}

type savedWindows struct{ est, lct []int64 }

func newWindows(f *flat) *windows {
	return &windows{f: f, chains: f.inChains(), est: make([]int64, f.n+1), lct: make([]int64, f.n+1), dirty: make([]bool, f.machines)}
}

// start opens all windows to the makespan and propagates; false refutes it.
func (w *windows) start(makespan int64) bool {
	for i := range w.f.n {
		w.est[i], w.lct[i] = 0, makespan
	}
	for m := range w.dirty {
		w.dirty[m] = true
	}
	if !w.jobs() {
		return false
	}
	return w.propagate()
}

// jobs carries windows along the jobs.
func (w *windows) jobs() bool {
	f := w.f
	for _, i := range w.chains {
		if j := f.jp[i]; j != f.n && w.est[i] < w.est[j]+f.p[j] {
			w.est[i] = w.est[j] + f.p[j]
			w.dirty[f.mach[i]] = true
		}
	}
	for k := f.n - 1; k >= 0; k-- {
		i := w.chains[k]
		if j := f.js[i]; j != f.n && w.lct[i] > w.lct[j]-f.p[j] {
			w.lct[i] = w.lct[j] - f.p[j]
			w.dirty[f.mach[i]] = true
		}
		if w.est[i]+f.p[i] > w.lct[i] {
			return false
		}
	}
	return true
}

func (w *windows) propagate() bool {
	for {
		changed := false
		for m := range w.dirty {
			if !w.dirty[m] {
				continue
			}
			w.dirty[m] = false
			c, ok := w.machine(m)
			if !ok {
				return false
			}
			changed = changed || c
		}
		if !changed {
			return true
		}
		if !w.jobs() {
			return false
		}
	}
}

// machine narrows the windows of one machine: first the starts, then, in mirrored time, the ends.
func (w *windows) machine(m int) (changed, ok bool) {
	f := w.f
	w.ids = f.byMach[m]
	n := len(w.ids)
	w.e, w.l, w.p = resized(w.e, n), resized(w.l, n), resized(w.p, n)
	for range 2 {
		for k, i := range w.ids {
			w.e[k], w.l[k], w.p[k] = w.est[i], w.lct[i], f.p[i]
		}
		if !w.edges() {
			return changed, false
		}
		for k, i := range w.ids {
			if w.raised[k] > w.est[i] {
				w.est[i] = w.raised[k]
				changed = true
			}
		}
		for k, i := range w.ids {
			w.e[k], w.l[k], w.p[k] = -w.lct[i], -w.est[i], f.p[i]
		}
		if !w.edges() {
			return changed, false
		}
		for k, i := range w.ids {
			if -w.raised[k] < w.lct[i] {
				w.lct[i] = -w.raised[k]
				changed = true
			}
		}
	}
	for _, i := range w.ids {
		if w.est[i]+f.p[i] > w.lct[i] {
			return changed, false
		}
	}
	return changed, true
}

func resized(s []int64, n int) []int64 {
	if cap(s) < n {
		return make([]int64, n)
	}
	return s[:n]
}

// edges is edge-finding in O(n²): for each latest end, the set of operations that must end by then;
// an operation that cannot be squeezed among them must follow them, and starts no earlier than the
// largest load they put on the machine (Baptiste, Le Pape & Nuijten 2001, section 2.1.4). Pairs, the
// immediate selections of Carlier & Pinson, are the sets of one. raised gets the earliest starts.
func (w *windows) edges() bool {
	n := len(w.ids)
	w.raised, w.prefixes = resized(w.raised, n), resized(w.prefixes, n)
	copy(w.raised, w.e)
	w.byE = w.byE[:0]
	for k := range n {
		w.byE = append(w.byE, k)
	}
	insertionSort(w.byE, w.e)
	for k := range n {
		end := w.l[k]
		var load int64
		const never = -1 << 60
		full := int64(never)
		for x := n - 1; x >= 0; x-- {
			i := w.byE[x]
			if w.l[i] <= end {
				load += w.p[i]
				if full = max(full, w.e[i]+load); full > end {
					return false
				}
			}
			w.prefixes[x] = full
		}
		before := int64(never)
		for x := range n {
			i := w.byE[x]
			if w.l[i] <= end {
				before = max(before, w.e[i]+load)
				load -= w.p[i]
				continue
			}
			if load > 0 && w.e[i]+load+w.p[i] > end {
				w.raised[i] = max(w.raised[i], w.prefixes[x])
			}
			if before+w.p[i] > end {
				w.raised[i] = max(w.raised[i], full)
			}
		}
	}
	return true
}

// insertionSort sorts indices by key; the lists are short and nearly sorted.
func insertionSort(ids []int, key []int64) {
	if len(ids) > 40 {
		sort.SliceStable(ids, func(a, b int) bool { return key[ids[a]] < key[ids[b]] })
		return
	}
	for a := 1; a < len(ids); a++ {
		for b := a; b > 0 && key[ids[b]] < key[ids[b-1]]; b-- {
			ids[b], ids[b-1] = ids[b-1], ids[b]
		}
	}
}

// shave tries, for every operation, the early and the late part of its window; what propagation
// refutes is cut off (Martin & Shmoys 1996). It repeats while something is cut, at most rounds times.
func (w *windows) shave(ctx context.Context, rounds int) (bool, error) {
	for range rounds {
		cut := false
		for i := range w.f.n {
			if ctx.Err() != nil {
				return true, ctx.Err()
			}
			for _, late := range []bool{false, true} {
				c, ok := w.shaveOne(i, late)
				if !ok {
					return false, nil
				}
				cut = cut || c
			}
		}
		if !cut {
			break
		}
	}
	return true, nil
}

// shaveOne cuts the largest refuted part among 1/2, 1/4, 1/8, … of the starts that are left.
func (w *windows) shaveOne(i int, late bool) (cut, ok bool) {
	p := w.f.p[i]
	for width := (w.lct[i] - p - w.est[i] + 1) / 2; width >= 1; width /= 2 {
		w.push()
		e, l := w.est[i], w.lct[i]
		if late {
			w.est[i] = l - p - width + 1
		} else {
			w.lct[i] = e + p + width - 1
		}
		w.dirty[w.f.mach[i]] = true
		possible := w.jobs() && w.propagate()
		w.pop()
		if possible {
			if width > 16 {
				width = (width + 3) / 4 * 2 // skip a step: near misses are rare
			}
			continue
		}
		if late {
			w.lct[i] = l - width
		} else {
			w.est[i] = e + width
		}
		w.dirty[w.f.mach[i]] = true
		if !w.jobs() || !w.propagate() {
			return true, false
		}
		return true, true
	}
	return false, true
}

func (w *windows) push() {
	w.stack = append(w.stack, savedWindows{append([]int64(nil), w.est...), append([]int64(nil), w.lct...)})
}

// pop brings the windows back; they were propagated, so no machine is dirty.
func (w *windows) pop() {
	s := w.stack[len(w.stack)-1]
	w.stack = w.stack[:len(w.stack)-1]
	copy(w.est, s.est)
	copy(w.lct, s.lct)
	clear(w.dirty)
}
