package web

import (
	"context"
	"net/http"
	"slices"

	"mouldwright/internal/job"

	"github.com/danielgtaylor/huma/v2"
	"gonum.org/v1/gonum/spatial/r3"
)

type decisionsView struct {
	Tag  string `json:"tag"`
	Text string `json:"text" doc:"job.toml as it is"`
}

type decisionsIn struct {
	JobPath
	Body struct {
		Tag  string `json:"tag" doc:"Of the text that was edited; empty to overwrite whatever is there"`
		Text string `json:"text" maxLength:"1048576"`
	}
}

type settingsIn struct {
	JobPath
	Body struct {
		Tag string         `json:"tag,omitempty"`
		Set map[string]any `json:"set" doc:"New values by table.key, such as mould.wall_mm; null takes a setting out"`
	}
}

type pickIn struct {
	JobPath
	Body struct {
		At [3]float64 `json:"at" doc:"A point on the part, mm"`
	}
}

type ruleIn struct {
	JobPath
	Body struct {
		Kind  string `json:"kind" enum:"colour,pick,towards,box"`
		Index int    `json:"index" minimum:"0"`
	}
}

type towardsIn struct {
	JobPath
	Body struct {
		Direction [3]float64 `json:"direction"`
		WithinDeg float64    `json:"within_deg" minimum:"0" maximum:"180"`
	}
}

func (s *Server) decisionRoutes(api huma.API) {
	const at = "/api/jobs/{job}/decisions"
	huma.Register(api, huma.Operation{OperationID: "getDecisions", Method: http.MethodGet, Path: at, Summary: "job.toml"},
		func(ctx context.Context, in *JobPath) (*body[decisionsView], error) {
			folder, err := s.work.folder(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			d, err := readDecisions(folder)
			if err != nil {
				return nil, s.asProblem(err)
			}
			return &body[decisionsView]{decisionsView{d.tag, string(d.text)}}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "putDecisions", Method: http.MethodPut, Path: at, Summary: "Replace job.toml; an unsound one is refused with its place and nothing is saved"},
		func(ctx context.Context, in *decisionsIn) (*body[*jobView], error) {
			return s.change(ctx, in.Job, in.Body.Tag, func([]byte) ([]byte, error) { return []byte(in.Body.Text), nil })
		})
	huma.Register(api, huma.Operation{OperationID: "patchDecisions", Method: http.MethodPatch, Path: at, Summary: "Change settings, keeping the comments of job.toml"},
		func(ctx context.Context, in *settingsIn) (*body[*jobView], error) {
			var set []setting
			for k, v := range in.Body.Set {
				set = append(set, setting{k, whole(v)})
			}
			return s.change(ctx, in.Job, in.Body.Tag, func(old []byte) ([]byte, error) { return edited(old, set) })
		})
	huma.Register(api, huma.Operation{OperationID: "pickShowFace", Method: http.MethodPost, Path: "/api/jobs/{job}/show/pick", Summary: "Mark the smooth face at a point as a show face, or unmark it"},
		func(ctx context.Context, in *pickIn) (*body[*jobView], error) {
			sc, d, err := s.inspected(ctx, in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			marks, err := sc.show(d.file.Show)
			if err != nil {
				return nil, s.asProblem(err)
			}
			p := vec(in.Body.At)
			out, err := s.change(ctx, in.Job, d.tag, func(old []byte) ([]byte, error) { return pick(old, d.file, sc, marks, p) })
			if err == nil {
				out.Body.Notice = s.pickNotice(ctx, in.Job, marks, p)
			}
			return out, err
		})
	huma.Register(api, huma.Operation{OperationID: "addShowDirection", Method: http.MethodPost, Path: "/api/jobs/{job}/show/towards", Summary: "Mark the facets that look one way as show faces"},
		func(ctx context.Context, in *towardsIn) (*body[*jobView], error) {
			return s.change(ctx, in.Job, "", func(old []byte) ([]byte, error) {
				f, err := job.Parse(job.FileName, old)
				if err != nil {
					return nil, err
				}
				all := append(slices.Clone(f.Show.Towards), job.Towards{Direction: in.Body.Direction, WithinDeg: in.Body.WithinDeg})
				return replaceList(old, "show.towards", towardsRows(all))
			})
		})
	huma.Register(api, huma.Operation{OperationID: "removeShowRule", Method: http.MethodPost, Path: "/api/jobs/{job}/show/remove", Summary: "Take a rule for show faces out of job.toml"},
		func(ctx context.Context, in *ruleIn) (*body[*jobView], error) {
			_, d, err := s.sound(in.Job)
			if err != nil {
				return nil, s.asProblem(err)
			}
			return s.change(ctx, in.Job, d.tag, func(old []byte) ([]byte, error) { return removeRule(old, d.file, in.Body.Kind, in.Body.Index) })
		})
}

// pickNotice says where a pick did less than the click asked for: another rule may hold on to a face that
// was unmarked.
func (s *Server) pickNotice(ctx context.Context, id string, before []bool, at r3.Vec) string {
	sc, d, err := s.inspected(ctx, id)
	if err != nil {
		return ""
	}
	now, err := sc.show(d.file.Show)
	if err != nil {
		return ""
	}
	if face := sc.tree().Nearest(at).Facet; before[face] && now[face] {
		return "The face is still marked: another rule reaches it. Take that rule out of the list, or lower grow_deg in job.toml."
	}
	return ""
}

func (s *Server) change(ctx context.Context, id, tag string, edit func([]byte) ([]byte, error)) (*body[*jobView], error) {
	if _, err := s.work.replaceDecisions(id, tag, edit); err != nil {
		return nil, s.asProblem(err)
	}
	v, err := s.look(ctx, id)
	return &body[*jobView]{v}, s.asProblem(err)
}

// whole turns JSON numbers without a fraction into integers, which settings such as keys need; TOML
// takes an integer for a length too.
func whole(v any) any {
	switch x := v.(type) {
	case float64:
		if x == float64(int64(x)) {
			return int64(x)
		}
	case []any:
		out := make([]any, len(x))
		for i, e := range x {
			out[i] = whole(e)
		}
		return out
	}
	return v
}

// sound reads a job's decisions, which must be usable.
func (s *Server) sound(id string) (folder string, d *decisions, err error) {
	if folder, err = s.work.folder(id); err != nil {
		return "", nil, err
	}
	if d, err = readDecisions(folder); err == nil {
		err = d.bad
	}
	return folder, d, err
}

// scene loads what a job's part looks like now.
func (s *Server) scene(ctx context.Context, id string) (*scene, *decisions, error) {
	folder, d, err := s.sound(id)
	if err != nil {
		return nil, nil, err
	}
	sc, err := s.scenes.of(ctx, id, folder, d.file)
	return sc, d, err
}

// inspected is scene with the part looked over.
func (s *Server) inspected(ctx context.Context, id string) (*scene, *decisions, error) {
	folder, d, err := s.sound(id)
	if err != nil {
		return nil, nil, err
	}
	sc, err := s.scenes.inspected(ctx, id, folder, d.file)
	return sc, d, err
}
