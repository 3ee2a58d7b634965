package mouldability

import (
	"context"
	"fmt"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

func count(show []bool) (n int) {
	for _, on := range show {
		if on {
			n++
		}
	}
	return n
}

func TestShow(t *testing.T) {
	box := bar([][2]float64{{0, 0}, {20, 0}, {20, 10}, {0, 10}}, 30)
	top, err := ShowByDirection(box, up, 0)
	if err != nil || count(top) != 2 {
		t.Errorf("%d facets look up, want 2 (%v)", count(top), err)
	}
	if _, err := ShowByDirection(box, r3.Vec{}, 10); err == nil {
		t.Error("took a direction of zero")
	}
	in := ShowByBox(box, r3.Box{Min: r3.Vec{X: -1, Y: -1, Z: 9}, Max: r3.Vec{X: 21, Y: 31, Z: 11}})
	if count(in) != 2 {
		t.Errorf("%d facets in the box, want the 2 on top", count(in))
	}
	red := mesh.RGBA{R: 255, A: 255}
	o := mesh.Object{Mesh: box, Colours: []mesh.RGBA{{A: 255}, red}, FacetColour: make([]int32, len(box.Tris))}
	o.FacetColour[3], o.FacetColour[5], o.FacetColour[6] = 1, 1, -1
	if got := ShowByColour(o, red); count(got) != 2 || !got[3] || !got[5] {
		t.Errorf("red facets: %v", got)
	}
	if got := ShowByColour(mesh.Object{Mesh: box}, red); count(got) != 0 {
		t.Error("a mesh without colours has red facets")
	}
}

// TestGrowSmooth: from one facet of a drum's mantle the mantle is reached, whose facets bend by 9°,
// and the ends, which bend by 90°, are not.
func TestGrowSmooth(t *testing.T) {
	const n = 40
	drum := revolve([][2]float64{{0, 0}, {10, 0}, {10, 5}, {0, 5}}, n)
	seed := make([]bool, len(drum.Tris))
	for f := range drum.Tris {
		if z := drum.Facet(f).Normal().Z; z > -1e-9 && z < 1e-9 {
			seed[f] = true
			break
		}
	}
	for _, c := range []struct {
		deg  float64
		want int
	}{{0, 2}, {8.9, 2}, {9.1, 2 * n}, {89, 2 * n}, {91, len(drum.Tris)}} {
		got, err := GrowSmooth(drum, seed, c.deg)
		if err != nil || count(got) != c.want {
			t.Errorf("across %g°: %d facets, want %d (%v)", c.deg, count(got), c.want, err)
		}
	}
	if _, err := GrowSmooth(drum, seed[1:], 10); err == nil {
		t.Error("took a seed of the wrong length")
	}
}

func ExampleSearcher() {
	// A cup, mouth up: it leaves along z.
	cup := revolve([][2]float64{{0, 0}, {20, 0}, {22, 24}, {18, 24}, {16, 4}, {0, 4}}, 48)
	s, err := NewSearcher(cup, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	candidates, err := s.Search(context.Background(), SearchOptions{Directions: 100})
	if err != nil {
		fmt.Println(err)
		return
	}
	best := candidates[0]
	fmt.Printf("open along (%.0f, %.0f, %.0f), %s\n", best.Direction.X, best.Direction.Y, best.Direction.Z, best.Origin)
	fmt.Println(best.Terms[0].Words)
	// Output:
	// open along (0, 0, 1), axis of the part's turned or drawn faces
	// nothing is caught at the middle of any facet
}
