package mesh

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// surface is a mesh with its half-edges paired, for Inspect.
type surface struct {
	*Mesh
	// mate is the half-edge on the other side, or isOpen, or isNonManifold; two facets that run the
	// same way along an edge have turnedMate of each other.
	mate  []int32
	shell []int32
	count int // of shells

	openEdges     int
	nonManifold   [][]int32 // facets at each edge of three or more
	turned        [][2]int32
	edgesOfShell  []int
	brokenOfShell []bool // has an edge that is not a pair of opposite uses
}

const (
	isOpen        int32 = -1
	isNonManifold int32 = -2
)

// turnedMate marks a mate that runs the same way.
func turnedMate(h int32) int32 { return -3 - h }

func newSurface(ctx context.Context, m *Mesh) (*surface, error) {
	s := &surface{Mesh: m, mate: make([]int32, 3*len(m.Tris))}
	table := newEdgeTable(m)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.shell, s.count = table.shells()
	s.edgesOfShell, s.brokenOfShell = make([]int, s.count), make([]bool, s.count)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	table.each(s.pair)
	return s, ctx.Err()
}

func (s *surface) pair(uses []halfEdge) {
	shell := s.shell[uses[0].id/3]
	s.edgesOfShell[shell]++
	if up, down, ok := opposite(uses); ok {
		s.mate[up], s.mate[down] = down, up
		return
	}
	s.brokenOfShell[shell] = true
	switch {
	case len(uses) == 1:
		s.openEdges++
		s.mate[uses[0].id] = isOpen
	case len(uses) == 2:
		s.mate[uses[0].id], s.mate[uses[1].id] = turnedMate(uses[1].id), turnedMate(uses[0].id)
		s.turned = append(s.turned, [2]int32{uses[0].id / 3, uses[1].id / 3})
	default:
		var facets []int32
		for _, u := range uses {
			s.mate[u.id] = isNonManifold
			facets = append(facets, u.id/3)
		}
		s.nonManifold = append(s.nonManifold, facets)
	}
}

// next is the half-edge after h around its facet.
func next(h int32) int32 {
	if h%3 == 2 {
		return h - 2
	}
	return h + 1
}

// from is the vertex at which half-edge h starts.
func (s *surface) from(h int32) uint32 { return s.Tris[h/3][h%3] }

// edges reports holes and non-manifold edges.
func (in *Intake) edges(s *surface) {
	in.holes(s)
	p := Problem{Kind: NonManifoldEdge, Severity: Fatal, Count: len(s.nonManifold),
		Words:  fmt.Sprintf("%d edges have three or more facets", len(s.nonManifold)),
		Remedy: "separate the bodies that share these edges, or join them into one solid, and export again"}
	for _, facets := range s.nonManifold[:min(MaxPlaces, len(s.nonManifold))] {
		p.Where = append(p.Where, in.at(facets[:min(4, len(facets))]...))
	}
	in.report(p)
}

// holes walks the open edges into loops.
func (in *Intake) holes(s *surface) {
	if s.openEdges == 0 {
		return
	}
	p := Problem{Kind: Holes, Severity: Fatal, Remedy: "close the surface in the model and export it again; a mould needs a closed part"}
	seen := make([]bool, len(s.mate))
	longest := 0.0
	for h := range s.mate {
		if s.mate[h] != isOpen || seen[h] {
			continue
		}
		length, sum, n := 0.0, r3.Vec{}, 0
		for e := int32(h); e >= 0 && !seen[e]; e = s.nextOpen(e) {
			seen[e] = true
			a, b := s.Verts[s.from(e)], s.Verts[s.from(next(e))]
			length += r3.Norm(r3.Sub(b, a))
			sum = r3.Add(sum, a)
			n++
		}
		w := Where{Facets: []int32{in.facet(int32(h) / 3)}, At: r3.Scale(1/float64(n), sum)}
		p.add(w)
		if length > longest {
			longest = length
			p.Where[0], p.Where[len(p.Where)-1] = w, p.Where[0] // the longest goes first
		}
	}
	p.Words = fmt.Sprintf("the surface is open: %d holes with %d open edges, the longest %.3g mm around", p.Count, s.openEdges, longest)
	in.report(p)
}

// nextOpen turns around the end of open half-edge e to the open half-edge that starts there, or −1
// if a non-manifold or turned edge bars the way.
func (s *surface) nextOpen(e int32) int32 {
	h := next(e)
	for s.mate[h] >= 0 {
		h = next(s.mate[h])
	}
	if s.mate[h] != isOpen {
		return -1
	}
	return h
}

// fans groups the corners (numbered as half-edges) at each vertex that are joined by shared edges.
func (s *surface) fans() DisjointSets {
	sets := NewDisjointSets(len(s.mate))
	for i, g := range s.mate {
		h := int32(i)
		switch {
		case g > h:
			sets.Join(h, next(g))
			sets.Join(next(h), g)
		case g <= turnedMate(0) && -3-g > h:
			sets.Join(h, -3-g)
			sets.Join(next(h), next(-3-g))
		}
	}
	return sets
}

// vertices reports vertices where the surface touches itself in a point.
func (in *Intake) vertices(s *surface) {
	sets := s.fans()
	first := make([]int32, len(s.Verts)) // first fan's corner + 1
	barred := make([]bool, len(s.Verts)) // at an edge that is reported already
	for h, g := range s.mate {
		if g == isNonManifold {
			barred[s.from(int32(h))], barred[s.from(next(int32(h)))] = true, true
		}
	}
	p := Problem{Kind: NonManifoldVertex, Severity: Warning, Remedy: "check that the part may touch itself there; otherwise move the bodies apart or join them"}
	counted := make([]bool, len(s.Verts))
	for i := range sets {
		if sets[i] != int32(i) {
			continue
		}
		v := s.from(int32(i))
		switch {
		case first[v] == 0:
			first[v] = int32(i) + 1
		case !barred[v] && !counted[v]:
			counted[v] = true
			p.add(Where{Facets: []int32{in.facet((first[v] - 1) / 3), in.facet(int32(i) / 3)}, At: s.Verts[v]})
		}
	}
	p.Words = fmt.Sprintf("%d vertices join parts of the surface that touch only there", p.Count)
	in.report(p)
}

// orientation reports facets that are turned against their neighbours.
func (in *Intake) orientation(s *surface) {
	if len(s.turned) == 0 {
		return
	}
	facets, oneSided := s.minority()
	p := Problem{Kind: Orientation, Severity: Fatal, Count: len(s.turned), Remedy: "turn these facets over, or export the part again as one solid"}
	for _, q := range s.turned[:min(MaxPlaces, len(s.turned))] {
		p.Where = append(p.Where, in.at(q[0], q[1]))
	}
	p.Words = fmt.Sprintf("facets face opposite ways across %d edges; turning %d facets over would make them agree", len(s.turned), facets)
	if oneSided {
		p.Words = fmt.Sprintf("facets face opposite ways across %d edges, and no turning makes them agree: the surface is one-sided", len(s.turned))
		p.Remedy = "model the part as a solid and export it again"
	}
	in.report(p)
}

// minority counts the facets that have to be turned over, the fewer in each shell, and says whether
// there is a shell that has no two sides.
func (s *surface) minority() (facets int, oneSided bool) {
	const unseen, as, against = 0, 1, 2
	side := make([]int8, len(s.Tris))
	var stack []int32
	for start := range s.Tris {
		if side[start] != unseen {
			continue
		}
		var count [3]int
		side[start] = as
		stack = append(stack[:0], int32(start))
		for len(stack) > 0 {
			f := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			count[side[f]]++
			for k := range int32(3) {
				g, want := s.mate[3*f+k], side[f]
				if g <= turnedMate(0) {
					g, want = -3-g, as+against-side[f]
				}
				switch {
				case g < 0:
				case side[g/3] == unseen:
					side[g/3] = want
					stack = append(stack, g/3)
				case side[g/3] != want:
					oneSided = true
				}
			}
		}
		facets += min(count[as], count[against])
	}
	return facets, oneSided
}
