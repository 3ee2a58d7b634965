package solid

import (
	"math"

	"mouldwright/internal/mesh"
)

// flatness is the thickness, as a fraction of the largest coordinate, below which a body counts as
// nothing. Where operands touch, a boolean may leave a closed film of facets whose two sides lie in
// the same plane but for rounding. That is 1e-16 of a coordinate for one operation; a thousand times
// it is room for a chain of them, and still below what the library itself can tell apart (1e-12).
const flatness = 1e-13

// isFilm reports whether a closed surface encloses nothing but rounding.
func isFilm(volume, area, reach float64) bool {
	return math.Abs(volume) <= flatness*reach*area
}

func reachOf(m *mesh.Mesh) float64 {
	b := m.Bounds()
	r := 0.0
	for _, x := range []float64{b.Min.X, b.Min.Y, b.Min.Z, b.Max.X, b.Max.Y, b.Max.Z} {
		r = max(r, math.Abs(x))
	}
	return r
}

// dropFilm takes a body of the library that is nothing but film for the empty one.
func dropFilm(h *host, a address) address {
	box, _ := h.method(clsManifold, "_boundingBox", a).(object)
	reach := 0.0
	for _, corner := range box {
		c, _ := corner.(object)
		for _, x := range c {
			reach = max(reach, math.Abs(number(x)))
		}
	}
	volume, area := number(h.method(clsManifold, "volume", a)), number(h.method(clsManifold, "surfaceArea", a))
	if area == 0 || !isFilm(volume, area, reach) {
		return a
	}
	h.destroy(clsManifold, a)
	list := h.construct(clsManifolds)
	defer h.destroy(clsManifolds, list)
	return h.function("_manifoldUnionN", list).(address)
}

// Clean returns the same body with fewer facets: coplanar neighbours, which a boolean keeps apart
// when they come from different operands, are merged, and films without thickness that it may leave
// where operands touch are dropped. The shape stays within ToleranceMM. Use it on what is written or
// shown.
func (s *Solid) Clean() (*Solid, error) {
	// As an original, the body no longer remembers which operand a facet came from.
	whole, err := s.derive("clean", "asOriginal")
	if err != nil {
		return nil, err
	}
	defer whole.Free()
	merged, err := whole.Simplify(0)
	if err != nil {
		return nil, err
	}
	shells, films, err := merged.shells()
	if err != nil || films == 0 {
		return merged, err
	}
	defer merged.Free()
	if len(shells) == 0 {
		return s.k.Union()
	}
	var rest []*mesh.Mesh
	for _, o := range shells {
		rest = append(rest, o.mesh)
	}
	return s.k.FromMesh(joined(rest[0], rest[1:]))
}
