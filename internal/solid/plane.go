package solid

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// SplitByPlane cuts along the plane of points p with p·normal = offset·|normal| and returns the part
// on the side that the normal points to, and the rest; either may be empty.
func (s *Solid) SplitByPlane(normal r3.Vec, offset float64) (above, below *Solid, err error) {
	if above, err = s.TrimByPlane(normal, offset); err != nil {
		return nil, nil, err
	}
	below, err = s.TrimByPlane(r3.Scale(-1, normal), -offset)
	return above, below, err
}

// TrimByPlane keeps what lies on the side of the plane p·normal = offset·|normal| that the normal
// points to. For a normal along a coordinate axis the cut face lies exactly at the offset.
func (s *Solid) TrimByPlane(normal r3.Vec, offset float64) (*Solid, error) {
	if s == nil {
		return nil, ErrFreed
	}
	if !finite(normal) || normal == (r3.Vec{}) || offset-offset != 0 {
		return nil, badArgument("plane with normal %v at %g", normal, offset)
	}
	if axis, sign, ok := alongAxis(normal); ok {
		return s.trimByAxis(axis, sign, offset)
	}
	return s.k.build("cut by a plane", func(h *host) (address, error) {
		if err := s.usable(s.k); err != nil {
			return 0, err
		}
		return dropFilm(h, h.method(clsManifold, "_TrimByPlane", s.a, vecObject(normal), offset).(address)), nil
	})
}

// alongAxis reports the coordinate axis (0, 1, 2) that n lies along and its sign.
func alongAxis(n r3.Vec) (axis int, sign float64, ok bool) {
	for i, c := range [3]float64{n.X, n.Y, n.Z} {
		switch {
		case c == 0:
		case ok:
			return 0, 0, false
		case c > 0:
			axis, sign, ok = i, 1, true
		default:
			axis, sign, ok = i, -1, true
		}
	}
	return axis, sign, ok
}

// trimByAxis intersects with a box that has the plane as an exact face. (The library's own cutter is
// turned and moved into place, which rounds.)
func (s *Solid) trimByAxis(axis int, sign, offset float64) (*Solid, error) {
	b, err := s.Bounds()
	if err != nil {
		return nil, err
	}
	lo, hi := [3]float64{b.Min.X, b.Min.Y, b.Min.Z}, [3]float64{b.Max.X, b.Max.Y, b.Max.Z}
	at := sign * offset // p·normal = offset, on the axis
	switch {
	case sign > 0 && at <= lo[axis], sign < 0 && at >= hi[axis]:
		return s.Union() // all of it
	case sign > 0 && at >= hi[axis], sign < 0 && at <= lo[axis]:
		return s.k.Union() // nothing
	}
	margin := r3.Norm(r3.Sub(b.Max, b.Min)) // any: it only keeps the other faces away
	for i := range 3 {
		lo[i] -= margin
		hi[i] += margin
	}
	if sign > 0 {
		lo[axis] = at
	} else {
		hi[axis] = at
	}
	cutter, err := s.k.Box(r3.Box{Min: r3.Vec{X: lo[0], Y: lo[1], Z: lo[2]}, Max: r3.Vec{X: hi[0], Y: hi[1], Z: hi[2]}})
	if err != nil {
		return nil, err
	}
	defer cutter.Free()
	return s.Intersect(cutter)
}

// Slice returns the outlines of the section at height z (mm): outer loops counter-clockwise seen
// from +z, holes clockwise, in full precision. Where a horizontal face lies at z, the section is that
// just above it; so the bottom face has a section, and the top face has none.
func (s *Solid) Slice(z float64) ([][]r2.Vec, error) {
	if z-z != 0 {
		return nil, badArgument("section at z = %g", z)
	}
	loops, err := s.loopsOf("section", "_Slice", z)
	if err != nil {
		return nil, err
	}
	return withoutRepeats(loops), nil
}

// withoutRepeats drops points equal to the one before, which a section through a vertex has, and
// what is no loop then.
func withoutRepeats(loops [][]r2.Vec) (out [][]r2.Vec) {
	for _, l := range loops {
		l = slices.Compact(l)
		for len(l) > 1 && l[0] == l[len(l)-1] {
			l = l[:len(l)-1]
		}
		if len(l) >= minSegments {
			out = append(out, l)
		}
	}
	return out
}

// Project returns the outlines of the shadow along z, which may overlap; make a Region of them.
func (s *Solid) Project() (loops [][]r2.Vec, err error) {
	return s.loopsOf("project", "_Project")
}

func (s *Solid) loopsOf(op, method string, args ...any) (loops [][]r2.Vec, err error) {
	if s == nil {
		return nil, ErrFreed
	}
	err = s.k.do(op, func(h *host) error {
		if err := s.usable(s.k); err != nil {
			return err
		}
		loops = takeLoops(h, h.method(clsManifold, method, append([]any{s.a}, args...)...).(address))
		return nil
	})
	return loops, err
}
