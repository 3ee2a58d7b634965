package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net/http"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/bundle"
	"mouldwright/internal/job"
	"mouldwright/internal/tasks"
	"mouldwright/internal/tempdir"
)

// Long work runs in a line kept in a database (package tasks). With the folder's own, it is done here and
// in place. With one that is shared, a task takes along what it needs, whoever does it, and this server
// fetches what came of it.

// Kinds of task.
const (
	kindJudge = "judge"
	kindBuild = "build"
)

// How a task stands, in the API's words.
const (
	Waiting = tasks.Waiting
	Running = tasks.Running
	Done    = tasks.Done
	Refused = tasks.Refused
	Stopped = tasks.Stopped
	Failed  = tasks.Failed
)

// TaskState is how a task stands.
type TaskState struct {
	ID      string  `json:"id"`
	Job     string  `json:"job"`
	Kind    string  `json:"kind" enum:"judge,build,compare"`
	State   string  `json:"state" enum:"waiting,running,done,refused,stopped,failed"`
	Stage   string  `json:"stage" doc:"What is being done, in words"`
	Share   float64 `json:"share" minimum:"0" maximum:"1" doc:"Part of the work that is done. It begins anew when another worker takes over"`
	Error   string  `json:"error,omitempty"`
	Seconds float64 `json:"seconds" doc:"Time at work so far"`
}

func taskState(s tasks.State) TaskState {
	if s.State == tasks.Collecting { // to a client it is work like the rest
		s.State = Running
	}
	return TaskState(s)
}

// Over says whether nothing more will happen.
func (t TaskState) Over() bool { return t.State != Waiting && t.State != Running }

// What keeps a task from being put in line.
var (
	ErrTaskBusy  = tasks.ErrBusy
	ErrQueueFull = tasks.ErrFull
)

// TasksFile is the line of work in the folder of jobs.
const TasksFile = "tasks.db"

// buildsAtOnce is one: a build uses every core itself.
const buildsAtOnce = 1

// lineVersion is what two processes must share to do each other's work: another build may compute
// otherwise, and so may another kind of processor, in the last bits.
func lineVersion(build string) string { return build + " " + runtime.GOARCH }

// openLine opens the line of work and begins on what waits in it.
func (s *Server) openLine(ctx context.Context) (*tasks.Queue, error) {
	opt := tasks.Options{Version: lineVersion(s.opt.Build), Refusal: isRefusal, AtOnce: buildsAtOnce, Log: warnings()}
	if s.opt.Database == "" {
		opt.Handlers = map[string]tasks.Handler{kindJudge: s.judgeHere, kindBuild: s.buildHere, kindCompare: s.compareHere}
		return tasks.Open(ctx, filepath.Join(s.work.dir, TasksFile), opt)
	}
	var err error
	if opt.Space, err = s.work.identity(); err != nil {
		return nil, err
	}
	opt.Collect = s.collect
	if !s.opt.NoWork {
		opt.Handlers = (&worker{s.pool}).handlers()
	}
	return tasks.Open(ctx, s.opt.Database, opt)
}

// warnings go to standard error.
func warnings() *slog.Logger {
	return slog.New(slog.NewTextHandler(os.Stderr, &slog.HandlerOptions{Level: slog.LevelWarn}))
}

// submit puts work on a job in line.
func (s *Server) submit(ctx context.Context, id, kind string) (TaskState, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return TaskState{}, err
	}
	r := tasks.Request{Job: id, Kind: kind}
	if s.opt.Database != "" {
		// A second task would be refused anyhow; its files need not travel first.
		if t, found, err := s.tasks.Latest(ctx, id); err == nil && found && !t.Over() {
			return TaskState{}, ErrTaskBusy
		}
		if r, err = s.packed(ctx, folder, r); err != nil {
			return TaskState{}, err
		}
	}
	t, err := s.tasks.Submit(ctx, r)
	if err != nil {
		return TaskState{}, lineProblem(err)
	}
	return taskState(t), nil
}

// packed gives a request all that a worker needs.
func (s *Server) packed(ctx context.Context, folder string, r tasks.Request) (tasks.Request, error) {
	r.Params = time.Now().Format(time.RFC3339Nano)
	if r.Kind == kindJudge {
		_, d, err := s.sound(r.Job)
		if err != nil {
			return r, err
		}
		if r.Params, err = sceneKey(folder, d.file); err != nil {
			return r, err
		}
	}
	names, err := job.Inputs(folder)
	if err != nil {
		return r, err
	}
	r.Input, err = s.tasks.Put(ctx, func(w io.Writer) error { return bundle.Write(w, os.DirFS(folder), names) })
	if err != nil {
		return r, lineProblem(err)
	}
	return r, nil
}

// lineProblem is how a client hears of trouble with the line of work.
func lineProblem(err error) error {
	switch {
	case err == nil, errors.Is(err, tasks.ErrBusy), errors.Is(err, tasks.ErrFull), errors.Is(err, context.Canceled):
		return err
	case errors.Is(err, tasks.ErrUnknown):
		return errNoTask
	case errors.Is(err, tasks.ErrTooLarge), errors.Is(err, bundle.ErrTooLarge):
		return problem(http.StatusRequestEntityTooLarge, "%v", err)
	}
	return problem(http.StatusServiceUnavailable, "the line of work does not answer, try again in a while: %v", err)
}

// judgeHere judges the part of a job of this server; looking it over is shared with the view.
func (s *Server) judgeHere(ctx context.Context, t *tasks.Task) error {
	t.Progress("looking the part over", 0)
	sc, d, err := s.inspected(ctx, t.Job)
	if err != nil && ctx.Err() == nil {
		return s.asProblem(err)
	} else if err != nil {
		return err
	}
	if sc.part.fatal != nil {
		return sc.part.fatal
	}
	show, err := sc.show(d.file.Show)
	if err != nil {
		return err
	}
	j, err := judge(ctx, sc.part, show, d.file, t.Progress)
	if err != nil {
		return err
	}
	return t.Keep(ctx, false, func(w io.Writer) error { return j.write(w, sc.key, judgementKey(d.file)) })
}

// buildHere runs a job in its folder. A run that is cut off leaves the results before it.
func (s *Server) buildHere(ctx context.Context, t *tasks.Task) error {
	folder, err := s.work.folder(t.Job)
	if err != nil {
		return s.asProblem(err)
	}
	began := time.Now()
	_, err = job.Run(ctx, folder, job.RunOptions{Progress: t.Progress, Pool: s.pool})
	if err == nil || isRefusal(err) {
		return errors.Join(err, dateReport(folder, began))
	}
	if ctx.Err() == nil {
		return s.asProblem(err)
	}
	return err
}

// dateReport gives a report the time of the decisions that it was made from, so that a change during the
// run shows.
func dateReport(folder string, at time.Time) error {
	if err := os.Chtimes(filepath.Join(folder, job.OutName, "report.json"), at, at); err != nil {
		return fmt.Errorf("date the report: %w", err)
	}
	return nil
}

// collect puts the results of a build that a worker did into the job's folder.
func (s *Server) collect(ctx context.Context, t *tasks.Task) error {
	folder, err := s.work.folder(t.Job)
	if err != nil {
		return err
	}
	dir, err := tempdir.Make("results")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir) // temporary
	names, err := fetch(ctx, t.Result, dir)
	if err != nil {
		return err
	}
	if err := job.Adopt(ctx, folder, os.DirFS(dir), names); err != nil {
		return fmt.Errorf("%s", s.hidePaths(strings.ReplaceAll(err.Error(), dir+"/", "")))
	}
	began, err := time.Parse(time.RFC3339Nano, t.Params)
	if err != nil {
		return err
	}
	return dateReport(folder, began)
}

// identityFile tells this folder of jobs apart from others whose work is in the same database.
const identityFile = "workspace.id"

func (w *workspace) identity() (string, error) {
	path := filepath.Join(w.dir, identityFile)
	b, err := os.ReadFile(path)
	if errors.Is(err, os.ErrNotExist) {
		err = atomicfile.Write(path, func(out io.Writer) error { _, err := fmt.Fprintln(out, randomHex(16)); return err })
		if err == nil {
			b, err = os.ReadFile(path)
		}
	}
	id := strings.TrimSpace(string(b))
	if err == nil && (len(id) < 16 || len(id) > 64) {
		err = fmt.Errorf("%s does not hold what it should; remove it, and work in line is forgotten", path)
	}
	if err != nil {
		return "", fmt.Errorf("name the folder of jobs: %w", err)
	}
	return id, nil
}
