package job

import (
	"crypto/sha256"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sort"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/solid"
)

// pool is shared: compiling the kernel takes longer than most of these runs.
var pool *solid.Pool

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		child(folder, os.Getenv(childKind))
		return
	}
	pool = solid.NewPool(solid.Options{})
	code := m.Run()
	pool.Close()
	os.Exit(code)
}

// block is a frustum on a square base, on its big end, or a plain box for base = top.
func block(base, top, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, level := range [][2]float64{{base / 2, 0}, {top / 2, h}} {
		a, z := level[0], level[1]
		m.Verts = append(m.Verts, r3.Vec{X: -a, Y: -a, Z: z}, r3.Vec{X: a, Y: -a, Z: z}, r3.Vec{X: a, Y: a, Z: z}, r3.Vec{X: -a, Y: a, Z: z})
	}
	quad := func(a, b, c, d uint32) { m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d}) }
	quad(0, 3, 2, 1)
	quad(4, 5, 6, 7)
	for i := range uint32(4) {
		j := (i + 1) % 4
		quad(i, j, j+4, i+4)
	}
	return m
}

// hollow is a box with a box-shaped hollow inside that no mould piece reaches.
func hollow() *mesh.Mesh {
	m, in := block(30, 30, 30), turned(block(10, 10, 10))
	for _, v := range in.Verts {
		m.Verts = append(m.Verts, r3.Add(v, r3.Vec{Z: 10}))
	}
	for _, t := range in.Tris {
		m.Tris = append(m.Tris, [3]uint32{t[0] + 8, t[1] + 8, t[2] + 8})
	}
	return m
}

// turned is the mesh inside out.
func turned(m *mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, [3]uint32{t[0], t[2], t[1]})
	}
	return out
}

func scaled(m *mesh.Mesh, by float64) *mesh.Mesh {
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Scale(by, v) })
}

// small is the settings of a job that runs fast; more follows them, in job.toml's own words.
const small = bare + "[mould]\nbolt = \"none\"\nkeys = 0\n"

// bare is a job with every default.
const bare = "format = 1\n[part]\nfile = \"part.stl\"\n"

// newJob makes a job folder by hand.
func newJob(t testing.TB, m *mesh.Mesh, more string) string {
	t.Helper()
	folder := t.TempDir()
	if err := meshfile.Save(filepath.Join(folder, "part.stl"), &mesh.Model{Unit: 1, Objects: []mesh.Object{{Name: "part", Mesh: m}}}); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(folder, FileName), small+more)
	return folder
}

func put(t testing.TB, path, text string) {
	t.Helper()
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// save writes an object as a 3MF file in mm.
func save(t testing.TB, path string, o mesh.Object) {
	t.Helper()
	if err := meshfile.Save(path, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{o}}); err != nil {
		t.Fatal(err)
	}
}

// allHold wants every check on the mould to hold.
func allHold(t testing.TB, rep *Report) {
	t.Helper()
	for _, c := range rep.Mould.Checks {
		if !c.OK {
			t.Errorf("%s: %s", c.Name, c.Words)
		}
	}
}

// written wants files under a job's out/.
func written(t testing.TB, folder string, names ...string) {
	t.Helper()
	for _, name := range names {
		if _, err := os.Stat(filepath.Join(folder, OutName, name)); err != nil {
			t.Error(err)
		}
	}
}

// sameBytes runs a job with one worker and with two, wants the same results, and looks at each.
func sameBytes(t testing.TB, folder string, look func(rep *Report, files string)) {
	t.Helper()
	first := ""
	for _, workers := range []int{1, 2} {
		rep, err := Run(ctx, folder, RunOptions{Pool: pool, Workers: workers, view: quick})
		if err != nil {
			t.Fatal(err)
		}
		now := tree(t, filepath.Join(folder, OutName))
		if first == "" {
			first = now
		}
		if now != first {
			t.Errorf("with %d workers the results differ:\n%s\nbefore:\n%s", workers, now, first)
		}
		look(rep, now)
	}
}

// tree names every file under a folder with a hash of what it holds.
func tree(t testing.TB, dir string) string {
	t.Helper()
	var lines []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, path)
		lines = append(lines, fmt.Sprintf("%s %x", rel, sha256.Sum256(b)))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	sort.Strings(lines)
	return strings.Join(lines, "\n")
}

// leftovers are the hidden entries of a job folder, which no run may leave behind.
func leftovers(t testing.TB, folder string) (hidden []string) {
	t.Helper()
	entries, err := os.ReadDir(folder)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.HasPrefix(e.Name(), ".") {
			hidden = append(hidden, e.Name())
		}
	}
	return hidden
}

func lacks(t testing.TB, what, text string, wants ...string) {
	t.Helper()
	for _, w := range wants {
		if !strings.Contains(text, w) {
			t.Errorf("%s lacks %q:\n%s", what, w, text)
		}
	}
}
