package finite

import (
	"context"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// small draws an instance that can be solved by trying every semi-active schedule.
func small(t *rapid.T) *jobShop {
	in := &jobShop{Name: "random", Machines: rapid.IntRange(1, 3).Draw(t, "machines")}
	for range rapid.IntRange(1, 4).Draw(t, "jobs") {
		var job []operation
		for range rapid.IntRange(1, 3).Draw(t, "operations") {
			job = append(job, operation{rapid.IntRange(0, in.Machines-1).Draw(t, "machine"), int64(rapid.IntRange(0, 9).Draw(t, "duration"))})
		}
		in.Jobs = append(in.Jobs, job)
	}
	return in
}

// optimum tries every order in which operations can be started: each semi-active schedule, and so an
// optimal one, arises from some order.
func optimum(in *jobShop) int64 {
	next := make([]int, len(in.Jobs))
	jobFree, machFree := make([]int64, len(in.Jobs)), make([]int64, in.Machines)
	best := int64(1) << 60
	var try func(end int64)
	try = func(end int64) {
		if end >= best {
			return
		}
		done := true
		for j, k := range next {
			if k == len(in.Jobs[j]) {
				continue
			}
			done = false
			op := in.Jobs[j][k]
			jf, mf := jobFree[j], machFree[op.Machine]
			e := max(jf, mf) + op.Duration
			jobFree[j], machFree[op.Machine] = e, e
			next[j]++
			try(max(end, e))
			next[j]--
			jobFree[j], machFree[op.Machine] = jf, mf
		}
		if done {
			best = end
		}
	}
	try(0)
	return best
}

func TestAgainstEverySchedule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := small(t)
		best := optimum(in)
		p := in.problem()
		if len(p.Jobs) == 0 {
			return
		}
		res, err := Solve(context.Background(), p, Options{Iterations: 3000, Patience: 300, Elites: 4, Shaves: 5})
		if err != nil {
			t.Fatal(err)
		}
		if err := Verify(p.Shop, res.Schedule.Placed()); err != nil {
			t.Fatal(err)
		}
		if res.End != best {
			t.Fatalf("makespan %d, the best of all schedules %d", res.End, best)
		}
		if res.LowerBound > best {
			t.Fatalf("bound %d above the optimum %d", res.LowerBound, best)
		}
	})
}

// TestScalingOfMachines: times of k units each give k times the makespan and bound by the same search.
func TestScalingOfMachines(t *testing.T) {
	in := published(t)["la02"]
	opt := Options{Iterations: 20_000, Shaves: -1}
	one, err := Solve(context.Background(), in.problem(), opt)
	if err != nil {
		t.Fatal(err)
	}
	p := in.problem()
	for _, j := range p.Jobs {
		j.Tasks[0].Seconds *= 7
	}
	seven, err := Solve(context.Background(), p, opt)
	if err != nil {
		t.Fatal(err)
	}
	if seven.End != 7*one.End || seven.LowerBound != 7*one.LowerBound {
		t.Errorf("%d, %d became %d, %d", one.End, one.LowerBound, seven.End, seven.LowerBound)
	}
}

// TestPermutingJobs: another numbering of the jobs keeps the optimum and the machine bound.
func TestPermutingJobs(t *testing.T) {
	in := published(t)["la01"]
	rng := rand.New(rand.NewPCG(1, 2))
	rng.Shuffle(len(in.Jobs), func(a, b int) { in.Jobs[a], in.Jobs[b] = in.Jobs[b], in.Jobs[a] })
	res, err := Solve(context.Background(), in.problem(), Options{Iterations: 100_000})
	if err != nil {
		t.Fatal(err)
	}
	if best := bestKnown["la01"]; res.End != best || res.LowerBound != best {
		t.Errorf("makespan %d, bound %d", res.End, res.LowerBound)
	}
}

// TestOneMachineBound on the example of Carlier (1982, Table 1; values from memory): seven operations
// whose optimum is 50. The optimum is found here by trying all orders.
func TestOneMachineBound(t *testing.T) {
	ops := []oneMachine{{10, 5, 7}, {13, 6, 26}, {11, 7, 24}, {20, 4, 21}, {30, 3, 8}, {0, 6, 17}, {30, 2, 0}}
	best := int64(1) << 60
	used := make([]bool, len(ops))
	var try func(n int, now, end int64)
	try = func(n int, now, end int64) {
		if n == len(ops) {
			best = min(best, end)
			return
		}
		for i, o := range ops {
			if !used[i] {
				used[i] = true
				e := max(now, o.Head) + o.Duration
				try(n+1, e, max(end, e+o.Tail))
				used[i] = false
			}
		}
	}
	try(0, 0, 0)
	if best != 50 {
		t.Errorf("optimum %d", best)
	}
	if low := preemptive(ops); low > best {
		t.Errorf("bound %d, optimum %d", low, best)
	}
}

// TestPreemptiveIsTheLargestLoad: the preemptive optimum is the largest, over all sets of operations,
// of least head + durations + least tail (Carlier 1982, theorem 2).
func TestPreemptiveIsTheLargestLoad(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var ops []oneMachine
		for range rapid.IntRange(1, 8).Draw(t, "n") {
			n := rapid.Int64Range(0, 20)
			ops = append(ops, oneMachine{n.Draw(t, "head"), n.Draw(t, "duration"), n.Draw(t, "tail")})
		}
		var most int64
		for set := 1; set < 1<<len(ops); set++ {
			head, tail, load := int64(1)<<40, int64(1)<<40, int64(0)
			for i, o := range ops {
				if set>>i&1 == 1 {
					head, tail, load = min(head, o.Head), min(tail, o.Tail), load+o.Duration
				}
			}
			most = max(most, head+load+tail)
		}
		if got := preemptive(ops); got != most {
			t.Fatalf("%d, largest load %d", got, most)
		}
	})
}

func TestSameSeedSameSchedule(t *testing.T) {
	for name, p := range map[string]*Problem{"ft10": published(t)["ft10"].problem(), "j3029_1": publishedProjects(t)["j3029_1"]} {
		var first *Result
		for range 2 {
			res, err := Solve(context.Background(), p, Options{Seed: 5, Iterations: 4000, Patience: 500, Shaves: -1})
			if err != nil {
				t.Fatal(err)
			}
			if first == nil {
				first = res
			} else if !slices.Equal(res.Order, first.Order) {
				t.Fatalf("%s: two runs differ", name)
			}
		}
	}
}

func TestCancelledSolveGivesASchedule(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	p := published(t)["ft10"].problem()
	res, err := Solve(ctx, p, Options{})
	if err == nil || res == nil {
		t.Fatalf("%v, %v", res, err)
	}
	if err := Verify(p.Shop, res.Schedule.Placed()); err != nil {
		t.Error(err)
	}
}

func TestReadErrors(t *testing.T) {
	for src, words := range map[string]string{
		"2 2\n0 1 1 2\n":            "line 2: the file ends with 1 jobs",
		"1 2\n0 1 x 2\n":            `line 2: "x" is not a whole number`,
		"1 2\n0 1\n":                "line 2: expected 2 pairs",
		"5\n":                       "line 1: expected the number of jobs",
		"instance a\n2 1\n0 1\nend": "line 4: 1 more jobs",
	} {
		if _, err := readJobShops(strings.NewReader(src)); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: %v", src, err)
		}
	}
}
