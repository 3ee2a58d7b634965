package web

import (
	"context"
	"net/http"

	"mouldwright/internal/job"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"
)

type TaskPath struct {
	Task string `path:"task" maxLength:"40"`
}

type taskIn struct {
	JobPath
	Body struct {
		Kind string `json:"kind" enum:"judge,build" doc:"judge: search and analyse directions. build: the whole run; it writes out/"`
	}
}

func (s *Server) taskRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "startTask", Method: http.MethodPost, Path: "/api/jobs/{job}/tasks", Summary: "Start long work on a job", DefaultStatus: http.StatusAccepted},
		func(ctx context.Context, in *taskIn) (*body[TaskState], error) {
			folder, err := s.work.folder(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			work := s.judging(in.Job)
			if in.Body.Kind == "build" {
				work = s.building(folder)
			}
			t, err := s.tasks.Submit(in.Job, in.Body.Kind, work)
			return &body[TaskState]{t}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getTask", Method: http.MethodGet, Path: "/api/tasks/{task}", Summary: "How a task stands"},
		func(ctx context.Context, in *TaskPath) (*body[TaskState], error) {
			t, ok := s.tasks.State(in.Task)
			if !ok {
				return nil, errNoTask
			}
			return &body[TaskState]{t}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "cancelTask", Method: http.MethodDelete, Path: "/api/tasks/{task}", Summary: "Stop a task; results before it stay as they were", DefaultStatus: http.StatusNoContent},
		func(ctx context.Context, in *TaskPath) (*struct{}, error) {
			if _, ok := s.tasks.State(in.Task); !ok {
				return nil, errNoTask
			}
			s.tasks.Cancel(in.Task)
			return nil, nil
		})
}

var errNoTask = problem(http.StatusNotFound, "there is no such task; tasks are forgotten when the server ends")

// judging keeps its result with the scene.
func (s *Server) judging(id string) Work {
	return func(ctx context.Context, progress func(string, float64)) error {
		progress("looking the part over", 0)
		sc, d, err := s.inspected(ctx, id)
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
		j, err := judge(ctx, sc.part, show, d.file, progress)
		if err != nil {
			return err
		}
		sc.setJudgement(judgementKey(d.file), j)
		return nil
	}
}

func (s *Server) building(folder string) Work {
	return func(ctx context.Context, progress func(string, float64)) error {
		_, err := job.Run(ctx, folder, job.RunOptions{Progress: progress, Pool: s.pool})
		if err != nil && !isRefusal(err) && ctx.Err() == nil {
			return s.asProblem(err)
		}
		return err
	}
}

func (s *Server) watchRoutes(api huma.API) {
	sse.Register(api, huma.Operation{OperationID: "watchTask", Method: http.MethodGet, Path: "/api/tasks/{task}/events", Summary: "Progress of a task as server-sent events, until it ends"},
		map[string]any{"state": TaskState{}, "gone": Gone{}},
		func(ctx context.Context, in *TaskPath, send sse.Sender) {
			states, ok := s.tasks.Watch(ctx, in.Task)
			if !ok {
				_ = send.Data(Gone{in.Task}) // the client may be gone too
				return
			}
			for t := range states {
				if err := send.Data(t); err != nil {
					return
				}
			}
		})
}

// Gone says that a task is not known, so that a client does not wait for it.
type Gone struct {
	ID string `json:"id"`
}
