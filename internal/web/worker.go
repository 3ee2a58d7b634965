package web

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/buildinfo"
	"mouldwright/internal/bundle"
	"mouldwright/internal/job"
	"mouldwright/internal/record"
	"mouldwright/internal/solid"
	"mouldwright/internal/tasks"
	"mouldwright/internal/tempdir"
)

// WorkerOptions set up a worker.
type WorkerOptions struct {
	Database string // postgres://…
	Build    string // it does the work of servers of the same build; "" is buildinfo.Mark
	AtOnce   int    // tasks at once; 0 is 1, as each uses every core
}

// ErrNoServer says that a worker was given a place that only one machine can reach.
var ErrNoServer = errors.New("a worker needs a PostgreSQL server that serve uses too")

// Work takes tasks from a shared line until ctx ends; then it gives back what it is at. ready is called
// once it takes them.
func Work(ctx context.Context, opt WorkerOptions, ready func()) (err error) {
	if !record.IsPostgres(opt.Database) {
		return fmt.Errorf("--database %q: %w; write postgres://USER@HOST/DATABASE", opt.Database, ErrNoServer)
	}
	w := &worker{solid.NewPool(solid.Options{})}
	defer func() { err = errors.Join(err, w.pool.Close()) }()
	q, err := tasks.Open(ctx, opt.Database, tasks.Options{Version: lineVersion(cmp.Or(opt.Build, buildinfo.Mark())), Handlers: w.handlers(), AtOnce: opt.AtOnce, Refusal: isRefusal, Log: warnings()})
	if err != nil {
		return err
	}
	ready()
	<-ctx.Done()
	return q.Close()
}

// worker does tasks from what they bring along: it knows no folder of jobs.
type worker struct{ pool *solid.Pool }

func (w *worker) handlers() map[string]tasks.Handler {
	return map[string]tasks.Handler{kindJudge: w.unpacked(w.judge), kindBuild: w.unpacked(w.build), kindCompare: w.unpacked(w.compare)}
}

// unpacked gives a handler the job folder of a task, for as long as it runs.
func (w *worker) unpacked(do func(ctx context.Context, t *tasks.Task, folder string) error) tasks.Handler {
	return func(ctx context.Context, t *tasks.Task) (err error) {
		dir, err := tempdir.Make("work")
		if err != nil {
			return fmt.Errorf("make a folder to work in: %w", err)
		}
		defer os.RemoveAll(dir) // temporary
		t.Progress("fetching the job", 0)
		if _, err := fetch(ctx, t.Input, dir); err != nil {
			return err
		}
		err = do(ctx, t, dir)
		if err == nil || isRefusal(err) || ctx.Err() != nil {
			return err
		}
		return errors.New(strings.ReplaceAll(err.Error(), dir+string(filepath.Separator), "")) // its owner knows the job, not this folder
	}
}

// fetch unpacks a task's file.
func fetch(ctx context.Context, get func(context.Context, io.Writer) error, dir string) (names []string, err error) {
	// Through a file: it is whole and checked before anything of it is used.
	f, err := tempdir.File("bundle")
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	if err := get(ctx, f); err != nil {
		return nil, err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return nil, err
	}
	return bundle.Read(f, dir, bundle.Limits{})
}

func (w *worker) judge(ctx context.Context, t *tasks.Task, folder string) error {
	f, err := job.Load(folder)
	if err != nil {
		return err
	}
	o, err := openPart(ctx, folder, f)
	if err != nil {
		return err
	}
	t.Progress("looking the part over", 0)
	p, err := inspect(ctx, o)
	if err != nil {
		return err
	}
	if p.fatal != nil {
		return p.fatal
	}
	show, err := p.showMarks(f.Show)
	if err != nil {
		return err
	}
	j, err := judge(ctx, p, show, f, t.Progress)
	if err != nil {
		return err
	}
	return t.Keep(ctx, false, func(out io.Writer) error { return j.write(out, t.Params, judgementKey(f)) })
}

func (w *worker) build(ctx context.Context, t *tasks.Task, folder string) error {
	_, err := job.Run(ctx, folder, job.RunOptions{Progress: t.Progress, Pool: w.pool})
	if err != nil && !isRefusal(err) {
		return err
	}
	t.Progress("storing the results", 1)
	results := os.DirFS(filepath.Join(folder, job.OutName))
	names, ferr := bundle.Files(results)
	if ferr == nil {
		ferr = t.Keep(ctx, true, func(out io.Writer) error { return bundle.Write(out, results, names) })
	}
	if ferr != nil {
		return fmt.Errorf("store the results: %w", ferr)
	}
	return err
}
