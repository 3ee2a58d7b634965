package jobshop

import (
	"fmt"
	"sort"
)

// Verify checks a schedule from the instance alone; it shares no code with the search. starts[j][k]
// is when operation k of job j starts.
func Verify(in *Instance, starts [][]int64) error {
	if len(starts) != len(in.Jobs) {
		return fmt.Errorf("%d jobs have starts, the instance has %d", len(starts), len(in.Jobs))
	}
	type use struct {
		from, to int64
		job, k   int
	}
	uses := make([][]use, in.Machines)
	for j, job := range in.Jobs {
		if len(starts[j]) != len(job) {
			return fmt.Errorf("job %d: %d operations have starts, it has %d", j, len(starts[j]), len(job))
		}
		ready := int64(0)
		for k, op := range job {
			if starts[j][k] < ready {
				return fmt.Errorf("job %d, operation %d starts at %d, before %d", j, k, starts[j][k], ready)
			}
			ready = starts[j][k] + op.Duration
			uses[op.Machine] = append(uses[op.Machine], use{starts[j][k], ready, j, k})
		}
	}
	for m, us := range uses {
		sort.Slice(us, func(a, b int) bool {
			if us[a].from != us[b].from {
				return us[a].from < us[b].from
			}
			return us[a].to < us[b].to
		})
		for i := 1; i < len(us); i++ {
			if us[i].from < us[i-1].to {
				return fmt.Errorf("machine %d: job %d, operation %d starts at %d while job %d, operation %d runs until %d",
					m, us[i].job, us[i].k, us[i].from, us[i-1].job, us[i-1].k, us[i-1].to)
			}
		}
	}
	return nil
}

// Makespan is the last end of a schedule.
func Makespan(in *Instance, starts [][]int64) int64 {
	var end int64
	for j, job := range in.Jobs {
		for k, op := range job {
			end = max(end, starts[j][k]+op.Duration)
		}
	}
	return end
}
