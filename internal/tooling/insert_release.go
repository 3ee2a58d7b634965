package tooling

import (
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// releaseSetup puts a soft stage as a question about the part between its pieces.
func (b *insertMould) releaseSetup(stage int) (opening.ReleaseSetup, bool) {
	s, one := b.out.Stages[stage], b.many.first(b.parting)
	soft := opening.ReleaseBody{Name: InsertBody, Exit: r3.Vec{Z: -1}, Flex: b.opt.Silicone, WallMM: b.opt.InsertMM}
	q := opening.ReleaseSetup{Part: one.Mesh, Casting: opening.ReleaseBody{Name: castingName, Flex: b.opt.Casting}, FixedOrder: true}
	q.Shapes = make([]int, len(one.Upper))
	switch {
	case s.Moving == PatternCap: // the master is rigid, and out of the cradle the insert gives way
		if b.opt.Silicone == nil {
			return q, false
		}
		q.Casting = opening.ReleaseBody{Name: PatternCap}
		q.Pieces = []opening.ReleaseBody{soft}
		for f, up := range one.Upper {
			if up {
				q.Shapes[f] = -1
			}
		}
		q.Catches = catches(one, Lower, InsertBody, soft.Exit)
	case b.opt.Casting == nil:
		return q, false
	default:
		q.Pieces = []opening.ReleaseBody{{Name: CastingCap, Exit: r3.Vec{Z: 1}}, soft}
		for f, up := range one.Upper {
			if !up {
				q.Shapes[f] = 1
			}
		}
		if s.Moving == CastingCap {
			q.Catches = catches(one, Upper, CastingCap, r3.Vec{Z: 1})
		} else {
			q.Catches = catches(one, Lower, InsertBody, soft.Exit)
		}
	}
	return q, true
}
