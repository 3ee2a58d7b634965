package web

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"
)

// Queue runs long work. The one here lives in this process; one in a database, with workers on other
// machines, can take its place.
type Queue interface {
	// Submit puts work in line. One job has one task at a time: a second is ErrTaskBusy.
	Submit(job, kind string, work Work) (TaskState, error)
	// State tells how a task stands.
	State(id string) (TaskState, bool)
	// Latest is the last task of a job.
	Latest(job string) (TaskState, bool)
	// Watch sends the state at once and on every change until the task ends or ctx does; then the
	// channel is closed. A slow watcher misses states in between, never the last.
	Watch(ctx context.Context, id string) (<-chan TaskState, bool)
	// Cancel ends a task early; it says whether there was one to end.
	Cancel(id string) bool
	// Close cancels all tasks and waits for them.
	Close()
}

// Work does something long and says how far it is.
type Work func(ctx context.Context, progress func(stage string, done float64)) error

// Outcome of a task.
const (
	Waiting = "waiting"
	Running = "running"
	Done    = "done"
	Refused = "refused" // the part cannot be moulded as asked: an answer, not a fault
	Stopped = "stopped"
	Failed  = "failed"
)

// TaskState is how a task stands.
type TaskState struct {
	ID      string  `json:"id"`
	Job     string  `json:"job"`
	Kind    string  `json:"kind" enum:"judge,build"`
	State   string  `json:"state" enum:"waiting,running,done,refused,stopped,failed"`
	Stage   string  `json:"stage" doc:"What is being done, in words"`
	Share   float64 `json:"share" minimum:"0" maximum:"1" doc:"Part of the work that is done"`
	Error   string  `json:"error,omitempty"`
	Seconds float64 `json:"seconds" doc:"Time at work so far"`
}

// Over says whether nothing more will happen.
func (t TaskState) Over() bool { return t.State != Waiting && t.State != Running }

var (
	ErrTaskBusy  = errors.New("this job is being worked on already")
	ErrQueueFull = errors.New("too much work is waiting; try again in a while")
)

// localQueue keeps tasks in memory: they end with the process, and a run that is cut short leaves the
// results before it in place.
type localQueue struct {
	mu      sync.Mutex
	tasks   map[string]*task
	past    []string // ids in order of submission
	latest  map[string]string
	line    chan *task
	refusal func(error) bool
	ctx     context.Context
	stop    context.CancelFunc
	wg      sync.WaitGroup
}

type task struct {
	state   TaskState
	work    Work
	ctx     context.Context
	cancel  context.CancelFunc
	started time.Time
	changed chan struct{} // closed and replaced at each change
}

const (
	queueLength = 32
	pastTasks   = 256 // remembered after they ended
)

// newLocalQueue starts workers; refusal tells a refusal from a fault.
func newLocalQueue(workers int, refusal func(error) bool) *localQueue {
	ctx, stop := context.WithCancel(context.Background())
	q := &localQueue{tasks: map[string]*task{}, latest: map[string]string{}, line: make(chan *task, queueLength), refusal: refusal, ctx: ctx, stop: stop}
	for range workers {
		q.wg.Go(q.serve)
	}
	return q
}

func (q *localQueue) Submit(job, kind string, work Work) (TaskState, error) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if t := q.tasks[q.latest[job]]; t != nil && !t.state.Over() {
		return t.state, ErrTaskBusy
	}
	if q.ctx.Err() != nil {
		return TaskState{}, ErrQueueFull
	}
	t := &task{work: work, changed: make(chan struct{}), state: TaskState{ID: randomHex(8), Job: job, Kind: kind, State: Waiting, Stage: "waiting for its turn"}}
	t.ctx, t.cancel = context.WithCancel(q.ctx)
	select {
	case q.line <- t:
	default:
		t.cancel()
		return TaskState{}, ErrQueueFull
	}
	q.tasks[t.state.ID], q.latest[job] = t, t.state.ID
	q.past = append(q.past, t.state.ID)
	q.forget()
	return t.state, nil
}

// forget drops the oldest tasks that have ended.
func (q *localQueue) forget() {
	for len(q.past) > pastTasks {
		old := q.tasks[q.past[0]]
		if old != nil && !old.state.Over() {
			return
		}
		if old != nil && q.latest[old.state.Job] == old.state.ID {
			delete(q.latest, old.state.Job)
		}
		delete(q.tasks, q.past[0])
		q.past = q.past[1:]
	}
}

func (q *localQueue) serve() {
	for {
		select {
		case <-q.ctx.Done():
			return
		case t := <-q.line:
			q.run(t)
		}
	}
}

func (q *localQueue) run(t *task) {
	defer t.cancel()
	q.change(t, func(s *TaskState) {
		t.started = time.Now()
		if s.State == Waiting {
			s.State, s.Stage = Running, "starting"
		}
	})
	err := t.ctx.Err()
	if err == nil {
		err = guarded(t.ctx, t.work, func(stage string, done float64) {
			q.change(t, func(s *TaskState) { s.Stage, s.Share = stage, max(s.Share, min(1, done)) })
		})
	}
	q.change(t, func(s *TaskState) {
		switch {
		case err == nil:
			s.State, s.Stage, s.Share = Done, "done", 1
		case q.refusal(err):
			s.State, s.Stage, s.Share = Refused, "refused", 1
		case errors.Is(err, context.Canceled):
			s.State, s.Stage = Stopped, "stopped"
		default:
			s.State, s.Stage, s.Error = Failed, "failed", err.Error()
		}
	})
}

// guarded turns a panic of the work into an error: one bad part must not end the server.
func guarded(ctx context.Context, work Work, progress func(string, float64)) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("internal fault, please report it with the part: %v", p)
		}
	}()
	return work(ctx, progress)
}

func (q *localQueue) change(t *task, edit func(*TaskState)) {
	q.mu.Lock()
	defer q.mu.Unlock()
	edit(&t.state)
	if !t.started.IsZero() {
		t.state.Seconds = time.Since(t.started).Seconds()
	}
	close(t.changed)
	t.changed = make(chan struct{})
}

func (q *localQueue) State(id string) (TaskState, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if t := q.tasks[id]; t != nil {
		return t.state, true
	}
	return TaskState{}, false
}

func (q *localQueue) Latest(job string) (TaskState, bool) {
	q.mu.Lock()
	id := q.latest[job]
	q.mu.Unlock()
	return q.State(id)
}

func (q *localQueue) Cancel(id string) bool {
	q.mu.Lock()
	t := q.tasks[id]
	over := t == nil || t.state.Over()
	q.mu.Unlock()
	if over {
		return false
	}
	t.cancel()
	return true
}

// watchEvery bounds how often a watcher hears of progress.
const watchEvery = 100 * time.Millisecond

func (q *localQueue) Watch(ctx context.Context, id string) (<-chan TaskState, bool) {
	q.mu.Lock()
	t := q.tasks[id]
	q.mu.Unlock()
	if t == nil {
		return nil, false
	}
	out := make(chan TaskState)
	go func() {
		defer close(out)
		for {
			q.mu.Lock()
			now, changed := t.state, t.changed
			q.mu.Unlock()
			select {
			case out <- now:
			case <-ctx.Done():
				return
			}
			if now.Over() {
				return
			}
			select {
			case <-changed:
			case <-ctx.Done():
				return
			}
			select {
			case <-time.After(watchEvery):
			case <-ctx.Done():
				return
			}
		}
	}()
	return out, true
}

func (q *localQueue) Close() {
	q.stop()
	q.wg.Wait()
	for {
		select {
		case t := <-q.line:
			q.run(t) // its context has ended, so this only marks it stopped
		default:
			return
		}
	}
}
