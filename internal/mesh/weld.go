package mesh

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Welded is what Weld did.
type Welded struct {
	Mesh *Mesh
	// Source is the facet of the input that each facet of Mesh came from; nil when all were kept.
	Source []int32
	// Joined counts used vertices that became one with another; Unused those no facet used, which
	// are left out; Collapsed the facets that got two equal corners and were left out.
	Joined, Unused, Collapsed int
	// MovedMM is the furthest that a vertex moved, at most the tolerance.
	MovedMM float64
}

// Weld is WeldReport without the report.
func Weld(m *Mesh, tolMM float64) *Mesh { return WeldReport(m, tolMM).Mesh }

// WeldReport joins vertices that lie within tolMM of each other; with tolMM 0, only those at the
// same place (−0 and 0 are the same). Vertices are taken in order of x, y, z, and each joins the
// nearest earlier one kept within the tolerance, so no vertex moves further than that and the
// result does not depend on how the vertices were numbered.
//
// A facet whose corners become one is dropped. That never opens a closed surface: facet a, a, b has
// the edges a→b and b→a, which cancel.
func WeldReport(m *Mesh, tolMM float64) *Welded {
	to := coincident(m.Verts)
	if tolMM > 0 {
		joinNear(m.Verts, to, tolMM)
	}
	return rebuild(m, to)
}

// rebuild makes the mesh in which vertex i has become vertex to[i], numbered by first use.
func rebuild(m *Mesh, to []uint32) *Welded {
	const unseen = math.MaxUint32
	number := make([]uint32, len(m.Verts))
	used := make([]bool, len(m.Verts))
	for i := range number {
		number[i] = unseen
	}
	w := &Welded{}
	out := &Mesh{Tris: make([][3]uint32, 0, len(m.Tris))}
	for f, t := range m.Tris {
		var n [3]uint32
		for k, v := range t {
			used[v] = true
			r := to[v]
			if number[r] == unseen {
				number[r] = uint32(len(out.Verts))
				out.Verts = append(out.Verts, m.Verts[r])
			}
			n[k] = number[r]
			if r != v {
				w.MovedMM = max(w.MovedMM, r3.Norm(r3.Sub(m.Verts[r], m.Verts[v])))
			}
		}
		if n[0] == n[1] || n[1] == n[2] || n[2] == n[0] {
			if w.Source == nil {
				w.Source = make([]int32, f, len(m.Tris))
				for i := range w.Source {
					w.Source[i] = int32(i)
				}
			}
			w.Collapsed++
			continue
		}
		out.Tris = append(out.Tris, n)
		if w.Source != nil {
			w.Source = append(w.Source, int32(f))
		}
	}
	total := 0
	for _, u := range used {
		if u {
			total++
		}
	}
	w.Unused, w.Joined = len(used)-total, total-len(out.Verts)
	w.Mesh = dropUnused(out)
	return w
}

// dropUnused leaves out vertices that only collapsed facets used.
func dropUnused(m *Mesh) *Mesh {
	number := make([]uint32, len(m.Verts))
	for _, t := range m.Tris {
		for _, v := range t {
			number[v] = 1
		}
	}
	verts := m.Verts[:0]
	for i, u := range number {
		if u != 0 {
			number[i] = uint32(len(verts))
			verts = append(verts, m.Verts[i])
		}
	}
	if len(verts) == len(number) {
		return m
	}
	for f, t := range m.Tris {
		m.Tris[f] = [3]uint32{number[t[0]], number[t[1]], number[t[2]]}
	}
	m.Verts = verts
	return m
}

// coincident gives for each vertex the first vertex at exactly the same place, by an open-addressed
// hash table. A vertex with a NaN is the same as no other.
func coincident(verts []r3.Vec) []uint32 {
	to := make([]uint32, len(verts))
	size := 16
	for size < 2*len(verts) {
		size *= 2
	}
	table := make([]uint32, size) // vertex+1; 0 is empty
	mask := uint64(size - 1)
	for i, v := range verts {
		h := hashPlace(v) & mask
		to[i] = uint32(i)
		for ; table[h] != 0; h = (h + 1) & mask {
			if j := table[h] - 1; verts[j] == v {
				to[i] = j
				break
			}
		}
		if table[h] == 0 {
			table[h] = uint32(i) + 1
		}
	}
	return to
}

func hashPlace(v r3.Vec) uint64 {
	// Adding 0 turns −0 into 0, so that equal places hash alike.
	h := mix(math.Float64bits(v.X + 0))
	h = mix(h ^ math.Float64bits(v.Y+0))
	return mix(h ^ math.Float64bits(v.Z+0))
}

// mix spreads the bits of x: the finaliser of a linear-congruential generator by odd constants.
func mix(x uint64) uint64 {
	x ^= x >> 32
	x *= 0x9e3779b97f4a7c15
	x ^= x >> 29
	x *= 0xbf58476d1ce4e5b9
	x ^= x >> 32
	return x
}

// joinNear sends each group of coincident vertices to the nearest kept vertex within tol.
func joinNear(verts []r3.Vec, to []uint32, tol float64) {
	var order []uint32
	for i := range to {
		if to[i] == uint32(i) && Finite(verts[i]) {
			order = append(order, uint32(i))
		}
	}
	slices.SortFunc(order, func(a, b uint32) int { return comparePlaces(verts[a], verts[b]) })
	type cell [3]float64 // float cells cannot overflow as integer ones would
	at := func(v r3.Vec) cell {
		return cell{math.Floor(v.X / tol), math.Floor(v.Y / tol), math.Floor(v.Z / tol)}
	}
	grid := make(map[cell][]uint32, len(order))
	join := make([]uint32, len(verts))
	for _, i := range order {
		join[i] = i
		c := at(verts[i])
		best := tol
		for n := range 27 {
			near := cell{c[0] + float64(n%3-1), c[1] + float64(n/3%3-1), c[2] + float64(n/9-1)}
			for _, j := range grid[near] {
				d := r3.Norm(r3.Sub(verts[i], verts[j]))
				// On equal distance the earlier in x, y, z wins, whatever the order of the cells.
				if d < best || d == best && (join[i] == i || comparePlaces(verts[j], verts[join[i]]) < 0) {
					best, join[i] = d, j
				}
			}
		}
		if join[i] == i {
			grid[c] = append(grid[c], i)
		}
	}
	for i := range to {
		if Finite(verts[i]) {
			to[i] = join[to[i]]
		}
	}
}

func comparePlaces(a, b r3.Vec) int {
	return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
}
