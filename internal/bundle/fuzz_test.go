package bundle

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"testing/fstest"

	"mouldwright/internal/fuzzcheck"
)

// Whatever a bundle holds, nothing lands outside its folder and no limit is passed.
func FuzzRead(f *testing.F) {
	var b bytes.Buffer
	files := fstest.MapFS{"job.toml": {Data: []byte("format = 1\n")}, "out/report.json": {Data: []byte("{}")}}
	if err := Write(&b, files, []string{"job.toml", "out/report.json"}); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	top := f.TempDir()
	lim := Limits{Bytes: 1 << 16, Files: 8}
	f.Fuzz(func(t *testing.T, data []byte) {
		dir := filepath.Join(top, "a", "b")
		if err := os.MkdirAll(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		fuzzcheck.Bounded(t, func() {
			_, err := Read(bytes.NewReader(data), dir, lim)
			if err != nil && err.Error() == "" {
				t.Error("an error without words")
			}
		})
		outside := 0
		err := filepath.WalkDir(top, func(path string, e fs.DirEntry, err error) error {
			if err == nil && !e.IsDir() && !bytes.HasPrefix([]byte(path), []byte(dir+string(filepath.Separator))) {
				outside++
			}
			return err
		})
		if err = errors.Join(err, os.RemoveAll(filepath.Join(top, "a"))); err != nil || outside > 0 {
			t.Errorf("%d files outside: %v", outside, err)
		}
	})
}
