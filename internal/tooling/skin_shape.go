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

// shellErrorMM is how far a shell's outer face may stray: nothing fits against it.
const shellErrorMM = 0.15

// shape finds the skins' and the shells' outer faces. A side's is the underside, hanging, of what lies
// within the skin's thickness of the side's facets and of a ring of the parting surface, swept upward with
// draft; the shell's is the same with the shell's thickness added, which lies that far from the first
// everywhere, for a ball and a cone added to a ball give a ball and a cone.
func (b *skinMould) shape(ctx context.Context, pool *solid.Pool) error {
	o := b.opt
	first, err := layRound(ctx, b.parting, b.mould.Part, o.LandMM+o.SkinMM+2*o.WallMM)
	if err != nil {
		return err
	}
	field := NewHeightField(first.asMesh())
	for i, s := range b.sides {
		src := &mesh.Mesh{Verts: b.parting.Mesh.Verts}
		for _, f := range facetsOf(b.parting.Upper, s.half) {
			src.Tris = append(src.Tris, b.parting.Mesh.Tris[f])
		}
		src = compact(src)
		addRing(src, b.mould.Line, field, o.LandMM)
		if b.many != nil {
			err := pool.Do(ctx, func(k *solid.Kernel) error { return b.many.addWeb(k, src, first, b.mould.Shadow, o.LandMM) })
			if err != nil {
				return err
			}
		}
		src = src.Map(b.grown).Map(s.hang)
		top := math.Inf(-1)
		for _, v := range first.Verts[len(b.parting.Mesh.Verts):] {
			top = max(top, s.hang(b.grown(v)).Z)
		}
		for _, z := range []float64{b.parting.MinZ, b.parting.MaxZ} {
			top = max(top, s.hang(b.grown(r3.Vec{Z: z})).Z)
		}
		under := func(mm, errorMM, from, to float64) (*offset.Sheet, error) {
			sheet, err := offset.Under(ctx, src, offset.UnderOptions{ThicknessMM: mm, TopMM: top + overSurfaceMM, DraftDeg: o.DraftDeg, ErrorMM: errorMM,
				Workers: o.Workers, Progress: func(d float64) { o.Progress.tell("shaping the skins", 0.1+0.15*(float64(i)+from+d*(to-from))) }})
			if err != nil {
				return nil, fmt.Errorf("tooling: %s: %w", s.skin, err)
			}
			return sheet, nil
		}
		if s.inner, err = under(o.SkinMM, o.ErrorMM, 0, 0.6); err != nil {
			return err
		}
		if s.outer, err = under(o.SkinMM+o.ShellMM, max(shellErrorMM, o.ErrorMM), 0.6, 1); err != nil {
			return err
		}
	}
	return nil
}

// overSheet is all that a sheet bounds, hanging: what lies over it, up to a height past the parting surface.
func overSheet(s *offset.Sheet) *mesh.Mesh {
	return compact(apron(&Surface{Verts: s.Verts, Tris: s.Tris}, s.TopMM+overshootMM, true))
}

// plateRaw is the plate without keys and stalks: the part's lower facets and the parting surface below, the
// part's upper facets and the parting surface above, moved up by mm.
func plateRaw(b *skinMould, mm float64) *mesh.Mesh {
	s, p := b.surface, b.parting
	n := uint32(len(s.Verts))
	m := &mesh.Mesh{}
	for _, v := range s.Verts {
		m.Verts = append(m.Verts, b.grown(v))
	}
	for _, v := range s.Verts {
		m.Verts = append(m.Verts, r3.Add(b.grown(v), r3.Vec{Z: mm}))
	}
	for f, t := range p.Mesh.Tris {
		if p.Upper[f] {
			t = [3]uint32{t[0] + n, t[1] + n, t[2] + n}
		}
		m.Tris = append(m.Tris, t)
	}
	for _, t := range s.Tris {
		m.Tris = append(m.Tris, [3]uint32{t[0], t[2], t[1]}, [3]uint32{t[0] + n, t[1] + n, t[2] + n})
	}
	for i, v := range s.Rim {
		w := s.Rim[(i+1)%len(s.Rim)]
		m.Tris = append(m.Tris, [3]uint32{v, w, w + n}, [3]uint32{v, w + n, v + n})
	}
	return compact(m)
}
