package finite

import (
	"container/heap"
	"context"
	"sort"
)

// machineBound is the largest one-machine preemptive bound: with the work of each job before and
// after its operation as head and tail, Jackson's preemptive schedule of one machine alone is
// optimal (Carlier 1982), and no shop can beat its own machine. The longest job is a bound too.
func machineBound(f *flat) int64 {
	head, tail := make([]int64, f.n+1), make([]int64, f.n+1)
	var low int64
	chains := f.inChains()
	for _, i := range chains {
		if j := f.jp[i]; j != f.n {
			head[i] = head[j] + f.p[j]
		}
	}
	for k := f.n - 1; k >= 0; k-- {
		i := chains[k]
		if j := f.js[i]; j != f.n {
			tail[i] = tail[j] + f.p[j]
		}
		low = max(low, head[i]+f.p[i]+tail[i])
	}
	for _, ops := range f.byMach {
		jobs := make([]oneMachine, len(ops))
		for k, i := range ops {
			jobs[k] = oneMachine{head[i], f.p[i], tail[i]}
		}
		low = max(low, preemptive(jobs))
	}
	return low
}

// oneMachine is an operation of the one-machine problem.
type oneMachine struct{ Head, Duration, Tail int64 }

// preemptive is the length of Jackson's preemptive schedule: at every moment the ready operation
// with the longest tail runs. It is the optimum of the preemptive problem.
func preemptive(ops []oneMachine) int64 {
	ops = append([]oneMachine(nil), ops...)
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

type tailHeap []oneMachine

func (h tailHeap) Len() int           { return len(h) }
func (h tailHeap) Less(a, b int) bool { return h[a].Tail > h[b].Tail }
func (h tailHeap) Swap(a, b int)      { h[a], h[b] = h[b], h[a] }
func (h *tailHeap) Push(x any)        { *h = append(*h, x.(oneMachine)) }
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

// relaxedBound holds for every problem whose jobs are put to the shop in full: the longest chain of jobs, and
// for each resource alone the least time in which its work can be done, shared out freely among the jobs that
// are ready, each with the work that must come before and after it (the fully elastic relaxation of Baptiste,
// Le Pape & Nuijten 1999; Jackson's preemptive schedule where the capacity is one). Tasks of which no two can
// run at the same time are a machine of their own. Windows and setups are left out, which only lowers it.
func relaxedBound(p *Problem, arcs *precedence) int64 {
	n := len(p.Jobs)
	head, length, tail := make([]int64, n), make([]int64, n), make([]int64, n)
	topo, _ := arcs.repair(nil)
	low := int64(0)
	for _, i := range topo {
		length[i] = p.Jobs[i].chain()
		head[i] = p.Jobs[i].Release
		for _, b := range arcs.before[i] {
			head[i] = max(head[i], head[b]+length[b])
		}
	}
	for k := n - 1; k >= 0; k-- {
		i := topo[k]
		for _, a := range arcs.after[i] {
			tail[i] = max(tail[i], tail[a]+length[a])
		}
		low = max(low, head[i]+length[i]+tail[i])
	}
	if !p.singleTasks() {
		return low
	}
	for r := range p.Shop.Resources {
		capacity := int64(p.Shop.Resources[r].Capacity)
		var ops []oneMachine
		for i, j := range p.Jobs {
			t := &j.Tasks[0]
			for _, need := range t.Needs {
				if need.Resource == r && need.Units > 0 {
					ops = append(ops, oneMachine{head[i] * capacity, t.Seconds * int64(need.Units), tail[i] * capacity})
				}
			}
		}
		if len(ops) > 0 {
			low = max(low, (preemptive(ops)+capacity-1)/capacity)
		}
	}
	return max(low, p.cliqueBound(head, tail))
}

// singleTasks says whether every job is one task without ties.
func (p *Problem) singleTasks() bool {
	for _, j := range p.Jobs {
		if len(j.Tasks) != 1 || len(j.Holds)+len(j.After) > 0 || j.Tasks[0].Fixed != nil {
			return false
		}
	}
	return true
}

// cliqueBound gathers, from each task on, tasks of which no two fit beside each other, and bounds each
// such set as one machine.
func (p *Problem) cliqueBound(head, tail []int64) (low int64) {
	apart := func(a, b int) bool {
		for _, x := range p.Jobs[a].Tasks[0].Needs {
			for _, y := range p.Jobs[b].Tasks[0].Needs {
				if x.Resource == y.Resource && x.Units+y.Units > p.Shop.Resources[x.Resource].Capacity {
					return true
				}
			}
		}
		return false
	}
	for i := range p.Jobs {
		set := []int{i}
		for o := range p.Jobs {
			fits := o != i
			for _, s := range set {
				fits = fits && apart(s, o)
			}
			if fits {
				set = append(set, o)
			}
		}
		ops := make([]oneMachine, len(set))
		for k, s := range set {
			ops[k] = oneMachine{head[s], p.Jobs[s].Tasks[0].Seconds, tail[s]}
		}
		low = max(low, preemptive(ops))
	}
	return low
}
