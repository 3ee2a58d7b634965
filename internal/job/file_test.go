package job

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/image/font/gofont/goregular"
)

// A job.toml wrong in every way: each error names the file, the line, the setting and what is right.
func TestWrongSettings(t *testing.T) {
	const head = "format = 1\n[part]\nfile = \"part.stl\"\n" // lines 1 to 3
	for _, c := range []struct{ text, where, want string }{
		// not TOML
		{head + "unit = \n", ":4:", ""},
		{head + "unit = \"mm\n", ":4:", ""},
		{head + "[part]\n", ":4:", "already"},
		{head + "file = \"b.stl\"\n", ":4:", "already"},
		{head + "name = \"\xff\"\n", ":4:", "UTF-8"},
		// unknown
		{head + "[mould]\nwal_mm = 3\n", ":5:1: mould.wal_mm", "does not exist"},
		{head + "[mold]\nwall_mm = 3\n", ":4:2: mold", "does not exist"},
		{"format = 1\nwall = 3\n", ":2:1: wall", "docs/job.md"},
		// of the wrong type
		{head + "[mould]\nwall_mm = \"twelve\"\n", ":5:11: mould.wall_mm", "a text in quotes stands here, where a number belongs"},
		{head + "[mould]\nkeys = 2.5\n", ":5:8: mould.keys", "where a whole number belongs"},
		{head + "[mould]\nlabel = 3\n", ":5:9: mould.label", "where a text in quotes belongs"},
		{head + "[mould]\nbolt = true\n", ":5:8: mould.bolt", "true or false stands here"},
		{head + "[show]\ntowards = 3\n", ":5:11: show.towards", "where a table of settings belongs"},
		{head + "[opening]\ndirection = \"+z\"\n", ":5:13: opening.direction", "where a list of numbers belongs"},
		// out of range
		{head + "[mould]\nwall_mm = 2000\n", ":5:1: mould.wall_mm", "2000 is outside 0 to 200 mm"},
		{head + "[mould]\nwall_mm = -1\n", ":5:1: mould.wall_mm", "outside 0 to 200 mm"},
		{head + "[mould]\nwall_mm = nan\n", ":5:1: mould.wall_mm", "NaN"},
		{head + "[mould]\nwall_mm = inf\n", ":5:1: mould.wall_mm", "Inf"},
		{head + "[mould]\nkeys = 2\n", ":5:1: mould.keys", "0, or at least 3"},
		{head + "[mould]\nkeys = -3\n", ":5:1: mould.keys", "outside 0 to 16"},
		{head + "[mould]\nvents = 99\n", ":5:1: mould.vents", "outside 0 to 32"},
		{head + "[mould]\nbolt = \"M7\"\n", ":5:1: mould.bolt", `M8, or "none"`},
		{head + "[mould]\nfamily = \"blob\"\n", ":5:1: mould.family", `"two-halves"`},
		{head + "[opening]\ndirection = [0, 0]\n", ":5:1: opening.direction", "three numbers"},
		{head + "[opening]\ndirection = [0, 0, 0]\n", ":5:1: opening.direction", "not all 0"},
		{head + "[opening]\ndirection = [0, nan, 1]\n", ":5:1: opening.direction", "three numbers"},
		{head + "[parting]\nheight_mm = inf\n", ":5:1: parting.height_mm", "Inf"},
		{head + "[material]\nshrink_pct = [1, 2]\n", ":5:1: material.shrink_pct", "found 2"},
		{head + "[material]\nshrink_pct = [90]\n", ":5:1: material.shrink_pct", "outside -5 to 20 %"},
		{head + "[fill]\nmax_tilt_deg = [10]\n", ":5:1: fill.max_tilt_deg", "found 1"},
		{head + "[fill]\nmax_tilt_deg = [10, 70]\n", ":5:1: fill.max_tilt_deg", "outside 0 to 60 °"},
		{head + "[fill]\npot_kpa = 4\n", ":5:1: fill.pot_kpa", "absolute"},
		{head + "[printer]\nbuild_mm = [200]\n", ":5:1: printer.build_mm", "three sizes"},
		{head + "[shot]\noverfill_pct = -5\n", ":5:1: shot.overfill_pct", "outside 0 to 100 %"},
		{head + "[drawing]\npaper = \"B5\"\n", ":5:1: drawing.paper", "A4, A3, Letter"},
		{head + "[show]\ncolours = [\"red\"]\n", ":5:1: show.colours", `like "#d04020"`},
		{head + "[[show.towards]]\nwithin_deg = 5\n", ":4:1: show.towards", "not all 0"},
		{head + "[[show.towards]]\ndirection = [0, 0, 1]\nwithin_deg = 270\n", ":4:1: show.towards", "0 to 180°"},
		{head + "[[show.box]]\nmin = [0, 0, 5]\nmax = [9, 9, 1]\n", ":4:1: show.box", "below max"},
		{"format = 1\nmould = {wall_mm = 900}\n[part]\nfile = \"part.stl\"\n", ":2:1: mould.wall_mm", "outside"},
		{"format = 1\nmould.wall_mm = 900\n[part]\nfile = \"part.stl\"\n", ":2:1: mould.wall_mm", "outside"},
		// left out, or of another version
		{"", "job.toml: format", "begin it with the line: format = 1"},
		{"format = 9\n", ":1:1: format", "reads format 1"},
		{"format = 1\n", "job.toml: part.file", "name the part's file"},
		// files that are not in the folder
		{"format = 1\n[part]\nfile = \"../part.stl\"\n", ":3:1: part.file", "inside the job folder"},
		{"format = 1\n[part]\nfile = \"/etc/hostname\"\n", ":3:1: part.file", "inside the job folder"},
		{"format = 1\n[part]\nfile = \"none.stl\"\n", ":3:1: part.file", "no file \"none.stl\" in the job folder; copy it there"},
		{head + "unit = \"furlong\"\n", ":4:1: part.unit", "mm, micron, cm, m, inch, foot"},
		{head + "object = \"lid\"\n", ":4:1: part.object", `no object "lid"`},
		{head + "[material]\nid = \"gold\"\n", ":5:1: material.id", "pu-flexible"},
		{head + "[material]\nlibrary = \"../own.toml\"\n", ":5:1: material.library", "inside the job folder"},
		{head + "[material]\nlibrary = \"none.toml\"\n", ":5:1: material.library", "copy it there"},
		{head + "[mould]\nlabel_font = \"none.ttf\"\n", ":5:1: mould.label_font", "copy it there"},
		{head + "[mould]\nlabel_font = \"part.stl\"\n", ":5:1: mould.label_font", "not a TTF or OTF font"},
	} {
		folder := newJob(t, block(24, 20, 10), "")
		put(t, filepath.Join(folder, FileName), c.text)
		if err := writeSample(disk{}, folder, "before"); err != nil {
			t.Fatal(err)
		}
		before := tree(t, folder)
		_, err := run(folder)
		var at *FileError
		if !errors.As(err, &at) {
			t.Errorf("%q: error %v, want a *FileError", c.text, err)
			continue
		}
		lacks(t, fmt.Sprintf("%q", c.text), err.Error(), filepath.Join(folder, FileName), c.where, c.want)
		if strings.Contains(err.Error(), "struct field") || strings.Contains(err.Error(), "job.") && strings.Contains(err.Error(), "of type") {
			t.Errorf("%q: words of the program's insides: %v", c.text, err)
		}
		if tree(t, folder) != before {
			t.Errorf("%q: the folder has changed", c.text)
		}
	}
}

// Links that lead out of the folder, pipes and folders in the place of files.
func TestTricksWithFiles(t *testing.T) {
	outside := t.TempDir()
	put(t, filepath.Join(outside, "secret"), "the maker's own")
	if err := os.WriteFile(filepath.Join(outside, "font.ttf"), goregular.TTF, 0o600); err != nil {
		t.Fatal(err)
	}
	link := func(to, at string) func(folder string) error {
		return func(folder string) error {
			path := filepath.Join(folder, at)
			_ = os.Remove(path) // the part, where it is that
			return os.Symlink(to, path)
		}
	}
	for _, c := range []struct {
		name, more string
		trick      func(folder string) error
		want       string
	}{
		{"part is a link out", "", link(filepath.Join(outside, "secret"), "part.stl"), "leads out of the job folder"},
		{"font is a link out", "label_font = \"f.ttf\"\n", link(filepath.Join(outside, "font.ttf"), "f.ttf"), "leads out of the job folder"},
		{"library is a link out", "[material]\nlibrary = \"own.toml\"\n", link(filepath.Join(outside, "secret"), "own.toml"), "leads out of the job folder"},
		{"library in a linked folder", "[material]\nlibrary = \"sub/secret\"\n", link(outside, "sub"), "leads out of the job folder"},
		{"part is a link to itself", "", link("part.stl", "part.stl"), "too many"},
		{"part is a link to nothing", "", link("gone.stl", "part.stl"), "no file"},
		{"part is a pipe", "", func(folder string) error {
			return errors.Join(os.Remove(filepath.Join(folder, "part.stl")), syscall.Mkfifo(filepath.Join(folder, "part.stl"), 0o600))
		}, "not a plain file"},
		{"part is a folder", "", func(folder string) error {
			return errors.Join(os.Remove(filepath.Join(folder, "part.stl")), os.Mkdir(filepath.Join(folder, "part.stl"), 0o700))
		}, "not a plain file"},
		{"font is a pipe", "label_font = \"f.ttf\"\n", func(folder string) error { return syscall.Mkfifo(filepath.Join(folder, "f.ttf"), 0o600) }, "not a plain file"},
		{"job.toml is a device", "", link("/dev/zero", FileName), "not a plain file"},
		{"job.toml is huge", "", func(folder string) error { return os.Truncate(filepath.Join(folder, FileName), 1<<30) }, "bytes, more than"},
	} {
		folder := newJob(t, block(24, 20, 10), c.more)
		if err := c.trick(folder); err != nil {
			t.Fatal(err)
		}
		_, err := run(folder)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), folder) || strings.Contains(err.Error(), "maker's own") {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
		if _, err := os.Stat(filepath.Join(folder, OutName)); !errors.Is(err, os.ErrNotExist) || len(leftovers(t, folder)) > 0 {
			t.Errorf("%s: left results", c.name)
		}
	}
	// A link that stays inside is fine.
	folder := newJob(t, block(24, 20, 10), "")
	if err := errors.Join(os.Rename(filepath.Join(folder, "part.stl"), filepath.Join(folder, "v2.stl")), os.Symlink("v2.stl", filepath.Join(folder, "part.stl"))); err != nil {
		t.Fatal(err)
	}
	if _, err := run(folder); err != nil {
		t.Errorf("a link inside the folder: %v", err)
	}
}

// The comments of a new job.toml name the defaults: what it spells out is what leaving all out means.
func TestNewJobIsTheDefault(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	fresh := filepath.Join(t.TempDir(), "job")
	if err := Create(fresh, filepath.Join(folder, "part.stl"), CreateOptions{}); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(folder, FileName), bare)
	_, errA := run(fresh)
	_, errB := run(folder)
	if errA != nil || errB != nil {
		t.Fatal(errA, errB)
	}
	if x, y := tree(t, filepath.Join(fresh, OutName)), tree(t, filepath.Join(folder, OutName)); x != y {
		t.Errorf("spelled out:\n%s\nleft out:\n%s", x, y)
	}
}
