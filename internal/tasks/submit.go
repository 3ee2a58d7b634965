package tasks

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
)

// Submit puts work in line.
func (q *Queue) Submit(ctx context.Context, r Request) (State, error) {
	id := newID()
	err := q.e.write(ctx, func(t tx) error {
		var open, waiting int
		err := t.row(ctx, `SELECT COUNT(CASE WHEN job = $1 THEN 1 END), COUNT(CASE WHEN state = 'waiting' THEN 1 END) FROM tasks
			WHERE space = $2 AND state IN ('waiting', 'running', 'collecting')`, r.Job, q.opt.Space).Scan(&open, &waiting)
		switch {
		case err != nil:
			return err
		case open > 0:
			return ErrBusy
		case waiting >= mostWaiting:
			return ErrFull
		}
		ticket, err := t.enqueue(ctx, id, q.line)
		if err != nil {
			return err
		}
		_, err = t.exec(ctx, `INSERT INTO tasks (id, space, job, kind, params, version, input, result, state, outcome, stage, share, error, ticket,
			run, lost, cancel, worker, created, queued, lease, started, ended)
			VALUES ($1, $2, $3, $4, $5, $6, $7, '', 'waiting', '', $8, 0, '', $9, 0, 0, 0, '', {now}, {now}, 0, 0, 0)`,
			id, q.opt.Space, r.Job, r.Kind, r.Params, q.opt.Version, r.Input, inLine, ticket)
		return err
	})
	q.changed()
	if err != nil {
		// Two at once: the second is kept out by an index, in words of the database's own.
		if !errors.Is(err, ErrFull) && !errors.Is(err, ErrBusy) && ctx.Err() == nil {
			if t, found, e := q.Latest(ctx, r.Job); e == nil && found && !t.Over() {
				err = ErrBusy
			}
		}
		return State{}, fmt.Errorf("start work: %w", err)
	}
	return State{ID: id, Job: r.Job, Kind: r.Kind, State: Waiting, Stage: inLine}, nil
}

// Stages of a task that nobody works on.
const (
	inLine   = "waiting for its turn"
	begun    = "starting"
	again    = "waiting for its turn again: the worker that had it is gone"
	returned = "waiting for its turn again: the worker that had it was stopped"
)

// Cancel ends a task early; it says whether there was one to end. A task that waits ends at once, one at
// work within moments, wherever that is.
func (q *Queue) Cancel(ctx context.Context, id string) (ended bool, err error) {
	err = q.e.write(ctx, func(t tx) error {
		ended = false
		var ticket int64
		err := t.row(ctx, `UPDATE tasks SET state = 'stopped', stage = 'stopped', cancel = 1, ended = {now}
			WHERE id = $1 AND space = $2 AND state = 'waiting' RETURNING ticket`, id, q.opt.Space).Scan(&ticket)
		if errors.Is(err, sql.ErrNoRows) {
			err = t.row(ctx, "UPDATE tasks SET cancel = 1 WHERE id = $1 AND space = $2 AND state = 'running' RETURNING ticket", id, q.opt.Space).Scan(&ticket)
		}
		if errors.Is(err, sql.ErrNoRows) {
			return nil
		}
		if err != nil {
			return err
		}
		ended = true
		return t.drop(ctx, ticket)
	})
	if err != nil {
		return false, fmt.Errorf("stop work: %w", err)
	}
	if ended {
		q.mu.Lock()
		if stop := q.atWork[id]; stop != nil {
			stop(errCancelled)
		}
		q.mu.Unlock()
	}
	q.changed()
	return ended, nil
}
