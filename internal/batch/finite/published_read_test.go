package finite

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// operation is one step of a job in a job shop.
type operation struct {
	Machine  int // from 0
	Duration int64
}

// jobShop is a classical job shop: Jobs[j] is the sequence of job j's operations.
type jobShop struct {
	Name     string
	Machines int
	Jobs     [][]operation
}

// problem puts the job shop to the planner as its own model: a job for every operation, tied by arcs.
func (in *jobShop) problem() *Problem {
	p := &Problem{Shop: &Shop{Horizon: maxTotal}}
	for m := range in.Machines {
		p.Shop.Resources = append(p.Shop.Resources, Resource{Name: fmt.Sprint("machine ", m), Capacity: 1})
	}
	for j, ops := range in.Jobs {
		for k, op := range ops {
			if k > 0 {
				p.Arcs = append(p.Arcs, Arc{len(p.Jobs) - 1, len(p.Jobs)})
			}
			p.Jobs = append(p.Jobs, &Job{Name: fmt.Sprintf("job %d, operation %d", j, k), Tasks: []Task{
				{Name: "work", Seconds: op.Duration, Station: NoStation, Needs: []Need{{op.Machine, 1}}}}})
		}
	}
	return p
}

// maxSide bounds the numbers of jobs and machines that a file may claim.
const maxSide = 100_000

// readJobShops reads instances in the OR-Library's layout: the number of jobs and of machines, then for each job
// a line of machine and duration pairs. Lines before that which do not start with a digit are words about
// it; "#" starts a remark; a line "instance NAME" names the next.
func readJobShops(r io.Reader) ([]*jobShop, error) {
	sc := bufio.NewScanner(r)
	sc.Buffer(nil, 1<<20)
	var out []*jobShop
	var cur *jobShop
	left, line, name := 0, 0, ""
	for sc.Scan() {
		line++
		text, _, _ := strings.Cut(sc.Text(), "#")
		text = strings.TrimSpace(text)
		if text == "" {
			continue
		}
		if text[0] < '0' || text[0] > '9' {
			if left > 0 {
				return nil, fmt.Errorf("line %d: %d more jobs of %q were expected, found %q", line, left, name, text)
			}
			if rest, ok := strings.CutPrefix(text, "instance "); ok {
				name = strings.TrimSpace(rest)
			}
			continue
		}
		nums, err := integers(text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", line, err)
		}
		if left == 0 {
			if len(nums) != 2 || nums[0] < 1 || nums[1] < 1 || nums[0] > maxSide || nums[1] > maxSide {
				return nil, fmt.Errorf("line %d: expected the number of jobs and the number of machines, found %q", line, text)
			}
			cur = &jobShop{Name: name, Machines: int(nums[1])}
			out, left = append(out, cur), int(nums[0])
			continue
		}
		if len(nums) != 2*cur.Machines {
			return nil, fmt.Errorf("line %d: expected %d pairs of machine and duration, found %d numbers", line, cur.Machines, len(nums))
		}
		job := make([]operation, cur.Machines)
		for k := range job {
			job[k] = operation{Machine: int(nums[2*k]), Duration: nums[2*k+1]}
		}
		cur.Jobs = append(cur.Jobs, job)
		left--
	}
	if err := sc.Err(); err != nil {
		return nil, fmt.Errorf("line %d: %w", line+1, err)
	}
	if left > 0 {
		return nil, fmt.Errorf("line %d: the file ends with %d jobs of %q missing", line, left, name)
	}
	return out, nil
}

func integers(text string) ([]int64, error) {
	fields := strings.Fields(text)
	out := make([]int64, len(fields))
	for i, s := range fields {
		v, err := strconv.ParseInt(s, 10, 64)
		if err != nil {
			return nil, fmt.Errorf("%q is not a whole number", s)
		}
		out[i] = v
	}
	return out, nil
}
