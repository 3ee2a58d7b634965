package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// Bad input through the command line: exit code 2, one clear line on standard error, the same as JSON on
// standard output, and nothing written.
func TestBadPartsOnTheCommandLine(t *testing.T) {
	env := Env{Jobs: JobFolders{}}
	dir := t.TempDir()
	file := func(name string, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	open := frustum(40, 36, 20)
	open.Tris = open.Tris[1:]
	for _, c := range []struct {
		part, want string
		made       bool // a job may be made: only looking it over shows the fault
	}{
		{filepath.Join(dir, "none.stl"), "no such file", false},
		{dir, "not a plain file", false},
		{file("empty.stl", ""), "empty", false},
		{file("nan.obj", "v nan 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n"), "line 1", false},
		{file("cut.3mf", "PK\x03\x04"), "zip", false},
		{file("cut.stl", "solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0"), "line 4", false},
		{file("cut.ply", "ply\nformat ascii 1.0\nelement vertex 3\n"), "line ", false},
		{save(t, "open.stl", mesh.Object{Mesh: open}), "surface is open", true},
		{save(t, "two.3mf", mesh.Object{Name: "lid", Mesh: frustum(40, 36, 20)}, mesh.Object{Name: "foot", Mesh: frustum(40, 36, 20)}), `"lid", "foot"`, false},
	} {
		o := run(t, env, "inspect", c.part)
		if o.code != ExitInput || !strings.HasPrefix(o.err, "mouldwright: ") {
			t.Errorf("inspect %s: %+v", c.part, o)
		}
		contains(t, "inspect", o.err+o.out, c.want, c.part)
		folder := filepath.Join(t.TempDir(), "job")
		o = run(t, env, "new", folder, c.part)
		if c.made {
			if o.code != ExitOK {
				t.Fatalf("new %s: %+v", c.part, o)
			}
			o = run(t, env, "run", folder, "--json")
		} else if _, err := os.Stat(folder); err == nil {
			t.Errorf("new %s: half a job was made", c.part)
		} else {
			o = run(t, env, "new", folder, c.part, "--json")
		}
		e, _ := fields(t, o)["error"].(map[string]any)
		message, _ := e["message"].(string)
		if o.code != ExitInput || e["kind"] != "input" || e["exit"] != 2.0 || !strings.Contains(message, c.want) {
			t.Errorf("%s as JSON: %+v", c.part, o)
		}
		if _, err := os.Stat(filepath.Join(folder, "out")); err == nil {
			t.Errorf("%s: results of a broken part", c.part)
		}
	}
}

// A part whose unit was lost is inspected with a warning that names the unit and the size it would give.
func TestLostUnitIsNamed(t *testing.T) {
	small := frustum(60, 50, 40).Map(func(v r3.Vec) r3.Vec { return r3.Scale(1/25.4, v) })
	path := save(t, "small.stl", mesh.Object{Mesh: small})
	o := run(t, Env{}, "inspect", path, "--direction", "+z")
	contains(t, "inspect", o.out, "warning", "if the numbers are inches", "60 mm")
	o = run(t, Env{}, "inspect", path, "--unit", "inch", "--direction", "+z")
	contains(t, "inspect in inches", o.out, "60 × 60 × 40 mm", "sound")
	if o := run(t, Env{}, "inspect", path, "--unit", "ell"); o.code != ExitInput || !strings.Contains(o.err, "mm, micron, cm") {
		t.Errorf("unknown unit: %+v", o)
	}
}

// Of a file with several objects one is named, by name or by number.
func TestObjectChosen(t *testing.T) {
	path := save(t, "two.3mf", mesh.Object{Name: "lid", Mesh: frustum(40, 36, 20)}, mesh.Object{Name: "foot", Mesh: frustum(30, 20, 10)})
	for _, name := range []string{"foot", "#2"} {
		if o := run(t, Env{}, "inspect", path, "--object", name, "--direction", "+z"); o.code != ExitOK || !strings.Contains(o.out, "30 × 30 × 10 mm") {
			t.Errorf("--object %s: %+v", name, o)
		}
	}
	if o := run(t, Env{}, "inspect", path); o.code != ExitInput || !strings.Contains(o.err, "--object") {
		t.Errorf("no object named: %+v", o)
	}
	if o := run(t, Env{}, "inspect", path, "--object", "hat"); o.code != ExitInput || !strings.Contains(o.err, `no object "hat"`) {
		t.Errorf("no such object: %+v", o)
	}
}

// Show faces by colour: the parting line around a show face costs, and a colour that is not in the file is
// a mistake.
func TestInspectShowColour(t *testing.T) {
	m := frustum(40, 36, 20)
	amber := mesh.RGBA{R: 255, G: 191, A: 255}
	colours := make([]int32, len(m.Tris))
	for f := range colours {
		colours[f] = -1
	}
	colours[2], colours[3] = 0, 0 // the top, 36 × 36 mm
	path := filepath.Join(t.TempDir(), "foot.3mf")
	o := mesh.Object{Name: "foot", Mesh: m, Colours: []mesh.RGBA{amber}, FacetColour: colours}
	if err := meshfile.Save(path, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{o}}); err != nil {
		t.Fatal(err)
	}
	got := run(t, Env{}, "inspect", path, "--show-colour", "#ffbf00", "--direction", "+z")
	if got.code != ExitOK {
		t.Fatalf("%+v", got)
	}
	contains(t, "inspect", got.out, "Show faces", "1296 mm²")
	v := fields(t, run(t, Env{}, "inspect", path, "--show-colour", "#ffbf00", "--json"))
	close64(t, "show faces", number64(t, object(t, v, "part"), "show_area_mm2"), 36*36, 1e-9)
	for colour, want := range map[string]string{"amber": `like "#d04020"`, "#000000": "no facet"} {
		if o := run(t, Env{}, "inspect", path, "--show-colour", colour); o.code != ExitInput || !strings.Contains(o.err, want) {
			t.Errorf("%s: %+v", colour, o)
		}
	}
}
