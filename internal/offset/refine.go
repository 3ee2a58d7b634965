package offset

import (
	"context"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// footed is a level function that also names the nearest point of the part.
type footed func(p r3.Vec) (value float64, foot r3.Vec)

// refiner splits edges of a closed mesh whose vertices lie on a level surface, until edges and facets
// stray from it by no more than tol. An edge that crosses a crease of the surface (where the nearest
// point of the part jumps) is split at the crease, so that after one round the crease is made of edges:
// the thought of extended marching cubes (Kobbelt and others 2001) and of dual contouring (Ju and others
// 2002), by splitting instead of by a second mesh. Splits keep the mesh a closed 2-manifold.
type refiner struct {
	f       footed
	t       float64 // the distance from the part that the surface keeps, signed
	tol     float64
	least   float64 // shortest edge that is split
	workers int
	m       *mesh.Mesh
	normal  []r3.Vec
	fine    map[[2]uint32]struct{} // edges found within tolerance
	whole   map[[3]uint32]struct{} // facets found so
}

const (
	// rounds of splitting: each halves what is left; creases need two.
	rounds = 8
	// goalShare is the share of the tolerance that splitting aims at, so that places between those
	// looked at stay within it.
	goalShare = 0.6
	// creaseCos: normals further apart than this mean that a crease may lie between.
	creaseCos = 0.9
)

func refine(ctx context.Context, m *mesh.Mesh, r *refiner) (*mesh.Mesh, error) {
	r.m = &mesh.Mesh{Verts: append([]r3.Vec(nil), m.Verts...), Tris: append([][3]uint32(nil), m.Tris...)}
	r.fine, r.whole = map[[2]uint32]struct{}{}, map[[3]uint32]struct{}{}
	if err := r.addNormals(ctx); err != nil {
		return nil, err
	}
	for range rounds {
		split, err := r.edges(ctx)
		if err != nil {
			return nil, err
		}
		if len(split) == 0 {
			n, err := r.middles(ctx)
			if err != nil {
				return nil, err
			}
			if n == 0 {
				break
			}
			continue
		}
		r.apply(split)
	}
	return r.m, nil
}

// addNormals gives new vertices the direction in which the distance grows.
func (r *refiner) addNormals(ctx context.Context) error {
	from := len(r.normal)
	r.normal = append(r.normal, make([]r3.Vec, len(r.m.Verts)-from)...)
	return each(ctx, r.workers, len(r.m.Verts)-from, func(i int) { r.normal[from+i] = r.gradient(r.m.Verts[from+i]) })
}

func (r *refiner) gradient(p r3.Vec) r3.Vec {
	_, q := r.f(p)
	d := r3.Sub(p, q)
	if r.t < 0 {
		d = r3.Scale(-1, d)
	}
	if l := r3.Norm(d); l > 0 {
		return r3.Scale(1/l, d)
	}
	return r3.Vec{}
}

func edgeKey(a, b uint32) [2]uint32 { return [2]uint32{min(a, b), max(a, b)} }

// edges finds where to split: edge → new vertex.
func (r *refiner) edges(ctx context.Context) (map[[2]uint32]uint32, error) {
	var todo [][2]uint32
	seen := map[[2]uint32]struct{}{}
	for _, t := range r.m.Tris {
		for k := range 3 {
			e := edgeKey(t[k], t[(k+1)%3])
			if t[k] != e[0] { // the other facet has it the other way round
				continue
			}
			if _, ok := r.fine[e]; ok {
				continue
			}
			if _, ok := seen[e]; !ok && r.suspect(e) {
				seen[e] = struct{}{}
				todo = append(todo, e)
			} else {
				r.fine[e] = struct{}{}
			}
		}
	}
	at := make([]r3.Vec, len(todo))
	bad := make([]bool, len(todo))
	if err := each(ctx, r.workers, len(todo), func(i int) { at[i], bad[i] = r.split(todo[i]) }); err != nil {
		return nil, err
	}
	out := map[[2]uint32]uint32{}
	for i, e := range todo {
		if !bad[i] {
			r.fine[e] = struct{}{}
			continue
		}
		out[e] = uint32(len(r.m.Verts))
		r.m.Verts = append(r.m.Verts, at[i])
	}
	return out, r.addNormals(ctx)
}

// suspect bounds how far an edge can stray, were its surface two planes or an arc with the normals found
// at its ends: half its length times the tangent of half the angle between them.
func (r *refiner) suspect(e [2]uint32) bool {
	l := r3.Norm(r3.Sub(r.m.Verts[e[1]], r.m.Verts[e[0]]))
	if l < r.least {
		return false
	}
	c := r3.Dot(r.normal[e[0]], r.normal[e[1]])
	return c <= 0 || l/2*math.Sqrt((1-c)/(1+c)) > goalShare*r.tol
}

// split judges an edge by its middle, and by its quarter points where a crease may cross it, and finds
// the place to split it at.
func (r *refiner) split(e [2]uint32) (r3.Vec, bool) {
	a, b := r.m.Verts[e[0]], r.m.Verts[e[1]]
	places := []float64{0.5, 0.25, 0.75}
	creased := r.creased(e[0], e[1])
	if !creased {
		places = places[:1]
	}
	worst := 0.0
	for _, s := range places {
		v, _ := r.f(r3.Add(a, r3.Scale(s, r3.Sub(b, a))))
		worst = max(worst, math.Abs(v))
	}
	if worst <= goalShare*r.tol {
		return r3.Vec{}, false
	}
	mid := r3.Scale(0.5, r3.Add(a, b))
	if creased {
		if p, ok := r.meet(mid, []r3.Vec{a, b}); ok {
			return p, true
		}
	}
	return r.project(mid), true
}

// creased says whether a crease may lie between two vertices.
func (r *refiner) creased(a, b uint32) bool { return r3.Dot(r.normal[a], r.normal[b]) < creaseCos }

// meet moves p to where the sheets of the surface nearest to the given places meet: to the same distance
// from a foot on each, by Newton steps of least norm. It fails where there is no such place near.
func (r *refiner) meet(p r3.Vec, places []r3.Vec) (r3.Vec, bool) {
	const steps, probe = 6, 0.1
	reach := 0.0
	for _, a := range places {
		reach = max(reach, r3.Norm(r3.Sub(a, p)))
	}
	start := p
	for range steps {
		var n []r3.Vec
		var off []float64
		for _, a := range places {
			_, q := r.f(r3.Add(p, r3.Scale(probe, r3.Sub(a, p))))
			d := r3.Sub(p, q)
			l := r3.Norm(d)
			if l == 0 {
				return p, false
			}
			n = append(n, r3.Scale(1/l, d))
			off = append(off, math.Abs(r.t)-l)
		}
		step, ok := leastStep(n, off)
		if !ok {
			return p, false
		}
		p = r3.Add(p, step)
		if r3.Norm(r3.Sub(p, start)) > reach {
			return p, false
		}
	}
	v, _ := r.f(p)
	return p, math.Abs(v) <= 0.1*goalShare*r.tol
}

// leastStep is the shortest x with n[i]·x = off[i], for two or three directions; false when they are
// too nearly dependent.
func leastStep(n []r3.Vec, off []float64) (r3.Vec, bool) {
	const flat = 0.02
	switch len(n) {
	case 2:
		c := r3.Dot(n[0], n[1])
		d := 1 - c*c
		if d < flat {
			return r3.Vec{}, false
		}
		return r3.Add(r3.Scale((off[0]-c*off[1])/d, n[0]), r3.Scale((off[1]-c*off[0])/d, n[1])), true
	case 3:
		d := r3.Dot(n[0], r3.Cross(n[1], n[2]))
		if math.Abs(d) < flat {
			return r3.Vec{}, false
		}
		x := r3.Scale(off[0], r3.Cross(n[1], n[2]))
		x = r3.Add(x, r3.Scale(off[1], r3.Cross(n[2], n[0])))
		x = r3.Add(x, r3.Scale(off[2], r3.Cross(n[0], n[1])))
		return r3.Scale(1/d, x), true
	}
	return r3.Vec{}, false
}

// project moves p along the gradient onto the surface; where two sheets fight over it, the last place
// that is nearest to the surface wins.
func (r *refiner) project(p r3.Vec) r3.Vec {
	best, least := p, math.Inf(1)
	for range 12 {
		v, _ := r.f(p)
		if math.Abs(v) < least {
			best, least = p, math.Abs(v)
		}
		if math.Abs(v) <= rootMM {
			break
		}
		p = r3.Sub(p, r3.Scale(v, r.gradient(p)))
	}
	return best
}

// apply divides the facets at split edges: into two, three or four.
func (r *refiner) apply(split map[[2]uint32]uint32) {
	const none = ^uint32(0)
	out := make([][3]uint32, 0, len(r.m.Tris)+2*len(split))
	for _, t := range r.m.Tris {
		var s [3]uint32
		n := 0
		for k := range 3 {
			s[k] = none
			if v, ok := split[edgeKey(t[k], t[(k+1)%3])]; ok {
				s[k] = v
				n++
			}
		}
		for n == 1 && s[0] == none || n == 2 && s[2] != none {
			t = [3]uint32{t[1], t[2], t[0]}
			s = [3]uint32{s[1], s[2], s[0]}
		}
		switch n {
		case 0:
			out = append(out, t)
		case 1:
			out = append(out, [3]uint32{t[0], s[0], t[2]}, [3]uint32{s[0], t[1], t[2]})
		case 2:
			out = append(out, [3]uint32{s[0], t[1], s[1]})
			out = r.quad(out, t[0], s[0], s[1], t[2])
		case 3:
			out = append(out, [3]uint32{t[0], s[0], s[2]}, [3]uint32{s[0], t[1], s[1]}, [3]uint32{s[2], s[1], t[2]}, [3]uint32{s[0], s[1], s[2]})
		}
	}
	r.m.Tris = out
}

// quad divides a quadrangle along the diagonal that strays less.
func (r *refiner) quad(out [][3]uint32, a, b, c, d uint32) [][3]uint32 {
	stray := func(i, j uint32) float64 {
		v, _ := r.f(r3.Scale(0.5, r3.Add(r.m.Verts[i], r.m.Verts[j])))
		return math.Abs(v)
	}
	if stray(a, c) <= stray(b, d) {
		return append(out, [3]uint32{a, b, c}, [3]uint32{a, c, d})
	}
	return append(out, [3]uint32{a, b, d}, [3]uint32{b, c, d})
}

// middles splits facets whose middle strays although their edges do not, as at a corner where three
// sheets meet. It returns how many there were.
func (r *refiner) middles(ctx context.Context) (int, error) {
	var todo []int
	for f, t := range r.m.Tris {
		if _, ok := r.whole[t]; !ok && (r.creased(t[0], t[1]) || r.creased(t[1], t[2]) || r.creased(t[2], t[0])) {
			todo = append(todo, f)
		}
	}
	at := make([]r3.Vec, len(todo))
	bad := make([]bool, len(todo))
	err := each(ctx, r.workers, len(todo), func(i int) {
		tri := r.m.Facet(todo[i])
		c := tri.Centroid()
		v, _ := r.f(c)
		long := max(r3.Norm(r3.Sub(tri[1], tri[0])), r3.Norm(r3.Sub(tri[2], tri[1])), r3.Norm(r3.Sub(tri[0], tri[2])))
		if bad[i] = math.Abs(v) > goalShare*r.tol && long > r.least; !bad[i] {
			return
		}
		var ok bool
		if at[i], ok = r.meet(c, tri[:]); !ok {
			at[i] = r.project(c)
		}
	})
	if err != nil {
		return 0, err
	}
	n := 0
	for i, f := range todo {
		t := r.m.Tris[f]
		if !bad[i] {
			r.whole[t] = struct{}{}
			continue
		}
		n++
		v := uint32(len(r.m.Verts))
		r.m.Verts = append(r.m.Verts, at[i])
		r.m.Tris[f] = [3]uint32{t[0], t[1], v}
		r.m.Tris = append(r.m.Tris, [3]uint32{t[1], t[2], v}, [3]uint32{t[2], t[0], v})
	}
	return n, r.addNormals(ctx)
}
