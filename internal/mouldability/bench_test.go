package mouldability

import (
	"context"
	"fmt"
	"testing"

	"mouldwright/bench/stacked"
	part "mouldwright/bench/visibility"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkAnalyse is one exact analysis, the part standing on edge so that a good part is caught.
func BenchmarkAnalyse(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		b.Run(fmt.Sprintf("facets=%d", n), func(b *testing.B) {
			m := part.LumpyRing(n)
			for b.Loop() {
				if _, err := Analyse(context.Background(), m, r3.Vec{X: 1, Y: 0.3, Z: 0.2}, AnalyseOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkSearch is a whole search, scores and refinement included.
func BenchmarkSearch(b *testing.B) {
	s, err := NewSearcher(part.LumpyRing(100_000), nil)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := s.Search(context.Background(), SearchOptions{Directions: 1000}); err != nil {
			b.Fatal(err)
		}
	}
}

// What stands over one spot: the same bellows with more and more waves, the same shaft with more and more discs.
// Time and memory a facet stay what they are, whatever the number of layers.
func BenchmarkStacked(b *testing.B) {
	for _, s := range []struct {
		name string
		draw func(n int) *mesh.Mesh
		of   []int
	}{
		{"bellows", func(n int) *mesh.Mesh { return stacked.Bellows(n, 52) }, []int{6, 12, 24, 48}},
		{"discs", func(n int) *mesh.Mesh { return stacked.Discs(n, 96) }, []int{3, 15, 60}},
		{"sponge", stacked.Sponge, []int{1, 2, 3}},
	} {
		for _, n := range s.of {
			m := s.draw(n)
			b.Run(fmt.Sprintf("%s=%d", s.name, n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if _, err := Analyse(b.Context(), m, r3.Vec{Z: 1}, AnalyseOptions{}); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(len(m.Tris)), "facets")
				b.ReportMetric(float64(b.Elapsed().Microseconds())/float64(b.N)/float64(len(m.Tris)), "µs/facet")
			})
		}
	}
}
