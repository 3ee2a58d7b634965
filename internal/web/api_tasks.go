package web

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/sse"
)

type TaskPath struct {
	Task string `path:"task" maxLength:"40"`
}

type taskIn struct {
	JobPath
	Body struct {
		Kind string `json:"kind" enum:"judge,build,compare" doc:"judge: search and analyse directions. build: the whole run; it writes out/. compare: rank the ways to mould the part"`
	}
}

func (s *Server) taskRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "startTask", Method: http.MethodPost, Path: "/api/jobs/{job}/tasks", Summary: "Start long work on a job", DefaultStatus: http.StatusAccepted},
		func(ctx context.Context, in *taskIn) (*body[TaskState], error) {
			t, err := s.submit(ctx, in.Job, in.Body.Kind)
			return &body[TaskState]{t}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getTask", Method: http.MethodGet, Path: "/api/tasks/{task}", Summary: "How a task stands"},
		func(ctx context.Context, in *TaskPath) (*body[TaskState], error) {
			t, err := s.tasks.State(ctx, in.Task)
			return &body[TaskState]{taskState(t)}, s.asProblem(lineProblem(err))
		})
	huma.Register(api, huma.Operation{OperationID: "cancelTask", Method: http.MethodDelete, Path: "/api/tasks/{task}", Summary: "Stop a task; results before it stay as they were", DefaultStatus: http.StatusNoContent},
		func(ctx context.Context, in *TaskPath) (*struct{}, error) {
			if _, err := s.tasks.State(ctx, in.Task); err != nil {
				return nil, s.asProblem(lineProblem(err))
			}
			_, err := s.tasks.Cancel(ctx, in.Task) // one that is over has nothing to end
			return nil, s.asProblem(lineProblem(err))
		})
}

var errNoTask = problem(http.StatusNotFound, "there is no such task; those long over are forgotten")

func (s *Server) watchRoutes(api huma.API) {
	sse.Register(api, huma.Operation{OperationID: "watchTask", Method: http.MethodGet, Path: "/api/tasks/{task}/events", Summary: "Progress of a task as server-sent events, until it ends"},
		map[string]any{"state": TaskState{}, "gone": Gone{}},
		func(ctx context.Context, in *TaskPath, send sse.Sender) {
			states, err := s.tasks.Watch(ctx, in.Task)
			if err != nil {
				_ = send.Data(Gone{in.Task}) // the client may be gone too
				return
			}
			for t := range states {
				if err := send.Data(taskState(t)); err != nil {
					return
				}
			}
		})
}

// Gone says that a task is not known, so that a client does not wait for it.
type Gone struct {
	ID string `json:"id"`
}
