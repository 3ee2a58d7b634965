package web

import (
	"context"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"mouldwright/internal/job"
	"mouldwright/internal/material"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
	"github.com/pelletier/go-toml/v2"
)

// JobPath is the part of an address that names a job.
type JobPath struct {
	Job string `path:"job" maxLength:"80" doc:"The job folder's name"`
}

type body[T any] struct{ Body T }

// jobView is a job in a client's eyes.
type jobView struct {
	ID        string         `json:"id"`
	Name      string         `json:"name"`
	Changed   time.Time      `json:"changed" doc:"When the decisions were last changed"`
	Tag       string         `json:"tag" doc:"Of the decisions; give it back with a change"`
	Settings  map[string]any `json:"settings" doc:"What job.toml says, by table and key; settings left out take their defaults"`
	Bad       *Problem       `json:"bad,omitempty" doc:"Why job.toml cannot be used as it is"`
	Task      *TaskState     `json:"task,omitempty" doc:"The last task"`
	HasReport bool           `json:"has_report"`
	Refused   bool           `json:"refused"`
	Stale     bool           `json:"stale" doc:"The decisions were changed after the last run"`
	Notice    string         `json:"notice,omitempty" doc:"A side effect of the change just made"`
}

func (s *Server) jobRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "listJobs", Method: http.MethodGet, Path: "/api/jobs", Summary: "All jobs, the last changed first"},
		func(ctx context.Context, _ *struct{}) (*body[[]jobView], error) {
			ids, err := s.work.ids()
			if err != nil {
				return nil, s.asProblem(err)
			}
			list := make([]jobView, 0, len(ids))
			for _, id := range ids {
				if v, err := s.look(ctx, id); err == nil { // one that went away meanwhile is left out
					list = append(list, *v)
				}
			}
			return &body[[]jobView]{list}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "getJob", Method: http.MethodGet, Path: "/api/jobs/{job}", Summary: "One job"},
		func(ctx context.Context, in *JobPath) (*body[*jobView], error) {
			v, err := s.look(ctx, in.Job)
			return &body[*jobView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "createJob", Method: http.MethodPost, Path: "/api/jobs", Summary: "Make a job of an uploaded part, or of a demo part", DefaultStatus: http.StatusCreated},
		func(ctx context.Context, in *body[newJob]) (*body[*jobView], error) {
			id, err := s.createJob(in.Body)
			if err != nil {
				return nil, s.asProblem(err)
			}
			v, err := s.look(ctx, id)
			return &body[*jobView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getReport", Method: http.MethodGet, Path: "/api/jobs/{job}/report", Summary: "The report of the last run, as report.json has it"},
		func(ctx context.Context, in *JobPath) (*body[any], error) {
			folder, err := s.work.folder(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			rep, err := job.LastReport(folder)
			return &body[any]{rep}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listMaterials", Method: http.MethodGet, Path: "/api/materials", Summary: "Casting materials that a new job can name"},
		func(context.Context, *struct{}) (*body[[]materialView], error) {
			list, err := materials()
			return &body[[]materialView]{list}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listDemoParts", Method: http.MethodGet, Path: "/api/demo", Summary: "Demo parts to start with"},
		func(context.Context, *struct{}) (*body[[]demoPart], error) { return &body[[]demoPart]{demoParts}, nil })
}

type newJob struct {
	Upload   string   `json:"upload,omitempty" maxLength:"40" doc:"From POST /api/uploads"`
	Demo     string   `json:"demo,omitempty" maxLength:"40" doc:"Instead of an upload: a name from /api/demo"`
	Name     string   `json:"name,omitempty" maxLength:"80"`
	Unit     string   `json:"unit,omitempty" enum:"mm,cm,m,inch,foot,micron"`
	Object   string   `json:"object,omitempty" maxLength:"200"`
	Material string   `json:"material,omitempty" maxLength:"80"`
	Colours  []string `json:"colours,omitempty" maxItems:"32" doc:"Colours in the file that mark show faces, as #rrggbb"`
}

func (s *Server) createJob(n newJob) (id string, err error) {
	if n.Demo != "" {
		return s.createDemo(n.Demo, n.Material)
	}
	up, ok := s.staged.take(n.Upload)
	if !ok {
		return "", problem(http.StatusGone, "the upload is not here any more; drop the part again")
	}
	defer func() { s.staged.done(n.Upload, err == nil) }()
	if n.Object == "" && len(up.view.Objects) == 1 {
		n.Object = "" // the only one
	} else if n.Object == "" {
		return "", problem(http.StatusUnprocessableEntity, "%s holds %d objects; say which", up.file, len(up.view.Objects))
	}
	if n.Name == "" {
		n.Name = strings.TrimSuffix(up.file, filepath.Ext(up.file))
	}
	return s.work.create(n.Name, up.path, job.CreateOptions{Name: n.Name, Unit: n.Unit, Object: n.Object, Material: n.Material, Colours: n.Colours})
}

func (s *Server) look(ctx context.Context, id string) (*jobView, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return nil, err
	}
	d, err := readDecisions(folder)
	if err != nil {
		return nil, err
	}
	v := &jobView{ID: id, Name: id, Tag: d.tag}
	if info, err := os.Stat(filepath.Join(folder, job.FileName)); err == nil {
		v.Changed = info.ModTime().UTC()
	}
	if d.bad != nil {
		v.Bad, _ = s.asProblem(d.bad).(*Problem)
	} else {
		if d.file.Part.Name != "" {
			v.Name = d.file.Part.Name
		}
		if err := toml.Unmarshal(d.text, &v.Settings); err != nil {
			return nil, err
		}
	}
	if t, found, err := s.tasks.Latest(ctx, id); err != nil {
		return nil, lineProblem(err)
	} else if found {
		state := taskState(t)
		v.Task = &state
	}
	if info, err := os.Stat(filepath.Join(folder, job.OutName, "report.json")); err == nil {
		v.HasReport, v.Stale = true, v.Changed.After(info.ModTime())
		_, err := os.Stat(filepath.Join(folder, job.OutName, mouldFile))
		v.Refused = err != nil
	}
	return v, nil
}

type materialView struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

func materials() ([]materialView, error) {
	lib, err := material.Generic()
	if err != nil {
		return nil, err
	}
	var out []materialView
	for _, m := range lib.All() {
		out = append(out, materialView{m.ID, m.Name})
	}
	return out, nil
}

// uploadIn takes the body as a stream: a part is too large to hold in memory twice.
type uploadIn struct {
	Name   string `query:"name" required:"true" maxLength:"255" doc:"The file's name; its extension says the format"`
	stream io.Reader
	extend func()
}

// Resolve implements huma.Resolver.
func (u *uploadIn) Resolve(c huma.Context) []error {
	r, w := humachi.Unwrap(c)
	u.stream = r.Body
	u.extend = func() {
		rc := http.NewResponseController(w)
		_ = rc.SetReadDeadline(time.Now().Add(uploadTimeout)) // not every writer has deadlines; those of tests do not
		_ = rc.SetWriteDeadline(time.Now().Add(uploadTimeout + answerTimeout))
	}
	return nil
}

func (s *Server) uploadRoutes(api huma.API) {
	binary := &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
		"application/octet-stream": {Schema: &huma.Schema{Type: "string", Format: "binary"}}}}
	huma.Register(api, huma.Operation{OperationID: "uploadPart", Method: http.MethodPost, Path: "/api/uploads", Summary: "Upload a part: STL, 3MF, OBJ or PLY",
		RequestBody: binary, DefaultStatus: http.StatusCreated},
		func(ctx context.Context, in *uploadIn) (*body[uploadView], error) {
			in.extend()
			ctx, cancel := context.WithTimeout(ctx, uploadTimeout)
			defer cancel()
			v, err := s.staged.receive(ctx, in.Name, in.stream)
			return &body[uploadView]{v}, s.asProblem(err)
		})
}
