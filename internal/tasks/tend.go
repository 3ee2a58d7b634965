package tasks

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// tend looks after tasks until the queue closes: those whose worker is gone, those whose ticket is, those
// whose results wait, and those that are long over.
func (q *Queue) tend() {
	every := time.NewTicker(tendEvery)
	defer every.Stop()
	for round := 0; ; round++ {
		jobs := []func(context.Context) error{q.register, q.takeOver, q.collect, q.leftLying}
		if round%strayRounds == 0 {
			jobs = append(jobs, q.strays)
		}
		if round%pastRounds == 0 {
			jobs = append(jobs, q.forget)
		}
		for _, do := range jobs {
			if err := do(q.ctx); err != nil && q.ctx.Err() == nil {
				q.opt.Log.Warn("tending the line of work", "error", err) // tried again in a moment
			}
		}
		select {
		case <-q.ctx.Done():
			return
		case <-every.C:
		case <-q.nudge:
		}
	}
}

// Rounds of tending between looks that are seldom needed.
const (
	strayRounds = 5
	pastRounds  = 60
)

// poke makes the next look come at once.
func (q *Queue) poke() {
	select {
	case q.nudge <- struct{}{}:
	default:
	}
}

// mine says which tasks a process tends: its owner's, and those that it could do itself.
const mine = "(space = $1 OR version = $2)"

// takeOver puts tasks in line again whose lease has run out.
func (q *Queue) takeOver(ctx context.Context) error {
	type orphan struct {
		id        string
		run, lost int64
	}
	found, err := rowsOf(ctx, q.e, func(r scanner) (o orphan, err error) { err = r.Scan(&o.id, &o.run, &o.lost); return o, err },
		"SELECT id, run, lost FROM tasks WHERE state = 'running' AND lease < {now} AND "+mine, q.opt.Space, q.opt.Version)
	if err != nil {
		return err
	}
	for _, o := range found {
		if err := q.e.write(ctx, func(t tx) error { return q.orphaned(ctx, t, o.id, o.run, o.lost) }); err != nil && !errors.Is(err, errLost) {
			return fmt.Errorf("take a task over: %w", err)
		}
		q.changed()
	}
	return nil
}

func (q *Queue) orphaned(ctx context.Context, t tx, id string, run, lost int64) error {
	// Once more, and with the row held: its worker may have spoken up, or another process been first.
	var ticket, cancel int64
	if n, err := t.exec(ctx, "UPDATE tasks SET lease = lease WHERE id = $1 AND run = $2 AND state = 'running' AND lease < {now}", id, run); err != nil || n == 0 {
		return errors.Join(err, errLost)
	}
	if err := t.row(ctx, "SELECT ticket, cancel FROM tasks WHERE id = $1", id).Scan(&ticket, &cancel); err != nil {
		return err
	}
	if err := t.drop(ctx, ticket); err != nil {
		return err
	}
	end := func(state, words string) error {
		_, err := t.exec(ctx, "UPDATE tasks SET state = $1, stage = $1, error = $2, lost = lost + 1, ended = {now} WHERE id = $3", state, words, id)
		return err
	}
	switch {
	case cancel != 0:
		return end(Stopped, "")
	case lost+1 >= mostLost:
		return end(Failed, fmt.Sprintf("%d workers died over it, so it was not begun again; look at their logs and memory, and report the part if it is the cause", lost+1))
	}
	q.opt.Log.Warn("taking over a task whose worker is gone", "task", id)
	_, err := q.requeue(ctx, t, id, run, 1, again)
	return err
}

// strays makes sure that tasks which have waited a while have a ticket that somebody can take: one whose
// worker died between taking the ticket and beginning the task has not, nor one of another version.
func (q *Queue) strays(ctx context.Context) error {
	type stray struct {
		id      string
		ticket  int64
		run     int64
		version string
	}
	found, err := rowsOf(ctx, q.e, func(r scanner) (s stray, err error) {
		err = r.Scan(&s.id, &s.ticket, &s.run, &s.version)
		return s, err
	},
		"SELECT id, ticket, run, version FROM tasks WHERE state = 'waiting' AND (queued < {now} - $3 OR version <> $2) AND "+mine, q.opt.Space, q.opt.Version, strayAfter.Seconds())
	if err != nil {
		return err
	}
	for _, s := range found {
		if s.version == q.opt.Version {
			good, err := q.goodTicket(ctx, s.ticket)
			if err != nil {
				return err
			}
			if good {
				continue
			}
		}
		err := q.e.write(ctx, func(t tx) error {
			// Only if it still waits on that ticket.
			n, err := t.exec(ctx, "UPDATE tasks SET queued = queued WHERE id = $1 AND ticket = $2 AND state = 'waiting'", s.id, s.ticket)
			if err != nil || n == 0 {
				return err
			}
			if err := t.drop(ctx, s.ticket); err != nil {
				return err
			}
			_, err = q.requeue(ctx, t, s.id, s.run, 0, inLine)
			return err
		})
		if err != nil {
			return fmt.Errorf("put a task in line again: %w", err)
		}
	}
	return nil
}

// goodTicket says whether River will still hand a ticket out, or has only just.
func (q *Queue) goodTicket(ctx context.Context, ticket int64) (bool, error) {
	row, err := q.e.ticket(ctx, ticket)
	if errors.Is(err, river.ErrNotFound) {
		return false, nil
	}
	if err != nil {
		return false, err
	}
	switch row.State {
	case rivertype.JobStateAvailable, rivertype.JobStateRetryable, rivertype.JobStateScheduled, rivertype.JobStatePending:
		return true, nil
	case rivertype.JobStateRunning:
		return row.AttemptedAt != nil && time.Since(*row.AttemptedAt) < strayAfter, nil
	}
	return false, nil
}

// collectTries is how often collecting may fail before the task does: about five minutes.
const collectTries = 300

// collect takes the results of this space's tasks to where they belong.
func (q *Queue) collect(ctx context.Context) error {
	if q.opt.Collect == nil {
		return nil
	}
	found, err := rowsOf(ctx, q.e, func(r scanner) (*Task, error) {
		t := &Task{q: q}
		return t, r.Scan(&t.ID, &t.Job, &t.Kind, &t.Params, &t.Outcome, &t.result)
	}, "SELECT id, job, kind, params, outcome, result FROM tasks WHERE space = $1 AND state = 'collecting' ORDER BY ended, id", q.opt.Space)
	if err != nil {
		return err
	}
	for _, t := range found {
		if err := q.collectOne(ctx, t); err != nil {
			return err
		}
	}
	return nil
}

func (q *Queue) collectOne(ctx context.Context, t *Task) error {
	state, stage, words := t.Outcome, t.Outcome, ""
	if err := guarded(ctx, q.opt.Collect, t); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if q.strikes[t.ID]++; q.strikes[t.ID] < collectTries {
			q.opt.Log.Warn("fetching the results of a task", "task", t.ID, "error", err)
			return nil
		}
		state, stage, words = Failed, "failed", "its results could not be fetched: "+err.Error()
	}
	delete(q.strikes, t.ID)
	defer q.changed()
	return q.e.write(ctx, func(x tx) error {
		// The file has done its work; forget takes it away when no other task holds it.
		_, err := x.exec(ctx, "UPDATE tasks SET state = $1, stage = $2, error = $3, share = 1, result = '', ended = {now} WHERE id = $4 AND state = 'collecting'", state, stage, words, t.ID)
		return err
	})
}

// forget drops tasks that are long over, and files that none needs.
func (q *Queue) forget(ctx context.Context) error {
	return q.e.write(ctx, func(t tx) error {
		for _, query := range []string{
			"UPDATE tasks SET input = '' WHERE input <> '' AND state NOT IN ('waiting', 'running', 'collecting')",
			// Of each job and kind, what came of the last task alone is kept.
			`UPDATE tasks SET result = '' WHERE result <> '' AND state NOT IN ('waiting', 'running', 'collecting')
				AND EXISTS (SELECT 1 FROM tasks later WHERE later.space = tasks.space AND later.job = tasks.job AND later.kind = tasks.kind AND later.state = 'done' AND later.created > tasks.created)`,
			"DELETE FROM task_workers WHERE seen < {now} - " + fileKept,
			`DELETE FROM task_files WHERE used < {now} - ` + fileKept + ` AND digest NOT IN (SELECT input FROM tasks) AND digest NOT IN (SELECT result FROM tasks)`,
		} {
			if _, err := t.exec(ctx, query); err != nil {
				return fmt.Errorf("forget what is over: %w", err)
			}
		}
		_, err := t.exec(ctx, `DELETE FROM tasks WHERE space = $1 AND state NOT IN ('waiting', 'running', 'collecting')
			AND id NOT IN (SELECT id FROM tasks WHERE space = $1 ORDER BY created DESC LIMIT $2)`, q.opt.Space, mostPast)
		return err
	})
}

// fileKept is how long a file that no task holds stays, in seconds: a task that was just put may be about
// to name it. A worker that has said nothing for as long is forgotten too.
const fileKept = "3600"
