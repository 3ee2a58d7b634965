package web

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"path/filepath"
	"time"

	"mouldwright/internal/batch"
	"mouldwright/internal/job"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-chi/chi/v5"
)

type batchView struct {
	ID    string        `json:"id"`
	Name  string        `json:"name"`
	Text  string        `json:"text,omitempty" doc:"batch.toml; absent in lists"`
	Tag   string        `json:"tag" doc:"Of the text; give it back with a change"`
	Bad   *Problem      `json:"bad,omitempty" doc:"Why the text cannot be used as it is"`
	Stale bool          `json:"stale" doc:"The text was changed after the plan was made"`
	Plan  *batch.Report `json:"plan,omitempty" doc:"The last plan; absent in lists and before the first"`
}

// BatchPath is the part of an address that names a batch.
type BatchPath struct {
	Batch string `path:"batch" maxLength:"80" doc:"The batch folder's name"`
}

type batchText struct {
	Text string `json:"text" maxLength:"1048576"`
	Tag  string `json:"tag,omitempty" maxLength:"40"`
}

func (s *Server) batchRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "listBatches", Method: http.MethodGet, Path: "/api/batches", Summary: "All batches"},
		func(context.Context, *struct{}) (*body[[]batchView], error) {
			ids, err := s.work.batches()
			if err != nil {
				return nil, s.asProblem(err)
			}
			list := []batchView{}
			for _, id := range ids {
				if v, err := s.lookAtBatch(id); err == nil { // one that went away meanwhile is left out
					v.Text, v.Plan = "", nil
					list = append(list, *v)
				}
			}
			return &body[[]batchView]{list}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "getBatch", Method: http.MethodGet, Path: "/api/batches/{batch}", Summary: "One batch and its last plan"},
		func(_ context.Context, in *BatchPath) (*body[*batchView], error) {
			v, err := s.lookAtBatch(in.Batch)
			return &body[*batchView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getBatchStarter", Method: http.MethodGet, Path: "/api/jobs/{job}/batch-starter", Summary: "A batch.toml to begin with, for the mould of a job", Middlewares: behind(s.costly)},
		func(_ context.Context, in *JobPath) (*body[batchText], error) {
			text, err := s.batchStarter(in.Job)
			return &body[batchText]{batchText{Text: string(text)}}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "createBatch", Method: http.MethodPost, Path: "/api/batches", Summary: "Make a batch of a batch.toml", DefaultStatus: http.StatusCreated},
		func(_ context.Context, in *body[struct {
			Name string `json:"name" minLength:"1" maxLength:"80"`
			Text string `json:"text" maxLength:"1048576"`
		}]) (*body[*batchView], error) {
			id, err := s.work.createBatch(in.Body.Name, []byte(in.Body.Text))
			if err != nil {
				return nil, s.asProblem(err)
			}
			v, err := s.lookAtBatch(id)
			return &body[*batchView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "putBatch", Method: http.MethodPut, Path: "/api/batches/{batch}", Summary: "Replace batch.toml, if it is sound"},
		func(_ context.Context, in *struct {
			BatchPath
			Body batchText
		}) (*body[*batchView], error) {
			if err := s.replaceBatch(in.Batch, in.Body); err != nil {
				return nil, s.asProblem(err)
			}
			v, err := s.lookAtBatch(in.Batch)
			return &body[*batchView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "planBatch", Method: http.MethodPost, Path: "/api/batches/{batch}/plan", Summary: "Plan it, from what happened so far", Middlewares: behind(s.long)},
		func(ctx context.Context, in *struct {
			BatchPath
			Seed uint64 `query:"seed" doc:"The same seed gives the same plan"`
		}) (*body[*batchView], error) {
			if _, err := s.planBatch(ctx, in.Batch, in.Seed); err != nil {
				return nil, s.asProblem(err)
			}
			v, err := s.lookAtBatch(in.Batch)
			return &body[*batchView]{v}, s.asProblem(err)
		})
}

func (s *Server) batchStarter(id string) ([]byte, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return nil, err
	}
	rep, err := job.LastReport(folder)
	if err != nil {
		return nil, err
	}
	f, err := job.Load(folder)
	if err != nil {
		return nil, err
	}
	return batch.Starter([]batch.StarterJob{{Folder: "../" + id, Report: rep, Rule: f.Compare}}, time.Now())
}

func (s *Server) lookAtBatch(id string) (*batchView, error) {
	folder, text, err := s.work.readBatch(id)
	if err != nil {
		return nil, err
	}
	v := &batchView{ID: id, Name: id, Text: string(text), Tag: tagOf(text)}
	b, err := s.work.parseBatch(folder, text)
	if err != nil {
		var p *Problem
		if errors.As(s.asProblem(err), &p) {
			v.Bad = p
		}
	} else if b.Name != "" {
		v.Name = b.Name
	}
	r, err := batch.ReadReport(filepath.Join(folder, batchOut, batch.PlanFile))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return v, nil
	case err != nil:
		return nil, err
	}
	v.Plan = r
	v.Stale = s.work.newer(id+"/"+batch.FileName, id+"/"+batchOut+"/"+batch.PlanFile)
	return v, nil
}

// newer says whether file a was changed after b.
func (w *workspace) newer(a, b string) bool {
	x, err := w.root.Stat(a)
	y, err2 := w.root.Stat(b)
	return err == nil && err2 == nil && x.ModTime().After(y.ModTime())
}

func (s *Server) replaceBatch(id string, t batchText) error {
	s.work.mu.Lock()
	defer s.work.mu.Unlock()
	folder, old, err := s.work.readBatch(id)
	if err != nil {
		return err
	}
	if t.Tag != "" && t.Tag != tagOf(old) {
		return problem(http.StatusConflict, "batch.toml was changed by someone else in the meantime; load it again")
	}
	return s.work.writeBatch(folder, []byte(t.Text))
}

// serveBatchOut sends a result of a batch: the board, day lists, calendar.
func (s *Server) serveBatchOut(w http.ResponseWriter, r *http.Request) {
	f, err := s.work.batchFile(chi.URLParam(r, "batch"), chi.URLParam(r, "name"))
	if err != nil {
		refuse(w, http.StatusNotFound, "there is no such result")
		return
	}
	defer f.Close()
	sendResult(w, r, f, chi.URLParam(r, "batch"), chi.URLParam(r, "name"))
}
