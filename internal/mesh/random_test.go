package mesh

import (
	"context"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// On heaps of facets over a few grid points, where everything that can be wrong is wrong, Inspect
// must come to an end, and its counts of edges must be those of the plain definition.
func TestInspectRandomFacets(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		coordinate := rapid.IntRange(0, 3)
		m := &Mesh{}
		for range rapid.IntRange(3, 9).Draw(t, "vertices") {
			m.Verts = append(m.Verts, r3.Vec{X: float64(20 * coordinate.Draw(t, "x")), Y: float64(20 * coordinate.Draw(t, "y")), Z: float64(20 * coordinate.Draw(t, "z"))})
		}
		corner := rapid.Uint32Range(0, uint32(len(m.Verts)-1))
		for range rapid.IntRange(1, 25).Draw(t, "facets") {
			m.Tris = append(m.Tris, [3]uint32{corner.Draw(t, "a"), corner.Draw(t, "b"), corner.Draw(t, "c")})
		}
		in, err := Inspect(context.Background(), m)
		if err != nil {
			t.Fatal(err)
		}
		if len(in.Mesh.Tris)+in.Dropped != len(m.Tris) {
			t.Fatalf("%d facets and %d dropped of %d", len(in.Mesh.Tris), in.Dropped, len(m.Tris))
		}
		uses := map[[2]uint32][]bool{}
		for _, f := range in.Mesh.Tris {
			for k := range 3 {
				a, b := f[k], f[(k+1)%3]
				e := [2]uint32{min(a, b), max(a, b)}
				uses[e] = append(uses[e], a < b)
			}
		}
		open, turned, many := 0, 0, 0
		for _, u := range uses {
			switch {
			case len(u) == 1:
				open++
			case len(u) > 2:
				many++
			case u[0] == u[1]:
				turned++
			}
		}
		count := map[Kind]int{}
		for _, p := range in.Problems() {
			count[p.Kind] = p.Count
			if len(p.Where) > MaxPlaces || p.Words == "" || p.Remedy == "" {
				t.Fatalf("%+v", p)
			}
		}
		if count[NonManifoldEdge] != many || count[Orientation] != turned || (count[Holes] > 0) != (open > 0) || count[Holes] > open {
			t.Fatalf("%v; want %d open, %d turned, %d non-manifold", count, open, turned, many)
		}
		if in.Closed != (open+turned+many == 0 && len(in.Mesh.Tris) > 0) {
			t.Fatalf("closed %v with %d open, %d turned, %d non-manifold", in.Closed, open, turned, many)
		}
		if !in.Closed && in.Fatal() == nil {
			t.Fatal("an open surface was let through")
		}
		// Dropping facets must not open the surface: each edge's uses still balance as before.
		if before, after := imbalance(joinCoincident(m).Mesh), imbalance(in.Mesh); in.Joined > 0 && before != after {
			t.Fatalf("edges out of balance: %d, before %d", after, before)
		}
		if len(in.Mesh.Tris) == 0 {
			return
		}
		again, err := Inspect(context.Background(), in.Mesh)
		if err != nil {
			t.Fatal(err)
		}
		got, want := kinds(again), kinds(in)
		drop := func(k Kind) bool { return k == Degenerate }
		if !slices.Equal(slices.DeleteFunc(got, drop), slices.DeleteFunc(want, drop)) {
			t.Fatalf("problems of the prepared surface %q, of the mesh %q", got, want)
		}
	})
}

// imbalance counts edges that are not run equally often in both directions.
func imbalance(m *Mesh) int {
	sum := map[[2]uint32]int{}
	for _, f := range m.Tris {
		for k := range 3 {
			a, b := f[k], f[(k+1)%3]
			switch {
			case a < b:
				sum[[2]uint32{a, b}]++
			case a > b:
				sum[[2]uint32{b, a}]--
			}
		}
	}
	n := 0
	for _, s := range sum {
		if s != 0 {
			n++
		}
	}
	return n
}
