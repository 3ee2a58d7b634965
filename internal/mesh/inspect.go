package mesh

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// MaxCoordinateMM bounds what Inspect takes for a place: the exact predicates and the measures hold
// far beyond any part at this size (a million kilometres).
const MaxCoordinateMM = 1e12

// Inspect looks for everything that keeps a mesh, in mm, from being moulded, and measures it. It
// changes nothing: Intake.Mesh is at most the same surface with coincident vertices joined and
// facets of no area left out, and both are reported. Time grows a little faster than the number of
// facets; a mesh whose facets lie in one another's way is given up after a stated number of tests, with
// the first places. The error is the context's, which is noticed within a fraction of a second.
func Inspect(ctx context.Context, m *Mesh) (*Intake, error) {
	return InspectProgress(ctx, m, nil)
}

// InspectProgress is Inspect with a callback, which may be nil and is called from one goroutine at a
// time with the share done, 0 to 1.
func InspectProgress(ctx context.Context, m *Mesh, progress func(done float64)) (*Intake, error) {
	if progress == nil {
		progress = func(float64) {}
	}
	in := &Intake{Facets: len(m.Tris), Mesh: m, Genus: -1}
	if !in.sound(m) {
		return in, ctx.Err()
	}
	s, err := in.prepare(ctx, m)
	if err != nil {
		return nil, err
	}
	in.measure(s)
	if len(s.Tris) == 0 {
		in.report(Problem{Kind: NoVolume, Severity: Fatal, Count: 1, Words: "no facet has an area", Remedy: "export the part again"})
		return in, nil
	}
	progress(0.1)
	e, err := newSurface(ctx, s)
	if err != nil {
		return nil, err
	}
	for _, step := range []func(){func() { in.duplicates(s) }, func() { in.edges(e) }, func() { in.vertices(e) },
		func() { in.orientation(e) }, func() { in.shells(e) }} {
		step()
		if err := ctx.Err(); err != nil {
			return nil, err
		}
	}
	progress(0.2)
	tree, err := geom.NewBVHContext(ctx, s.Verts, s.Tris)
	if err != nil {
		return nil, err
	}
	progress(0.3)
	crossed, err := in.crossings(ctx, e, tree, func(f float64) { progress(0.3 + 0.6*f) })
	if err != nil {
		return nil, err
	}
	if err := in.nesting(ctx, e, tree, crossed); err != nil {
		return nil, err
	}
	in.size()
	progress(1)
	return in, nil
}

// sound refuses what no later step can work with.
func (in *Intake) sound(m *Mesh) bool {
	if len(m.Tris) == 0 {
		in.report(Problem{Kind: NoFacets, Severity: Fatal, Count: 1, Words: "the mesh has no facets", Remedy: "export the part again"})
		return false
	}
	index := Problem{Kind: BadIndex, Severity: Fatal, Remedy: "export the part again"}
	finite := Problem{Kind: NotFinite, Severity: Fatal, Remedy: "export the part again, and check its scale"}
	for f, t := range m.Tris {
		for _, v := range t {
			if int(v) >= len(m.Verts) {
				index.add(Where{Facets: []int32{int32(f)}})
				break
			}
			if p := m.Verts[v]; !within(p, MaxCoordinateMM) {
				finite.add(Where{Facets: []int32{int32(f)}, At: p})
				break
			}
		}
	}
	index.Words = fmt.Sprintf("%d facets use vertices that the mesh does not have", index.Count)
	finite.Words = fmt.Sprintf("%d facets have a coordinate that is not a finite number, or is beyond %g mm", finite.Count, MaxCoordinateMM)
	in.report(index)
	in.report(finite)
	return index.Count+finite.Count == 0
}

func within(v r3.Vec, limit float64) bool {
	// Written so that NaN fails.
	return math.Abs(v.X) <= limit && math.Abs(v.Y) <= limit && math.Abs(v.Z) <= limit
}

// add counts one place and keeps it if there is room.
func (p *Problem) add(w Where) {
	p.Count++
	if len(p.Where) < MaxPlaces {
		p.Where = append(p.Where, w)
	}
}

// measure fills the sizes.
func (in *Intake) measure(s *Mesh) {
	used := make([]bool, len(s.Verts))
	for _, t := range s.Tris {
		for _, v := range t {
			if !used[v] {
				used[v] = true
				in.Vertices++
			}
		}
	}
	in.Bounds, in.VolumeMM3, in.AreaMM2 = s.Bounds(), s.VolumeMM3(), s.AreaMM2()
}

// facet is the number that facet f of the prepared surface has in the inspected mesh.
func (in *Intake) facet(f int32) int32 {
	if in.Source == nil {
		return f
	}
	return in.Source[f]
}

// at is the place of some facets of the prepared surface: the mean of their centres.
func (in *Intake) at(facets ...int32) Where {
	w := Where{}
	for _, f := range facets {
		w.Facets = append(w.Facets, in.facet(f))
		w.At = r3.Add(w.At, r3.Scale(1/float64(len(facets)), centroid(in.Mesh.Facet(int(f)))))
	}
	return w
}

func centroid(t r3.Triangle) r3.Vec {
	return r3.Scale(1.0/3, r3.Add(t[0], r3.Add(t[1], t[2])))
}
