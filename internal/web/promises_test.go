package web

import (
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The pages of promises name a test for each; every name must be that of a test that is there, and every row
// of a table of promises must have one.
func TestPromisesNameTheirTests(t *testing.T) {
	root := filepath.Join("..", "..")
	there := map[string]bool{}
	declared := regexp.MustCompile(`(?m)^func ((?:Test|Fuzz)\w+)\(`)
	err := filepath.WalkDir(filepath.Join(root, "internal"), func(path string, e fs.DirEntry, err error) error {
		if err != nil || !strings.HasSuffix(path, "_test.go") {
			if e != nil && e.Name() == "node_modules" {
				return fs.SkipDir
			}
			return err
		}
		b, err := os.ReadFile(path)
		for _, m := range declared.FindAllSubmatch(b, -1) {
			there[string(m[1])] = true
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	named := regexp.MustCompile("`((?:Test|Fuzz)\\w+)`")
	for _, page := range []string{"threats.md", "api.md", "workers.md", "record.md"} {
		b, err := os.ReadFile(filepath.Join(root, "docs", page))
		if err != nil {
			t.Fatal(err)
		}
		found, inTable := 0, false
		for i, line := range strings.Split(string(b), "\n") {
			cells := strings.Split(strings.Trim(line, "|"), "|")
			last := strings.TrimSpace(cells[len(cells)-1])
			switch {
			case !strings.HasPrefix(line, "|"):
				inTable = false
			case last == "Test" || strings.HasPrefix(last, "Test, in"):
				inTable = true
			case inTable && !strings.HasPrefix(last, "--") && !named.MatchString(last):
				t.Errorf("%s:%d: a promise without a test: %s", page, i+1, line)
			}
			for _, m := range named.FindAllStringSubmatch(line, -1) {
				found++
				if !there[m[1]] {
					t.Errorf("%s:%d: there is no %s", page, i+1, m[1])
				}
			}
		}
		if found < 5 {
			t.Errorf("%s names %d tests", page, found)
		}
	}
}
