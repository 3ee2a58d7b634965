package main

import (
	"strings"
	"testing"
	"unicode/utf8"

	"mouldwright/internal/solid"
)

// A plate whose parting line passes over itself in two halves comes out of an open tray, built and proven;
// the page says why two halves do not serve.
func TestOtherWaysOnARealMesh(t *testing.T) {
	c := installed(t)
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	for _, s := range c.Specimens {
		if s.Name != "OBJ/regr01.obj shell 12" {
			continue
		}
		got, err := otherWays(t.Context(), pool, s.Mesh)
		if err != nil {
			t.Fatal(err)
		}
		if got.Family != "open-face tray" || len(got.Reasons) == 0 || got.Direction == "" {
			t.Errorf("%+v", got)
		}
		o := Outcome{Verdict: refused, Direction: "z", Reason: "build: why", Others: got}
		if o.family() != got.Family || o.direction() != got.Direction || !strings.HasPrefix(o.notes(), "two rigid halves, along z: build: why; ") {
			t.Errorf("%q along %q: %q", o.family(), o.direction(), o.notes())
		}
		return
	}
	t.Fatal("the mesh is not in the corpus")
}

func TestFirstWordsKeepWholeLetters(t *testing.T) {
	long := strings.Repeat("größer als 5 mm ", 20)
	if got := firstWords(long); len(got) > 170 || !strings.HasSuffix(got, " …") || !utf8.ValidString(got) {
		t.Errorf("%q", got)
	}
	if got := firstWords("short\n words"); got != "short words" {
		t.Errorf("%q", got)
	}
}
