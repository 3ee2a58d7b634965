package finite

import (
	"context"
	"fmt"
	"time"
)

// Problem asks for an order of jobs in a shop, and so for the times of all their tasks.
type Problem struct {
	Shop *Shop
	Jobs []*Job
	// Arcs say which of Jobs must end before which may start, by index.
	Arcs []Arc
	// First is placed before everything else, in its order: what happened already.
	First []*Job
	// Then places what fills the time that is left; nil places nothing.
	Then func(*Schedule) error
	// Value rates a finished schedule; nil rates its end.
	Value func(*Schedule) Value
	// Bound is a value's end that no schedule can beat, as far as the caller knows; 0 is not known.
	Bound int64
}

// Arc says that a job ends before another starts.
type Arc struct{ From, To int }

// Value rates a schedule: the first number that differs decides, and less is better.
type Value [3]int64

// Less says whether v is better than w.
func (v Value) Less(w Value) bool {
	for i := range v {
		if v[i] != w[i] {
			return v[i] < w[i]
		}
	}
	return false
}

// Options steers Solve; the zero value is a search of a few seconds at 200 tasks.
type Options struct {
	Seed       uint64
	Iterations int           // tabu iterations in all; 0: 1,000,000 where an order is timed fast, else by the size
	Patience   int           // iterations without a better order that end one search; 0: 12,500, or by the size
	Elites     int           // orders that are joined; 0: 12
	Lanes      int           // searches side by side; 0: 2. The result depends on it, not on how fast each is
	Shaves     int           // rounds of shaving in the bound; 0: 1, negative: none
	TimeLimit  time.Duration // looked at between searches; 0: none
	Target     int64         // a value's end that is good enough; 0: the bound
	Start      []int         // an order to begin with; nil: rules
	Progress   func(Progress)
}

// Progress is what Solve reports after each round of searches.
type Progress struct {
	Iterations int
	Best       Value
	LowerBound int64
}

// Result is a schedule with what is proven about it.
type Result struct {
	Order      []int // of Problem.Jobs
	Schedule   *Schedule
	Value      Value
	End        int64 // when all is done
	LowerBound int64 // no schedule ends sooner; 0: not known
	Iterations int
}

// Optimal says whether the bound proves that no schedule ends sooner.
func (r *Result) Optimal() bool { return r.End == r.LowerBound }

// Gap is how much longer than the best the schedule can be at most, as a share of the bound.
func (r *Result) Gap() float64 {
	if r.End == r.LowerBound || r.LowerBound == 0 {
		return 0
	}
	return float64(r.End-r.LowerBound) / float64(r.LowerBound)
}

// maxTotal bounds the sum of all durations, so that no sum of starts and tails overflows.
const maxTotal = 1 << 50

// Check says what makes the problem senseless.
func (p *Problem) Check() error {
	if len(p.Jobs) == 0 {
		return fmt.Errorf("there is no job to place")
	}
	total := int64(0)
	for i, j := range p.Jobs {
		for _, t := range j.Tasks {
			if t.Seconds < 0 || t.Seconds > maxTotal {
				return fmt.Errorf("job %d (%s), task %s: %d s is outside 0 to %d", i, j.Name, t.Name, t.Seconds, int64(maxTotal))
			}
			if total += t.Seconds; total > maxTotal {
				return fmt.Errorf("job %d (%s): the tasks add up to more than %d s", i, j.Name, int64(maxTotal))
			}
			for _, n := range t.Needs {
				if n.Resource < 0 || n.Resource >= len(p.Shop.Resources) {
					return fmt.Errorf("job %d (%s), task %s: there is no resource %d", i, j.Name, t.Name, n.Resource)
				}
			}
		}
	}
	for _, a := range p.Arcs {
		if a.From < 0 || a.From >= len(p.Jobs) || a.To < 0 || a.To >= len(p.Jobs) || a.From == a.To {
			return fmt.Errorf("arc %d to %d is outside the %d jobs", a.From, a.To, len(p.Jobs))
		}
	}
	if _, ok := newPrecedence(p).repair(nil); !ok {
		return fmt.Errorf("the jobs wait for each other in a circle")
	}
	return nil
}

// precedence is the arcs of a problem by job.
type precedence struct {
	before, after [][]int
}

func newPrecedence(p *Problem) *precedence {
	pr := &precedence{make([][]int, len(p.Jobs)), make([][]int, len(p.Jobs))}
	for _, a := range p.Arcs {
		pr.before[a.To] = append(pr.before[a.To], a.From)
		pr.after[a.From] = append(pr.after[a.From], a.To)
	}
	return pr
}

// repair gives the order nearest to a list that keeps the arcs: a job that comes too early waits until
// those before it have come. nil is the order of the indices. ok is false for arcs in a circle.
func (pr *precedence) repair(list []int) (out []int, ok bool) {
	n := len(pr.before)
	rank := make([]int, n)
	for i := range rank {
		rank[i] = i
	}
	for k, i := range list {
		rank[i] = k
	}
	waits := make([]int, n)
	ready := &rankHeap{rank: rank}
	for i := range waits {
		if waits[i] = len(pr.before[i]); waits[i] == 0 {
			ready.push(i)
		}
	}
	out = make([]int, 0, n)
	for len(ready.ids) > 0 {
		i := ready.pop()
		out = append(out, i)
		for _, s := range pr.after[i] {
			if waits[s]--; waits[s] == 0 {
				ready.push(s)
			}
		}
	}
	return out, len(out) == n
}

// rankHeap gives the id of least rank first.
type rankHeap struct{ ids, rank []int }

func (h *rankHeap) push(i int) {
	h.ids = append(h.ids, i)
	for k := len(h.ids) - 1; k > 0; {
		up := (k - 1) / 2
		if h.rank[h.ids[up]] <= h.rank[h.ids[k]] {
			break
		}
		h.ids[up], h.ids[k] = h.ids[k], h.ids[up]
		k = up
	}
}

func (h *rankHeap) pop() int {
	top, n := h.ids[0], len(h.ids)-1
	h.ids[0] = h.ids[n]
	h.ids = h.ids[:n]
	for k := 0; ; {
		c := 2*k + 1
		if c >= n {
			return top
		}
		if c+1 < n && h.rank[h.ids[c+1]] < h.rank[h.ids[c]] {
			c++
		}
		if h.rank[h.ids[k]] <= h.rank[h.ids[c]] {
			return top
		}
		h.ids[k], h.ids[c] = h.ids[c], h.ids[k]
		k = c
	}
}

// timetable gives times to an order of the jobs and knows which changes of the order may better them.
// The search (search.go) works on any timetable. A shop whose tasks each have one machine to themselves
// is timed as a graph (machines_*.go), which takes microseconds; any other by placing its jobs (lists.go).
type timetable interface {
	// load times the jobs in this order; false when they do not all find a place.
	load(ctx context.Context, list []int) bool
	// order appends the order that is timed.
	order(to []int) []int
	value() Value
	// findMoves looks for changes on a critical path, and says how many there are.
	findMoves() int
	// estimate is about what the value becomes by move k.
	estimate(k int) Value
	// isHeld says whether move k turns a pair round that was turned the other way lately.
	isHeld(k int, iteration int64) bool
	// apply makes move k, and holds the pairs that it turns until an iteration. False: it cannot be.
	apply(ctx context.Context, k int, iteration int64) bool
	// forget lets all pairs go.
	forget()
}
