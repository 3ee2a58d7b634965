package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/tasks"

	"github.com/danielgtaylor/huma/v2"
)

// kindCompare ranks the ways to mould a job's part.
const kindCompare = "compare"

// comparedView is the last comparison of a job.
type comparedView struct {
	Fresh      bool `json:"fresh" doc:"The decisions are still those that it was made for"`
	Comparison any  `json:"comparison" doc:"As mouldwright compare --json prints it"`
}

// keptComparison is a comparison as it is kept with its task.
type keptComparison struct {
	Decisions  string          `json:"decisions"` // tag of the job.toml that it was made for
	Comparison json.RawMessage `json:"comparison"`
}

// compareFolder compares a job and keeps what came of it.
func compareFolder(ctx context.Context, t *tasks.Task, folder string, opt job.CompareOptions) error {
	text, err := os.ReadFile(filepath.Join(folder, job.FileName))
	if err != nil {
		return fmt.Errorf("read the decisions: %w", err)
	}
	opt.Progress = t.Progress
	c, err := job.Compare(ctx, folder, opt)
	if err != nil {
		return err
	}
	b, err := json.Marshal(c)
	if err != nil {
		return fmt.Errorf("keep the comparison: %w", err)
	}
	return t.Keep(ctx, false, func(w io.Writer) error { return json.NewEncoder(w).Encode(keptComparison{tagOf(text), b}) })
}

// compareHere compares a job of this server.
func (s *Server) compareHere(ctx context.Context, t *tasks.Task) error {
	folder, err := s.work.folder(t.Job)
	if err != nil {
		return s.asProblem(err)
	}
	err = compareFolder(ctx, t, folder, job.CompareOptions{Pool: s.pool})
	if err == nil || ctx.Err() != nil {
		return err
	}
	return s.asProblem(err)
}

func (w *worker) compare(ctx context.Context, t *tasks.Task, folder string) error {
	return compareFolder(ctx, t, folder, job.CompareOptions{Pool: w.pool})
}

func (s *Server) compareRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "getComparison", Method: http.MethodGet, Path: "/api/jobs/{job}/comparison", Summary: "What the last comparison of the ways to mould found, as compare --json gives it"},
		func(ctx context.Context, in *JobPath) (*body[*comparedView], error) {
			v, err := s.compared(ctx, in.Job)
			return &body[*comparedView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listFamilies", Method: http.MethodGet, Path: "/api/families", Summary: "The kinds of mould that job.toml may name"},
		func(context.Context, *struct{}) (*body[[]job.FamilyName], error) {
			return &body[[]job.FamilyName]{job.Families()}, nil
		})
}

func (s *Server) compared(ctx context.Context, id string) (*comparedView, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return nil, err
	}
	t, found, err := s.tasks.Kept(ctx, id, kindCompare)
	if err != nil {
		return nil, lineProblem(err)
	}
	if !found {
		return nil, problem(http.StatusNotFound, "the ways to mould it are not compared yet")
	}
	var b bytes.Buffer
	if err := t.Result(ctx, &b); err != nil {
		return nil, lineProblem(err)
	}
	var kept keptComparison
	if err := json.Unmarshal(b.Bytes(), &kept); err != nil {
		return nil, fmt.Errorf("read the comparison: %w", err)
	}
	d, err := readDecisions(folder)
	if err != nil {
		return nil, err
	}
	return &comparedView{d.tag == kept.Decisions, kept.Comparison}, nil
}
