package delaunay_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/geom"
	"mouldwright/internal/geom/delaunay"
)

// A square plate of 10 mm with a square hole of 4 mm.
func ExampleTriangulate() {
	pts := []r2.Vec{
		{}, {X: 10}, {X: 10, Y: 10}, {Y: 10},
		{X: 3, Y: 3}, {X: 7, Y: 3}, {X: 7, Y: 7}, {X: 3, Y: 7},
	}
	segs := [][2]int{{0, 1}, {1, 2}, {2, 3}, {3, 0}, {4, 5}, {5, 6}, {6, 7}, {7, 4}}
	t, err := delaunay.Triangulate(context.Background(), pts, segs)
	if err != nil {
		fmt.Println(err)
		return
	}
	n, area := 0, 0.0
	for i, in := range t.Inside() {
		if in {
			v := t.Tris[i]
			n++
			area += geom.PolygonArea([]r2.Vec{pts[v[0]], pts[v[1]], pts[v[2]]})
		}
	}
	fmt.Println(len(t.Tris), "triangles,", n, "in the plate,", area, "mm²")
	// Output: 10 triangles, 8 in the plate, 84 mm²
}
