package mesh

import "gonum.org/v1/gonum/spatial/r3"

// Subdivided is the same surface with edges of at most edgeMM: longer ones are halved, in rounds, and the
// facets beside them cut to match, so that it stays closed where it was. It stops early rather than make
// more than mostFacets. Vertices of m keep their numbers.
func (m *Mesh) Subdivided(edgeMM float64, mostFacets int) *Mesh {
	out := &Mesh{Verts: append([]r3.Vec(nil), m.Verts...), Tris: append([][3]uint32(nil), m.Tris...)}
	for {
		middle := map[[2]uint32]uint32{}
		long := false // an edge is
		first := len(out.Verts)
		mid := func(a, b uint32) (uint32, bool) {
			if r3.Norm2(r3.Sub(out.Verts[a], out.Verts[b])) <= edgeMM*edgeMM {
				return 0, false
			}
			key := [2]uint32{min(a, b), max(a, b)}
			v, ok := middle[key]
			if !ok {
				v = uint32(len(out.Verts))
				out.Verts = append(out.Verts, r3.Scale(0.5, r3.Add(out.Verts[key[0]], out.Verts[key[1]])))
				middle[key] = v
			}
			return v, true
		}
		var tris [][3]uint32
		for _, t := range out.Tris {
			var cut [3]bool
			var at [3]uint32
			for k := range 3 {
				at[k], cut[k] = mid(t[k], t[(k+1)%3])
				long = long || cut[k]
			}
			tris = append(tris, cutFacet(out.Verts, t, at, cut)...)
		}
		if !long {
			return out
		}
		if len(tris) > mostFacets {
			out.Verts = out.Verts[:first]
			return out
		}
		out.Tris = tris
	}
}

// cutFacet cuts a facet whose edge k, from corner k, has a middle where cut[k].
func cutFacet(verts []r3.Vec, t, at [3]uint32, cut [3]bool) [][3]uint32 {
	switch {
	case cut[0] && cut[1] && cut[2]:
		return [][3]uint32{{t[0], at[0], at[2]}, {at[0], t[1], at[1]}, {at[2], at[1], t[2]}, {at[0], at[1], at[2]}}
	case !cut[0] && !cut[1] && !cut[2]:
		return [][3]uint32{t}
	}
	for k := range 3 {
		i, j := (k+1)%3, (k+2)%3
		if cut[k] && !cut[i] && !cut[j] { // one edge: two facets
			return [][3]uint32{{t[k], at[k], t[j]}, {at[k], t[i], t[j]}}
		}
		if cut[k] && cut[i] && !cut[j] { // two edges meet at corner i: its corner, and the rest by its shorter diagonal
			corner := [3]uint32{at[k], t[i], at[i]}
			if r3.Norm2(r3.Sub(verts[at[i]], verts[t[k]])) <= r3.Norm2(r3.Sub(verts[at[k]], verts[t[j]])) {
				return [][3]uint32{corner, {t[k], at[k], at[i]}, {t[k], at[i], t[j]}}
			}
			return [][3]uint32{corner, {at[k], at[i], t[j]}, {t[k], at[k], t[j]}}
		}
	}
	return nil // every combination was met above
}
