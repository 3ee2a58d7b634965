package fill

import (
	"errors"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// realMeshes are watertight shells nobody here made, scaled to 40 mm: files of Debian's
// assimp-testmodels, and meshes of npm packages that bench/realmeshes exports. What is not installed
// is left out.
func realMeshes(t testing.TB) (names []string, meshes []*mesh.Mesh) {
	var files []string
	for _, p := range []string{"3MF/box.3mf", "OBJ/regr01.obj", "OBJ/spider.obj", "PLY/cube_binary.ply", "STL/Spider_binary.stl", "STL/sphereWithHole.stl"} {
		files = append(files, filepath.Join("/usr/share/assimp/models", p))
	}
	bench := "../../bench/realmeshes"
	if _, err := os.Stat(filepath.Join(bench, "node_modules", "bunny")); err == nil {
		dir := t.TempDir()
		if err := exec.Command("node", filepath.Join(bench, "export.mjs"), dir).Run(); err == nil {
			more, _ := filepath.Glob(filepath.Join(dir, "*.obj"))
			slices.Sort(more)
			files = append(files, more...)
		}
	}
	for _, path := range files {
		if _, err := os.Stat(path); err != nil {
			continue
		}
		model, err := meshfile.Open(path, mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range model.InMM().Objects {
			for i, s := range mesh.Weld(o.Mesh, 0).Split() {
				if i == 3 {
					break
				}
				if len(s.Tris) < 20 || sound(s) != nil || s.VolumeMM3() <= 0 {
					continue
				}
				b := s.Bounds()
				k := 40 / r3.Norm(r3.Sub(b.Max, b.Min))
				names, meshes = append(names, filepath.Base(path)), append(meshes, s.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) }))
			}
		}
	}
	return names, meshes
}

// On real meshes the search ends, never makes things worse, and gives the same with 1 and 2 workers;
// the columns agree with the tree of peaks about what stays at the best tilt.
func TestRealMeshes(t *testing.T) {
	names, meshes := realMeshes(t)
	if len(meshes) == 0 {
		t.Skip("no real meshes are installed; see bench/realmeshes")
	}
	for i, m := range meshes {
		directions := 40
		if len(m.Tris) > 20_000 || testing.Short() {
			directions = 9
		}
		one, err := NewCavity(m, Options{Workers: 1})
		var flat *NoSpaceError
		if errors.As(err, &flat) && m.VolumeMM3() < 1e-6 {
			continue // a sheet
		}
		if err != nil {
			t.Errorf("%s: %v", names[i], err)
			continue
		}
		o := TiltOptions{Pour: []r3.Vec{topOff(one)}, Directions: directions}
		a := searched(t, one, o)
		b := searched(t, cavity(t, m, Options{Workers: 2}), o)
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s: 1 and 2 workers differ", names[i])
		}
		c := cavity(t, m, Options{PitchMM: 0.25})
		r := filled(t, c, Setup{Up: a.Best.Up, Pour: o.Pour, Vents: spotsOf(a.Best), NoCheckRun: true})
		if a.Best.Vents+a.Flat.Vents > 0 {
			t.Logf("%s: %d facets; flat %.3g, best %.3g mm³ with %d vents (%s); columns %.3g + %.3g unresolved, open %.3g", names[i], len(m.Tris), a.Flat.TrappedMM3, a.Best.TrappedMM3, a.Best.Vents, a.Best.Words, r.TrappedMM3, r.UnresolvedMM3, r.OpenMM3)
		}
		// Slivers thinner than the pitch hang on to nothing.
		if r.OpenMM3 > 1+1e-2*c.volume {
			t.Errorf("%s: %g mm³ stays empty", names[i], r.OpenMM3)
		}
		if math.Abs(r.TrappedMM3-a.Best.TrappedMM3) > c.opt.MinPocketMM3+1e-3*c.volume {
			t.Errorf("%s: columns keep %g, the tree %g mm³", names[i], r.TrappedMM3, a.Best.TrappedMM3)
		}
	}
}
