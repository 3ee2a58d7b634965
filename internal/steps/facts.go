package steps

import (
	"encoding/json"
	"fmt"
	"time"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/record"
)

// Run is the plan as a run to record sign-offs under; it keeps the plan as it is now.
func (p *Plan) Run(mould, operator string, start time.Time) (*record.Run, error) {
	whole, err := json.Marshal(p)
	if err != nil {
		return nil, fmt.Errorf("keep the plan: %w", err)
	}
	r := &record.Run{Job: p.Job, Mould: mould, Operator: operator, StartedAt: start, Plan: string(whole)}
	for _, s := range p.Steps {
		r.Steps = append(r.Steps, record.RunStep{Step: s.ID, Title: s.Title, Hard: s.Hard})
	}
	return r, nil
}

// PlanOf is the plan that a run began with; nil for a run that kept none.
func PlanOf(r *record.Run) (*Plan, error) {
	if r.Plan == "" {
		return nil, nil
	}
	p := &Plan{}
	if err := json.Unmarshal([]byte(r.Plan), p); err != nil {
		return nil, fmt.Errorf("the plan that run %s kept: %w", r.ID, err)
	}
	return p, nil
}

// Facts are what the report says that bears on defects.
func Facts(rep *job.Report, m *material.Material) record.JobFacts {
	f := record.JobFacts{Platinum: m.Family == material.PlatinumSilicone}
	for _, d := range rep.Directions {
		if d.OK {
			draft, depth := d.MinDraftDeg, 0.0
			for _, u := range d.Undercuts {
				if u.DepthMM != nil {
					depth = max(depth, *u.DepthMM)
				}
			}
			f.MinDraftDeg, f.UndercutDepthMM = &draft, &depth
		}
	}
	if mould := rep.Mould; mould != nil {
		line, steep := mould.LineOnShowMM, mould.SteepestDeg
		f.LineOnShowMM, f.SteepestDeg = &line, &steep
	}
	if fill := rep.Fill; fill != nil {
		tilt := fill.Tilt.TiltDeg
		f.TiltDeg = &tilt
		if r := fill.Tilted; r != nil {
			f.TrappedMM3 = &r.TrappedMM3
		} else if r := fill.Flat; r != nil {
			f.TrappedMM3 = &r.TrappedMM3
		}
	}
	if m.Demould != nil {
		s := m.Demould.Seconds
		f.DemouldS = &s
	}
	if m.MaxMixG > 0 {
		g := m.MaxMixG
		f.MostMixG = &g
	}
	return f
}
