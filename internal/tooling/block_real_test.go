package tooling

import (
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// A mesh that nobody here made, with an uneven line: a shell of spider.obj of Debian's assimp-testmodels,
// scaled to 40 mm.
func TestSiliconeBlocksForARealMesh(t *testing.T) {
	t.Parallel()
	shell := realShell(t, "OBJ/spider.obj", func(*mesh.Mesh) bool { return true })
	size := shell.Bounds().Size()
	part := shell.Map(func(v r3.Vec) r3.Vec { return r3.Scale(40/max(size.X, size.Y, size.Z), v) })
	s := buildCutBlock(t, part, CutBlockOptions{Silicone: softSilicone})
	if s.Surface.Flat {
		t.Error("the line of this mesh is not flat")
	}
	if b := buildBlock(t, part, BlockOptions{Silicone: softSilicone}); len(b.Pours) != 2 {
		t.Errorf("%d pours", len(b.Pours))
	}
}
