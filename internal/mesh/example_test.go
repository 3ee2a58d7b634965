package mesh_test

import (
	"context"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// wedge is a part 40 mm long with one facet left out.
func wedge() *mesh.Mesh {
	return &mesh.Mesh{
		Verts: []r3.Vec{{}, {X: 40}, {Y: 30}, {Z: 20}},
		Tris:  [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}},
	}
}

func ExampleInspect() {
	in, err := mesh.Inspect(context.Background(), wedge())
	if err != nil {
		fmt.Println(err) // only when the context ends
		return
	}
	for _, p := range in.Problems() {
		fmt.Printf("%s, %s: %s\n", p.Kind, p.Severity, p.Words)
	}
	// Output:
	// holes, fatal: the surface is open: 1 holes with 3 open edges, the longest 131 mm around
}

func ExampleWeldReport() {
	// Two facets that meet along an edge, each with its own corners, as STL has them.
	m := &mesh.Mesh{
		Verts: []r3.Vec{{}, {X: 1}, {Y: 1}, {X: 1}, {X: 1, Y: 1}, {Y: 1}},
		Tris:  [][3]uint32{{0, 1, 2}, {3, 4, 5}},
	}
	w := mesh.WeldReport(m, 0)
	fmt.Println(len(w.Mesh.Verts), "vertices,", w.Joined, "joined:", w.Mesh.Tris)
	// Output:
	// 4 vertices, 2 joined: [[0 1 2] [1 3 2]]
}
