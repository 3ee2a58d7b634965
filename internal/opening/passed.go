package opening

import (
	"context"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// Facets that touch within the tolerance count as in each other's way even where the fixed one lies a hair
// below the moving one, for rounding moves both. Between two feather edges that lie on each other that is
// wrong: where a body was cut through its own sharp edge, the lower piece ends under the cut and the upper
// begins over it, both thinner there than the tolerance, and the upper leaves upward though its top lies
// over the underside of the lower. So before a pair is called blocked, the places are taken out where the
// layer of the fixed body ends before that of the moving body begins: those two are past each other.

// layers finds where layers of two bodies end and begin.
type layers struct {
	moving, fixed  framed
	begins, ends   []int32 // facets of moving that face down, of fixed that face up
	beginAt, endAt *geom.BVH
	slackMM        float64 // rounding of faces that coincide
}

func newLayers(moving, fixed framed, tolMM float64) *layers {
	l := &layers{moving: moving, fixed: fixed, slackMM: filmShare * tolMM}
	l.begins, l.ends = moving.facing(-1, thinShare*tolMM), fixed.facing(+1, thinShare*tolMM)
	l.beginAt, l.endAt = treeOf(moving, l.begins), treeOf(fixed, l.ends)
	return l
}

func treeOf(b framed, facets []int32) *geom.BVH {
	tris := make([][3]uint32, len(facets))
	for i, f := range facets {
		tris[i] = b.tris[f]
	}
	return geom.NewBVH(b.verts, tris)
}

// withoutPassed gives the overlaps less the places where the two are past each other already, and whether
// there are any.
func withoutPassed(ctx context.Context, all []overlap, moving, fixed framed, tolMM float64, workers int) ([]overlap, bool, error) {
	if !slices.ContainsFunc(all, func(o overlap) bool { return crossed(o, &moving, &fixed, filmShare*tolMM) }) {
		return all, false, nil
	}
	l := newLayers(moving, fixed, tolMM)
	type share struct {
		overlaps []overlap
		changed  bool
	}
	shares, err := inChunks(ctx, len(all), 128, workers, nil, func(lo, hi int) (s share) {
		w := overlapWorker{f: &overlapFinder{tolMM: tolMM}, ctx: ctx}
		for i := lo; i < hi; i++ {
			if !crossed(all[i], &moving, &fixed, l.slackMM) || !l.split(&all[i], &w) {
				w.out.overlaps = append(w.out.overlaps, all[i])
				continue
			}
			s.changed = true
		}
		s.overlaps = w.out.overlaps
		return s
	})
	if err != nil {
		return nil, false, err
	}
	var out []overlap
	changed := false
	for _, s := range shares {
		out, changed = append(out, s.overlaps...), changed || s.changed
	}
	return out, changed, nil
}

// crossed says whether the fixed facet lies below the moving one somewhere in the overlap, by more than rounding.
func crossed(o overlap, moving, fixed *framed, slackMM float64) bool {
	sa, sb := newSheet(moving.facet(o.moving), +1), newSheet(fixed.facet(o.fixed), -1)
	return slices.ContainsFunc(o.poly, func(p r2.Vec) bool { return sb.at(p) < sa.at(p)-slackMM })
}

// split adds to w what is left of an overlap without the places where the two layers are past each other;
// false, and nothing added, where there are none.
func (l *layers) split(o *overlap, w *overlapWorker) bool {
	sa, sb := newSheet(l.moving.facet(o.moving), +1), newSheet(l.fixed.facet(o.fixed), -1)
	under := above(o.poly, &sa, &sb, -l.slackMM)
	if len(under) < 3 || polygonWidth(under) <= thinShare*w.f.tolMM {
		return false
	}
	box := r3.Box{Min: r3.Vec{Z: sb.low - l.slackMM}, Max: r3.Vec{Z: sa.high + l.slackMM}}
	in := polygonBox(under)
	box.Min.X, box.Min.Y, box.Max.X, box.Max.Y = in.Min.X, in.Min.Y, in.Max.X, in.Max.Y
	left, cut := [][]r2.Vec{under}, false
	for _, e := range inBox(l.endAt, l.ends, box) {
		end := newSheet(l.fixed.facet(e), +1)
		over := above(clip(under, &end), &end, &sb, l.slackMM)
		if len(over) < 3 {
			continue
		}
		for _, b := range inBox(l.beginAt, l.begins, box) {
			begin := newSheet(l.moving.facet(b), -1)
			past := above(clip(over, &begin), &begin, &end, l.slackMM)
			past = above(past, &sa, &begin, l.slackMM)
			if len(past) < 3 || polygonWidth(past) <= thinShare*w.f.tolMM {
				continue
			}
			planes := grownPlanes(past, thinShare*w.f.tolMM, nil)
			var next [][]r2.Vec
			for _, p := range left {
				next = subtractConvex(p, planes, next)
			}
			left, cut = next, true
		}
	}
	if !cut {
		return false
	}
	if rest := above(o.poly, &sb, &sa, l.slackMM); len(rest) >= 3 {
		left = append(left, rest)
	}
	for _, p := range left {
		w.add(o.moving, o.fixed, p, &sa, &sb)
	}
	return true
}

// above is the part of a convex polygon over which one sheet lies above another, or under it by no more
// than a slack; a negative slack asks for that much more.
func above(p []r2.Vec, high, low *sheet, slackMM float64) []r2.Vec {
	if len(p) < 3 {
		return nil
	}
	value := make([]float64, len(p))
	for i, q := range p {
		value[i] = high.at(q) - low.at(q) + slackMM
	}
	return clipAbove(p, value, nil)
}

func clip(p []r2.Vec, s *sheet) []r2.Vec {
	return slices.Clone(geom.ClipConvex(p, s.corners[:], make([]r2.Vec, geom.ClipBuffer(len(p), 3))))
}

// inBox lists the facets of a tree that reach into a box, in their own order.
func inBox(tree *geom.BVH, facets []int32, box r3.Box) (hits []int32) {
	tree.InBox(box, func(i int) { hits = append(hits, facets[i]) })
	slices.Sort(hits)
	return hits
}
