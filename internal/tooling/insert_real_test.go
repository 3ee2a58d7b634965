package tooling

import (
	"testing"

	"mouldwright/internal/mesh"
)

// A mesh that nobody here made: a shell of Spider_binary.stl of Debian's assimp-testmodels, scaled to
// 35 mm. It has no show faces and no plane side, so the axis is chosen and the line is uneven.
func TestInsertForARealMesh(t *testing.T) {
	t.Parallel() // each build spends most of its time in one kernel of the pool
	shell := realShell(t, "STL/Spider_binary.stl", func(m *mesh.Mesh) bool { return len(m.Tris) == 80 })
	m := buildInsert(t, sized(shell, 35), softMaterials(InsertOptions{InsertMM: 4}))
	if m.Surface.Flat {
		t.Error("the line of this mesh is not flat along any axis")
	}
	t.Log(m.Notes, m.Thickness)
}
