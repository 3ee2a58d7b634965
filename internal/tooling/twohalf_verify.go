package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// verify runs the checks that need no booleans on the pieces as built.
func (b *twoHalves) verify(ctx context.Context) error {
	m := b.mould
	b.opt.Progress.tell("checking walls", 0.7)
	g := newGauge(b.parting.Mesh, m.Surface, b.feed.all())
	for h, p := range m.Pieces {
		w, err := g.thinnest(ctx, p.Mesh, facetsOf(b.parting.Upper, Half(h)))
		if err != nil {
			return err
		}
		m.Checks = append(m.Checks, Check{Name: p.Name + ": thinnest wall", OK: !short(w.Shell.ThicknessMM, b.opt.LeastWallMM), Value: w.Shell.ThicknessMM,
			Limit: b.opt.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", w.Shell.ThicknessMM, placeWords(w.Shell.At), w.Rays)})
		if w.Rib.ThicknessMM < b.opt.LeastWallMM {
			m.Notes = append(m.Notes, fmt.Sprintf("%s: a ridge of the mould is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly: it may come out rough or break off",
				p.Name, w.Rib.ThicknessMM, placeWords(w.Rib.At), b.opt.LeastWallMM))
		}
		if c, asked := fits(p, b.opt.BuildVolumeMM); asked {
			m.Checks = append(m.Checks, c)
		}
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	b.opt.Progress.tell("proving that it opens", 0.8)
	return b.proveOpening(ctx)
}

func placeWords(v r3.Vec) string { return fmt.Sprintf("x %.1f, y %.1f, z %.1f mm", v.X, v.Y, v.Z) }

// fits checks a piece against the printer, whose plate may be used either way round.
func fits(p Piece, build r3.Vec) (Check, bool) {
	if build == (r3.Vec{}) {
		return Check{}, false
	}
	s := p.LaidDown().Bounds().Size()
	under := func(length, room float64) bool { return !short(room, length) }
	ok := under(s.Z, build.Z) && ((under(s.X, build.X) && under(s.Y, build.Y)) || (under(s.Y, build.X) && under(s.X, build.Y)))
	return Check{Name: p.Name + ": fits the printer", OK: ok, Value: max(s.X, s.Y, s.Z), Limit: max(build.X, build.Y, build.Z), Unit: "mm",
		Words: fmt.Sprintf("%.1f × %.1f × %.1f mm in %.0f × %.0f × %.0f mm", s.X, s.Y, s.Z, build.X, build.Y, build.Z)}, true
}

// steepestDeg is the steepest parting surface let through: steeper ones rub and wedge, and the edge of
// the mould at the line becomes a blade (common practice, no source).
const steepestDeg = 80

func slope(s *Surface) Check {
	c := Check{Name: "parting surface slope", OK: s.SteepestDeg <= steepestDeg, Value: s.SteepestDeg, Limit: steepestDeg, Unit: "°",
		Words: fmt.Sprintf("at most %.1f° against the horizontal", s.SteepestDeg)}
	if s.Flat {
		c.Words = "flat"
	}
	if s.StepAreaMM2 > 0 {
		c.Words += fmt.Sprintf("; %.1f mm² stand upright where the parting line climbs a wall, and rub", s.StepAreaMM2)
	}
	return c
}

// proveOpening proves the opening on the pieces as built, empty, and with the casting on either half.
// One way out is enough for the mould; the words name both.
func (b *twoHalves) proveOpening(ctx context.Context) error {
	m := b.mould
	bodies := []opening.Body{{Name: m.Pieces[Lower].Name, Mesh: m.Pieces[Lower].Mesh}, {Name: m.Pieces[Upper].Name, Mesh: m.Pieces[Upper].Mesh}, {Name: "casting", Mesh: m.Cast}}
	order := []opening.Motion{{Piece: m.Pieces[Upper].Name, Direction: r3.Vec{Z: 1}}}
	cmp, err := opening.ProveWithAndWithout(ctx, bodies, "casting", order, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers,
		Progress: func(done float64) { b.opt.Progress.tell("proving that it opens", 0.8+0.2*done) }})
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	m.Opening = cmp
	blocked, depth := 0, 0.0
	for _, c := range append([]opening.Case{{Proof: cmp.Empty}}, cmp.Filled...) {
		for _, s := range c.Proof.Steps {
			for _, v := range s.Verdicts {
				if v.State == opening.Blocked {
					blocked++
					depth = math.Max(depth, v.OverlapDepthMM)
				}
			}
		}
	}
	c := Check{Name: "opens", OK: cmp.State() != opening.Blocked, Value: depth, Limit: b.opt.ToleranceMM, Unit: "mm overlap", Words: cmp.Words()}
	if c.Limit == 0 {
		c.Limit = opening.DefaultToleranceMM
	}
	m.Checks = append(m.Checks, c)
	return nil
}
