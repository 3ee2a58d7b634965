package tooling

import (
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// stagePlan is a stage to be proven: moving leaves fixed along way.
type stagePlan struct {
	name          string
	moving, fixed opening.Body
	way           r3.Vec
	rigid         bool
}

// prove proves stages in order. One that is blocked between rigid bodies is a failed check; one with a
// soft body is left to judgeRelease.
func (o *Set) prove(ctx context.Context, plans []stagePlan, opt opening.Options, progress func(done float64)) error {
	opt.TrustApart = true
	for i, s := range plans {
		v, err := opening.Translate(ctx, s.moving, s.fixed, s.way, opt)
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		stage := Stage{Name: s.name, Moving: s.moving.Name, Fixed: s.fixed.Name, Rigid: s.rigid, Verdict: v}
		o.Stages = append(o.Stages, stage)
		if s.rigid || v.State != opening.Blocked {
			o.Checks = append(o.Checks, Check{Name: s.name, OK: v.State != opening.Blocked, Value: v.OverlapDepthMM, Limit: v.ToleranceMM, Unit: "mm overlap", Words: stage.found()})
		}
		progress(float64(i+1) / float64(len(plans)))
	}
	return nil
}

// judgeRelease asks for each stage in which a soft body is caught whether it can give way. Without the
// materials nobody can say, and the stage counts as failed. ask puts a stage as a question; known is false
// where a material is missing.
func (o *Set) judgeRelease(ctx context.Context, ask func(stage int) (q opening.ReleaseSetup, known bool)) error {
	for i, s := range o.Stages {
		if s.Rigid || s.Verdict.State != opening.Blocked {
			continue
		}
		c := Check{Name: s.Name, Value: s.Verdict.OverlapDepthMM, Unit: "mm to give way", Words: s.found()}
		q, known := ask(i)
		if !known {
			c.Words += "; not judged: give the hardness and the elongation of silicone and casting"
			o.Checks = append(o.Checks, c)
			continue
		}
		r, err := opening.JudgeRelease(ctx, q)
		switch {
		case errors.Is(err, opening.ErrRelease):
			c.Words += "; " + err.Error()
		case err != nil:
			return fmt.Errorf("tooling: %s: %w", s.Name, err)
		default:
			c.OK = r.Releases
			c.Words += ". " + r.Words()
			o.Release = r
		}
		o.Checks = append(o.Checks, c)
	}
	return nil
}
