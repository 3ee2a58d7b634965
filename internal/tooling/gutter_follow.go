package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// outerFaceMM is how far a vertex may lie from the block's outer face and still belong to it: far over
// the rounding of a boolean, far under any wall.
const outerFaceMM = 1e-6

// ErrNoSurface is the cause when a feature that follows the parting surface has no surface to follow.
var ErrNoSurface = errors.New("no parting surface there")

// follow makes a solid that follows the parting surface over plan: see column.moved.
func follow(k *solid.Kernel, half *solid.Solid, h Half, plan [][]r2.Vec, distances ...func(r2.Vec) float64) (*solid.Solid, error) {
	c, err := newColumn(k, half, h, plan)
	if err != nil {
		return nil, err
	}
	return c.moved(distances...)
}

// column is what stands of a raw half over a part of the plan. Its inner face is the parting surface.
type column struct {
	k   *solid.Kernel
	h   Half
	s   *solid.Solid
	box r3.Box // of the whole half
	// reach sends the outer end that many overshoots farther: of solids to be joined, the wider ones
	// reach farther, so that no ends coincide.
	reach int
}

func newColumn(k *solid.Kernel, half *solid.Solid, h Half, plan [][]r2.Vec) (column, error) {
	box, err := half.Bounds()
	if err != nil {
		return column{}, err
	}
	return column{k: k, h: h, s: half, box: box}.within(plan)
}

// within cuts the column down to a smaller plan.
func (c column) within(plan [][]r2.Vec) (column, error) {
	p, err := c.k.Prism(plan, c.box.Min.Z-overshootMM, c.box.Max.Z+overshootMM)
	if err != nil {
		return column{}, err
	}
	c.s, err = c.s.Intersect(p)
	return c, err
}

// moved is the column with its inner face moved toward the other half by each of the distances, which
// are affine functions of the plan; the least distance rules, for the solid is the intersection.
//
// Moving points upright by an affine function keeps planes plane and keeps which way a facet faces along
// z, so what is cut with the solid from the other half opens along z however the surface slopes. The
// outer end is carried away past every moved point, so the solid always reaches back to the surface.
func (c column) moved(distances ...func(r2.Vec) float64) (*solid.Solid, error) {
	m, err := c.s.Mesh()
	if err != nil {
		return nil, err
	}
	if len(m.Tris) == 0 {
		return nil, ErrNoSurface
	}
	toward, outer := 1.0, c.box.Min.Z
	if c.h == Upper {
		toward, outer = -1, c.box.Max.Z
	}
	far := 0.0
	for _, d := range distances {
		for _, v := range m.Verts {
			far = max(far, math.Abs(d(r2.Vec{X: v.X, Y: v.Y})))
		}
	}
	away := outer - toward*(far+c.box.Max.Z-c.box.Min.Z+float64(1+c.reach)*overshootMM)
	var out *solid.Solid
	for _, d := range distances {
		s, err := c.k.FromMesh(m.Map(func(v r3.Vec) r3.Vec {
			if math.Abs(v.Z-outer) <= outerFaceMM {
				return r3.Vec{X: v.X, Y: v.Y, Z: away}
			}
			return r3.Vec{X: v.X, Y: v.Y, Z: v.Z + toward*d(r2.Vec{X: v.X, Y: v.Y})}
		}))
		if err != nil {
			return nil, fmt.Errorf("move the parting surface: %w", err)
		}
		if out == nil {
			out = s
		} else if out, err = out.Intersect(s); err != nil {
			return nil, err
		}
	}
	return out, nil
}
