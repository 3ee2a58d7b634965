package tasks

import (
	"errors"
	"time"
)

// How a task stands.
const (
	Waiting    = "waiting"
	Running    = "running"
	Collecting = "collecting" // the work is done, its results are on their way to where they belong
	Done       = "done"
	Refused    = "refused" // an answer, not a fault
	Stopped    = "stopped"
	Failed     = "failed"
)

// State is how a task stands.
type State struct {
	ID      string
	Job     string
	Kind    string
	State   string
	Stage   string  // what is being done, in words
	Share   float64 // part of the work that is done, 0 to 1
	Error   string
	Seconds float64 // time at work so far, of the worker that has it now
}

// Over says whether nothing more will happen.
func (s State) Over() bool {
	return s.State != Waiting && s.State != Running && s.State != Collecting
}

// Request is work to put in line.
type Request struct {
	Job    string // one job has one task at a time
	Kind   string // picks the handler
	Params string // for the handler
	Input  string // digest of a file that was put before; "" for none
}

var (
	// ErrBusy says that the job has a task that is not over.
	ErrBusy = errors.New("this job is being worked on already")
	// ErrFull says that too many tasks wait.
	ErrFull = errors.New("too much work is waiting; try again in a while")
	// ErrUnknown says that there is no such task, or that it was forgotten.
	ErrUnknown = errors.New("no such task")
	// ErrDamaged says that a stored file is not what its digest says.
	ErrDamaged = errors.New("a file in the database is damaged")
)

const (
	// lease is how long a task stays with a worker that says nothing. A worker that is alive speaks up
	// forty times in it, so that only a dead, cut off or frozen one loses its task.
	lease = 10 * time.Second
	// beatEvery is how often a worker renews its lease and tells its progress.
	beatEvery = 250 * time.Millisecond
	// leaseMargin is how long before the end of its lease a worker that cannot renew it gives up, so
	// that it has stopped when another begins.
	leaseMargin = 2 * time.Second
	// tendEvery is how often each process looks for tasks whose worker is gone.
	tendEvery = time.Second
	// strayAfter is how long a task may wait before it is made sure that its ticket is good.
	strayAfter = lease
	// mostLost is how many workers a task may lose before it is given up: it may be what kills them.
	mostLost = 3
	// mostWaiting bounds the line of one owner.
	mostWaiting = 32
	// mostPast is how many tasks that are over are remembered for each owner.
	mostPast = 256
	// freshFor is how long the states that were read last may be told again.
	freshFor = 100 * time.Millisecond
)
