package mesh

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// prepare sets Mesh, Source, Joined and Dropped, and reports degenerate facets.
func (in *Intake) prepare(ctx context.Context, m *Mesh) (*Mesh, error) {
	s := m
	if !closedByIndex(m) {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		w := joinCoincident(m)
		s, in.Joined = w.Mesh, w.Joined
	}
	flat, err := flatFacets(ctx, s)
	if err != nil {
		return nil, err
	}
	drop := droppable(s, flat)
	p := Problem{Kind: Degenerate, Severity: Warning, Remedy: "nothing, if the part looks right; otherwise mesh the part again with a finer tolerance"}
	for _, f := range flat {
		p.add(Where{Facets: []int32{f}, At: centroid(s.Facet(int(f)))})
	}
	in.Dropped = len(drop)
	p.Words = fmt.Sprintf("%d facets have no area; %d of them were left out, the others hold the surface closed", len(flat), len(drop))
	in.report(p)
	if len(drop) > 0 {
		gone := make([]bool, len(s.Tris))
		for _, f := range drop {
			gone[f] = true
		}
		kept := &Mesh{Verts: s.Verts}
		for f, t := range s.Tris {
			if !gone[f] {
				kept.Tris = append(kept.Tris, t)
				in.Source = append(in.Source, int32(f))
			}
		}
		s = kept
	}
	in.Mesh = s
	return s, ctx.Err()
}

func closedByIndex(m *Mesh) bool {
	closed := true
	newEdgeTable(m).each(func(uses []halfEdge) {
		if _, _, ok := opposite(uses); !ok {
			closed = false
		}
	})
	return closed
}

// joinCoincident is Weld at tolerance 0 that keeps every facet.
func joinCoincident(m *Mesh) *Welded {
	to := coincident(m.Verts)
	out := &Mesh{Tris: make([][3]uint32, len(m.Tris))}
	number := make([]uint32, len(m.Verts)) // +1, so that 0 is unseen
	used := make([]bool, len(m.Verts))
	w := &Welded{Mesh: out}
	for f, t := range m.Tris {
		for k, v := range t {
			if !used[v] {
				used[v] = true
				w.Joined++ // those that start a vertex are taken off below
			}
			r := to[v]
			if number[r] == 0 {
				out.Verts = append(out.Verts, m.Verts[r])
				number[r] = uint32(len(out.Verts))
			}
			out.Tris[f][k] = number[r] - 1
		}
	}
	w.Joined -= len(out.Verts)
	return w
}

// flatFacets lists the facets whose corners lie exactly on one line.
func flatFacets(ctx context.Context, m *Mesh) ([]int32, error) {
	var out []int32
	for f := range m.Tris {
		if f%watchEvery == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if t := m.Facet(f); isFlat(t) {
			out = append(out, int32(f))
		}
	}
	return out, nil
}

// watchEvery is how many tests of facets may pass before a loop looks whether its context has ended: some
// ms of work even where every test needs exact arithmetic.
const watchEvery = 4096

// isFlat is exact: three points lie on one line if they do so in all three coordinate planes.
func isFlat(t r3.Triangle) bool {
	for axis := range 3 {
		if orientAlong(axis, t[0], t[1], t[2]) != 0 {
			return false
		}
	}
	return true
}

// orientAlong is the turn of a, b, c seen with one coordinate dropped; dropping is exact.
func orientAlong(axis int, a, b, c r3.Vec) int {
	return geom.Orient2D(drop(axis, a), drop(axis, b), drop(axis, c))
}

func drop(axis int, v r3.Vec) r2.Vec {
	switch axis {
	case 0:
		return r2.Vec{X: v.Y, Y: v.Z}
	case 1:
		return r2.Vec{X: v.Z, Y: v.X}
	}
	return r2.Vec{X: v.X, Y: v.Y}
}

// droppable picks the flat facets that can go without opening the surface: a facet with two equal
// corners, and a group of flat facets joined by edges whose edges all cancel among themselves.
func droppable(m *Mesh, flat []int32) []int32 {
	if len(flat) == 0 {
		return nil
	}
	part := &Mesh{Verts: m.Verts}
	for _, f := range flat {
		part.Tris = append(part.Tris, m.Tris[f])
	}
	group, count := part.Components()
	open := make([]bool, count)
	newEdgeTable(part).each(func(uses []halfEdge) {
		sum := 0
		for _, u := range uses {
			switch {
			case u.low == u.high:
			case u.up:
				sum++
			default:
				sum--
			}
		}
		if sum != 0 {
			open[group[uses[0].id/3]] = true
		}
	})
	var out []int32
	for i, f := range flat {
		t := m.Tris[f]
		if !open[group[i]] || t[0] == t[1] || t[1] == t[2] || t[2] == t[0] {
			out = append(out, f)
		}
	}
	return out
}

// duplicates reports facets with the same three vertices as an earlier one, turned or not.
func (in *Intake) duplicates(s *Mesh) {
	type key struct {
		v [3]uint32
		f int32
	}
	// Only facets with the same lowest vertex can be equal; a counting sort brings them together.
	start := make([]int32, len(s.Verts)+1)
	for _, t := range s.Tris {
		start[min(t[0], t[1], t[2])+1]++
	}
	for i := 1; i < len(start); i++ {
		start[i] += start[i-1]
	}
	next := slices.Clone(start)
	keys := make([]key, len(s.Tris))
	for f, t := range s.Tris {
		v := t
		slices.Sort(v[:])
		keys[next[v[0]]] = key{v, int32(f)}
		next[v[0]]++
	}
	p := Problem{Kind: Duplicate, Severity: Fatal, Remedy: "delete the double facets, or export the part again"}
	var pairs [][2]int32
	for v := range s.Verts {
		list := keys[start[v]:start[v+1]]
		slices.SortFunc(list, func(a, b key) int {
			return cmp.Or(cmp.Compare(a.v[1], b.v[1]), cmp.Compare(a.v[2], b.v[2]), cmp.Compare(a.f, b.f))
		})
		for i := 1; i < len(list); i++ {
			if list[i].v == list[i-1].v {
				pairs = append(pairs, [2]int32{list[i-1].f, list[i].f})
			}
		}
	}
	slices.SortFunc(pairs, func(a, b [2]int32) int { return cmp.Or(cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0])) })
	for _, q := range pairs {
		p.add(in.at(q[0], q[1]))
	}
	p.Words = fmt.Sprintf("%d facets have the same corners as another", p.Count)
	in.report(p)
}
