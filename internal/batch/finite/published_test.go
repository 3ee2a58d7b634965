package finite

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// bestKnown are optima of published job shops, or the best known makespan where that is not proven to be one.
// ft06 to la40 as in the OR-Library's notes (la29: 1152, Martin 1996); the others as in J. J. van Hoorn, The
// current state of bounds on benchmark instances of the job-shop scheduling problem, Journal of Scheduling 21,
// 2018 (from memory).
var bestKnown = map[string]int64{
	"ft06": 55, "ft10": 930, "ft20": 1165,
	"la01": 666, "la02": 655, "la03": 597, "la04": 590, "la05": 593,
	"la06": 926, "la07": 890, "la08": 863, "la09": 951, "la10": 958,
	"la11": 1222, "la12": 1039, "la13": 1150, "la14": 1292, "la15": 1207,
	"la16": 945, "la17": 784, "la18": 848, "la19": 842, "la20": 902,
	"la21": 1046, "la22": 927, "la23": 1032, "la24": 935, "la25": 977,
	"la26": 1218, "la27": 1235, "la28": 1216, "la29": 1152, "la30": 1355,
	"la31": 1784, "la32": 1850, "la33": 1719, "la34": 1721, "la35": 1888,
	"la36": 1268, "la37": 1397, "la38": 1196, "la39": 1233, "la40": 1222,
	"abz7": 656, "abz8": 667, "abz9": 678,
	"swv01": 1407, "swv02": 1475, "swv03": 1398, "swv04": 1464, "swv05": 1424,
	"yn1": 884, "yn2": 904, "yn3": 892, "yn4": 967,
	"ta21": 1642, "ta22": 1600, "ta23": 1557, "ta24": 1644, "ta25": 1595,
}

// published reads the instances of the file, and writes those of Taillard out by his generator.
func published(t testing.TB) map[string]*jobShop {
	t.Helper()
	b, err := os.ReadFile("testdata/jobshops.txt")
	if err != nil {
		t.Fatal(err)
	}
	all, err := readJobShops(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range taillardSeeds {
		all = append(all, taillard(s.name, 20, 20, s.times, s.machines))
	}
	out := map[string]*jobShop{}
	for _, in := range all {
		if _, ok := bestKnown[in.Name]; !ok {
			t.Fatalf("no optimum for %q", in.Name)
		}
		out[in.Name] = in
	}
	return out
}

// taillardSeeds and the bounds beside them are those of E. Taillard, Benchmarks for basic scheduling
// problems, EJOR 64, 1993: the longest job, or the largest load of a machine.
var taillardSeeds = []struct {
	name            string
	times, machines int64
	bound           int64
}{
	{"ta21", 1035939303, 773961798, 1217}, {"ta22", 5997802, 1872541150, 1240}, {"ta23", 1357503601, 722225039, 1185},
	{"ta24", 806159563, 1166962073, 1271}, {"ta25", 1902815253, 1879990068, 1256},
}

// taillard writes an instance out by the generator of the same paper: durations from 1 to 99 job by job, then
// the machines of each job shuffled, by the random numbers x ← 16807·x mod (2³¹ − 1).
func taillard(name string, jobs, machines int, timeSeed, machineSeed int64) *jobShop {
	const m = 1<<31 - 1
	draw := func(seed *int64, low, high int) int {
		*seed = *seed * 16807 % m
		return low + int(float64(*seed)/m*float64(high-low+1))
	}
	in := &jobShop{Name: name, Machines: machines, Jobs: make([][]operation, jobs)}
	for j := range in.Jobs {
		in.Jobs[j] = make([]operation, machines)
		for k := range in.Jobs[j] {
			in.Jobs[j][k] = operation{k, int64(draw(&timeSeed, 1, 99))}
		}
	}
	for j := range in.Jobs {
		for k := range in.Jobs[j] {
			in.Jobs[j][k].Machine = k
		}
		for k := range in.Jobs[j] {
			o := draw(&machineSeed, k, machines-1)
			a, b := &in.Jobs[j][k].Machine, &in.Jobs[j][o].Machine
			*a, *b = *b, *a
		}
	}
	return in
}

// TestPublishedInstancesAreWhole guards the data: every job visits every machine once, Taillard's have the
// bound that he printed, and the cheap bound is not above the best known makespan.
func TestPublishedInstancesAreWhole(t *testing.T) {
	all := published(t)
	for name, in := range all {
		for j, job := range in.Jobs {
			seen := map[int]bool{}
			for _, op := range job {
				seen[op.Machine] = true
			}
			if len(seen) != in.Machines {
				t.Errorf("%s: job %d visits %d of %d machines", name, j, len(seen), in.Machines)
			}
		}
		if low := machineBound(flatten(in.problem())); low > bestKnown[name] {
			t.Errorf("%s: machine bound %d above the best known %d", name, low, bestKnown[name])
		}
	}
	for _, s := range taillardSeeds {
		var most int64
		load := make([]int64, 20)
		for _, job := range all[s.name].Jobs {
			var length int64
			for _, op := range job {
				length += op.Duration
				load[op.Machine] += op.Duration
			}
			most = max(most, length)
		}
		most = max(most, slices.Max(load))
		if most != s.bound {
			t.Errorf("%s: bound %d, printed %d: the generator differs", s.name, most, s.bound)
		}
	}
}

// solved checks a result against its problem and what is known of it.
func solved(t testing.TB, name string, p *Problem, res *Result, best int64) {
	t.Helper()
	if err := Verify(p.Shop, res.Schedule.Placed()); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	starts, ends := make([]int64, len(p.Jobs)), make([]int64, len(p.Jobs))
	for k, i := range res.Order {
		pl := res.Schedule.Placed()[k]
		starts[i], ends[i] = pl.FirstStart(), pl.LastEnd()
	}
	for _, a := range p.Arcs {
		if starts[a.To] < ends[a.From] {
			t.Fatalf("%s: job %d starts at %d, before job %d ends at %d", name, a.To, starts[a.To], a.From, ends[a.From])
		}
	}
	if res.LowerBound > best || res.End < best {
		t.Fatalf("%s: end %d, bound %d, best known %d", name, res.End, res.LowerBound, best)
	}
}

func TestPublishedOptima(t *testing.T) {
	all := published(t)
	for _, name := range []string{"ft06", "la01", "la02", "la03", "la04", "la05"} {
		t.Run(name, func(t *testing.T) {
			p := all[name].problem()
			res, err := Solve(context.Background(), p, Options{Iterations: 300_000, Target: bestKnown[name]})
			if err != nil {
				t.Fatal(err)
			}
			solved(t, name, p, res, bestKnown[name])
			if res.End != bestKnown[name] {
				t.Errorf("makespan %d, published optimum %d", res.End, bestKnown[name])
			}
		})
	}
}

// optimalProjects are the optima of the projects, as the library's file j30opt.sm has them (from memory).
var optimalProjects = map[string]int64{"j3013_1": 58, "j3029_1": 85, "j3045_1": 82, "j3041_1": 86, "j309_1": 83, "j3025_1": 93}

func publishedProjects(t testing.TB) map[string]*Problem {
	t.Helper()
	src, err := os.ReadFile("testdata/projects.txt")
	if err != nil {
		t.Fatal(err)
	}
	all, err := readProjects(string(src))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// readProjects puts projects to the planner as its own model: an activity is a job of one task.
func readProjects(src string) (map[string]*Problem, error) {
	out := map[string]*Problem{}
	var p *Problem
	for n, line := range strings.Split(src, "\n") {
		line = strings.TrimSpace(line)
		name, isName := strings.CutPrefix(line, "project ")
		switch {
		case line == "" || line[0] == '#':
			continue
		case isName:
			p = &Problem{Shop: &Shop{Horizon: maxTotal}}
			out[name] = p
			continue
		case p == nil:
			return nil, fmt.Errorf("line %d: no project was named", n+1)
		}
		of, after, _ := strings.Cut(line, ":")
		nums, err := integers(of)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
		if len(p.Shop.Resources) == 0 {
			for r, c := range nums {
				p.Shop.Resources = append(p.Shop.Resources, Resource{Name: fmt.Sprint("resource ", r+1), Capacity: int(c)})
			}
			continue
		}
		if len(nums) != 1+len(p.Shop.Resources) {
			return nil, fmt.Errorf("line %d: expected a duration and %d numbers of units", n+1, len(p.Shop.Resources))
		}
		t := Task{Name: "work", Seconds: nums[0], Station: NoStation}
		for r, units := range nums[1:] {
			if units > 0 {
				t.Needs = append(t.Needs, Need{r, int(units)})
			}
		}
		next, err := integers(after)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
		for _, s := range next {
			p.Arcs = append(p.Arcs, Arc{len(p.Jobs), int(s) - 1})
		}
		p.Jobs = append(p.Jobs, &Job{Name: fmt.Sprint("activity ", len(p.Jobs)+1), Tasks: []Task{t}})
	}
	return out, nil
}

func TestPublishedProjects(t *testing.T) {
	all := publishedProjects(t)
	for name, best := range optimalProjects {
		if name == "j3029_1" {
			continue // takes a minute: see the benchmark
		}
		t.Run(name, func(t *testing.T) {
			p := all[name]
			res, err := Solve(context.Background(), p, Options{Iterations: 30_000, Target: best})
			if err != nil {
				t.Fatal(err)
			}
			solved(t, name, p, res, best)
			if res.End != best {
				t.Errorf("ends at %d, published optimum %d", res.End, best)
			}
			t.Logf("%d iterations, bound %d", res.Iterations, res.LowerBound)
		})
	}
}

// BenchmarkPublished gives every instance of acceptance a time and, with PLANNER_TABLE=FILE, writes the table
// of docs/planner.md. PLANNER_SECONDS is the time for each, PLANNER_ONLY a part of the name.
func BenchmarkPublished(b *testing.B) {
	seconds, err := strconv.ParseFloat(cmp.Or(os.Getenv("PLANNER_SECONDS"), "60"), 64)
	if err != nil {
		b.Fatal(err)
	}
	var table strings.Builder
	var sum float64
	n := 0
	run := func(name string, p *Problem, best int64, size string) {
		if !strings.Contains(name, os.Getenv("PLANNER_ONLY")) {
			return
		}
		b.Run(name, func(b *testing.B) {
			begun := time.Now()
			res, err := Solve(context.Background(), p, Options{Iterations: math.MaxInt, TimeLimit: time.Duration(seconds * float64(time.Second)), Target: best})
			if err != nil {
				b.Fatal(err)
			}
			solved(b, name, p, res, best)
			gap := 100 * float64(res.End-best) / float64(best)
			sum, n = sum+gap, n+1
			b.ReportMetric(gap, "gap%")
			b.ReportMetric(float64(res.LowerBound), "bound")
			b.ReportMetric(float64(res.End), "makespan")
			fmt.Fprintf(&table, "| %s | %s | %d | %d | %.2f | %d | %d | %.1f |\n", name, size, res.End, best, gap, res.LowerBound, res.Iterations, time.Since(begun).Seconds())
		})
	}
	all := published(b)
	for _, name := range slices.Sorted(maps.Keys(bestKnown)) {
		if name[:2] == "ft" || name[:2] == "la" && name < "la21" {
			continue
		}
		in := all[name]
		run(name, in.problem(), bestKnown[name], fmt.Sprintf("%d × %d", len(in.Jobs), in.Machines))
	}
	if n > 0 {
		b.Logf("mean gap of %d job shops %.3f %%", n, sum/float64(n))
	}
	projects := publishedProjects(b)
	for _, name := range slices.Sorted(maps.Keys(optimalProjects)) {
		run(name, projects[name], optimalProjects[name], "30 activities")
	}
	if path := os.Getenv("PLANNER_TABLE"); path != "" {
		if err := os.WriteFile(path, []byte(table.String()), 0o644); err != nil {
			b.Fatal(err)
		}
	}
}
