package solid

import "gonum.org/v1/gonum/spatial/r3"

func (s *Solid) number(op, method string) (x float64, err error) {
	err = s.ask(op, method, func(v any) { x = number(v) })
	return x, err
}

// VolumeMM3 is the volume in mm³; a cavity counts as empty.
func (s *Solid) VolumeMM3() (float64, error) { return s.number("volume", "volume") }

// AreaMM2 is the area of the whole surface in mm², cavities included.
func (s *Solid) AreaMM2() (float64, error) { return s.number("area", "surfaceArea") }

// Facets is the number of facets.
func (s *Solid) Facets() (int, error) {
	n, err := s.number("count facets", "numTri")
	return int(n), err
}

// IsEmpty reports whether the solid has no facets.
func (s *Solid) IsEmpty() (empty bool, err error) {
	err = s.ask("test for empty", "isEmpty", func(v any) { empty, _ = v.(bool) })
	return empty, err
}

// Genus is the number of handles (a ring has 1), computed from 1 − χ/2 over the whole surface: for n
// separate shells (parts and cavities) the sum of their handles less n−1.
func (s *Solid) Genus() (int, error) {
	n, err := s.number("genus", "genus")
	return int(n), err
}

// Bounds is the smallest box around the solid; the zero box when it is empty.
func (s *Solid) Bounds() (b r3.Box, err error) {
	empty, err := s.IsEmpty()
	if err != nil || empty {
		return b, err
	}
	err = s.ask("bounds", "_boundingBox", func(v any) {
		o, _ := v.(object)
		b = r3.Box{Min: vecOf(o["min"]), Max: vecOf(o["max"])}
	})
	return b, err
}

func vecOf(v any) r3.Vec {
	o, _ := v.(object)
	return r3.Vec{X: number(o["x"]), Y: number(o["y"]), Z: number(o["z"])}
}

func vecObject(v r3.Vec) object { return object{"x": v.X, "y": v.Y, "z": v.Z} }

// ToleranceMM is the distance within which the library may treat features as one: at least about
// 1e-12 of the size, and grown by operations that round.
func (s *Solid) ToleranceMM() (float64, error) { return s.number("tolerance", "tolerance") }

// WithTolerance returns the solid with another tolerance in mm, raised to the least that its
// coordinates allow. A larger one lets facets that are flat within it merge, which changes the shape
// by up to that much.
func (s *Solid) WithTolerance(mm float64) (*Solid, error) {
	if !(mm >= 0) {
		return nil, badArgument("tolerance %g mm", mm)
	}
	return s.derive("set the tolerance", "setTolerance", mm)
}

// Simplify merges vertices, and flattens faces, that differ by less than mm.
func (s *Solid) Simplify(mm float64) (*Solid, error) {
	if !(mm >= 0) {
		return nil, badArgument("tolerance %g mm", mm)
	}
	return s.derive("simplify", "_Simplify", mm)
}

// GapMM is the least distance between s and t in mm, up to searchMM; 0 when they touch or overlap.
func (s *Solid) GapMM(t *Solid, searchMM float64) (gap float64, err error) {
	if s == nil {
		return 0, ErrFreed
	}
	if !(searchMM > 0) {
		return 0, badArgument("search distance %g mm", searchMM)
	}
	err = s.k.do("gap", func(h *host) error {
		for _, o := range []*Solid{s, t} {
			if err := o.usable(s.k); err != nil {
				return err
			}
		}
		gap = number(h.method(clsManifold, "minGap", s.a, t.a, searchMM))
		return nil
	})
	return gap, err
}
