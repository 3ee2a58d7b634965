package mesh

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// Halving edges changes neither volume nor area, keeps a closed mesh closed, and leaves no edge too long.
func TestSubdividedIsTheSameSurface(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		side := rapid.SliceOfN(rapid.Float64Range(1, 40), 3, 3).Draw(t, "sides")
		m := box(r3.Vec{}, r3.Vec{X: side[0], Y: side[1], Z: side[2]})
		edge := rapid.Float64Range(2, 30).Draw(t, "edge")
		s := m.Subdivided(edge, 1_000_000)
		if math.Abs(s.VolumeMM3()-m.VolumeMM3()) > 1e-9*m.VolumeMM3() || math.Abs(s.AreaMM2()-m.AreaMM2()) > 1e-9*m.AreaMM2() {
			t.Fatalf("volume %g became %g, area %g became %g", m.VolumeMM3(), s.VolumeMM3(), m.AreaMM2(), s.AreaMM2())
		}
		uses := map[[2]uint32]int{}
		for _, q := range s.Tris {
			for k := range 3 {
				a, b := q[k], q[(k+1)%3]
				uses[[2]uint32{a, b}]++
				if l := r3.Norm(r3.Sub(s.Verts[a], s.Verts[b])); l > edge {
					t.Fatalf("an edge of %g mm is left", l)
				}
			}
		}
		for e, n := range uses {
			if n != 1 || uses[[2]uint32{e[1], e[0]}] != 1 {
				t.Fatalf("edge %v is used %d times one way and %d the other", e, n, uses[[2]uint32{e[1], e[0]}])
			}
		}
	})
}

func TestSubdividedStopsAtItsMost(t *testing.T) {
	m := cube(10)
	if s := m.Subdivided(0.01, 500); len(s.Tris) > 500 || len(s.Tris) <= len(m.Tris) {
		t.Errorf("%d facets", len(s.Tris))
	}
	used := map[uint32]bool{}
	s := m.Subdivided(0.01, 500)
	for _, q := range s.Tris {
		for _, v := range q {
			used[v] = true
		}
	}
	if len(used) != len(s.Verts) {
		t.Errorf("%d vertices, %d of them used", len(s.Verts), len(used))
	}
}
