package visibility

import (
	"context"
	"fmt"
	"testing"

	"mouldwright/internal/mouldability"
)

// BenchmarkDirections asks for each direction which facets are caught. Time per facet and direction
// should stay about level from 10,000 facets to 1,000,000.
func BenchmarkDirections(b *testing.B) {
	for _, c := range []struct{ facets, dirs int }{{10_000, 1000}, {100_000, 1000}, {1_000_000, 100}} {
		b.Run(fmt.Sprintf("facets=%d/directions=%d", c.facets, c.dirs), func(b *testing.B) {
			m := LumpyRing(c.facets)
			s, err := mouldability.NewSearcher(m, nil)
			if err != nil {
				b.Fatal(err)
			}
			dirs := Directions(c.dirs)
			for b.Loop() {
				if err := s.Caught(context.Background(), dirs, 0, func(int, []bool) {}); err != nil {
					b.Fatal(err)
				}
			}
			rays := float64(len(m.Tris)) * float64(len(dirs))
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/rays, "ns/facet")
		})
	}
}
