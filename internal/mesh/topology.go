package mesh

// Adjacency gives for each facet the facet across each of its edges; edge k of a facet runs from
// corner k to corner k+1 (mod 3). A value of NoFacet marks an edge that has no single, oppositely
// running partner: a hole, or three or more facets at one edge.
type Adjacency [][3]int32

// NoFacet is the neighbour across an open or non-manifold edge.
const NoFacet int32 = -1

// Adjacency pairs edges by vertex index, so vertices that only coincide must be welded first.
func (m *Mesh) Adjacency() Adjacency {
	type edge struct{ a, b uint32 }
	type use struct{ first, count int32 } // 3*facet+corner of the first use; how many uses
	uses := make(map[edge]use, 3*len(m.Tris))
	for f, t := range m.Tris {
		for k := range 3 {
			e := edge{t[k], t[(k+1)%3]}
			u := uses[e]
			if u.count == 0 {
				u.first = int32(3*f + k)
			}
			u.count++
			uses[e] = u
		}
	}
	adj := make(Adjacency, len(m.Tris))
	for f, t := range m.Tris {
		for k := range 3 {
			adj[f][k] = NoFacet
			a, b := t[k], t[(k+1)%3]
			if o, ok := uses[edge{b, a}]; ok && o.count == 1 && uses[edge{a, b}].count == 1 {
				adj[f][k] = o.first / 3
			}
		}
	}
	return adj
}
