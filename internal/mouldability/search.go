package mouldability

import (
	"context"
	"fmt"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Searcher finds good opening directions for one part. It is built once and may be asked often and
// from several goroutines; it never changes.
//
//	s, err := mouldability.NewSearcher(part, show)
//	candidates, err := s.Search(ctx, mouldability.SearchOptions{})
//	best := candidates[0]
//	report, err := mouldability.Analyse(ctx, part, best.Direction, mouldability.AnalyseOptions{})
type Searcher struct {
	m    *mesh.Mesh
	show []bool
	vis  *visibility
}

// NewSearcher prepares m for questions; show marks the facets that must stay free of flash, or is nil.
func NewSearcher(m *mesh.Mesh, show []bool) (*Searcher, error) {
	if err := checkMesh(m); err != nil {
		return nil, err
	}
	if show != nil && len(show) != len(m.Tris) {
		return nil, fmt.Errorf("mouldability: %d show marks for %d facets", len(show), len(m.Tris))
	}
	return &Searcher{m: m, show: show, vis: newVisibility(m)}, nil
}

// Order lists the facets in the order that Caught answers in: neighbours on the surface are mostly
// neighbours in it.
func (s *Searcher) Order() []int32 { return append([]int32(nil), s.vis.order...) }

// Caught answers for each of dirs which facets are caught at their middle when the mould opens along
// that direction and its opposite. answer is called once a direction, from several goroutines and in
// no order; caught is in the order of Order and is only valid during the call. workers 0 means one
// per processor.
func (s *Searcher) Caught(ctx context.Context, dirs []r3.Vec, workers int, answer func(i int, caught []bool)) error {
	units := make([]r3.Vec, len(dirs))
	for i, d := range dirs {
		u, err := unitDirection(d)
		if err != nil {
			return err
		}
		units[i] = u
	}
	return inParallel(ctx, workers, len(dirs), func() func(int) {
		w := s.vis.newSight()
		return func(i int) {
			w.look(units[i])
			answer(i, w.caught)
		}
	}, nil)
}

// WallSine is the |n·d| up to which Caught takes a facet for a wall and does not ask.
func WallSine() float32 { return float32(sinZeroDraft) }

// RayStartMM is how far above a facet's middle Caught begins to look, so that the facet and its
// neighbours do not catch themselves by rounding.
func RayStartMM(m *mesh.Mesh) float32 {
	b := m.Bounds()
	return float32(noiseRel * r3.Norm(r3.Sub(b.Max, b.Min)))
}
