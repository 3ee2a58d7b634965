package job

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
)

// capJob is a job folder with the demo's bumper cap; text follows the part.
func capJob(t *testing.T, text string) string {
	t.Helper()
	dir := t.TempDir()
	save(t, filepath.Join(dir, "cap.3mf"), lantern.BumperCap().Object())
	put(t, filepath.Join(dir, FileName), "format = 1\n[part]\nfile = \"cap.3mf\"\n"+text)
	return dir
}

// The cup that grips two rigid halves comes out of a silicone insert: all checks hold, both pours are
// weighed, and the poured insert is not among the pieces to print.
func TestRunInsert(t *testing.T) {
	dir := capJob(t, "[show]\ncolours = [\"#ffbf00\"]\n[mould]\nfamily = \"insert\"\nlabel = \"Cap\"\n")
	rep, err := run(dir)
	if err != nil {
		t.Fatal(err)
	}
	allHold(t, rep)
	if rep.Shot == nil || len(rep.Pours) != 1 || len(rep.Mould.Stages) == 0 {
		t.Fatalf("shot %v, silicones %d, stages %d", rep.Shot != nil, len(rep.Pours), len(rep.Mould.Stages))
	}
	written(t, dir, "mould.3mf", "silicone-insert-pour.3mf", "pieces/cradle.stl", "pieces/pattern-cap.stl", "pieces/casting-cap.stl")
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
	dir := capJob(t, "[mould]\nfamily = \"insert\"\nsilicone = \"pu-rigid\"\n")
	if _, err := run(dir); err == nil || !strings.Contains(err.Error(), ":6:1: mould.silicone: \"pu-rigid\" is no silicone") {
		t.Fatal(err)
	}
}
