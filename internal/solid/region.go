package solid

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Region is a set of points of the plane, bounded by loops; it never changes. The library rounds the
// coordinates of regions, on the way in and after every operation, to whole multiples of
// RegionStepMM. So a region's loops match a solid's edges no better than that; where they must match
// exactly, use the loops you have (Prism and Slice keep every bit).
type Region struct {
	k *Kernel
	a address // 0 once freed
}

// RegionStepMM is the grid on which the library keeps the coordinates of regions, in mm: 2^-27, the
// power of two next below the 8 decimals that it asks of its clipper.
const RegionStepMM = 1.0 / (1 << 27)

// arcStepMM is how far an offset's round corner may lie inside the true arc, in mm: well below what
// a printer can show.
const arcStepMM = 0.002

// mitreLimit is how many offsets away from its corner a mitre may reach before it is cut square.
const mitreLimit = 2

// Codes of the library for the fill rule and for corners of an offset.
const (
	fillNonZero = 1
	joinRound   = 1
	joinMitre   = 2
)

// Region makes the region of points around which the loops wind a number of times that is not zero.
// No loops, or loops without area, give the empty region.
func (k *Kernel) Region(loops [][]r2.Vec) (*Region, error) {
	if err := checkLoops(loops); err != nil {
		return nil, err
	}
	return k.buildRegion("region", func(h *host) (address, error) {
		list := giveLoops(h, loops)
		defer h.destroy(clsLoops, list)
		return h.construct(clsRegion, list, fillNonZero), nil
	})
}

func (k *Kernel) buildRegion(op string, f func(h *host) (address, error)) (r *Region, err error) {
	err = k.do(op, func(h *host) error {
		a, err := f(h)
		if err == nil {
			r = &Region{k, a}
			k.plane = append(k.plane, r)
			// The library puts work off until it is asked for a result.
			h.method(clsRegion, "numVert", a)
		}
		return err
	})
	return r, err
}

func (r *Region) destroy(h *host) {
	if r.a != 0 {
		h.destroy(clsRegion, r.a)
		r.a = 0
	}
}

// Free releases the region's memory before Do ends. It is safe to call twice, and on nil.
func (r *Region) Free() {
	if r == nil {
		return
	}
	_ = r.k.do("free", func(h *host) error { r.destroy(h); return nil })
}

func (r *Region) usable(k *Kernel) error {
	switch {
	case r == nil || r.a == 0:
		return ErrFreed
	case r.k != k:
		return ErrForeign
	}
	return nil
}

func (r *Region) derive(op, method string, args ...any) (*Region, error) {
	if r == nil {
		return nil, fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return r.k.buildRegion(op, func(h *host) (address, error) {
		if err := r.usable(r.k); err != nil {
			return 0, err
		}
		return h.method(clsRegion, method, append([]any{r.a}, args...)...).(address), nil
	})
}

func (r *Region) ask(op, method string, take func(h *host, v any)) error {
	if r == nil {
		return fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return r.k.do(op, func(h *host) error {
		if err := r.usable(r.k); err != nil {
			return err
		}
		take(h, h.method(clsRegion, method, r.a))
		return nil
	})
}

func (r *Region) combine(op, fn string, others []*Region) (*Region, error) {
	if r == nil {
		return nil, fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return r.k.buildRegion(op, func(h *host) (address, error) {
		operands := append([]*Region{r}, others...)
		for i, o := range operands {
			if err := o.usable(r.k); err != nil {
				return 0, fmt.Errorf("operand %d: %w", i, err)
			}
		}
		list := h.construct(clsRegions)
		defer h.destroy(clsRegions, list)
		for _, o := range operands {
			h.method(clsRegions, "push_back", list, o.a)
		}
		return h.function(fn, list).(address), nil
	})
}

// Union returns r together with the others.
func (r *Region) Union(others ...*Region) (*Region, error) {
	return r.combine("union of regions", "_crossSectionUnionN", others)
}

// Subtract returns r without the others.
func (r *Region) Subtract(others ...*Region) (*Region, error) {
	return r.combine("difference of regions", "_crossSectionDifferenceN", others)
}

// Intersect returns what r and all the others have in common.
func (r *Region) Intersect(others ...*Region) (*Region, error) {
	return r.combine("intersection of regions", "_crossSectionIntersectionN", others)
}

// Offset moves the boundary outward by mm (inward when negative). Outer corners become arcs of
// polygons within arcStepMM of the true arc when round; else mitres, cut square where they would
// reach further than twice the offset.
func (r *Region) Offset(mm float64, round bool) (*Region, error) {
	if mm-mm != 0 {
		return nil, badArgument("offset by %g mm", mm)
	}
	join := joinMitre
	if round {
		join = joinRound
	}
	return r.derive("offset", "_Offset", mm, join, float64(mitreLimit), float64(arcSegments(math.Abs(mm))))
}

// arcSegments is the number of segments, a multiple of 4, that keeps a circle of radius r within
// arcStepMM: the sagitta of a segment is r·(1−cos(π/n)).
func arcSegments(r float64) int {
	const least, most = 16, 1024
	if r <= arcStepMM {
		return least
	}
	n := math.Ceil(math.Pi/math.Acos(1-arcStepMM/r)/4) * 4
	return int(min(max(n, least), most))
}

// AreaMM2 is the area in mm².
func (r *Region) AreaMM2() (area float64, err error) {
	err = r.ask("area of a region", "area", func(_ *host, v any) { area = number(v) })
	return area, err
}

// IsEmpty reports whether the region has no area.
func (r *Region) IsEmpty() (empty bool, err error) {
	err = r.ask("test a region for empty", "isEmpty", func(_ *host, v any) { empty, _ = v.(bool) })
	return empty, err
}

// Loops returns the boundary: outer loops counter-clockwise, holes clockwise.
func (r *Region) Loops() (loops [][]r2.Vec, err error) {
	err = r.ask("loops of a region", "_ToPolygons", func(h *host, v any) { loops = takeLoops(h, v.(address)) })
	return loops, err
}
