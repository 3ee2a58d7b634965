package main

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"

	"mouldwright/bench/corpus"
)

// installed gathers the corpus. Without the packages it skips, but not in CI, where their absence would
// hide what these tests are for.
func installed(t *testing.T) *corpus.Corpus {
	t.Helper()
	from := corpus.Places{Bench: "."}
	if err := from.Check(admesh); err != nil {
		if os.Getenv("CI") == "" {
			t.Skip(err)
		}
		t.Fatal(err)
	}
	c, err := corpus.Gather(t.Context(), from)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// Facets and volume of every specimen agree with admesh.
func TestMeasuresAgreeWithAdmesh(t *testing.T) {
	c, dir := installed(t), t.TempDir()
	if len(c.Specimens) < 25 {
		t.Errorf("only %d watertight meshes, want 25", len(c.Specimens))
	}
	for _, s := range c.Specimens {
		m, err := compare(t.Context(), s.Mesh, dir)
		if err != nil {
			t.Fatalf("%s: %v", s.Name, err)
		}
		if m.Facets != m.AdmeshFacets {
			t.Errorf("%s: %d facets, admesh counts %d", s.Name, m.Facets, m.AdmeshFacets)
		}
		if m.Disconnected != 0 || m.Reversed != 0 {
			t.Errorf("%s: admesh finds %d facets disconnected and %d turned over", s.Name, m.Disconnected, m.Reversed)
		}
		if d := m.difference(); math.Abs(d) > agreement || math.IsNaN(d) {
			t.Errorf("%s: %.6f mm³, admesh %.6f, %.1e apart", s.Name, m.VolumeMM3, m.AdmeshMM3, d)
		}
		t.Logf("%-60s %6d facets, %.1e", s.Name, m.Facets, m.difference())
	}
}

// What admesh prints is read from a page it printed for a tetrahedron.
func TestParseAdmesh(t *testing.T) {
	const page = `
========= Facet Status ========== Original ============ Final ====
Number of facets                 :     5                   4
Total disconnected facets        :     1                   0
=== Processing Statistics ===     ===== Other Statistics =====
Number of parts       :     1        Volume   :  0.166667
Facets reversed       :     2
`
	var m measures
	if err := m.parse([]byte(page)); err != nil {
		t.Fatal(err)
	}
	if want := (measures{AdmeshFacets: 4, AdmeshMM3: 0.166667, Disconnected: 1, Reversed: 2}); m != want {
		t.Errorf("read %+v, want %+v", m, want)
	}
	if err := m.parse([]byte("no such file")); err == nil {
		t.Error("no error for a page without figures")
	}
}

func TestTableCellsStayInTheirColumn(t *testing.T) {
	var b bytes.Buffer
	line(&b, "a|b", "two\nlines")
	if got := strings.TrimSpace(b.String()); got != `| a\|b | two lines |` {
		t.Errorf("wrote %s", got)
	}
}
