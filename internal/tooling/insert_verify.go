package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

const castingName = "casting"

// verify runs the checks on the finished pieces.
func (b *insertMould) verify(ctx context.Context) error {
	b.opt.Progress.tell("checking walls", 0.7)
	m := b.mould
	m.checkPieces(b.opt.BuildVolumeMM, InsertBody)
	if err := b.walls(ctx); err != nil {
		return err
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	var err error
	if b.out.Thickness, err = gaugeThickness(ctx, facetsOn(b.parting, Lower, b.grown), b.sheet, b.opt.InsertMM); err != nil {
		return err
	}
	m.Checks = append(m.Checks, b.out.Thickness.checks("insert")...)
	b.opt.Progress.tell("proving that it opens", 0.8)
	if err := b.prove(ctx); err != nil {
		return err
	}
	if err := b.out.judgeRelease(ctx, b.releaseSetup); err != nil {
		return err
	}
	if err := b.out.judgeBetween(ctx, b.many, b.opt.gap().of(b.opt.CavityGapMM), b.releaseSetup, InsertBody); err != nil {
		return err
	}
	b.notes()
	return nil
}

func channels(s []Sprue) (out []channel) {
	for _, c := range s {
		out = append(out, c)
	}
	return out
}

// walls measures the casting cap round the core's side of the cavity, and the cradle round the insert.
func (b *insertMould) walls(ctx context.Context) error {
	shell := b.shell
	under := make([]int32, 0, len(b.sheet.Tris))
	top := b.mould.Block.Max.Z
	for f := range shell.Tris {
		if c := shell.Facet(f); c.Normal().Z < 0 && c.Centroid().Z < min(top, b.parting.MinZ) {
			under = append(under, int32(f))
		}
	}
	for _, w := range []struct {
		piece  string
		g      *gauge
		facets []int32
	}{
		{CastingCap, newGauge(b.parting.Mesh, b.mould.Surface, channels(b.vents)), facetsOf(b.parting.Upper, Upper)},
		{Cradle, newGauge(shell, &Surface{Verts: b.mould.Surface.asMesh().Map(b.grown).Verts, Tris: b.mould.Surface.Tris}, nil), under},
	} {
		got, err := w.g.thinnest(ctx, b.mould.piece(w.piece), w.facets)
		if err != nil {
			return err
		}
		b.mould.Checks = append(b.mould.Checks, Check{Name: w.piece + ": thinnest wall", OK: !short(got.Shell.ThicknessMM, b.opt.LeastWallMM),
			Value: got.Shell.ThicknessMM, Limit: b.opt.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", got.Shell.ThicknessMM, placeWords(got.Shell.At), got.Rays)})
		// The cradle's ridges are the creases of a swept skin: blunt, and nothing shows them.
		if w.piece == CastingCap && got.Rib.ThicknessMM < b.opt.LeastWallMM {
			b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%s: a ridge is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly",
				w.piece, got.Rib.ThicknessMM, placeWords(got.Rib.At), b.opt.LeastWallMM))
		}
	}
	return nil
}

// prove proves the stages in order.
func (b *insertMould) prove(ctx context.Context) error {
	m := b.mould
	poured := b.mould.piece(InsertBody)
	if b.grow != 1 {
		poured = poured.Map(b.grown)
	}
	body := func(name string) opening.Body { return opening.Body{Name: name, Mesh: b.mould.piece(name)} }
	casting := opening.Body{Name: castingName, Mesh: m.Cast}
	pouredBody := opening.Body{Name: InsertBody, Mesh: poured}
	up := r3.Vec{Z: 1}
	return b.out.prove(ctx, []stagePlan{
		{"the pattern cap leaves the cradle", body(PatternCap), body(Cradle), up, true},
		{"the pattern cap leaves the cured insert", body(PatternCap), pouredBody, up, false},
		{"the insert leaves the cradle", pouredBody, body(Cradle), up, true},
		{"the casting cap leaves the cradle", body(CastingCap), body(Cradle), up, true},
		{"the casting cap leaves the insert", body(CastingCap), body(InsertBody), up, true},
		{"the casting cap leaves the casting", body(CastingCap), casting, up, false},
		{"the casting leaves the insert", casting, body(InsertBody), up, false},
	}, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers}, func(done float64) { b.opt.Progress.tell("proving that it opens", 0.8+0.15*done) })
}

// notes tells the maker what the build decided and what to mind.
func (b *insertMould) notes() {
	m, o := b.mould, b.out
	each := "each casting"
	if n := b.many.n(); n > 1 {
		each = fmt.Sprintf("all %d castings, %.1f mL into each cavity by itself", n, o.CastML/float64(n))
	}
	m.Notes = append(m.Notes,
		fmt.Sprintf("pour %.1f mL of silicone for the insert through the fill port; %.1f mL of resin for %s, and up to %.1f mL more for the overflow gutter", o.Pours[0].ML, o.CastML, each, o.OverflowML),
		"the pattern cap serves once, to cast the insert; keep it to cast another")
	if n := airTraps(b.parting, Lower, 1); n > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("%d hollows of the side that the insert makes are closed above: brush silicone into them on the pattern cap before it is closed, or air stays there", n))
	}
}
