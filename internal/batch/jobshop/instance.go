package jobshop

import (
	"errors"
	"fmt"
)

// Operation is one step of a job.
type Operation struct {
	Machine  int   // from 0
	Duration int64 // ≥ 0
}

// Instance is a job shop: Jobs[j] is the sequence of job j's operations. A job may visit a machine
// more than once or not at all.
type Instance struct {
	Name     string
	Machines int
	Jobs     [][]Operation
}

// maxTotal bounds the sum of all durations, so that no sum of starts and tails overflows.
const maxTotal = 1 << 50

// Check says what makes the instance senseless.
func (in *Instance) Check() error {
	if in.Machines < 1 || len(in.Jobs) == 0 {
		return errors.New("a job shop needs at least one machine and one job")
	}
	var total int64
	for j, job := range in.Jobs {
		for k, op := range job {
			if op.Machine < 0 || op.Machine >= in.Machines {
				return fmt.Errorf("job %d, operation %d: machine %d is outside 0 to %d", j, k, op.Machine, in.Machines-1)
			}
			if op.Duration < 0 || op.Duration > maxTotal {
				return fmt.Errorf("job %d, operation %d: duration %d is outside 0 to %d", j, k, op.Duration, int64(maxTotal))
			}
			if total += op.Duration; total > maxTotal {
				return fmt.Errorf("job %d: the durations add up to more than %d", j, int64(maxTotal))
			}
		}
	}
	return nil
}

// flat is the instance with operations numbered job by job. Number n, one past the last, stands for
// "none": its duration, head and tail are 0, which saves a branch at every end of a sequence.
type flat struct {
	n        int
	machines int
	p        []int64
	mach     []int
	jp, js   []int // before and after in the job, n for none
	first    []int // number of each job's first operation
	byMach   [][]int
}

func flatten(in *Instance) *flat {
	f := &flat{machines: in.Machines, byMach: make([][]int, in.Machines)}
	for _, job := range in.Jobs {
		f.n += len(job)
	}
	f.p, f.mach = make([]int64, f.n+1), make([]int, f.n+1)
	f.jp, f.js = make([]int, f.n+1), make([]int, f.n+1)
	f.jp[f.n], f.js[f.n] = f.n, f.n
	i := 0
	for _, job := range in.Jobs {
		f.first = append(f.first, i)
		for k, op := range job {
			f.p[i], f.mach[i] = op.Duration, op.Machine
			f.jp[i], f.js[i] = i-1, i+1
			if k == 0 {
				f.jp[i] = f.n
			}
			if k == len(job)-1 {
				f.js[i] = f.n
			}
			f.byMach[op.Machine] = append(f.byMach[op.Machine], i)
			i++
		}
	}
	return f
}
