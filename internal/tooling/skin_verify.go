package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// verify runs the checks on the finished pieces.
func (b *skinMould) verify(ctx context.Context) error {
	b.opt.Progress.tell("checking walls", 0.7)
	m := b.mould
	m.checkPieces(b.opt.BuildVolumeMM, LowerSkin, UpperSkin)
	for _, s := range b.sides {
		if err := b.wall(ctx, s); err != nil {
			return err
		}
		t, err := gaugeThickness(ctx, facetsOn(b.parting, s.half, func(v r3.Vec) r3.Vec { return s.hang(b.grown(v)) }), s.inner, b.opt.SkinMM)
		if err != nil {
			return err
		}
		t.LeastAt, t.MostAt, t.FreeOffAt = s.hang(t.LeastAt), s.hang(t.MostAt), s.hang(t.FreeOffAt)
		b.out.Thickness[s.half] = t
		m.Checks = append(m.Checks, t.checks(s.skin)...)
	}
	m.Checks = append(m.Checks, slope(m.Surface), b.board())
	if b.opt.Keys >= 0 {
		o := b.opt
		wall := nestedWallMM(o.PlateMM, o.KeyClearance, o.keyDraftDeg())
		m.Checks = append(m.Checks, Check{Name: MasterPlate + ": wall of its keys", OK: !short(wall, o.LeastWallMM), Value: wall, Limit: o.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("cones of %.0f° draft, one over the other: %.2f mm between them", o.keyDraftDeg(), wall)})
	}
	b.opt.Progress.tell("proving that it opens", 0.8)
	if err := b.prove(ctx); err != nil {
		return err
	}
	if err := b.out.judgeRelease(ctx, b.releaseSetup); err != nil {
		return err
	}
	if err := b.out.judgeBetween(ctx, b.many, b.opt.gap().of(b.opt.CavityGapMM), b.releaseSetup, LowerSkin, UpperSkin); err != nil {
		return err
	}
	if err := b.judgeCasting(ctx); err != nil {
		return err
	}
	b.notes()
	return nil
}

// wall measures a shell round its skin. Where a port meets the skin's outer face the wall between them ends
// in an edge: that is a rib, which the shape asks for.
func (b *skinMould) wall(ctx context.Context, s *skinSide) error {
	room := b.rooms[s.half].Map(s.hang)
	line := min(s.hang(b.grown(r3.Vec{Z: b.parting.MinZ})).Z, s.hang(b.grown(r3.Vec{Z: b.parting.MaxZ})).Z)
	var facets []int32
	for f := range room.Tris {
		if t := room.Facet(f); t.Normal().Z < 0 && t.Centroid().Z < line {
			facets = append(facets, int32(f))
		}
	}
	seam := &Surface{Verts: b.surface.asMesh().Map(b.grown).Map(s.hang).Verts, Tris: b.surface.Tris}
	got, err := newGauge(room, seam, nil).thinnest(ctx, b.mould.piece(s.shell).Map(s.hang), facets)
	if err != nil {
		return err
	}
	b.mould.Checks = append(b.mould.Checks, Check{Name: s.shell + ": thinnest wall", OK: !short(got.Shell.ThicknessMM, b.opt.LeastWallMM),
		Value: got.Shell.ThicknessMM, Limit: b.opt.LeastWallMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", got.Shell.ThicknessMM, placeWords(s.hang(got.Shell.At)), got.Rays)})
	return nil
}

// board checks the plate round the master. Its faces are the parting surface and the same moved up, so where
// the surface slopes it is thinner, measured square.
func (b *skinMould) board() Check {
	mm := b.opt.PlateMM * math.Cos(b.surface.SteepestDeg*math.Pi/180)
	return Check{Name: MasterPlate + ": thickness of the board", OK: !short(mm, b.opt.LeastWallMM), Value: mm, Limit: b.opt.LeastWallMM, Unit: "mm",
		Words: fmt.Sprintf("%.1f mm along z, %.2f mm square to its steepest place", b.opt.PlateMM, mm)}
}

// prove proves the stages in order.
func (b *skinMould) prove(ctx context.Context) error {
	m := b.mould
	body := func(name string) opening.Body { return opening.Body{Name: name, Mesh: m.piece(name)} }
	up := func(x opening.Body) opening.Body { return opening.Body{Name: x.Name, Mesh: x.Mesh.Map(b.lifted)} }
	poured := func(h Half) opening.Body {
		return opening.Body{Name: b.sides[h].skin, Mesh: b.poured[h]}
	}
	lowerShell, upperShell, plate := body(LowerShell), body(UpperShell), body(MasterPlate)
	lowerSkin, upperSkin := body(LowerSkin), body(UpperSkin)
	casting := opening.Body{Name: castingName, Mesh: m.Cast}
	z, down := r3.Vec{Z: 1}, r3.Vec{Z: -1}
	return b.out.prove(ctx, []stagePlan{
		{"the upper shell leaves the master plate", up(upperShell), plate, z, true},
		{"the upper shell leaves the upper skin on the master plate", up(upperShell), up(poured(Upper)), z, true},
		{"the upper skin leaves the master plate", up(poured(Upper)), plate, z, false},
		{"the lower shell leaves the master plate", lowerShell, plate, down, true},
		{"the lower shell leaves the lower skin on the master plate", lowerShell, poured(Lower), down, true},
		{"the lower skin leaves the master plate", poured(Lower), plate, down, false},
		{"the upper shell leaves the lower shell", upperShell, lowerShell, z, true},
		{"the upper shell leaves the upper skin", upperShell, upperSkin, z, true},
		{"the upper skin leaves the lower skin", upperSkin, lowerSkin, z, true},
		{"the upper skin leaves the casting", upperSkin, casting, z, false},
		{"the lower shell leaves the lower skin", lowerShell, lowerSkin, down, true},
		{"the lower skin leaves the casting", lowerSkin, casting, down, false},
	}, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers}, func(done float64) { b.opt.Progress.tell("proving that it opens", 0.8+0.15*done) })
}

// releaseSetup puts a soft stage as a question about the part and the skin that is peeled: its shell is gone
// by then, so nothing backs it.
func (b *skinMould) releaseSetup(stage int) (opening.ReleaseSetup, bool) {
	s := b.out.Stages[stage]
	h := Lower
	if s.Moving == UpperSkin {
		h = Upper
	}
	q := b.skinsRound(s.Fixed)
	q.Catches = catches(b.many.first(b.parting), h, b.sides[h].skin, b.sides[h].exit())
	return q, b.opt.Silicone != nil
}

// skinsRound is the part, or the master, between the two skins without their shells.
func (b *skinMould) skinsRound(inside string) opening.ReleaseSetup {
	one := b.many.first(b.parting)
	q := opening.ReleaseSetup{Part: one.Mesh, Casting: opening.ReleaseBody{Name: inside}, Shapes: make([]int, len(one.Upper)), FixedOrder: true}
	if inside == castingName {
		q.Casting.Flex = b.opt.Casting
	}
	for _, h := range []Half{Upper, Lower} {
		s := b.sides[h]
		q.Pieces = append(q.Pieces, opening.ReleaseBody{Name: s.skin, Exit: s.exit(), Flex: b.opt.Silicone, WallMM: b.opt.SkinMM})
	}
	for f, up := range one.Upper {
		if !up {
			q.Shapes[f] = 1
		}
	}
	return q
}

// judgeCasting keeps the release of both skins from the casting, where either has to give way, as that of
// the mould.
func (b *skinMould) judgeCasting(ctx context.Context) error {
	held := slices.ContainsFunc(b.out.Stages, func(s Stage) bool {
		return !s.Rigid && s.Fixed == castingName && s.Verdict.State == opening.Blocked
	})
	if !held || b.opt.Silicone == nil {
		return nil
	}
	q := b.skinsRound(castingName)
	for _, s := range b.sides {
		q.Catches = append(q.Catches, catches(b.many.first(b.parting), s.half, s.skin, s.exit())...)
	}
	r, err := opening.JudgeRelease(ctx, q)
	switch {
	case errors.Is(err, opening.ErrRelease):
		return nil // the stage's own check says so
	case err != nil:
		return fmt.Errorf("tooling: %w", err)
	}
	b.out.Release = r
	return nil
}

// notes tells the maker what the build decided and what to mind.
func (b *skinMould) notes() {
	m, o := b.mould, b.out
	up, low := o.Pours[0], o.Pours[1]
	each := fmt.Sprintf("each casting takes %.1f mL of resin", o.CastML)
	if n := b.many.n(); n > 1 {
		each = fmt.Sprintf("%d castings take %.1f mL of resin, each cavity %.1f mL through its own sprue", n, o.CastML, o.CastML/float64(n))
	}
	m.Notes = append(m.Notes,
		fmt.Sprintf("bolt the %s between the shells; pour %.1f mL of silicone for the %s through the fill port on top, let it cure, turn the mould over and pour %.1f mL for the %s; %s",
			MasterPlate, up.ML, UpperSkin, low.ML, LowerSkin, each))
	if b.bolt != nil {
		m.Notes = append(m.Notes, b.pourBolts())
	}
	for _, s := range b.sides {
		sign := 1.0
		if s.half == Lower {
			sign = -1
		}
		if n := airTraps(b.parting, s.half, sign); n > 0 {
			m.Notes = append(m.Notes, fmt.Sprintf("%s: %d hollows of the master are closed above while its silicone is poured: brush silicone into them on the %s before the shell is put on, or air stays there", s.skin, n, MasterPlate))
		}
	}
	if n := len(b.legs); n < leastLegs {
		m.Notes = append(m.Notes, fmt.Sprintf("only %d legs found a place on the flanges, and the mould does not stand by itself: bed it in sand or a box while it is filled", n))
	}
	full := m.Block.Size()
	m.Notes = append(m.Notes, fmt.Sprintf("the two shells print with %.0f mL, %.0f %% of the block round them", (b.printed(LowerShell)+b.printed(UpperShell))/1000,
		100*(b.printed(LowerShell)+b.printed(UpperShell))/(full.X*full.Y*full.Z)))
}

func (b *skinMould) printed(name string) float64 {
	for _, p := range b.mould.Pieces {
		if p.Name == name {
			return p.VolumeMM3
		}
	}
	return 0
}

// pourBolts names the screws for the pours: the plate lies between the flanges then.
func (b *skinMould) pourBolts() string {
	t := b.bolt.Thread
	least := b.flange.Size().Z + b.opt.PlateMM - b.bolt.CounterboreMM + b.bolt.WasherMM - b.bolt.PocketMM + t.NutHighMM + tailPitches*t.PitchMM
	for _, l := range t.LengthsMM {
		if l >= least-limitSlackMM {
			if l == b.bolt.LengthMM {
				return fmt.Sprintf("the %s × %g screws serve for the pours too, with the plate between the flanges", t.Name, l)
			}
			return fmt.Sprintf("with the plate between the flanges, for the pours, take %s × %g screws instead of × %g", t.Name, l, b.bolt.LengthMM)
		}
	}
	return fmt.Sprintf("no %s screw is long enough with the plate between the flanges: clamp the mould for the pours", t.Name)
}
