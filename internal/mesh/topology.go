package mesh

// Adjacency gives for each facet the facet across each of its edges; edge k of a facet runs from
// corner k to corner k+1 (mod 3). A value of NoFacet marks an edge that has no single, oppositely
// running partner: a hole, or three or more facets at one edge.
type Adjacency [][3]int32

// NoFacet is the neighbour across an open or non-manifold edge.
const NoFacet int32 = -1

// Adjacency pairs edges by vertex index, so vertices that only coincide must be welded first. An
// edge whose two ends are one vertex has no partner.
func (m *Mesh) Adjacency() Adjacency {
	adj := make(Adjacency, len(m.Tris))
	for f := range adj {
		adj[f] = [3]int32{NoFacet, NoFacet, NoFacet}
	}
	newEdgeTable(m).each(func(uses []halfEdge) {
		if a, b, ok := opposite(uses); ok {
			adj[a/3][a%3] = b / 3
			adj[b/3][b%3] = a / 3
		}
	})
	return adj
}

// Components numbers the shells of a mesh: facets that share an edge, by vertex index, lie in one.
// Shells are numbered by their first facet.
func (m *Mesh) Components() (shell []int32, count int) {
	return newEdgeTable(m).shells()
}

// Split returns one mesh a shell, in the order of Components. Each has its own vertices.
func (m *Mesh) Split() []*Mesh {
	shell, count := m.Components()
	out := make([]*Mesh, count)
	for i := range out {
		out[i] = &Mesh{}
	}
	// A vertex may be used by several shells, so its number is kept for the shell that used it last
	// and facets are visited shell by shell.
	facets := groupBy(shell, count)
	number := make([]uint32, len(m.Verts))
	last := make([]int32, len(m.Verts))
	for s, list := range facets {
		o := out[s]
		for _, f := range list {
			var n [3]uint32
			for k, v := range m.Tris[f] {
				if last[v] != int32(s)+1 {
					last[v], number[v] = int32(s)+1, uint32(len(o.Verts))
					o.Verts = append(o.Verts, m.Verts[v])
				}
				n[k] = number[v]
			}
			o.Tris = append(o.Tris, n)
		}
	}
	return out
}

// groupBy lists the indices of each group, ascending.
func groupBy(group []int32, count int) [][]int32 {
	out := make([][]int32, count)
	for i, g := range group {
		out[g] = append(out[g], int32(i))
	}
	return out
}
