package tasks

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/riverqueue/river"

	"mouldwright/internal/membudget"
)

// ticketWorker is what River calls.
type ticketWorker struct {
	river.WorkerDefaults[ticketArgs]
	q *Queue
}

// Work implements river.Worker.
func (w *ticketWorker) Work(ctx context.Context, t *river.Job[ticketArgs]) error {
	return w.q.take(ctx, t.Args.Task, t.ID)
}

var (
	errCancelled = errors.New("cancelled")
	errLost      = errors.New("the task went to another worker")
)

// run is one beginning of a task. Only the last beginning may write to the task, which is how its results
// are committed once.
type run struct {
	q    *Queue
	t    *Task
	n    int64
	stop context.CancelCauseFunc
}

// take does the task of a ticket. Its error is one of the database; then River hands the ticket out again.
func (q *Queue) take(ctx context.Context, id string, ticket int64) error {
	r, err := q.claim(ctx, id, ticket)
	if r == nil || err != nil {
		return err
	}
	ctx, r.stop = context.WithCancelCause(ctx)
	defer r.stop(nil)
	q.mu.Lock()
	q.atWork[id] = r.stop
	q.mu.Unlock()
	var beats sync.WaitGroup
	beating, end := context.WithCancel(context.WithoutCancel(ctx))
	beats.Go(func() { r.beat(beating) })
	err = guarded(ctx, q.opt.Handlers[r.t.Kind], r.t)
	end()
	beats.Wait()
	q.mu.Lock()
	delete(q.atWork, id)
	q.mu.Unlock()
	err = r.settle(ctx, err)
	q.changed()
	q.poke()
	return err
}

// claim makes the task this process's own; nil when the ticket is not the task's any more.
func (q *Queue) claim(ctx context.Context, id string, ticket int64) (*run, error) {
	r := &run{q: q, t: &Task{ID: id, q: q, stage: begun}}
	// Whole or not at all, also when this process is about to end: settle gives back what was begun.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), settleWithin)
	defer cancel()
	err := q.e.write(ctx, func(t tx) error {
		return t.row(ctx, `UPDATE tasks SET state = 'running', stage = $1, share = 0, run = run + 1, worker = $2, started = {now}, lease = {now} + $3
			WHERE id = $4 AND ticket = $5 AND state = 'waiting' RETURNING run, job, kind, params, input`, begun, q.worker, lease.Seconds(), id, ticket).
			Scan(&r.n, &r.t.Job, &r.t.Kind, &r.t.Params, &r.t.input)
	})
	if errors.Is(err, sql.ErrNoRows) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("begin a task: %w", err)
	}
	q.changed()
	return r, nil
}

// guarded turns a panic of the work into an error: one bad part must not end a worker.
func guarded(ctx context.Context, do Handler, t *Task) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("internal fault, please report it with the part: %v", p)
		}
	}()
	if do == nil {
		return fmt.Errorf("no worker of this program knows work of the kind %q", t.Kind)
	}
	watched, end := membudget.Watch(ctx)
	defer end()
	return membudget.Cause(watched, do(watched, t))
}

// beat renews the lease and tells the progress until ctx ends. It stops the work when its owner wants
// that, when the task has gone to another worker, and when the lease is about to run out because the
// database is out of reach.
func (r *run) beat(ctx context.Context) {
	every := time.NewTicker(beatEvery)
	defer every.Stop()
	renewed := time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
		began := time.Now() // before the database's own clock is read, so never later than it
		within, cancel := context.WithTimeout(ctx, lease-leaseMargin)
		held, stop, err := r.renew(within)
		cancel()
		switch {
		case ctx.Err() != nil:
			return
		case err == nil && !held:
			r.stop(errLost)
			return
		case err == nil && stop:
			r.stop(errCancelled)
		}
		if err == nil {
			renewed = began
		} else if time.Since(renewed) > lease-leaseMargin {
			r.stop(errLost)
			return
		}
	}
}

func (r *run) renew(ctx context.Context) (held, stop bool, err error) {
	stage, share := r.t.progress()
	var cancel int64
	err = r.q.e.write(ctx, func(t tx) error {
		return t.row(ctx, "UPDATE tasks SET lease = {now} + $1, stage = $2, share = $3 WHERE id = $4 AND run = $5 AND state = 'running' RETURNING cancel",
			lease.Seconds(), stage, share, r.t.ID, r.n).Scan(&cancel)
	})
	if errors.Is(err, sql.ErrNoRows) {
		return false, false, nil
	}
	return err == nil, cancel != 0, err
}

// ending is what a task comes to.
type ending struct {
	state, outcome, stage, words, result string
	whole                                bool // its share is 1
}

// settle writes what became of the task, or gives it back when this process is about to end.
func (r *run) settle(ctx context.Context, result error) error {
	cause := context.Cause(ctx)
	if errors.Is(cause, errLost) {
		r.q.opt.Log.Warn("lost a task to another worker", "task", r.t.ID)
		return nil
	}
	stopped := ctx.Err() != nil && result != nil && !r.q.opt.Refusal(result)
	end := r.ending(result)
	var err error
	for range settleTries {
		if err = r.write(context.WithoutCancel(ctx), end, stopped); err == nil {
			return nil
		}
		time.Sleep(beatEvery)
	}
	// The lease runs out, and another worker does it all again.
	return fmt.Errorf("write what became of a task: %w", err)
}

const (
	settleTries = 5
	// settleWithin bounds one word with the database at the begin or end of a task.
	settleWithin = 5 * time.Second
)

func (r *run) ending(result error) ending {
	e := ending{state: Done, stage: "done", result: r.t.result, whole: true}
	switch {
	case result == nil:
	case r.q.opt.Refusal(result):
		e.state, e.stage = Refused, "refused"
	default:
		return ending{state: Failed, stage: "failed", words: result.Error()}
	}
	if r.t.collect {
		e.outcome, e.state, e.stage = e.state, Collecting, "fetching the results"
	}
	return e
}

func (r *run) write(ctx context.Context, e ending, stopped bool) error {
	ctx, cancel := context.WithTimeout(ctx, settleWithin)
	defer cancel()
	return r.q.e.write(ctx, func(t tx) error {
		var asked, ticket int64
		err := t.row(ctx, "SELECT cancel, ticket FROM tasks WHERE id = $1 AND run = $2 AND state = 'running'", r.t.ID, r.n).Scan(&asked, &ticket)
		if errors.Is(err, sql.ErrNoRows) {
			return nil // not ours any more
		}
		if err != nil {
			return err
		}
		switch {
		case stopped && asked == 0: // this process is about to end
			_, err := r.q.requeue(ctx, t, r.t.ID, r.n, 0, returned)
			return err
		case stopped:
			e = ending{state: Stopped, stage: "stopped"}
		}
		share := 1.0
		if !e.whole {
			_, share = r.t.progress()
		}
		_, err = t.exec(ctx, `UPDATE tasks SET state = $1, outcome = $2, stage = $3, error = $4, result = $5, share = $6, ended = {now}
			WHERE id = $7 AND run = $8 AND state = 'running'`, e.state, e.outcome, e.stage, e.words, e.result, share, r.t.ID, r.n)
		return err
	})
}

// requeue gives a task at work back to the line with a new ticket; it says whether it was still as told.
func (q *Queue) requeue(ctx context.Context, t tx, id string, run int64, lost int, stage string) (bool, error) {
	ticket, err := t.enqueue(ctx, id, q.line)
	if err != nil {
		return false, err
	}
	n, err := t.exec(ctx, `UPDATE tasks SET state = 'waiting', stage = $1, ticket = $2, lost = lost + $3, version = $4, lease = 0, queued = {now}
		WHERE id = $5 AND run = $6 AND state IN ('waiting', 'running')`, stage, ticket, lost, q.opt.Version, id, run)
	return n == 1, err
}
