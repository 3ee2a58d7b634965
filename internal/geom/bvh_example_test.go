package geom_test

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// A ray straight down on a square of two triangles, 10 mm up, and the nearest point of the square to
// a place beside it.
func ExampleBVH() {
	verts := []r3.Vec{{Z: 10}, {X: 40, Z: 10}, {X: 40, Y: 40, Z: 10}, {Y: 40, Z: 10}}
	tree := geom.NewBVH(verts, [][3]uint32{{0, 1, 2}, {0, 2, 3}})

	hit, ok := tree.FirstHit(r3.Vec{X: 30, Y: 10, Z: 50}, r3.Vec{Z: -1}, 0, math.Inf(1))
	fmt.Println(ok, "facet", hit.Facet, "after", hit.T, "mm")

	near := tree.Nearest(r3.Vec{X: -3, Y: 20, Z: 14})
	fmt.Println("facet", near.Facet, "at", near.Point, "distance", near.Distance, "mm")
	// Output:
	// true facet 0 after 40 mm
	// facet 1 at {0 20 10} distance 5 mm
}
