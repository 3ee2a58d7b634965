package tooling

import (
	"cmp"
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// highPoint is a place where air gathers while the mould, lying flat, is filled.
type highPoint struct {
	at   r3.Vec
	rise float64 // how far it stands over the lowest ridge by which the air could leave to a higher one; +Inf for the highest
}

// pocketMM is the least rise that counts: a shallower pocket is the size of the bubbles that a degassed
// resin still carries. Common practice, no source.
const pocketMM = 0.5

// highPoints finds the high points of a part's surface, the one with the greatest rise first, by
// flooding from the top: corners enter in falling order, regions that meet are joined, and the lower
// one's summit ends there.
func highPoints(m *mesh.Mesh) (out []highPoint) {
	order := make([]int32, len(m.Verts))
	for i := range order {
		order[i] = int32(i)
	}
	higher := func(a, b int32) int { return cmp.Or(cmp.Compare(m.Verts[b].Z, m.Verts[a].Z), cmp.Compare(a, b)) }
	slices.SortFunc(order, higher)
	rank := make([]int32, len(order))
	for i, v := range order {
		rank[v] = int32(i)
	}
	lead := make([]int32, len(order)) // each region is led by its summit
	for i := range lead {
		lead[i] = int32(i)
	}
	find := func(v int32) int32 {
		for lead[v] != v {
			lead[v] = lead[lead[v]]
			v = lead[v]
		}
		return v
	}
	start, near := neighbours(m)
	for _, v := range order {
		for _, w := range near[start[v]:start[v+1]] {
			if rank[w] > rank[v] {
				continue
			}
			a, b := find(v), find(w)
			if a == b {
				continue
			}
			if rank[a] > rank[b] {
				a, b = b, a
			}
			lead[b] = a
			if rise := m.Verts[b].Z - m.Verts[v].Z; rise > pocketMM {
				out = append(out, highPoint{m.Verts[b], rise})
			}
		}
	}
	for _, v := range order {
		if lead[v] == v && start[v] < start[v+1] {
			out = append(out, highPoint{m.Verts[v], math.Inf(1)})
		}
	}
	slices.SortStableFunc(out, func(a, b highPoint) int { return cmp.Or(cmp.Compare(b.rise, a.rise), cmp.Compare(b.at.Z, a.at.Z)) })
	return out
}

// neighbours lists each corner's neighbours along edges: those of v are near[start[v]:start[v+1]].
func neighbours(m *mesh.Mesh) (start, near []int32) {
	start = make([]int32, len(m.Verts)+1)
	for _, t := range m.Tris {
		for _, v := range t {
			start[v+1]++
		}
	}
	for i := range m.Verts {
		start[i+1] += start[i]
	}
	at := slices.Clone(start[:len(m.Verts)])
	near = make([]int32, start[len(m.Verts)])
	for _, t := range m.Tris {
		// In a closed surface each edge is in two facets, one way each: one direction is enough.
		for k, v := range t {
			near[at[v]] = int32(t[(k+1)%3])
			at[v]++
		}
	}
	return start, near
}
