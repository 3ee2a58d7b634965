package meshfile

import (
	"bytes"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"syscall"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/atomicfile/faultfs"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/ply"
	"mouldwright/internal/mesh/stl"
)

func part() *mesh.Model {
	return &mesh.Model{Unit: mesh.Millimetre, Objects: []mesh.Object{{Name: "corner", Mesh: &mesh.Mesh{
		Verts: []r3.Vec{{}, {X: 30}, {Y: 20}, {Z: 10}},
		Tris:  [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}},
	}}}}
}

func TestSaveOpen(t *testing.T) {
	for _, ext := range Extensions() {
		path := filepath.Join(t.TempDir(), "part"+strings.ToUpper(ext))
		if err := Save(path, part()); err != nil {
			t.Fatal(err)
		}
		m, err := Open(path, mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		got, want := mesh.Weld(m.Objects[0].Mesh, 0), mesh.Weld(part().Objects[0].Mesh, 0)
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%s: got %v, want %v", ext, got, want)
		}
		if ext != ".ply" && m.Objects[0].Name != "corner" {
			t.Errorf("%s: name %q", ext, m.Objects[0].Name)
		}
	}
}

// Content goes before the name.
func TestWrongExtension(t *testing.T) {
	dir := t.TempDir()
	for _, ext := range Extensions() {
		path := filepath.Join(dir, "part"+ext)
		if err := Save(path, part()); err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for _, as := range []string{"part.stl", "part.obj", "part.bin"} {
			if ext == ".stl" && as != "part.stl" || ext == ".obj" && as == "part.stl" {
				continue // binary STL has no mark
			}
			wrong := filepath.Join(t.TempDir(), as)
			if err := os.WriteFile(wrong, data, 0o600); err != nil {
				t.Fatal(err)
			}
			if m, err := Open(wrong, mesh.Limits{}); err != nil || m.Facets() != 4 {
				t.Errorf("%s named %s: %v", ext, as, err)
			}
		}
	}
}

func TestOpenErrors(t *testing.T) {
	dir := t.TempDir()
	file := func(name, content string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	var short bytes.Buffer
	if err := stl.Write(&short, part().Objects[0].Mesh, ""); err != nil {
		t.Fatal(err)
	}
	fifo := filepath.Join(dir, "fifo")
	for _, c := range []struct{ path, want string }{
		{filepath.Join(dir, "none.stl"), "there is no such file"},
		{dir, "not a plain file"},
		{file("empty.stl", ""), "the file is empty"},
		{file("notes.txt", "buy resin"), "export the part as 3MF, STL, OBJ or PLY"},
		{file("wide.obj", "\xff\xfev\x00 \x00"), "UTF-16"},
		{file("short.stl", short.String()[:200]), "facet 3"},
		{file("ascii.stl", "solid x\nfacet normal 0 0 1\nouter loop\nvertex 0 0 nan"), "line 4: facet 1"},
		{file("cut.3mf", "PK\x03\x04 and no more"), "not a whole zip file"},
		{file("bad.ply", "ply\nformat ascii 1.0\nend\n"), "line 3"},
		{file("bad.obj", "v 1 2\n"), "line 1"},
	} {
		_, err := Open(c.path, mesh.Limits{})
		var e *mesh.ReadError
		if !errors.As(err, &e) || e.Path != c.path || e.Do == "" || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.path) {
			t.Errorf("%s: error %v, want one with %q", c.path, err, c.want)
		}
	}
	if err := syscall.Mkfifo(fifo, 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(fifo, mesh.Limits{}); err == nil || !strings.Contains(err.Error(), "not a plain file") {
		t.Errorf("a pipe: error %v", err)
	}
}

func TestOpenLimits(t *testing.T) {
	path := filepath.Join(t.TempDir(), "part.stl")
	if err := Save(path, part()); err != nil {
		t.Fatal(err)
	}
	for want, lim := range map[string]mesh.Limits{"Facets": {Facets: 3}, "Bytes": {Bytes: 100}} {
		// The words name what to do with the file, and no setting that no face of the tool has.
		_, err := Open(path, lim)
		var e *mesh.LimitError
		if !errors.As(err, &e) || e.Limit != want || !strings.Contains(err.Error(), path) || !strings.Contains(err.Error(), "export the part with a coarser tolerance") {
			t.Errorf("error %v, want the limit %s", err, want)
		}
	}
}

func TestSaveErrors(t *testing.T) {
	dir := t.TempDir()
	bad := part()
	bad.Objects[0].Mesh.Verts[1].X = math.NaN()
	for _, ext := range Extensions() {
		path := filepath.Join(dir, "x"+ext)
		if err := Save(path, &mesh.Model{Unit: 1}); !errors.Is(err, mesh.ErrNoFacets) {
			t.Errorf("%s: nothing: error %v", ext, err)
		}
		if err := Save(path, bad); !errors.Is(err, mesh.ErrNotFinite) {
			t.Errorf("%s: NaN: error %v", ext, err)
		}
	}
	if err := Save(filepath.Join(dir, "x.doc"), part()); err == nil || !strings.Contains(err.Error(), ".3mf, .stl") {
		t.Errorf("error %v", err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 0 {
		t.Errorf("left behind: %v %v", list, err)
	}
}

// The disk fills up after every number of bytes, and every operation fails once, with each format:
// the old file must stay as it was and nothing may lie beside it.
func TestSaveFailsEverywhere(t *testing.T) {
	for _, ext := range Extensions() {
		t.Run(ext, func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, "part"+ext)
			var fresh bytes.Buffer
			if err := writers[ext](&fresh, part()); err != nil {
				t.Fatal(err)
			}
			for n := range int64(fresh.Len()) {
				f := faultfs.New(atomicfile.OS{})
				f.BytesLeft = n
				saveAndCheck(t, f, dir, path, fresh.Bytes())
			}
			for n := 1; ; n++ {
				f := faultfs.New(atomicfile.OS{})
				f.FailAt = n
				saveAndCheck(t, f, dir, path, fresh.Bytes())
				if !f.Fired {
					return
				}
			}
		})
	}
}

func saveAndCheck(t *testing.T, f *faultfs.FS, dir, path string, fresh []byte) {
	t.Helper()
	old := []byte("the old file")
	if err := os.WriteFile(path, old, 0o600); err != nil {
		t.Fatal(err)
	}
	err := SaveFS(f, path, part())
	if (err != nil) != f.Fired || err != nil && (!errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "disk is full")) {
		t.Fatalf("fault %v, error %v", f.Fired, err)
	}
	want := fresh
	if err != nil && !errors.Is(err, atomicfile.ErrNotDurable) {
		want = old
	}
	if got, err := os.ReadFile(path); err != nil || !bytes.Equal(got, want) {
		t.Fatalf("the file holds %d bytes, want %d: %v", len(got), len(want), err)
	}
	if list, err := os.ReadDir(dir); err != nil || len(list) != 1 {
		t.Fatalf("left behind: %v %v", list, err)
	}
}

func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "part.3mf")
	if err := Save(path, part()); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	f := faultfs.New(atomicfile.OS{})
	f.Err = fs.ErrPermission
	f.FailAt = 3 // creating the new file
	if err := SaveFS(f, path, part()); !errors.Is(err, fs.ErrPermission) || !strings.Contains(err.Error(), "write to another folder") {
		t.Errorf("error %v", err)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(after, before) {
		t.Errorf("the old file changed: %v", err)
	}
}

// A colour that PLY holds survives a detour over 3MF.
func TestColoursAcrossFormats(t *testing.T) {
	m := part()
	m.Objects[0].Colours = []mesh.RGBA{{R: 200, A: 255}, {B: 100, A: 255}}
	m.Objects[0].FacetColour = []int32{0, 1, 1, 0}
	path := filepath.Join(t.TempDir(), "part.3mf")
	if err := Save(path, m); err != nil {
		t.Fatal(err)
	}
	m, err := Open(path, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := ply.Write(&b, m); err != nil {
		t.Fatal(err)
	}
	got, err := ply.Read(&b, mesh.Limits{})
	if err != nil || !reflect.DeepEqual(got.Objects[0].FacetColour, []int32{0, 1, 1, 0}) || got.Objects[0].Colours[0].R != 200 {
		t.Errorf("%+v %v", got, err)
	}
}
