package steps

import (
	"time"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/record"
)

// Run is the plan as a run to record sign-offs under.
func (p *Plan) Run(mould, operator string, start time.Time) *record.Run {
	r := &record.Run{Job: p.Job, Mould: mould, Operator: operator, StartedAt: start}
	for _, s := range p.Steps {
		r.Steps = append(r.Steps, record.RunStep{Step: s.ID, Title: s.Title, Hard: s.Hard})
	}
	return r
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
