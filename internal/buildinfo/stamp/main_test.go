package main

import (
	"os"
	"path/filepath"
	"slices"
	"testing"
)

// The mark is of what is in the files, not of where or when they lie, and any change of one changes it.
func TestMark(t *testing.T) {
	if testing.Short() {
		t.Skip("runs go list")
	}
	root := filepath.Join("..", "..", "..")
	files, err := sourceFiles(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"go.sum", "cmd/mouldwright/main.go", "internal/mesh/inspect.go", "internal/job/template.toml", "internal/material/generic.toml"} {
		if !slices.Contains(files, filepath.FromSlash(want)) {
			t.Errorf("%s is not among the sources", want)
		}
	}
	mark := func(content string) string {
		dir := t.TempDir()
		write := func(name, text string) {
			path := filepath.Join(dir, name)
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		write("go.mod", "module mouldwright\n")
		write("go.sum", "")
		write("cmd/mouldwright/main.go", "package main\n\nfunc main() {}\n")
		write("cmd/mouldwright/a.go", content)
		m, err := Mark(dir)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	a, again, b := mark("package main\n\nconst x = 1\n"), mark("package main\n\nconst x = 1\n"), mark("package main\n\nconst x = 2\n")
	if a != again || a == b || len(a) != 2*markBytes {
		t.Errorf("marks %q, %q and %q", a, again, b)
	}
}
