// Package tasks keeps long work in a database, so that it outlives the process that asked for it and can
// be done on another machine. River hands the work out; this package adds what one task is to its owner:
//
//	task     what was asked, how it stands, who is at work on it
//	lease    a worker's hold on a task: renewed while it lives, and void soon after it dies
//	file     what a task needs and what came of it, by digest, in chunks
//
// The database is SQLite in a file, for one machine, or PostgreSQL. All that a task is lies in a row of
// the table tasks. River's jobs are tickets to work on one: a ticket that is not the task's own any more
// does nothing, so a task is never at work twice, whatever River does with a ticket whose worker is gone.
//
//	q, err := tasks.Open(ctx, "jobs/tasks.db", tasks.Options{Handlers: map[string]tasks.Handler{"build": build}})
//	t, err := q.Submit(ctx, tasks.Request{Job: "ring", Kind: "build"})
//	states, err := q.Watch(ctx, t.ID)
//
// docs/workers.md says what is promised when a worker dies.
package tasks
