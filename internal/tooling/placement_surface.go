package tooling

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// HeightField answers over which z a surface lies above a region of the plan. It is exact on the
// triangles: the extremes over a convex polygon are those of the clipped triangles' corners.
//
//	h := NewHeightField(surface)
//	lo, hi, whole := h.Range(footprint)
//
// The surface must be a height field (no vertical line meets it twice); its facets may face up or down.
type HeightField struct {
	m      *mesh.Mesh
	min    r2.Vec
	cell   float64
	nx, ny int
	bucket [][]int32
}

// coverTol is how much of a polygon's area may be left uncovered by rounding before the surface counts
// as not covering it: sums of some thousand clipped areas stay well under it.
const coverTol = 1e-9

// NewHeightField prepares m for questions. m must not change afterwards.
func NewHeightField(m *mesh.Mesh) *HeightField {
	b := m.Bounds()
	h := &HeightField{m: m, min: r2.Vec{X: b.Min.X, Y: b.Min.Y}}
	w, d := b.Max.X-b.Min.X, b.Max.Y-b.Min.Y
	// About one triangle a cell, and no more than a million cells for a stray huge triangle.
	h.cell = max(math.Sqrt(w*d/float64(max(1, min(len(m.Tris), 1<<20)))), max(w, d)/4096, 1e-9)
	h.nx, h.ny = int(w/h.cell)+1, int(d/h.cell)+1
	h.bucket = make([][]int32, h.nx*h.ny)
	for f := range m.Tris {
		lo, hi := planBox(flat(m.Facet(f)))
		h.cells(lo, hi, func(c int) { h.bucket[c] = append(h.bucket[c], int32(f)) })
	}
	return h
}

func (h *HeightField) cells(lo, hi r2.Vec, visit func(c int)) {
	clamp := func(x float64, n int) int { return int(max(0, min(float64(n-1), math.Floor(x/h.cell)))) }
	x0, x1 := clamp(lo.X-h.min.X, h.nx), clamp(hi.X-h.min.X, h.nx)
	y0, y1 := clamp(lo.Y-h.min.Y, h.ny), clamp(hi.Y-h.min.Y, h.ny)
	for y := y0; y <= y1; y++ {
		for x := x0; x <= x1; x++ {
			visit(y*h.nx + x)
		}
	}
}

// Range is the least and greatest z of the surface over a convex polygon (counter-clockwise). whole is
// false where some of the polygon has no surface above or below it.
func (h *HeightField) Range(poly []r2.Vec) (lo, hi float64, whole bool) {
	lo, hi = math.Inf(1), math.Inf(-1)
	area := 0.0
	h.over(poly, func(_ int32, part []r3.Vec) {
		for _, v := range part {
			lo, hi = min(lo, v.Z), max(hi, v.Z)
		}
		area += math.Abs(loopArea(flat(part)))
	})
	want := loopArea(poly)
	return lo, hi, want > 0 && area >= want*(1-coverTol)
}

// At is the surface's height over a point, and false where there is none.
func (h *HeightField) At(p r2.Vec) (float64, bool) {
	_, z, ok := h.facetAt(p)
	return z, ok
}

// facetAt is the facet over a point and its height there, and false where there is none.
func (h *HeightField) facetAt(p r2.Vec) (facet int32, z float64, ok bool) {
	h.cells(p, p, func(c int) {
		for _, f := range h.bucket[c] {
			if z2, in := heightOn(h.m.Facet(int(f)), p); in && !ok {
				facet, z, ok = f, z2, true
			}
		}
	})
	return facet, z, ok
}

func heightOn(t r3.Triangle, p r2.Vec) (float64, bool) {
	c := flat(t)
	area := r2.Cross(r2.Sub(c[1], c[0]), r2.Sub(c[2], c[0]))
	if area == 0 {
		return 0, false
	}
	z := 0.0
	for i := range 3 {
		w := r2.Cross(r2.Sub(c[(i+2)%3], c[(i+1)%3]), r2.Sub(p, c[(i+1)%3])) / area
		if w < -coverTol {
			return 0, false
		}
		z += w * t[i].Z
	}
	return z, true
}

// touchMM is the least extent in plan that counts as lying over a polygon: facets that only share an edge
// or a corner with it come out with the rounding of a clip.
const touchMM = 1e-6

// Facets lists the facets that lie over or under a convex polygon by more than they share with its
// border. An upright facet counts when its line in plan runs inside.
func (h *HeightField) Facets(poly []r2.Vec) []int32 {
	var out []int32
	h.over(poly, func(f int32, part []r3.Vec) {
		t := h.m.Facet(int(f))
		upright := math.Abs(loopArea(flat(t))) < touchMM*touchMM
		lo, hi := planBox(flat(part))
		if math.Abs(loopArea(flat(part))) > touchMM*touchMM || (upright && r2.Norm(r2.Sub(hi, lo)) > touchMM) {
			out = append(out, f)
		}
	})
	return out
}

// over visits each facet whose plan meets the convex polygon, once, with the piece inside.
func (h *HeightField) over(poly []r2.Vec, visit func(f int32, part []r3.Vec)) {
	lo, hi := planBox(poly)
	seen := map[int32]bool{}
	h.cells(lo, hi, func(c int) {
		for _, f := range h.bucket[c] {
			if seen[f] {
				continue
			}
			seen[f] = true
			t := h.m.Facet(int(f))
			if part := clipToPlan(t[:], poly); len(part) > 2 {
				visit(f, part)
			}
		}
	})
}

// clipToPlan cuts a convex polygon in space by the vertical planes over the edges of a convex
// counter-clockwise polygon in plan (Sutherland and Hodgman 1974).
func clipToPlan(part []r3.Vec, poly []r2.Vec) []r3.Vec {
	for i := range poly {
		a := poly[i]
		e := r2.Sub(poly[(i+1)%len(poly)], a)
		side := func(v r3.Vec) float64 { return r2.Cross(e, r2.Sub(r2.Vec{X: v.X, Y: v.Y}, a)) }
		if !slices.ContainsFunc(part, func(v r3.Vec) bool { return side(v) < 0 }) {
			continue // all of it is inside
		}
		var next []r3.Vec
		for j, v := range part {
			w := part[(j+1)%len(part)]
			sv, sw := side(v), side(w)
			if sv >= 0 {
				next = append(next, v)
			}
			if (sv > 0 && sw < 0) || (sv < 0 && sw > 0) {
				next = append(next, r3.Add(v, r3.Scale(sv/(sv-sw), r3.Sub(w, v))))
			}
		}
		part = next
	}
	return part
}

// flat drops z.
func flat[T ~[]r3.Vec | r3.Triangle](vs T) []r2.Vec {
	var out []r2.Vec
	for i := range len(vs) {
		out = append(out, r2.Vec{X: vs[i].X, Y: vs[i].Y})
	}
	return out
}

func planBox(ps []r2.Vec) (lo, hi r2.Vec) {
	b, _ := Outline{ps}.Bounds()
	return b.Min, b.Max
}
