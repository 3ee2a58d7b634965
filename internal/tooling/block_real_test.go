package tooling

import (
	"context"
	"os"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"

	"gonum.org/v1/gonum/spatial/r3"
)

// A mesh that nobody here made, with an uneven line: a shell of spider.obj of Debian's assimp-testmodels,
// scaled to 40 mm.
func TestSiliconeBlocksForARealMesh(t *testing.T) {
	t.Parallel()
	const path = "/usr/share/assimp/models/OBJ/spider.obj"
	if _, err := os.Stat(path); err != nil {
		t.Skip("assimp-testmodels is not installed")
	}
	model, err := meshfile.Open(path, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, shell := range mesh.Weld(model.InMM().Merge(), 0).Split() {
		in, err := mesh.Inspect(context.Background(), shell)
		if err != nil {
			t.Fatal(err)
		}
		if in.Fatal() != nil {
			continue
		}
		size := in.Bounds.Size()
		part := in.Mesh.Map(func(v r3.Vec) r3.Vec { return r3.Scale(40/max(size.X, size.Y, size.Z), v) })
		s := buildCutBlock(t, part, CutBlockOptions{Silicone: softSilicone})
		if s.Surface.Flat {
			t.Error("the line of this mesh is not flat")
		}
		if b := buildBlock(t, part, BlockOptions{Silicone: softSilicone}); len(b.Pours) != 2 {
			t.Errorf("%d pours", len(b.Pours))
		}
		return
	}
	t.Fatal("the file has no sound shell")
}
