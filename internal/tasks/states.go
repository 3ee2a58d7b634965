package tasks

import (
	"context"
	"fmt"
	"time"
)

// states of the space, the last submitted first. They are at most freshFor old, so that many who ask cost
// the database no more than one.
func (q *Queue) states(ctx context.Context) ([]State, error) {
	q.asked.Lock()
	defer q.asked.Unlock()
	changes := q.changes.Load()
	if q.version == changes && time.Since(q.knownAt) < freshFor {
		return q.known, nil
	}
	var versions []string
	all, err := rowsOf(ctx, q.e, func(r scanner) (s State, err error) {
		var version string
		err = r.Scan(&s.ID, &s.Job, &s.Kind, &s.State, &s.Stage, &s.Share, &s.Error, &version, &s.Seconds)
		versions = append(versions, version)
		return s, err
	}, `SELECT id, job, kind, state, stage, share, error, version,
		CASE WHEN started = 0 THEN 0.0 WHEN ended > 0 THEN ended - started ELSE {now} - started END
		FROM tasks WHERE space = $1 ORDER BY created DESC, id`, q.opt.Space)
	if err == nil {
		err = q.explain(ctx, all, versions)
	}
	if err != nil {
		return nil, fmt.Errorf("read how the work stands: %w", err)
	}
	q.known, q.knownAt, q.version = all, time.Now(), changes
	return all, nil
}

// changed makes the next look read the database.
func (q *Queue) changed() { q.changes.Add(1) }

// State tells how a task stands; ErrUnknown when there is no such task.
func (q *Queue) State(ctx context.Context, id string) (State, error) {
	all, err := q.states(ctx)
	if err != nil {
		return State{}, err
	}
	for _, s := range all {
		if s.ID == id {
			return s, nil
		}
	}
	return State{}, ErrUnknown
}

// Latest is the last task of a job.
func (q *Queue) Latest(ctx context.Context, job string) (s State, found bool, err error) {
	all, err := q.states(ctx)
	for _, s := range all {
		if s.Job == job {
			return s, true, nil
		}
	}
	return State{}, false, err
}

// Kept is the last task of a job and kind that ended well, with what its handler kept.
func (q *Queue) Kept(ctx context.Context, job, kind string) (t *Task, found bool, err error) {
	all, err := q.states(ctx)
	if err != nil {
		return nil, false, err
	}
	for _, s := range all {
		if s.Job == job && s.Kind == kind && s.State == Done {
			t = &Task{ID: s.ID, Job: job, Kind: kind, q: q}
			err := q.e.read().QueryRowContext(ctx, "SELECT params, result FROM tasks WHERE id = $1", s.ID).Scan(&t.Params, &t.result)
			if err != nil {
				return nil, false, fmt.Errorf("read what came of a task: %w", err)
			}
			return t, t.result != "", nil
		}
	}
	return nil, false, nil
}

// Watch sends the state at once and on every change until the task is over or ctx ends; then the channel
// is closed. A slow watcher misses states in between, never the last.
func (q *Queue) Watch(ctx context.Context, id string) (<-chan State, error) {
	now, err := q.State(ctx, id)
	if err != nil {
		return nil, err
	}
	out := make(chan State)
	go func() {
		defer close(out)
		every := time.NewTicker(freshFor)
		defer every.Stop()
		told := State{}
		for {
			if now != told {
				select {
				case out <- now:
					told = now
				case <-ctx.Done():
					return
				case <-q.ctx.Done():
					return
				}
			}
			if now.Over() {
				return
			}
			select {
			case <-every.C:
			case <-ctx.Done():
				return
			case <-q.ctx.Done():
				return
			}
			next, err := q.State(ctx, id)
			if err == nil {
				now = next
			} else if err == ErrUnknown {
				return
			} // else the database is away for a moment: keep asking
		}
	}()
	return out, nil
}
