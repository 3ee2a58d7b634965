package job

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// opened finds the settings whose files the package opens.
var opened = regexp.MustCompile(`\.inside\([^,]+, "([a-z_.]+)"`)

// A run elsewhere gets every file that a run here opens: whatever setting the package takes a file from is
// among those that Inputs knows.
func TestInputsKnowsEverySettingThatNamesAFile(t *testing.T) {
	sources, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var known []string
	for _, s := range (&File{}).fileSettings() {
		known = append(known, s.key)
	}
	found := 0
	for _, name := range sources {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range opened.FindAllStringSubmatch(string(b), -1) {
			found++
			if !slices.Contains(known, m[1]) {
				t.Errorf("%s opens the file of %s, which Inputs does not know", name, m[1])
			}
		}
	}
	if found < len(known) {
		t.Errorf("found %d settings in the sources, want at least %d", found, len(known))
	}
}
