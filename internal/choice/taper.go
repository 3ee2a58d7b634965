package choice

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
)

// leaningWall is a wall that holds a piece because it leans over it, and how to straighten it: each of
// its vertices moves towards the void's open side by its distance below the narrowest line (the
// throat) times the tangent of the taper, but not past the throat. So the throat stays, material is
// added under it, and neighbouring faces shrink without folding.
type leaningWall struct {
	at           r3.Vec // in the part's coordinates
	ring, inward bool
	moves        []move
}

// move is how one vertex moves: along toOpen by at most room, by below·tan(taper).
type move struct {
	vertex      uint32
	toOpen      r3.Vec // unit, the part's coordinates
	below, room float64
}

func (w *leaningWall) name() string {
	switch {
	case w.ring && w.inward:
		return "inside walls"
	case w.ring:
		return "outside walls"
	}
	return "the wall on one side"
}

// tapered is the part with the walls straightened by deg.
func (s *stance) tapered(walls []leaningWall, deg float64) *mesh.Mesh {
	out := &mesh.Mesh{Verts: slices.Clone(s.part.Verts), Tris: s.part.Tris}
	t := math.Tan(deg * math.Pi / 180)
	// A vertex that lies on two walls moves by the larger of the two.
	far := make(map[uint32]float64)
	for _, w := range walls {
		for _, m := range w.moves {
			by := min(m.below*t, m.room)
			if by > far[m.vertex] {
				far[m.vertex] = by
				out.Verts[m.vertex] = r3.Add(s.part.Verts[m.vertex], r3.Scale(by, m.toOpen))
			}
		}
	}
	return out
}

// throatTurns is how many directions round a ring the throat is looked up in.
const throatTurns = 90

// wallField measures places against a wall: how far towards the open side, how high along the exit.
type wallField struct {
	frame        geom.Frame
	centre       r3.Vec // in the frame
	ring, inward bool
	side         r3.Vec // in the frame
	throat       []float64
	top, bottom  float64
	slack        float64
}

// leaningWall prepares the taper of one catch.
func (s *stance) leaningWall(c opening.Catch, shape opening.Shape) (leaningWall, bool) {
	w := leaningWall{at: shape.At, ring: shape.Ring, inward: shape.Inward}
	f := wallField{frame: geom.FrameTo(c.Exit), ring: shape.Ring, inward: shape.Inward, top: math.Inf(-1), bottom: math.Inf(1)}
	f.centre, f.side = f.frame.Apply(shape.At), f.frame.Apply(shape.Side)
	f.slack = 1e-7 * r3.Norm(r3.Sub(s.box.Max, s.box.Min))
	if !shape.Ring && shape.Side == (r3.Vec{}) {
		return w, false
	}
	var catching []int32
	for _, t := range c.Facets {
		for _, v := range s.part.Facet(int(t)) {
			f.bottom = min(f.bottom, f.frame.Apply(v).Z)
		}
		if r3.Dot(s.normal[t], r3.Unit(c.Exit)) < 0 {
			catching = append(catching, t)
		}
	}
	f.findThroat(s, catching)
	for _, v := range s.wallVertices(&f, catching) {
		p := s.part.Verts[v]
		w.moves = append(w.moves, move{v, f.toOpen(p), f.top - f.frame.Apply(p).Z, f.throatAt(p) - f.along(p)})
	}
	return w, len(w.moves) > 0
}

// along is how far towards the open side a place lies.
func (f *wallField) along(p r3.Vec) float64 {
	q := r3.Sub(f.frame.Apply(p), f.centre)
	switch {
	case !f.ring:
		return r3.Dot(q, f.side)
	case f.inward:
		return -math.Hypot(q.X, q.Y)
	}
	return math.Hypot(q.X, q.Y)
}

func (f *wallField) toOpen(p r3.Vec) r3.Vec {
	if !f.ring {
		return f.frame.Inverse(f.side)
	}
	q := r3.Sub(f.frame.Apply(p), f.centre)
	q.Z = 0
	if n := r3.Norm(q); n > 0 {
		q = r3.Scale(1/n, q)
	}
	if f.inward {
		q = r3.Scale(-1, q)
	}
	return f.frame.Inverse(q)
}

func (f *wallField) turn(p r3.Vec) int {
	if !f.ring {
		return 0
	}
	q := r3.Sub(f.frame.Apply(p), f.centre)
	k := int(math.Floor((math.Atan2(q.Y, q.X)/(2*math.Pi) + 0.5) * throatTurns))
	return min(max(k, 0), throatTurns-1)
}

func (f *wallField) throatAt(p r3.Vec) float64 { return f.throat[f.turn(p)] }

// findThroat finds how far each turn of the wall reaches towards the open side. Turns without a vertex
// take the nearest that has one.
func (f *wallField) findThroat(s *stance, catching []int32) {
	n := 1
	if f.ring {
		n = throatTurns
	}
	own := make([]float64, n)
	for k := range own {
		own[k] = math.Inf(-1)
	}
	for _, t := range catching {
		for _, v := range s.part.Facet(int(t)) {
			f.top = max(f.top, f.frame.Apply(v).Z)
			k := f.turn(v)
			own[k] = max(own[k], f.along(v))
		}
	}
	f.throat = slices.Clone(own)
	for k := range own {
		for d := 0; math.IsInf(f.throat[k], -1) && d < n; d++ {
			f.throat[k] = max(own[(k+d)%n], own[(k-d+n)%n])
		}
	}
}

// wallVertices lists the vertices to move, ascending: from the catching facets over all neighbours
// that lie below the throat and behind it, no deeper than the void.
func (s *stance) wallVertices(f *wallField, catching []int32) []uint32 {
	behind := func(v uint32) bool {
		p := s.part.Verts[v]
		z := f.frame.Apply(p).Z
		return z < f.top-f.slack && z > f.bottom-f.slack && f.along(p) < f.throatAt(p)-f.slack
	}
	seenFacet, seen := make([]bool, len(s.part.Tris)), map[uint32]bool{}
	queue := slices.Clone(catching)
	for _, t := range queue {
		seenFacet[t] = true
	}
	var out []uint32
	for i := 0; i < len(queue); i++ {
		t := queue[i]
		any := false
		for _, v := range s.part.Tris[t] {
			if !behind(v) {
				continue
			}
			any = true
			if !seen[v] {
				seen[v] = true
				out = append(out, v)
			}
		}
		if !any {
			continue
		}
		for k, n := range s.adj[t] {
			// Cross only an edge that has an end behind the throat.
			if n == mesh.NoFacet || seenFacet[n] || !behind(s.part.Tris[t][k]) && !behind(s.part.Tris[t][(k+1)%3]) {
				continue
			}
			seenFacet[n] = true
			queue = append(queue, n)
		}
	}
	slices.Sort(out)
	return out
}
