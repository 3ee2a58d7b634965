package jobshop

import (
	"container/heap"
	"context"
	"sort"
)

// LowerBound is the proven bound without a search: shaves as in Options.
func LowerBound(ctx context.Context, in *Instance, upper int64, shaves int) (int64, error) {
	if err := in.Check(); err != nil {
		return 0, err
	}
	f := flatten(in)
	low := machineBound(f)
	return refute(ctx, f, low, max(low, upper), shaves)
}

// machineBound is the largest one-machine preemptive bound: with the work of each job before and
// after its operation as head and tail, Jackson's preemptive schedule of one machine alone is
// optimal (Carlier 1982), and no shop can beat its own machine. The longest job is a bound too.
func machineBound(f *flat) int64 {
	head, tail := make([]int64, f.n+1), make([]int64, f.n+1)
	var low int64
	for i := range f.n {
		if j := f.jp[i]; j != f.n {
			head[i] = head[j] + f.p[j]
		}
	}
	for i := f.n - 1; i >= 0; i-- {
		if j := f.js[i]; j != f.n {
			tail[i] = tail[j] + f.p[j]
		}
		low = max(low, head[i]+f.p[i]+tail[i])
	}
	for _, ops := range f.byMach {
		jobs := make([]OneMachine, len(ops))
		for k, i := range ops {
			jobs[k] = OneMachine{head[i], f.p[i], tail[i]}
		}
		low = max(low, Preemptive(jobs))
	}
	return low
}

// OneMachine is an operation of the one-machine problem.
type OneMachine struct{ Head, Duration, Tail int64 }

// Preemptive is the length of Jackson's preemptive schedule: at every moment the ready operation
// with the longest tail runs. It is the optimum of the preemptive problem.
func Preemptive(ops []OneMachine) int64 {
	ops = append([]OneMachine(nil), ops...)
	sort.SliceStable(ops, func(a, b int) bool { return ops[a].Head < ops[b].Head })
	var ready tailHeap
	var now, end int64
	for k := 0; k < len(ops) || len(ready) > 0; {
		if len(ready) == 0 {
			now = max(now, ops[k].Head)
		}
		for k < len(ops) && ops[k].Head <= now {
			heap.Push(&ready, ops[k])
			k++
		}
		run := ready[0].Duration
		if k < len(ops) {
			run = min(run, ops[k].Head-now)
		}
		now += run
		if ready[0].Duration -= run; ready[0].Duration == 0 {
			end = max(end, now+ready[0].Tail)
			heap.Pop(&ready)
		}
	}
	return end
}

type tailHeap []OneMachine

func (h tailHeap) Len() int           { return len(h) }
func (h tailHeap) Less(a, b int) bool { return h[a].Tail > h[b].Tail }
func (h tailHeap) Swap(a, b int)      { h[a], h[b] = h[b], h[a] }
func (h *tailHeap) Push(x any)        { *h = append(*h, x.(OneMachine)) }
func (h *tailHeap) Pop() any {
	old := *h
	x := old[len(old)-1]
	*h = old[:len(old)-1]
	return x
}

// refute raises a bound: a makespan that propagation shows to be impossible is below the optimum,
// and so is every smaller one, so the largest that can be refuted is found by halving. upper is a
// makespan that is known to be possible.
func refute(ctx context.Context, f *flat, low, upper int64, shaves int) (int64, error) {
	w := newWindows(f)
	for _, rounds := range []int{0, max(0, shaves)} { // cheap first, so that shaving starts close
		lo, hi := low, upper // optimum ≥ lo; hi is not refuted
		for lo < hi {
			mid := lo + (hi-lo)/2
			ok := w.start(mid)
			if ok && rounds > 0 {
				var err error
				if ok, err = w.shave(ctx, rounds); err != nil {
					return lo, err
				}
			}
			if ok {
				hi = mid
			} else {
				lo = mid + 1
			}
			if ctx.Err() != nil {
				return max(low, lo), ctx.Err()
			}
		}
		low = lo
		if shaves <= 0 {
			break
		}
	}
	return low, nil
}
