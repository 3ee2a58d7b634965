package tooling

import (
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// judgeRelease asks for each stage in which a soft body is caught whether it can give way. Without the
// materials nobody can say, and the stage counts as failed.
func (b *insertMould) judgeRelease(ctx context.Context) error {
	for i, s := range b.out.Stages {
		if s.Rigid || s.Verdict.State != opening.Blocked {
			continue
		}
		c := Check{Name: s.Name, Value: s.Verdict.OverlapDepthMM, Unit: "mm to give way", Words: s.Words()}
		setup, ok := b.releaseSetup(i)
		if !ok {
			c.Words += "; not judged: give the hardness and the elongation of silicone and casting"
			b.mould.Checks = append(b.mould.Checks, c)
			continue
		}
		r, err := opening.JudgeRelease(ctx, setup)
		switch {
		case errors.Is(err, opening.ErrRelease):
			c.Words += "; " + err.Error()
		case err != nil:
			return fmt.Errorf("tooling: %s: %w", s.Name, err)
		default:
			c.OK = r.Releases
			c.Words += "; " + r.Words()
			b.out.Release = r
		}
		b.mould.Checks = append(b.mould.Checks, c)
	}
	return nil
}

// releaseSetup puts a soft stage as a question about the part between its pieces.
func (b *insertMould) releaseSetup(stage int) (opening.ReleaseSetup, bool) {
	s := b.out.Stages[stage]
	soft := opening.ReleaseBody{Name: InsertBody, Exit: r3.Vec{Z: -1}, Flex: b.opt.Silicone, WallMM: b.opt.InsertMM}
	q := opening.ReleaseSetup{Part: b.parting.Mesh, Casting: opening.ReleaseBody{Name: castingName, Flex: b.opt.Casting}, FixedOrder: true}
	q.Shapes = make([]int, len(b.parting.Upper))
	switch {
	case s.Moving == PatternCap: // the master is rigid, and out of the cradle the insert gives way
		if b.opt.Silicone == nil {
			return q, false
		}
		q.Casting = opening.ReleaseBody{Name: PatternCap}
		q.Pieces = []opening.ReleaseBody{soft}
		for f, up := range b.parting.Upper {
			if up {
				q.Shapes[f] = -1
			}
		}
		q.Catches = catches(b.parting, Lower, InsertBody, soft.Exit)
	case b.opt.Casting == nil:
		return q, false
	default:
		q.Pieces = []opening.ReleaseBody{{Name: CastingCap, Exit: r3.Vec{Z: 1}}, soft}
		for f, up := range b.parting.Upper {
			if !up {
				q.Shapes[f] = 1
			}
		}
		if s.Moving == CastingCap {
			q.Catches = catches(b.parting, Upper, CastingCap, r3.Vec{Z: 1})
		} else {
			q.Catches = catches(b.parting, Lower, InsertBody, soft.Exit)
		}
	}
	return q, true
}
