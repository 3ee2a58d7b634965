package mouldability

import (
	"cmp"
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Origin says why a direction was looked at. Among equal scores the earlier origin ranks first: a
// maker would rather open along the part's own axis than along a number.
type Origin uint8

const (
	Turned   Origin = iota // axis of what is turned, bored, threaded or drawn out; see axes.go
	FlatFace               // normal of a large flat face
	Inertia                // principal axis of inertia: of a symmetric part, its axis of symmetry
	OwnAxis                // x, y or z of the part's file
	Lattice                // evenly spread start
	Refined                // found by refining one of the others
)

// Exact says that the direction follows from the part's shape or its drawing, not from a search: it turns with
// the part, to rounding.
func (o Origin) Exact() bool { return o <= OwnAxis }

// trust ranks origins where two directions lie close together: what the part's faces say, then what its masses or its file
// say, then what a search found.
func (o Origin) trust() int {
	switch {
	case o <= FlatFace:
		return 0
	case o.Exact():
		return 1
	}
	return 2
}

func (o Origin) String() string {
	return [...]string{"axis of the part's turned or drawn faces", "normal of a flat face", "axis of inertia", "axis of the file",
		"even spread", "refined"}[o]
}

type start struct {
	d      r3.Vec
	origin Origin
}

// canonical picks one of d and −d, which are the same question.
func canonical(d r3.Vec) r3.Vec {
	if d.Z < 0 || d.Z == 0 && (d.Y < 0 || d.Y == 0 && d.X < 0) {
		d = r3.Scale(-1, d)
	}
	return r3.Vec{X: d.X + 0, Y: d.Y + 0, Z: d.Z + 0} // no negative zeros
}

// starts lists the directions that a search begins with.
func starts(m *mesh.Mesh, adj mesh.Adjacency, lattice int) []start {
	var out []start
	exact := func(ds []r3.Vec, o Origin) {
		for _, d := range ds {
			out = append(out, start{canonical(snapped(d)), o})
		}
	}
	exact(turnedAxes(m, adj), Turned)
	exact(flatNormals(m, adj), FlatFace)
	exact(inertiaAxes(m), Inertia)
	exact([]r3.Vec{{X: 1}, {Y: 1}, {Z: 1}}, OwnAxis)
	for _, d := range hemisphere(lattice) {
		out = append(out, start{d, Lattice})
	}
	return out
}

// snapSine: a direction that lies this near to an axis of the file is that axis, drawn so and written with the
// rounding of a file: over 100 mm it is a µm.
const snapSine = 1e-5

// snapped puts a unit direction on the axis of the file that it was meant to be.
func snapped(d r3.Vec) r3.Vec {
	for _, a := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		if c := r3.Dot(a, d); r3.Norm(r3.Cross(a, d)) < snapSine {
			return r3.Scale(math.Copysign(1, c), a)
		}
	}
	return d
}

const (
	flatDeg      = 0.1  // neighbours within this angle lie on one flat face
	flatShare    = 0.01 // of the surface, below which a flat face says nothing about the mould
	maxFlatFaces = 12
)

// flatNormals are the normals of the largest flat faces, largest first.
func flatNormals(m *mesh.Mesh, adj mesh.Adjacency) []r3.Vec {
	sets := mesh.NewDisjointSets(len(m.Tris))
	sum := make([]r3.Vec, len(m.Tris)) // area vectors, then by set
	limit := math.Cos(flatDeg * math.Pi / 180)
	for f := range m.Tris {
		t := m.Facet(f)
		sum[f] = r3.Scale(0.5, t.Normal())
	}
	normal := slices.Clone(sum)
	for f := range adj {
		for _, n := range adj[f] {
			if n != mesh.NoFacet && r3.Dot(normal[f], normal[n]) >= limit*r3.Norm(normal[f])*r3.Norm(normal[n]) {
				sets.Join(int32(f), n)
			}
		}
	}
	all := 0.0
	for f := range sum {
		all += r3.Norm(normal[f])
		if r := sets.Root(int32(f)); int(r) != f {
			sum[r] = r3.Add(sum[r], sum[f])
			sum[f] = r3.Vec{}
		}
	}
	var large []r3.Vec
	for _, v := range sum {
		if r3.Norm(v) >= flatShare*all && r3.Norm(v) > 0 {
			large = append(large, v)
		}
	}
	slices.SortStableFunc(large, func(a, b r3.Vec) int { return cmp.Compare(r3.Norm2(b), r3.Norm2(a)) })
	for i, v := range large {
		large[i] = r3.Unit(v)
	}
	return large[:min(len(large), maxFlatFaces)]
}

// inertiaAxes are the principal axes of the solid, from ∫x·xᵀ over the tetrahedra between the
// centre of mass and the facets; nil for a mesh without volume.
func inertiaAxes(m *mesh.Mesh) []r3.Vec {
	b := m.Bounds()
	o := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	var first r3.Vec
	var second [9]float64
	vol := 0.0
	for f := range m.Tris {
		t := m.Facet(f)
		p, q, r := r3.Sub(t[0], o), r3.Sub(t[1], o), r3.Sub(t[2], o)
		det := r3.Dot(p, r3.Cross(q, r))
		s := r3.Add(p, r3.Add(q, r))
		vol += det / 6
		first = r3.Add(first, r3.Scale(det/24, s))
		for _, v := range [4]r3.Vec{p, q, r, s} {
			c := [3]float64{v.X, v.Y, v.Z}
			for i := range 9 {
				second[i] += det / 120 * c[i/3] * c[i%3]
			}
		}
	}
	if !(vol > 0) {
		return nil
	}
	g := [3]float64{first.X / vol, first.Y / vol, first.Z / vol}
	for i := range 9 {
		second[i] -= vol * g[i/3] * g[i%3]
	}
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(3, second[:]), true) {
		return nil
	}
	var v mat.Dense
	e.VectorsTo(&v)
	var out []r3.Vec
	for k := range 3 {
		out = append(out, r3.Unit(r3.Vec{X: v.At(0, k), Y: v.At(1, k), Z: v.At(2, k)}))
	}
	return out
}

const (
	// distinctDeg: exact directions nearer than this are one way to open.
	distinctDeg = 1
	// mostShapeAxes bounds the axes of its shape that a builder tries before those of the file.
	mostShapeAxes = 4
)

// Axes are what a builder that has to choose its own way tries, each and its opposite: the axes z, x and y of the file, and,
// where the part was not drawn along them, before them those of its turned and flat faces, no two within a degree.
func Axes(m *mesh.Mesh) (out []r3.Vec) {
	file := []r3.Vec{{Z: 1}, {X: 1}, {Y: 1}}
	limit := math.Cos(distinctDeg * math.Pi / 180)
	for _, s := range starts(m, m.Adjacency(), 0) {
		if s.origin > FlatFace {
			continue
		}
		if slices.Contains(file, s.d) { // snapped: drawn along the file's axes
			return file
		}
		near := func(o r3.Vec) bool { return math.Abs(r3.Dot(o, s.d)) > limit }
		if len(out) < mostShapeAxes && !slices.ContainsFunc(out, near) {
			out = append(out, s.d)
		}
	}
	return append(out, file...)
}
