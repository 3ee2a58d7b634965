package solid

import "fmt"

// Union returns s together with the others. Faces that coincide are joined.
func (s *Solid) Union(others ...*Solid) (*Solid, error) {
	return s.combine("union", "_manifoldUnionN", others)
}

// Subtract returns s without the others.
func (s *Solid) Subtract(others ...*Solid) (*Solid, error) {
	return s.combine("subtract", "_manifoldDifferenceN", others)
}

// Intersect returns what s and all the others have in common.
func (s *Solid) Intersect(others ...*Solid) (*Solid, error) {
	return s.combine("intersect", "_manifoldIntersectionN", others)
}

// Union returns all the solids in one; the empty solid when there are none.
func (k *Kernel) Union(solids ...*Solid) (*Solid, error) {
	return k.nary("union", "_manifoldUnionN", solids)
}

func (s *Solid) combine(op, fn string, others []*Solid) (*Solid, error) {
	if s == nil {
		return nil, fmt.Errorf("solid: %s: %w", op, ErrFreed)
	}
	return s.k.nary(op, fn, append([]*Solid{s}, others...))
}

// nary hands all operands over at once; the library orders the work by size and joins bodies whose
// bounds are apart without computing anything.
func (k *Kernel) nary(op, fn string, operands []*Solid) (*Solid, error) {
	return k.build(op, func(h *host) (address, error) {
		for i, s := range operands {
			if err := s.usable(k); err != nil {
				return 0, fmt.Errorf("operand %d: %w", i, err)
			}
		}
		list := h.construct(clsManifolds)
		defer h.destroy(clsManifolds, list)
		for _, s := range operands {
			h.method(clsManifolds, "push_back", list, s.a)
		}
		return dropFilm(h, h.function(fn, list).(address)), nil
	})
}

// takeList owns the bodies of a list of the library, and frees the list.
func (k *Kernel) takeList(h *host, list address) (out []*Solid, err error) {
	defer h.destroy(clsManifolds, list)
	n := int(number(h.method(clsManifolds, "size", list)))
	for i := range n {
		a, ok := h.method(clsManifolds, "get", list, i).(address)
		if !ok {
			fail("list element %d is not a body", i)
		}
		s, err := k.own(h, a)
		if err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, nil
}
