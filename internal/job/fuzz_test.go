package job

import (
	"bytes"
	"errors"
	"testing"

	"mouldwright/internal/fuzzcheck"
)

// Whatever job.toml says, it is read or refused with the place.
func FuzzParse(f *testing.F) {
	text, err := render("part.stl", CreateOptions{Name: "part", Material: DefaultMaterial, Colours: []string{"#ff0000"}})
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	f.Add([]byte("format = 1\n[part]\nfile = \"a.stl\"\n[mould]\nwall_mm = 8\nkeys = 4\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		if len(text) > 1<<16 {
			return // the TOML library's own time, not ours
		}
		fuzzcheck.Bounded(t, func() {
			before := bytes.Clone(text)
			d, err := Parse(FileName, text)
			var file *FileError
			switch {
			case err == nil && d == nil:
				t.Error("no decisions and no error")
			case err != nil && !errors.As(err, &file):
				t.Errorf("an error of a foreign kind: %T: %v", err, err)
			case !bytes.Equal(before, text):
				t.Error("the text was changed")
			}
		})
	})
}
