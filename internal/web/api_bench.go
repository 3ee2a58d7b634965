package web

import (
	"bytes"
	"context"
	"net"
	"net/http"
	"net/url"
	"time"

	"mouldwright/internal/material"
	"mouldwright/internal/record"
	"mouldwright/internal/sheet"
	"mouldwright/internal/shopsheet"
	"mouldwright/internal/steps"

	"github.com/danielgtaylor/huma/v2"
)

// BenchChoice is the bench that steps are planned for. Zeros and gaps take the defaults of package steps.
type BenchChoice struct {
	Shots       int     `query:"shots" json:"shots,omitempty" minimum:"0" maximum:"1000" doc:"Fillings of this run"`
	TempC       float64 `query:"temp_c" json:"temp_c,omitempty" minimum:"-10" maximum:"50" doc:"Of the shop, °C"`
	CureC       float64 `query:"cure_c" json:"cure_c,omitempty" minimum:"-10" maximum:"120" doc:"°C"`
	CupML       float64 `query:"cup_ml" json:"cup_ml,omitempty" minimum:"0" maximum:"100000" doc:"A cup's brim volume, mL"`
	Vacuum      bool    `query:"vacuum" json:"vacuum,omitempty" doc:"Degas the mix"`
	Pot         bool    `query:"pot" json:"pot,omitempty" doc:"Cure in a pressure pot"`
	PotRatedKPa float64 `query:"pot_rated_kpa" json:"pot_rated_kpa,omitempty" minimum:"0" maximum:"2000" doc:"What the pot's plate allows over the air"`
	TorqueNM    float64 `query:"torque_nm" json:"torque_nm,omitempty" minimum:"0" maximum:"100"`
	Printed     string  `query:"printed" json:"printed,omitempty" enum:"resin,filament" doc:"What the pieces are printed in"`
	GrainCoats  int     `query:"grain" json:"grain,omitempty" minimum:"0" maximum:"20" doc:"Mist coats for a grained surface"`
	Again       bool    `query:"again" json:"again,omitempty" doc:"The mould was used before"`
}

func (c BenchChoice) bench() steps.Bench {
	b := steps.Bench{TempC: c.TempC, CureC: c.CureC, Shots: c.Shots, CupML: c.CupML, Vacuum: c.Vacuum, Pot: c.Pot || c.PotRatedKPa > 0, PotRatedKPa: c.PotRatedKPa,
		TorqueNM: c.TorqueNM, GrainCoats: c.GrainCoats, Again: c.Again}
	if c.Printed != "" {
		b.Printed = material.Surface("printed-" + c.Printed)
	}
	return b
}

// built is a job's last good run.
func (s *Server) built(id string) (*steps.Job, error) {
	folder, err := s.work.folder(id)
	if err != nil {
		return nil, err
	}
	return steps.ReadJob(folder)
}

// plan makes the steps of a job's last good run.
func (s *Server) plan(id string, c BenchChoice) (*steps.Job, *steps.Plan, error) {
	j, err := s.built(id)
	if err != nil {
		return nil, nil, err
	}
	p, err := j.Plan(c.bench())
	return j, p, err
}

// runView is a run with the plan it began with and what is signed of it.
type runView struct {
	ID        string           `json:"id"`
	Job       string           `json:"job" doc:"The part's name"`
	Mould     string           `json:"mould,omitempty"`
	StartedAt time.Time        `json:"started_at"`
	Operator  string           `json:"operator"`
	Plan      *steps.Plan      `json:"plan,omitempty" doc:"As it was when the run began; absent in lists"`
	Steps     []record.RunStep `json:"steps,omitempty"`
	Signed    []record.SignOff `json:"signed,omitempty"`
	Of        int              `json:"of" doc:"Steps in all"`
	Done      int              `json:"done" doc:"Steps signed or skipped"`
}

type signature struct {
	Step     string   `json:"step" maxLength:"120"`
	Operator string   `json:"operator" minLength:"1" maxLength:"80"`
	Value    *float64 `json:"value,omitempty" doc:"The number that the step asks for"`
	Unit     string   `json:"unit,omitempty" maxLength:"20"`
	Skipped  bool     `json:"skipped,omitempty"`
	Reason   string   `json:"reason,omitempty" maxLength:"500" doc:"Needed when skipped"`
	Key      string   `json:"key,omitempty" maxLength:"80" doc:"The same key a second time changes nothing"`
	// SignedAt is when the name was put down; a phone without connection sends it later.
	SignedAt *time.Time `json:"signed_at,omitempty" doc:"Left out, or not within the last week: now"`
}

// lateSigns may be this old; an older moment is more likely a clock that is wrong.
const lateSigns = 7 * 24 * time.Hour

func (q signature) at(now time.Time) time.Time {
	if q.SignedAt == nil || q.SignedAt.After(now) || now.Sub(*q.SignedAt) > lateSigns {
		return now
	}
	return *q.SignedAt
}

type newRun struct {
	Operator string `json:"operator" minLength:"1" maxLength:"80"`
	Mould    string `json:"mould,omitempty" maxLength:"80" doc:"The mould's id in the records"`
	Key      string `json:"key,omitempty" maxLength:"80"`
	BenchChoice
}

// PlanInput asks for the steps of a job at a bench.
type PlanInput struct {
	JobPath
	BenchChoice
}

type sheetInput struct {
	PlanInput
	Paper string `query:"paper" enum:"A4,Letter" default:"A4"`
	Date  string `query:"date" maxLength:"40" doc:"To print on it"`
	Host  string `header:"Host" hidden:"true"`
}

type file struct {
	ContentType string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	Body        []byte
}

// RunPath is the part of an address that names a run.
type RunPath struct {
	Run string `path:"run" maxLength:"80"`
}

func (s *Server) benchRoutes(api huma.API) {
	s.compareRoutes(api)
	huma.Register(api, huma.Operation{OperationID: "getPlan", Method: http.MethodGet, Path: "/api/jobs/{job}/plan", Summary: "The steps of the last run, for a bench", Middlewares: behind(s.costly)},
		func(_ context.Context, in *PlanInput) (*body[*steps.Plan], error) {
			_, p, err := s.plan(in.Job, in.BenchChoice)
			return &body[*steps.Plan]{p}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getSheet", Method: http.MethodGet, Path: "/api/jobs/{job}/sheet.pdf", Summary: "The shop sheet, PDF", Middlewares: behind(s.costly)},
		func(_ context.Context, in *sheetInput) (*file, error) {
			f, err := s.shopSheet(in)
			return f, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "startRun", Method: http.MethodPost, Path: "/api/jobs/{job}/runs", Summary: "Begin to walk through the steps, signing each", DefaultStatus: http.StatusCreated},
		func(ctx context.Context, in *struct {
			JobPath
			Body newRun
		}) (*body[*runView], error) {
			v, err := s.startRun(ctx, in.Job, in.Body)
			return &body[*runView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "listRuns", Method: http.MethodGet, Path: "/api/jobs/{job}/runs", Summary: "The runs of a job, the latest first"},
		func(ctx context.Context, in *struct {
			JobPath
			Most int `query:"most" minimum:"1" maximum:"1000" default:"50"`
		}) (*body[[]runView], error) {
			list, err := s.runsOf(ctx, in.Job, in.Most)
			return &body[[]runView]{list}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "getRun", Method: http.MethodGet, Path: "/api/runs/{run}", Summary: "A run: its plan, and what is signed"},
		func(ctx context.Context, in *RunPath) (*body[*runView], error) {
			v, err := s.lookAtRun(ctx, in.Run)
			return &body[*runView]{v}, s.asProblem(err)
		})
	huma.Register(api, huma.Operation{OperationID: "signStep", Method: http.MethodPost, Path: "/api/runs/{run}/signs", Summary: "Sign a step, or skip it with a reason"},
		func(ctx context.Context, in *struct {
			RunPath
			Body signature
		}) (*body[*runView], error) {
			q := in.Body
			sign := &record.SignOff{Run: in.Run, Step: q.Step, Operator: q.Operator, SignedAt: q.at(time.Now()), Value: q.Value, Unit: q.Unit, Skipped: q.Skipped, Reason: q.Reason}
			if err := s.books.add(ctx, "sign "+in.Run, record.Entry{Operator: q.Operator, Key: q.Key}, sign); err != nil {
				return nil, s.asProblem(err)
			}
			v, err := s.lookAtRun(ctx, in.Run)
			return &body[*runView]{v}, s.asProblem(err)
		})
}

func (s *Server) shopSheet(in *sheetInput) (*file, error) {
	j, p, err := s.plan(in.Job, in.BenchChoice)
	if err != nil {
		return nil, err
	}
	pages, err := shopsheet.Pages(shopsheet.Content{Report: j.Report, Plan: p, Link: s.benchLink(in.Host, in.Job), Date: in.Date}, shopsheet.Options{Paper: in.Paper})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := sheet.WritePDF(&b, pages...); err != nil {
		return nil, err
	}
	return &file{ContentType: "application/pdf", Disposition: `inline; filename="` + in.Job + `-shop-sheet.pdf"`, Body: b.Bytes()}, nil
}

// benchLink is the address of a job's bench page for a phone; "" when only this machine can reach it. The
// guard has let the host through.
func (s *Server) benchLink(host, id string) string {
	name, _, err := net.SplitHostPort(host)
	if err != nil {
		name = host
	}
	if name == "" || loopback(name) {
		return ""
	}
	return s.opt.scheme() + "://" + host + "/bench/" + url.PathEscape(id)
}

func (s *Server) startRun(ctx context.Context, id string, n newRun) (*runView, error) {
	_, p, err := s.plan(id, n.BenchChoice)
	if err != nil {
		return nil, err
	}
	run, err := p.Run(n.Mould, n.Operator, time.Now())
	if err != nil {
		return nil, err
	}
	if err := s.books.add(ctx, "run "+id, record.Entry{Operator: n.Operator, Key: n.Key}, run); err != nil {
		return nil, err
	}
	return s.lookAtRun(ctx, run.ID)
}

func (s *Server) lookAtRun(ctx context.Context, id string) (v *runView, err error) {
	err = s.books.read(ctx, func(r *record.Reader) error {
		var run record.Run
		if err := r.Get(&run, id); err != nil {
			return err
		}
		signed, err := r.SignOffs(id)
		if err != nil {
			return err
		}
		v = viewRun(&run, signed)
		v.Steps, v.Signed = run.Steps, signed
		v.Plan, err = steps.PlanOf(&run)
		return err
	})
	return v, err
}

func viewRun(run *record.Run, signed []record.SignOff) *runView {
	return &runView{ID: run.ID, Job: run.Job, Mould: run.Mould, StartedAt: run.StartedAt, Operator: run.Operator, Of: len(run.Steps), Done: len(signed)}
}

// runsOf finds a job's runs by the name of its part, which is what records know it by.
func (s *Server) runsOf(ctx context.Context, id string, most int) ([]runView, error) {
	j, err := s.built(id)
	if err != nil {
		return nil, err
	}
	out := []runView{}
	err = s.books.read(ctx, func(r *record.Reader) error {
		all, err := r.LatestRuns(j.Report.Part.Name, most)
		if err != nil {
			return err
		}
		for i := range all {
			signed, err := r.SignOffs(all[i].ID)
			if err != nil {
				return err
			}
			out = append(out, *viewRun(&all[i], signed))
		}
		return nil
	})
	return out, err
}
