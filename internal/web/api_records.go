package web

import (
	"bytes"
	"context"
	"net/http"
	"slices"
	"time"

	"mouldwright/internal/record"
	"mouldwright/internal/steps"

	"github.com/danielgtaylor/huma/v2"
)

// mouldView is a mould of the records and how far it is worn.
type mouldView struct {
	record.Mould
	Life record.Life `json:"life"`
}

type newMould struct {
	Name          string `json:"name" minLength:"1" maxLength:"80"`
	Job           string `json:"job" minLength:"1" maxLength:"80" doc:"The part's name"`
	Version       string `json:"version,omitempty" maxLength:"80"`
	Family        string `json:"family,omitempty" maxLength:"80"`
	MadeOn        string `json:"made_on" doc:"2006-01-02"`
	ExpectedShots int    `json:"expected_shots,omitempty" minimum:"0" maximum:"1000000"`
	Operator      string `json:"operator" minLength:"1" maxLength:"80"`
	Notes         string `json:"notes,omitempty" maxLength:"2000"`
	Key           string `json:"key,omitempty" maxLength:"80"`
}

type newShot struct {
	Mould      string          `json:"mould" minLength:"1" maxLength:"80"`
	Run        string          `json:"run,omitempty" maxLength:"80"`
	Mix        string          `json:"mix,omitempty" maxLength:"80"`
	Cavity     int             `json:"cavity,omitempty" minimum:"0" maximum:"1000" doc:"From 1; 0 means 1"`
	PouredAt   *time.Time      `json:"poured_at,omitempty" doc:"Left out: now"`
	Outcome    string          `json:"outcome" enum:"good,mended,scrap,pending"`
	CastingG   *float64        `json:"casting_g,omitempty"`
	PredictedG *float64        `json:"predicted_g,omitempty"`
	Defects    []record.Defect `json:"defects,omitempty" maxItems:"20"`
	Operator   string          `json:"operator" minLength:"1" maxLength:"80"`
	Notes      string          `json:"notes,omitempty" maxLength:"2000"`
	Key        string          `json:"key,omitempty" maxLength:"80"`
}

func (s *Server) recordRoutes(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "listMoulds", Method: http.MethodGet, Path: "/api/records/moulds", Summary: "The moulds in the records, and how far each is worn"},
		func(ctx context.Context, in *struct {
			Most int `query:"most" minimum:"1" maximum:"2000" default:"500" doc:"The last so many"`
		}) (*body[[]mouldView], error) {
			list, err := s.mouldList(ctx, in.Most)
			return &body[[]mouldView]{list}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "addMould", Method: http.MethodPost, Path: "/api/records/moulds", Summary: "Put down a mould that was made", DefaultStatus: http.StatusCreated},
		func(ctx context.Context, in *body[newMould]) (*body[*record.Mould], error) {
			n := in.Body
			m := &record.Mould{Name: n.Name, Job: n.Job, Version: n.Version, Family: n.Family, MadeOn: record.Date(n.MadeOn), ExpectedShots: n.ExpectedShots, Notes: n.Notes}
			err := s.books.add(ctx, "mould", record.Entry{Operator: n.Operator, Key: n.Key}, m)
			return &body[*record.Mould]{m}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listShots", Method: http.MethodGet, Path: "/api/records/shots", Summary: "The castings, the latest first"},
		func(ctx context.Context, in *struct {
			Mould string `query:"mould" maxLength:"80" doc:"Of this mould alone"`
			Job   string `query:"job" maxLength:"80" doc:"Of this part alone, by its name"`
			Most  int    `query:"most" minimum:"1" maximum:"10000" default:"200"`
		}) (*body[[]record.Shot], error) {
			list, err := s.shots(ctx, in.Mould, in.Job, in.Most)
			return &body[[]record.Shot]{list}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "addShot", Method: http.MethodPost, Path: "/api/records/shots", Summary: "Put down a casting", DefaultStatus: http.StatusCreated},
		func(ctx context.Context, in *body[newShot]) (*body[*record.Shot], error) {
			n := in.Body
			q := &record.Shot{Mould: n.Mould, Run: n.Run, Mix: n.Mix, Cavity: max(1, n.Cavity), PouredAt: time.Now(), Outcome: record.Outcome(n.Outcome),
				CastingG: n.CastingG, PredictedG: n.PredictedG, Defects: n.Defects, Operator: n.Operator, Notes: n.Notes}
			if n.PouredAt != nil {
				q.PouredAt = *n.PouredAt
			}
			err := s.books.add(ctx, "shot", record.Entry{Operator: n.Operator, Key: n.Key}, q)
			return &body[*record.Shot]{q}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listDefects", Method: http.MethodGet, Path: "/api/records/defects", Summary: "The defects that can be put down"},
		func(context.Context, *struct{}) (*body[[]record.DefectKind], error) {
			return &body[[]record.DefectKind]{record.Defects}, nil
		})
	huma.Register(api, huma.Operation{OperationID: "getCauses", Method: http.MethodGet, Path: "/api/records/shots/{shot}/causes", Summary: "What may have caused a defect, with the evidence, the likeliest first", Middlewares: behind(s.costly)},
		func(ctx context.Context, in *struct {
			Shot   string `path:"shot" maxLength:"80"`
			Defect string `query:"defect" maxLength:"40" required:"true"`
			Job    string `query:"job" maxLength:"80" doc:"The job folder whose report is evidence too"`
		}) (*body[[]record.Likely], error) {
			list, err := s.causes(ctx, in.Shot, in.Defect, in.Job)
			return &body[[]record.Likely]{list}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "exportRecords", Method: http.MethodGet, Path: "/api/records/export/{name}", Summary: "All records as a file: records.xlsx, or TABLE.csv", Middlewares: behind(s.costly)},
		func(ctx context.Context, in *struct {
			Name string `path:"name" maxLength:"60"`
		}) (*file, error) {
			f, err := s.export(ctx, in.Name)
			return f, s.asProblem(err)
		})
}

func (s *Server) mouldList(ctx context.Context, most int) ([]mouldView, error) {
	out := []mouldView{}
	err := s.books.read(ctx, func(r *record.Reader) error {
		all, err := r.Moulds()
		if err != nil {
			return err
		}
		for _, m := range all[max(0, len(all)-most):] {
			life, err := r.MouldLife(m.ID)
			if err != nil {
				return err
			}
			out = append(out, mouldView{m, life})
		}
		return nil
	})
	return out, err
}

func (s *Server) shots(ctx context.Context, mould, part string, most int) (out []record.Shot, err error) {
	err = s.books.read(ctx, func(r *record.Reader) error {
		out, err = r.LatestShots(mould, part, most)
		return err
	})
	return append([]record.Shot{}, out...), err // an empty list, not null
}

func (s *Server) causes(ctx context.Context, shot, defect, id string) (out []record.Likely, err error) {
	var facts record.JobFacts
	if id != "" {
		j, err := s.built(id)
		if err != nil {
			return nil, err
		}
		facts = steps.Facts(j.Report, j.Material)
	}
	err = s.books.read(ctx, func(r *record.Reader) error {
		out, err = r.LikelyCauses(shot, defect, facts)
		return err
	})
	return out, err
}

func (s *Server) export(ctx context.Context, name string) (*file, error) {
	var b bytes.Buffer
	f := &file{Disposition: `attachment; filename="` + name + `"`}
	table := name
	switch n := len(name) - len(".csv"); {
	case name == "records.xlsx":
		f.ContentType = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
	case n > 0 && name[n:] == ".csv" && slices.Contains(record.ExportTables(), name[:n]):
		f.ContentType, table = "text/csv; charset=utf-8", name[:n]
	default:
		return nil, problem(http.StatusNotFound, "there is no such export; ask for records.xlsx, or one of these tables as TABLE.csv: %v", record.ExportTables())
	}
	err := s.books.read(ctx, func(r *record.Reader) error {
		if name == "records.xlsx" {
			return r.WriteXLSX(&b)
		}
		return r.WriteCSV(&b, table)
	})
	f.Body = b.Bytes()
	return f, err
}
