package tasks

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Processes that do work say so, each with its version, where a line is shared. A task that none of them may
// take says why it waits, and they say what they leave lying.

// liveFor is how long a worker counts as there after it last said so; it does every tendEvery.
const liveFor = lease

// register says that this process is here.
func (q *Queue) register(ctx context.Context) error {
	if !q.shared || len(q.opt.Handlers) == 0 {
		return nil
	}
	err := q.e.write(ctx, func(t tx) error {
		_, err := t.exec(ctx, `INSERT INTO task_workers (worker, version, seen) VALUES ($1, $2, {now})
			ON CONFLICT (worker) DO UPDATE SET seen = excluded.seen`, q.worker, q.opt.Version)
		return err
	})
	if err != nil {
		return fmt.Errorf("say that a worker is here: %w", err)
	}
	return nil
}

// unregister says that it is no more.
func (q *Queue) unregister(ctx context.Context) error {
	if !q.shared || len(q.opt.Handlers) == 0 {
		return nil
	}
	return q.e.write(ctx, func(t tx) error {
		_, err := t.exec(ctx, "DELETE FROM task_workers WHERE worker = $1", q.worker)
		return err
	})
}

// workerVersions are those of the workers that are there, sorted.
func (q *Queue) workerVersions(ctx context.Context) ([]string, error) {
	return rowsOf(ctx, q.e, func(r scanner) (v string, err error) { return v, r.Scan(&v) },
		"SELECT DISTINCT version FROM task_workers WHERE seen > {now} - $1 ORDER BY version", liveFor.Seconds())
}

// explain gives tasks that wait, and that no worker may take, words that say so. versions are the tasks' own.
func (q *Queue) explain(ctx context.Context, all []State, versions []string) error {
	if !q.shared || !slices.ContainsFunc(all, func(s State) bool { return s.State == Waiting }) {
		return nil
	}
	there, err := q.workerVersions(ctx)
	if err != nil {
		return err
	}
	for i := range all {
		if all[i].State == Waiting && !slices.Contains(there, versions[i]) {
			all[i].Stage = noWorker(versions[i], there)
		}
	}
	return nil
}

func noWorker(needs string, there []string) string {
	if len(there) == 0 {
		return "waiting: no worker is there; start one with mouldwright worker"
	}
	return fmt.Sprintf("waiting: no worker of the server's build is there. The server is build %s, the workers are build %s; install the server's build on them",
		needs, strings.Join(there, " and "))
}

// leftLying tells the log, once for each version, of work that waits for workers of another version.
func (q *Queue) leftLying(ctx context.Context) error {
	if !q.shared || len(q.opt.Handlers) == 0 {
		return nil
	}
	there, err := q.workerVersions(ctx)
	if err != nil {
		return err
	}
	wanted, err := rowsOf(ctx, q.e, func(r scanner) (v string, err error) { return v, r.Scan(&v) },
		"SELECT DISTINCT version FROM tasks WHERE state = 'waiting' AND version <> $1 ORDER BY version", q.opt.Version)
	if err != nil {
		return err
	}
	for _, v := range wanted {
		if !slices.Contains(there, v) && !q.told[v] {
			q.told[v] = true
			q.opt.Log.Warn("work waits that this worker may not do: another build may compute otherwise; install the server's build here",
				"server's build", v, "this build", q.opt.Version)
		}
	}
	return nil
}
