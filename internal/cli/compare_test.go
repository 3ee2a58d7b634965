package cli

import (
	"os"
	"path/filepath"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// A drafted block: the tray is built and proven, the volumes are those of the closed form, and nothing is
// written. A block with a sealed hollow: no way opens, and the exit code says so.
func TestCompare(t *testing.T) {
	env := Env{Jobs: JobFolders{}}
	folder := filepath.Join(t.TempDir(), "foot")
	if o := run(t, env, "new", folder, save(t, "foot.3mf", mesh.Object{Name: "foot", Mesh: frustum(40, 36, 20)})); o.code != ExitOK {
		t.Fatalf("new: %+v", o)
	}
	o := run(t, env, "--progress", "lines", "compare", folder)
	if o.code != ExitOK {
		t.Fatalf("compare: %+v", o)
	}
	contains(t, "compare", o.out, "Best: open-face tray (proven)", `family = "tray"`, "two rigid halves", "batch of 10", "all ", "typical values")
	contains(t, "progress", o.err, "building open-face tray")
	if _, err := os.Stat(filepath.Join(folder, "out")); err == nil {
		t.Error("compare wrote out/")
	}
	v := fields(t, run(t, env, "compare", folder, "--estimates", "--json"))
	ways, _ := v["ways"].([]any)
	if len(ways) != 7 || v["best"] != "open-tray" {
		t.Fatalf("ways: %v", v)
	}
	for _, w := range ways {
		w := w.(map[string]any)
		if w["basis"] != "estimated" {
			t.Errorf("%v is %v, though nothing was built", w["key"], w["basis"])
		}
		if w["key"] == "two-rigid-halves" {
			// (w + 2W)(l + 2W)(h + 2F) − V, walls of 12 and floors of 8 mm.
			close64(t, "print of two halves", number64(t, w, "print_ml"), (64*64*36-20.0/3*(1600+1296+1440))/1000, 1e-6)
		}
	}
	if o := run(t, env, "compare", folder, "--all", "--estimates"); o.code != ExitInput {
		t.Errorf("both flags: %+v", o)
	}
	if o := run(t, env, "compare", t.TempDir()); o.code != ExitInput {
		t.Errorf("no job: %+v", o)
	}

	m, in := frustum(30, 30, 30), frustum(10, 10, 10).Flipped()
	for _, v := range in.Verts {
		m.Verts = append(m.Verts, r3.Add(v, r3.Vec{Z: 10}))
	}
	for _, f := range in.Tris {
		m.Tris = append(m.Tris, [3]uint32{f[0] + 8, f[1] + 8, f[2] + 8})
	}
	folder = filepath.Join(t.TempDir(), "hollow")
	if o := run(t, env, "new", folder, save(t, "hollow.3mf", mesh.Object{Name: "hollow", Mesh: m})); o.code != ExitOK {
		t.Fatalf("new: %+v", o)
	}
	if o = run(t, env, "compare", folder, "--estimates"); o.code != ExitRefused {
		t.Errorf("a sealed hollow: %+v", o)
	}
	contains(t, "a sealed hollow", o.out, "No way to mould the part opens")
}
