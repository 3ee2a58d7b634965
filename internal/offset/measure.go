package offset

import (
	"context"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Error is how far a surface is from where it should be, measured with the exact distance at the middles
// of facets and edges: all of them, or an even choice of some 250,000. Lengths are mm.
type Error struct {
	MaxMM, RMSMM float64
	At           r3.Vec // the worst place
	Samples      int
}

// mostSamples bounds the places measured.
const mostSamples = 400_000

// measure looks at the middles of facets and edges. RMS is over all places, each counting the same.
func measure(ctx context.Context, m *mesh.Mesh, f level, workers int) (Error, error) {
	var e Error
	stride := 1 + 4*len(m.Tris)/mostSamples
	stride += 1 - stride%2 // odd, so that it meets middles of facets and of edges alike
	n := (4*len(m.Tris) + stride - 1) / stride
	value := make([]float64, n)
	place := func(i int) (r3.Vec, bool) {
		i *= stride
		t := m.Tris[i/4]
		if i%4 == 3 {
			return m.Facet(i / 4).Centroid(), true
		}
		a, b := t[i%4], t[(i+1)%4%3]
		if i%4 == 2 {
			b = t[0]
		}
		return r3.Scale(0.5, r3.Add(m.Verts[a], m.Verts[b])), a < b
	}
	err := each(ctx, workers, n, func(i int) {
		value[i] = math.NaN()
		if p, ok := place(i); ok {
			value[i] = math.Abs(f(p))
		}
	})
	if err != nil {
		return e, err
	}
	sum := 0.0
	for i, v := range value {
		if math.IsNaN(v) {
			continue
		}
		e.Samples++
		sum += v * v
		if v > e.MaxMM {
			e.MaxMM = v
			e.At, _ = place(i)
		}
	}
	if e.Samples > 0 {
		e.RMSMM = math.Sqrt(sum / float64(e.Samples))
	}
	return e, nil
}

// Reach looks back from the part: what becomes of the point straight out from each facet, at the
// distance asked.
type Reach struct {
	// GapMM is the furthest that such a point, where it does lie on the exact offset, is from the mesh
	// made: more than Error.MaxMM means that a detail slipped between two places.
	GapMM float64
	// ClosedAreaMM2 is the area of the part from which the point lies nearer to another place of it: a
	// hollow that the offset closes over, or a part too thin for it. The thickness asked cannot be
	// had there along the normal. ClosedDepthMM is the largest lack, and ClosedAt its place on the part.
	ClosedAreaMM2, ClosedDepthMM float64
	ClosedAt                     r3.Vec
	Samples                      int
}

const (
	// mostReach bounds the facets looked back from.
	mostReach = 50_000
	// onMM says that a point lies on the exact offset.
	onMM = 1e-4
	// closedMM is the least lack that counts: below the error allowed anyway.
	closedMM = 0.05
)

func reachBack(ctx context.Context, s *signed, t float64, made *mesh.Mesh, workers int) (Reach, error) {
	var r Reach
	tree := geom.NewBVH(made.Verts, made.Tris)
	stride := 1 + len(s.m.Tris)/mostReach
	n := (len(s.m.Tris) + stride - 1) / stride
	gap, lack := make([]float64, n), make([]float64, n)
	err := each(ctx, workers, n, func(i int) {
		f := i * stride
		if r3.Norm(s.face[f]) == 0 {
			return
		}
		p := r3.Add(s.m.Facet(f).Centroid(), r3.Scale(t, s.face[f]))
		d, _ := s.at(p)
		lack[i] = math.Abs(d - t)
		if lack[i] <= onMM {
			gap[i] = tree.Nearest(p).Distance
		}
	})
	if err != nil {
		return r, err
	}
	for i := range n {
		r.Samples++
		r.GapMM = max(r.GapMM, gap[i])
		if lack[i] > closedMM {
			tri := s.m.Facet(i * stride)
			r.ClosedAreaMM2 += geom.Area(tri) * float64(stride)
			if lack[i] > r.ClosedDepthMM {
				r.ClosedDepthMM, r.ClosedAt = lack[i], tri.Centroid()
			}
		}
	}
	return r, nil
}
