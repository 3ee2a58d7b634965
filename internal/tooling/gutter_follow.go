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

// follow makes a solid that follows the parting surface: over plan, all that lies on half h's side of
// the surface moved toward the other half by each of the distances, which are affine functions of the
// plan. The solid is the intersection, so the least distance rules.
//
// half is the raw half h, so its inner face is the surface. Moving points upright by an affine function
// keeps planes plane and keeps which way a facet faces along z, so what is cut with the solid from the
// other half opens along z however the surface slopes. The outer end is carried away past every moved
// point, so the solid always reaches back to the surface.
func follow(k *solid.Kernel, half *solid.Solid, h Half, plan [][]r2.Vec, distances ...func(r2.Vec) float64) (*solid.Solid, error) {
	box, err := half.Bounds()
	if err != nil {
		return nil, err
	}
	p, err := k.Prism(plan, box.Min.Z-overshootMM, box.Max.Z+overshootMM)
	if err != nil {
		return nil, err
	}
	column, err := half.Intersect(p)
	if err != nil {
		return nil, err
	}
	m, err := column.Mesh()
	if err != nil {
		return nil, err
	}
	if len(m.Tris) == 0 {
		return nil, ErrNoSurface
	}
	toward, outer := 1.0, box.Min.Z
	if h == Upper {
		toward, outer = -1, box.Max.Z
	}
	far := 0.0
	for _, d := range distances {
		for _, v := range m.Verts {
			far = max(far, math.Abs(d(r2.Vec{X: v.X, Y: v.Y})))
		}
	}
	away := outer - toward*(far+box.Max.Z-box.Min.Z+overshootMM)
	var out *solid.Solid
	for _, d := range distances {
		s, err := k.FromMesh(m.Map(func(v r3.Vec) r3.Vec {
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
