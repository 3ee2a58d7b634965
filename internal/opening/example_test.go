package opening_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
)

// box is a block between two corners, in mm.
func box(x0, y0, z0, x1, y1, z1 float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		c := r3.Vec{X: x0, Y: y0, Z: z0}
		if i&1 != 0 {
			c.X = x1
		}
		if i&2 != 0 {
			c.Y = y1
		}
		if i&4 != 0 {
			c.Z = z1
		}
		m.Verts = append(m.Verts, c)
	}
	m.Tris = [][3]uint32{
		{0, 2, 3}, {0, 3, 1}, {4, 5, 7}, {4, 7, 6}, {0, 1, 5}, {0, 5, 4},
		{2, 6, 7}, {2, 7, 3}, {0, 4, 6}, {0, 6, 2}, {1, 3, 7}, {1, 7, 5},
	}
	return m
}

// A block slides up along a post and meets a shelf.
func ExampleTranslate() {
	block := opening.Body{Name: "block", Mesh: box(0, 0, 0, 10, 10, 5)}
	shelf := opening.Body{Name: "shelf", Mesh: box(6, 0, 7.5, 20, 10, 9)}
	v, err := opening.Translate(context.Background(), block, shelf, r3.Vec{Z: 1}, opening.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(v.State, v.TravelMM)
	fmt.Println(v.Words())
	// Output:
	// blocked 2.5
	// block from shelf along +z: blocked at travel 2.50 mm at (8.0, 4.7, 7.5); overlap 4.01 ± 0.02 mm deep over 40.0 mm²
}

// The same two bodies along several directions.
func ExampleChecker() {
	c, err := opening.NewChecker([]opening.Body{
		{Name: "block", Mesh: box(0, 0, 0, 10, 10, 5)},
		{Name: "fence", Mesh: box(10, 0, 0, 12, 10, 3)},
	}, opening.Options{})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, d := range []r3.Vec{{X: 1}, {X: -1}, {Z: 1}} {
		v, err := c.Check(context.Background(), "block", "fence", d)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Println(v.Words())
	}
	// Output:
	// block from fence along +x: blocked at travel 0.00 mm at (10.0, 6.7, 1.0); overlap 3.00 ± 0.01 mm deep over 30.0 mm²
	// block from fence along -x: free
	// block from fence along +z: free, 30.0 mm² zero draft
}
