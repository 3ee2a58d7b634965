package mesh

import (
	"cmp"
	"slices"
)

// A half-edge is 3*facet+corner: the edge of a facet that starts at that corner.

// edgeTable groups the half-edges of a mesh by the undirected edge they lie on.
type edgeTable struct {
	half []halfEdge // sorted by low vertex, then high vertex, then half-edge number
}

type halfEdge struct {
	low, high uint32
	id        int32
	up        bool // runs from low to high
}

// newEdgeTable sorts by low vertex with a counting sort and then each vertex's few edges by hand, so
// it takes linear time on any mesh whose vertices have few edges.
func newEdgeTable(m *Mesh) *edgeTable {
	start := make([]int32, len(m.Verts)+1)
	for _, t := range m.Tris {
		for k := range 3 {
			start[min(t[k], t[(k+1)%3])+1]++
		}
	}
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	half := make([]halfEdge, 3*len(m.Tris))
	fillAt := slices.Clone(start[:len(m.Verts)])
	for f, t := range m.Tris {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			low, high := min(a, b), max(a, b)
			half[fillAt[low]] = halfEdge{low: low, high: high, id: int32(3*f + k), up: a < b}
			fillAt[low]++
		}
	}
	for v := range m.Verts {
		sortByHigh(half[start[v]:start[v+1]])
	}
	return &edgeTable{half: half}
}

// sortByHigh is stable, so uses of one edge stay in facet order.
func sortByHigh(h []halfEdge) {
	const few = 24 // insertion beats the library's sort for short lists
	if len(h) > few {
		slices.SortStableFunc(h, func(a, b halfEdge) int { return cmp.Compare(a.high, b.high) })
		return
	}
	for i := 1; i < len(h); i++ {
		x := h[i]
		j := i
		for ; j > 0 && h[j-1].high > x.high; j-- {
			h[j] = h[j-1]
		}
		h[j] = x
	}
}

// each calls visit with the uses of every undirected edge, in order of its vertices.
func (e *edgeTable) each(visit func(uses []halfEdge)) {
	for i := 0; i < len(e.half); {
		j := i + 1
		for j < len(e.half) && e.half[j].low == e.half[i].low && e.half[j].high == e.half[i].high {
			j++
		}
		visit(e.half[i:j])
		i = j
	}
}

// shells gives each facet the number of its shell, as Mesh.Components does.
func (e *edgeTable) shells() (of []int32, count int) {
	sets := NewDisjointSets(len(e.half) / 3)
	e.each(func(uses []halfEdge) {
		for _, u := range uses[1:] {
			sets.Join(uses[0].id/3, u.id/3)
		}
	})
	return sets.Number()
}

// opposite returns the one use in each direction, or ok false if there is not exactly one of each.
func opposite(uses []halfEdge) (up, down int32, ok bool) {
	if len(uses) != 2 || uses[0].up == uses[1].up || uses[0].low == uses[0].high {
		return 0, 0, false
	}
	if uses[0].up {
		return uses[0].id, uses[1].id, true
	}
	return uses[1].id, uses[0].id, true
}
