package main

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mouldwright/internal/licences"
)

// Every module that the program is built from on any system, and every package in its page, has its texts in
// the program, word for word, and is named in THIRD_PARTY.md.
func TestEveryWorkIsThere(t *testing.T) {
	root := filepath.Join("..", "..", "..")
	works, err := places(root)
	if err != nil {
		t.Fatal(err)
	}
	all, err := licences.All()
	if err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(filepath.Join(root, "THIRD_PARTY.md"))
	if err != nil {
		t.Fatal(err)
	}
	named := string(b)
	if len(works) < 50 {
		t.Errorf("only %d works: %v", len(works), works)
	}
	for _, w := range works {
		if !strings.Contains(named, "`"+w.name+"`") {
			t.Errorf("THIRD_PARTY.md does not name `%s`", w.name)
		}
		if _, err := os.Stat(w.dir); err != nil && strings.Contains(w.dir, "node_modules") {
			t.Logf("%s: not installed here, so its text is not compared", w.name)
			if found, err := licences.Of(w.name); err != nil || len(found) == 0 {
				t.Errorf("%s: no text: %v", w.name, err)
			}
			continue
		}
		found, err := textsIn(w.dir)
		if err != nil || len(found) == 0 {
			t.Errorf("%s: no licence in %s: %v", w.name, w.dir, err)
		}
		for _, text := range found {
			if !slices.ContainsFunc(all, func(k licences.Text) bool { return k.Text == text && slices.Contains(k.Works, w.name) }) {
				t.Errorf("%s: its text is not in the program; run make licences", w.name)
			}
		}
	}
	for _, k := range all {
		for _, w := range k.Works {
			if !slices.ContainsFunc(works, func(o work) bool { return o.name == w }) {
				t.Errorf("%s is not in the program any more; run make licences", w)
			}
		}
	}
}

// No work comes under a licence that nobody has looked at.
func TestEveryWorkHasAKnownLicence(t *testing.T) {
	all, err := licences.All()
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[string]bool{}
	for _, k := range all {
		for _, w := range k.Works {
			kinds[w] = kinds[w] || k.Kind != ""
		}
	}
	for w, known := range kinds {
		if !known {
			t.Errorf("%s: unknown licence", w)
		}
	}
}
