package fill

// The volume of the space above a height h, from the facets that bound it: by the divergence theorem
// for the field (0, 0, z−h), which vanishes on the cap at z = h,
//
//	V(h) = Σ over facets ∫ (z − h) n_z dA over the part of the facet above h
//
// where n points out of the space. A facet's projected area A_z = ∫ n_z dA is signed; over the small
// triangle that h cuts off at one corner the area is A_z times the product of the two cut shares and
// the mean height above h a third of the corner's.

// slope is what a facet contributes: its corners' heights, falling, and its signed projected area.
type slope struct {
	top, mid, low float64
	area          float64
}

// above is the facet's share of the volume above h.
func (s *slope) above(h float64) float64 {
	switch {
	case h <= s.low:
		return s.area * ((s.top - h) + (s.mid - h) + (s.low - h)) / 3
	case h >= s.top:
		return 0
	case h >= s.mid:
		d := s.top - h
		return s.area * d / 3 * (d / (s.top - s.mid)) * (d / (s.top - s.low))
	default:
		d := h - s.low
		return s.area*((s.top-h)+(s.mid-h)+(s.low-h))/3 + s.area*d/3*(d/(s.top-s.low))*(d/(s.mid-s.low))
	}
}

// tally is the set of facets that bound one part of the space, as seen from a falling height: those
// wholly above it are kept as two sums, the others one by one.
type tally struct {
	area, moment float64 // Σ A_z and Σ A_z·mean z of facets wholly above
	head, tail   int32   // linked list of facets partly above; −1 when empty
}
