package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/offset"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// overSurfaceMM is how far over the highest parting surface the insert's outer face runs on, so that the
// surface cuts it clean.
const overSurfaceMM = 0.5

// shape finds the insert's outer face: the underside of what lies within the insert's thickness of its
// facets and of a ring of the parting surface, swept upward with draft.
func (b *insertMould) shape(ctx context.Context, pool *solid.Pool) error {
	src := &mesh.Mesh{Verts: b.parting.Mesh.Verts}
	for f, t := range b.parting.Mesh.Tris {
		if !b.parting.Upper[f] {
			src.Tris = append(src.Tris, t)
		}
	}
	src = compact(src)
	addRing(src, b.mould.Line, b.field, b.opt.ringMM())
	if b.many != nil {
		err := pool.Do(ctx, func(k *solid.Kernel) error { return b.many.addWeb(k, src, b.surface, b.mould.Shadow, b.opt.ringMM()) })
		if err != nil {
			return err
		}
	}
	src = src.Map(b.grown)
	top := math.Inf(-1)
	for _, v := range b.surface.Verts[len(b.parting.Mesh.Verts):] {
		top = max(top, b.grown(v).Z)
	}
	top = max(top, b.grown(r3.Vec{Z: b.parting.MaxZ}).Z)
	s, err := offset.Under(ctx, src, offset.UnderOptions{ThicknessMM: b.opt.InsertMM, TopMM: top + overSurfaceMM, DraftDeg: b.opt.DraftDeg,
		ErrorMM: b.opt.ErrorMM, Workers: b.opt.Workers, Progress: func(d float64) { b.opt.Progress.tell("shaping the insert", 0.1+0.25*d) }})
	if err != nil {
		return fmt.Errorf("tooling: insert: %w", err)
	}
	b.sheet = s
	b.hollow = s.Mesh().Bounds()
	return nil
}
