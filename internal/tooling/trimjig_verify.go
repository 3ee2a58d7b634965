package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// slotTolMM is how far the slot may be from what was asked: a tenth of the thinnest blade.
const slotTolMM = 0.02

// verify runs the checks on the finished pieces.
func (j *trimJig) verify(ctx context.Context) error {
	j.opt.Progress.tell("proving that it opens", 0.8)
	m := j.mould
	m.checkPieces(j.opt.BuildVolumeMM)
	j.slot()
	if err := j.walls(ctx); err != nil {
		return err
	}
	if err := j.prove(ctx); err != nil {
		return err
	}
	j.notes()
	j.out.Pieces, j.out.Checks, j.out.Notes = m.Pieces, m.Checks, m.Notes
	return nil
}

// slot measures the slot on the pieces as built, all round half-way between line and rim, and how far the
// guides stand back from the line.
func (j *trimJig) slot() {
	nest, lid := j.mould.piece(TrimNest), j.mould.piece(TrimCap)
	low, high := geom.NewBVH(nest.Verts, nest.Tris), geom.NewBVH(lid.Verts, lid.Tris)
	worst, at, places := 0.0, r3.Vec{}, 0
	for _, loop := range j.line {
		if loopArea(loop) <= 0 {
			continue
		}
		for i, a := range loop {
			b := loop[(i+1)%len(loop)]
			d := r2.Sub(b, a)
			if r2.Norm(d) == 0 {
				continue
			}
			out := r2.Unit(r2.Vec{X: d.Y, Y: -d.X})
			back := j.opt.GuideMM
			for s := 0.0; s < j.opt.GuideMM; s += standStepMM {
				p := r2.Add(r2.Scale(0.5, r2.Add(a, b)), r2.Scale(s, out))
				z, ok := j.field.At(p)
				if !ok {
					continue
				}
				from := r3.Vec{X: p.X, Y: p.Y, Z: z}
				up, okUp := high.FirstHit(from, r3.Vec{Z: 1}, 0, slotSeekMM)
				down, okDown := low.FirstHit(from, r3.Vec{Z: -1}, 0, slotSeekMM)
				if !okUp || !okDown {
					continue
				}
				off := max(math.Abs(up.T-j.opt.BladeGapMM), math.Abs(down.T-j.opt.BladeGapMM))
				if off > slotTolMM && s < j.opt.GuideMM/2 {
					continue // still the slope of the room's edge
				}
				back = min(back, s)
				places++
				if off > worst {
					worst, at = off, from
				}
			}
			j.out.StandMM = max(j.out.StandMM, back)
		}
	}
	j.mould.Checks = append(j.mould.Checks,
		Check{Name: "blade slot", OK: places > 0 && worst <= slotTolMM, Value: worst, Limit: slotTolMM, Unit: "mm off",
			Words: fmt.Sprintf("%.2f mm to the guide over the flash and to the one under it, within %.3f mm in %d places; worst at %s", j.opt.BladeGapMM, worst, places, placeWords(at))},
		Check{Name: "guides near the line", OK: j.out.StandMM <= j.opt.GuideMM/2, Value: j.out.StandMM, Limit: j.opt.GuideMM / 2, Unit: "mm",
			Words: fmt.Sprintf("the guides begin %.1f mm from the parting line at the most, and are %.1f mm wide", j.out.StandMM, j.opt.GuideMM)})
}

const (
	// standStepMM is the step of the search outward from the line for the guides.
	standStepMM = 0.1
	// slotSeekMM is how far over and under the flash a guide is looked for.
	slotSeekMM = 2 * mostBladeGapMM
)

// walls measures nest and cap behind the room for the casting: from the casting's facets that look to
// them, along the normal, from where the ray enters to where it leaves.
func (j *trimJig) walls(ctx context.Context) error {
	const start = 0.01 // mm inside the casting: where it rests, the jig begins at its surface
	stubs := j.stubs()
	// The wall beside a hole for a sprue or a vent ends in an edge, where it is as thin as one likes.
	edge := func(p r3.Vec) bool {
		_, near := stubs.NearestWithin(p, j.opt.ClearanceMM+j.opt.LeastWallMM)
		return near
	}
	for i, p := range j.mould.Pieces {
		tree := geom.NewBVH(p.Mesh.Verts, p.Mesh.Tris)
		least, at, rays := math.Inf(1), r3.Vec{}, 0
		stride := max(1, len(j.part.Tris)/wallRays)
		for f := 0; f < len(j.part.Tris); f += stride {
			if f%4096 < stride && ctx.Err() != nil {
				return ctx.Err()
			}
			t := j.part.Facet(f)
			n := t.Normal()
			if r3.Norm(n) == 0 || (n.Z < 0) != (i == 0) {
				continue
			}
			n = r3.Unit(n)
			from := r3.Sub(t.Centroid(), r3.Scale(start, n))
			in, ok := tree.FirstHit(from, n, 0, j.opt.ClearanceMM+j.opt.ReliefMM+start)
			if !ok {
				continue // past the slot, or a hollow of the casting that the jig leaves alone
			}
			rays++
			if out, ok := tree.FirstHit(from, n, in.T+holeSlackMM, math.Inf(1)); ok && out.T-in.T < least && !edge(from) && !edge(r3.Add(from, r3.Scale(out.T, n))) {
				least, at = out.T-in.T, from
			}
		}
		j.mould.Checks = append(j.mould.Checks, Check{Name: p.Name + ": thinnest wall", OK: rays > 0 && !short(least, j.opt.LeastWallMM), Value: least, Limit: j.opt.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", least, placeWords(at), rays)})
	}
	return nil
}

// stubs are what stands on the casting in sprue and vents.
func (j *trimJig) stubs() *geom.BVH {
	part := geom.NewBVH(j.part.Verts, j.part.Tris)
	var tris [][3]uint32
	for f, t := range j.cast.Tris {
		if _, on := part.NearestWithin(j.cast.Facet(f).Centroid(), flatFaceMM); !on {
			tris = append(tris, t)
		}
	}
	return geom.NewBVH(j.cast.Verts, tris)
}

// prove proves that cap and casting leave the nest.
func (j *trimJig) prove(ctx context.Context) error {
	body := func(name string) opening.Body { return opening.Body{Name: name, Mesh: j.mould.piece(name)} }
	casting := opening.Body{Name: castingName, Mesh: j.part}
	for _, s := range []struct {
		name          string
		moving, fixed opening.Body
	}{
		{"the trim cap leaves the nest", body(TrimCap), body(TrimNest)},
		{"the trim cap leaves the casting", body(TrimCap), casting},
		{"the casting leaves the trim nest", casting, body(TrimNest)},
	} {
		v, err := opening.Translate(ctx, s.moving, s.fixed, r3.Vec{Z: 1}, opening.Options{ToleranceMM: j.opt.ToleranceMM, Workers: j.opt.Workers})
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		st := Stage{Name: s.name, Moving: s.moving.Name, Fixed: s.fixed.Name, Rigid: true, Verdict: v}
		j.out.Stages = append(j.out.Stages, st)
		j.mould.Checks = append(j.mould.Checks, Check{Name: s.name, OK: v.State != opening.Blocked, Value: v.OverlapDepthMM, Limit: j.opt.ToleranceMM, Unit: "mm overlap", Words: st.Words()})
	}
	return nil
}

// notes says how the jig is used, and what to mind.
func (j *trimJig) notes() {
	o := j.opt
	note := func(format string, a ...any) { j.mould.Notes = append(j.mould.Notes, fmt.Sprintf(format, a...)) }
	note("snip sprue and vents off first, lay the casting in the nest and the cap on it; the slot of %.1f mm takes a blade up to that thickness, laid flat and drawn along the flash", 2*o.BladeGapMM)
	note("a blade cuts fingers sooner than flash: clamp nest and cap, wear a cut-proof glove on the hand that holds, draw the blade along the slot and never push it inward toward the other hand, and break no slivers off with the edge")
	if j.out.HandMM > 0 {
		note("%.0f mm of the parting line run round holes, where no blade gets in from the side: trim them by hand with a pointed blade", j.out.HandMM)
	}
	if j.out.ShowTouchMM2 > 0 {
		note("one side of the casting is show face nearly all over, so the jig bears on %.0f mm² of it: line the jig with felt or soft tape there", j.out.ShowTouchMM2)
	}
}
