package choice

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// models is where the Debian package assimp-testmodels puts its files: meshes that nobody here made.
const models = "/usr/share/assimp/models"

// specimens reads closed shells, at most a few a file, scaled to 40 mm across.
func specimens(t *testing.T) map[string]*mesh.Mesh {
	if _, err := os.Stat(models); err != nil {
		t.Skip("apt-get install assimp-testmodels to run this")
	}
	out := map[string]*mesh.Mesh{}
	for _, name := range []string{"3MF/box.3mf", "OBJ/empty_mat.obj", "OBJ/spider.obj", "PLY/cube_binary.ply", "STL/Spider_binary.stl"} {
		model, err := meshfile.Open(filepath.Join(models, name), mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		kept := 0
		for _, shell := range mesh.Weld(model.InMM().Merge(), 0).Split() {
			in, err := mesh.Inspect(t.Context(), shell)
			if err != nil {
				t.Fatal(err)
			}
			if in.Fatal() != nil || kept == 4 {
				continue
			}
			kept++
			size := r3.Sub(in.Bounds.Max, in.Bounds.Min)
			scale := 40 / max(size.X, size.Y, size.Z)
			out[name+" "+string(rune('0'+kept))] = in.Mesh.Map(func(v r3.Vec) r3.Vec { return r3.Scale(scale, v) })
		}
	}
	return out
}

// Every mesh gets a way that opens or a reason from each way, and two rigid halves that open with a
// rigid casting really do: seen from the middle of each facet, the way out of its half is clear.
func TestRealMeshes(t *testing.T) {
	list := specimens(t)
	opened := 0
	for name, m := range list {
		table := compared(t, m, nil, Options{Directions: 60, NoChange: true})
		for _, r := range table.Rows {
			if !r.Opens && len(r.Reasons) == 0 {
				t.Errorf("%s: %s does not open, and no reason is given", name, r.Name)
			}
		}
		r := table.Row("two-rigid-halves")
		if !r.Opens {
			continue
		}
		opened++
		if blocked := blockedArea(m, r.Direction); blocked > 1e-4*m.AreaMM2() {
			t.Errorf("%s: two halves open, but %.3f mm² of the part is caught along %.3v", name, blocked, r.Direction)
		}
	}
	if len(list) < 8 || opened < 4 {
		t.Errorf("%d meshes, %d of them open; expected more", len(list), opened)
	}
	t.Logf("%d meshes, two rigid halves open on %d", len(list), opened)
}

// blockedArea is the area of facets whose middle does not see its way out along ±d.
func blockedArea(m *mesh.Mesh, d r3.Vec) (area float64) {
	tree := geom.NewBVH(m.Verts, m.Tris)
	for f := range m.Tris {
		tri := m.Facet(f)
		n := tri.Normal()
		sine := r3.Dot(r3.Unit(n), d)
		if !(tri.Area() > 0) || math.Abs(sine) < 1e-3 {
			continue
		}
		way := d
		if sine < 0 {
			way = r3.Scale(-1, d)
		}
		if tree.AnyHit(tri.Centroid(), way, 1e-3, math.Inf(1)) {
			area += tri.Area()
		}
	}
	return area
}
