package mouldability

import (
	"context"
	"fmt"
	"testing"

	part "mouldwright/bench/visibility"

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
