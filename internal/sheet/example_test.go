package sheet_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/sheet"
)

// A tetrahedron with its corner at the origin, cut level at a quarter of its height: the section is
// the base shrunk by 3/4.
func ExampleSection() {
	m := &mesh.Mesh{
		Verts: []r3.Vec{{}, {X: 8}, {Y: 8}, {Z: 8}},
		Tris:  [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
	}
	loops, err := sheet.Section(context.Background(), m, sheet.Plane{
		Origin: r3.Vec{Z: 2}, U: r3.Vec{X: 1}, V: r3.Vec{Y: 1},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, p := range loops[0] {
		fmt.Printf("%g %g\n", p.X, p.Y)
	}
	// Unordered output:
	// 0 0
	// 6 0
	// 0 6
}
