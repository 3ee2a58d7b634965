package stacked

import (
	"math"
	"testing"

	"mouldwright/internal/mesh"
)

// Every shape is closed, every edge has two facets that run along it in opposite directions, and the volume of those
// with a closed form is right.
func TestClosed(t *testing.T) {
	for _, s := range []struct {
		name string
		m    *mesh.Mesh
		mm3  float64 // 0: only above nothing
	}{
		{"bellows", Bellows(6, 48), 0}, {"discs", Discs(3, 48), 0}, {"grip", Grip(20, 48), 0}, {"thread", Thread(10, 48), 0},
		{"comb", Comb(12), 20 * (6*50 + 24*2*13)}, {"corrugated", Corrugated(6, 16), 30 * 1.5 * 48},
		{"sponge of one level", Sponge(1), 27000 * 20 / 27.0}, {"sponge of two levels", Sponge(2), 27000 * 400 / 729.0},
	} {
		for f, n := range s.m.Adjacency() {
			for _, o := range n {
				if o == mesh.NoFacet {
					t.Fatalf("%s: open at facet %d", s.name, f)
				}
			}
		}
		v := s.m.VolumeMM3()
		if !(v > 0) || (s.mm3 > 0 && math.Abs(v-s.mm3) > 1e-9*s.mm3) {
			t.Errorf("%s: %g mm³, want %g", s.name, v, s.mm3)
		}
	}
}
