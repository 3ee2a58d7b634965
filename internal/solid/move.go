package solid

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Affine takes the point p to p.X·X + p.Y·Y + p.Z·Z + Origin.
type Affine struct{ X, Y, Z, Origin r3.Vec }

// Identity leaves points where they are.
var Identity = Affine{X: r3.Vec{X: 1}, Y: r3.Vec{Y: 1}, Z: r3.Vec{Z: 1}}

func finite(vs ...r3.Vec) bool {
	for _, v := range vs {
		if v.X-v.X != 0 || v.Y-v.Y != 0 || v.Z-v.Z != 0 {
			return false
		}
	}
	return true
}

// Translate moves the solid by v.
func (s *Solid) Translate(v r3.Vec) (*Solid, error) {
	if !finite(v) {
		return nil, badArgument("translation by %v", v)
	}
	return s.derive("translate", "_Translate", vecObject(v))
}

// Transform maps the solid. A mirroring map keeps facets outward; axes that span no volume are
// refused.
func (s *Solid) Transform(t Affine) (*Solid, error) {
	det := r3.Dot(t.X, r3.Cross(t.Y, t.Z))
	if !finite(t.X, t.Y, t.Z, t.Origin) || det == 0 || math.IsNaN(det) || math.IsInf(det, 0) {
		return nil, badArgument("transform with axes %v, %v, %v and origin %v", t.X, t.Y, t.Z, t.Origin)
	}
	m := make([]float64, 0, 16)
	for _, c := range []r3.Vec{t.X, t.Y, t.Z, t.Origin} {
		m = append(m, c.X, c.Y, c.Z, 0)
	}
	m[15] = 1
	return s.derive("transform", "transform", m)
}

// Hull is the convex hull.
func (s *Solid) Hull() (*Solid, error) { return s.derive("hull", "hull") }

// Hull is the convex hull of points; it is empty when they lie in a plane.
func (k *Kernel) Hull(points []r3.Vec) (*Solid, error) {
	if !finite(points...) {
		return nil, badArgument("hull of a point that is not finite")
	}
	return k.build("hull", func(h *host) (address, error) {
		list := h.construct(clsPoints3)
		defer h.destroy(clsPoints3, list)
		h.method(clsPoints3, "resize", list, len(points), vecObject(r3.Vec{}))
		b := vectorBytes(h.mod.Memory(), uint32(list))
		for i, p := range points {
			putVec3(b[sizeVec3*i:], p)
		}
		return h.function("_manifoldHullPoints", list).(address), nil
	})
}
