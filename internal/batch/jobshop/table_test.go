package jobshop

import (
	"context"
	"fmt"
	"os"
	"sort"
	"strings"
	"testing"
)

// TestPublishedInstancesAreWhole guards the typing of the data: every job visits every machine once,
// and the cheap bound is not above the published optimum.
func TestPublishedInstancesAreWhole(t *testing.T) {
	for name, in := range published(t) {
		for j, job := range in.Jobs {
			seen := map[int]bool{}
			for _, op := range job {
				seen[op.Machine] = true
			}
			if len(seen) != in.Machines {
				t.Errorf("%s: job %d visits %d of %d machines", name, j, len(seen), in.Machines)
			}
		}
		if low := machineBound(flatten(in)); low > optima[name] {
			t.Errorf("%s: machine bound %d above the published optimum %d", name, low, optima[name])
		}
	}
}

// BenchmarkPublished runs every instance for a given number of iterations and, with
// JOBSHOP_TABLE=FILE, writes the table of docs/jobshop.md.
func BenchmarkPublished(b *testing.B) {
	all := published(b)
	var names []string
	for name := range all {
		names = append(names, name)
	}
	sort.Strings(names)
	rows := map[string]string{}
	for _, name := range names {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				in := all[name]
				res, err := Solve(context.Background(), in, Options{Iterations: publishedIterations})
				if err != nil {
					b.Fatal(err)
				}
				if err := Verify(in, res.Starts); err != nil {
					b.Fatal(err)
				}
				if best := optima[name]; res.LowerBound > best || res.Makespan < best {
					b.Fatalf("makespan %d, bound %d, published optimum %d", res.Makespan, res.LowerBound, best)
				}
				gap := 100 * float64(res.Makespan-optima[name]) / float64(optima[name])
				b.ReportMetric(gap, "gap%")
				b.ReportMetric(float64(res.LowerBound), "bound")
				b.ReportMetric(float64(res.Makespan), "makespan")
				rows[name] = fmt.Sprintf("| %s | %d × %d | %d | %d | %.2f | %d | %.2f | %d | %.1f |", name, len(in.Jobs), in.Machines,
					res.Makespan, optima[name], gap, res.LowerBound, 100*res.Gap(), res.Iterations, b.Elapsed().Seconds())
			}
		})
	}
	if path := os.Getenv("JOBSHOP_TABLE"); path != "" {
		var out strings.Builder
		for _, name := range names {
			if rows[name] != "" {
				out.WriteString(rows[name] + "\n")
			}
		}
		if err := os.WriteFile(path, []byte(out.String()), 0o644); err != nil {
			b.Fatal(err)
		}
	}
}

// publishedIterations is below 10 s of one core on most instances, a sixth of the time allowed.
const publishedIterations = 1_500_000
