package job

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// The cup that grips two rigid halves comes out of a silicone insert: all checks hold, both pours are
// weighed, and the poured insert is not among the pieces to print.
func TestRunInsert(t *testing.T) {
	dir := t.TempDir()
	cap := lantern.BumperCap()
	err := meshfile.Save(filepath.Join(dir, "cap.3mf"), &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{cap.Object()}})
	if err != nil {
		t.Fatal(err)
	}
	text := "format = 1\n[part]\nfile = \"cap.3mf\"\n[show]\ncolours = [\"#ffbf00\"]\n[mould]\nfamily = \"insert\"\nlabel = \"Cap\"\n"
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	rep, err := Run(t.Context(), dir, RunOptions{Pool: pool, view: quick})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range rep.Mould.Checks {
		if !c.OK {
			t.Errorf("%s: %s", c.Name, c.Words)
		}
	}
	if rep.Shot == nil || len(rep.Pours) != 1 || len(rep.Mould.Stages) == 0 {
		t.Fatalf("shot %v, silicones %d, stages %d", rep.Shot != nil, len(rep.Pours), len(rep.Mould.Stages))
	}
	for _, name := range []string{"mould.3mf", "silicone-insert-pour.3mf", "pieces/cradle.stl", "pieces/pattern-cap.stl", "pieces/casting-cap.stl"} {
		if _, err := os.Stat(filepath.Join(dir, OutName, name)); err != nil {
			t.Error(err)
		}
	}
	if _, err := os.Stat(filepath.Join(dir, OutName, "pieces", "silicone-insert.stl")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the poured insert is among the prints: %v", err)
	}
	var b strings.Builder
	if err := rep.Print(&b); err != nil || !strings.Contains(b.String(), "What parts from what") {
		t.Errorf("print: %v\n%s", err, b.String())
	}
}

// Castings would stick to a mould body poured of their own kind: it is refused before anything is built.
func TestSiliconeIsSilicone(t *testing.T) {
	dir := t.TempDir()
	cap := lantern.BumperCap()
	if err := meshfile.Save(filepath.Join(dir, "cap.3mf"), &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{cap.Object()}}); err != nil {
		t.Fatal(err)
	}
	text := "format = 1\n[part]\nfile = \"cap.3mf\"\n[mould]\nfamily = \"insert\"\nsilicone = \"pu-rigid\"\n"
	if err := os.WriteFile(filepath.Join(dir, FileName), []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	if _, err := Run(t.Context(), dir, RunOptions{Pool: pool, view: quick}); err == nil || !strings.Contains(err.Error(), ":6:1: mould.silicone: \"pu-rigid\" is no silicone") {
		t.Fatal(err)
	}
}
