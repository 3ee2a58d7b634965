package tooling

import (
	"context"
	"os"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"

	"gonum.org/v1/gonum/spatial/r3"
)

// A mesh that nobody here made: a shell of Spider_binary.stl of Debian's assimp-testmodels, scaled to
// 35 mm. It has no show faces and no plane side, so the axis is chosen and the line is uneven.
func TestInsertForARealMesh(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	const path = "/usr/share/assimp/models/STL/Spider_binary.stl"
	if _, err := os.Stat(path); err != nil {
		t.Skip("assimp-testmodels is not installed")
	}
	model, err := meshfile.Open(path, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range mesh.Weld(model.InMM().Merge(), 0).Split() {
		in, err := mesh.Inspect(context.Background(), s)
		if err != nil {
			t.Fatal(err)
		}
		if len(s.Tris) != 80 || in.Fatal() != nil {
			continue
		}
		b := s.Bounds()
		k := 35 / r3.Norm(r3.Sub(b.Max, b.Min))
		m := buildInsert(t, s.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) }), softMaterials(InsertOptions{InsertMM: 4}))
		if m.Surface.Flat {
			t.Error("the line of this mesh is not flat along any axis")
		}
		t.Log(m.Notes, m.Thickness)
		return
	}
	t.Fatal("the shell of 80 facets is missing")
}
