package cli

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/internal/mesh"
)

// A drafted block goes from part to files; the I-beam, asked to open along z, is refused with the
// place, and leaves no mould behind.
func TestJobFromPartToFiles(t *testing.T) {
	env := Env{Jobs: JobFolders{}}
	folder := filepath.Join(t.TempDir(), "foot")
	part := save(t, "foot.3mf", mesh.Object{Name: "foot", Mesh: frustum(40, 36, 20)})
	if o := run(t, env, "new", folder, part); o.code != ExitOK {
		t.Fatalf("new: %+v", o)
	}
	if o := run(t, env, "new", folder, part); o.code != ExitInput || !strings.Contains(o.err, "already") {
		t.Errorf("new over a job: %+v", o)
	}
	if o := run(t, env, "show", folder); o.code != ExitInput || !strings.Contains(o.err, "mouldwright run") {
		t.Errorf("show before run: %+v", o)
	}
	o := run(t, env, "--progress", "lines", "run", folder)
	if o.code != ExitOK {
		t.Fatalf("run: %+v", o)
	}
	contains(t, "progress", o.err, "% ")
	contains(t, "run", o.out, "mL", "g/mL", "mould.3mf", "drawings.pdf")
	for _, name := range []string{"mould.3mf", "drawings.pdf", "report.json"} {
		if info, err := os.Stat(filepath.Join(folder, "out", name)); err != nil || info.Size() == 0 {
			t.Errorf("%s: %v", name, err)
		}
	}
	v := fields(t, run(t, env, "show", folder, "--json"))
	if v["refused"] != false || v["mould"] == nil || v["shot"] == nil {
		t.Errorf("show --json: %v", v)
	}
	// h/3·(A + B + √AB), as the part was made.
	close64(t, "part volume", number64(t, object(t, v, "part"), "volume_mm3"), 20.0/3*(1600+1296+1440), 1e-6)
}

func TestJobRefusedAndBroken(t *testing.T) {
	env := Env{Jobs: JobFolders{}}
	folder := filepath.Join(t.TempDir(), "beam")
	if o := run(t, env, "new", folder, save(t, "beam.stl", mesh.Object{Mesh: beam()})); o.code != ExitOK {
		t.Fatalf("new: %+v", o)
	}
	file := filepath.Join(folder, "job.toml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	write := func(s string) {
		t.Helper()
		if err := os.WriteFile(file, []byte(s), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(strings.Replace(string(text), "# direction = [0, 0, 1]", "direction = [0, 0, 1]", 1))
	o := run(t, env, "run", folder)
	if o.code != ExitRefused {
		t.Fatalf("run: %+v", o)
	}
	contains(t, "refusal", o.out, "undercut", "mm deep", "480.0 mm² caught")
	contains(t, "refusal", o.err, "refused")
	if v := fields(t, run(t, env, "run", folder, "--json")); v["refused"] != true || v["mould"] != nil {
		t.Errorf("refusal --json: %v", v)
	}
	if found, _ := filepath.Glob(filepath.Join(folder, "out", "*.3mf")); len(found) > 0 {
		t.Errorf("a refused part left %v", found)
	}
	write("format = 1\nwall = 3\n")
	o = run(t, env, "run", folder)
	if o.code != ExitInput || !strings.Contains(o.err, "job.toml:2:1") {
		t.Errorf("unknown setting: %+v", o)
	}
	if o := run(t, env, "run", t.TempDir()); o.code != ExitInput || !strings.Contains(o.err, "mouldwright new") {
		t.Errorf("no job: %+v", o)
	}
}
