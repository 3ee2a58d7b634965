package finite

import "fmt"

// Window is a time from From to before To. Units is how much of the resource is there in it; 0 is all.
type Window struct {
	From, To int64
	Units    int
}

// Resource is a machine, a person, a space.
type Resource struct {
	Name     string
	Capacity int
	Windows  []Window // when it is open, in order and apart; nil is always
	Uses     int      // how many holds it can take in its life; 0 is any number
}

// Need is a share of a resource during a task.
type Need struct{ Resource, Units int }

// NoStation is the station of a task that uses none.
const NoStation = -1

// Task is a piece of work of fixed length that is not interrupted.
type Task struct {
	Name     string
	Seconds  int64
	Needs    []Need
	Station  int    // a resource of capacity 1 whose state it sets, or NoStation
	State    string // with a station: the state that it leaves
	IsChange bool   // done only if the station's state is another and not "", which is clean; it leaves State
	Fixed    *int64 // the start it had; it happened already and is not moved
}

// Lag bounds the time from the end of task From to the start of task To: at least Min and, unless
// Max is NoMax, at most Max seconds. From comes before To in the job.
type Lag struct {
	From, To int
	Min, Max int64
}

// NoMax leaves a lag without an upper bound.
const NoMax = int64(1) << 60

// Hold keeps a resource busy from the start of task From to the end of task To, any one of Choice.
type Hold struct {
	From, To int
	Choice   []int
	Units    int
	Fixed    int // with IsFixed: the resource it had
	IsFixed  bool
}

// Ref is a task of another job.
type Ref struct{ Job, Task int }

// Job is a group of tasks, in an order that respects the lags.
type Job struct {
	Name    string
	Release int64 // no task starts before
	Tasks   []Task
	Lags    []Lag
	Holds   []Hold
	After   []Ref // the first task starts after the ends of these
}

// Shop is what jobs are placed in. Horizon ends the plan.
type Shop struct {
	Resources []Resource
	Horizon   int64
	States    map[int]string // the states that stations start with; missing is "" (clean)
}

// Placement is a job with its times.
type Placement struct {
	Job    *Job
	Starts []int64
	Absent []bool // changes that were not needed
	Held   []int  // the resource that each hold took

	open int // the tasks from here on are not placed yet
}

// End is when task k is over.
func (p *Placement) End(k int) int64 {
	if p.Absent[k] {
		return p.Starts[k]
	}
	return p.Starts[k] + p.Job.Tasks[k].Seconds
}

// FirstStart is when the first of all tasks starts.
func (p *Placement) FirstStart() int64 {
	start := p.Starts[0]
	for _, s := range p.Starts[1:] {
		start = min(start, s)
	}
	return start
}

// LastEnd is when all tasks are over.
func (p *Placement) LastEnd() int64 {
	var end int64
	for k := range p.Starts {
		end = max(end, p.End(k))
	}
	return end
}

// NoRoomError says that a job finds no place before the horizon.
type NoRoomError struct {
	Job, Task string
	Horizon   int64
	Why       string
}

func (e *NoRoomError) Error() string {
	return fmt.Sprintf("%s: %s finds no place within the %.1f days that the plan covers: %s", e.Job, e.Task, float64(e.Horizon)/86400, e.Why)
}
