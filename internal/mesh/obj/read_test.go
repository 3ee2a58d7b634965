package obj

import (
	"bytes"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fuzzcheck"
	"mouldwright/internal/mesh"
)

func read(t testing.TB, s string) *mesh.Model {
	t.Helper()
	m, err := Read(strings.NewReader(s), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

const corners = "v 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nv 0 0 1\nv 1 0 1\nv 1 1 1\nv 0 1 1\n"

// A cube of six quads in every way that a corner can be written: its volume is 1.
func TestFaceForms(t *testing.T) {
	for name, faces := range map[string]string{
		"v":            "f 4 3 2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n",
		"v/vt":         "f 4/1 3/1 2/1 1/1\nf 5/1 6/1 7/1 8/1\nf 1/1 2/1 6/1 5/1\nf 2/1 3/1 7/1 6/1\nf 3/1 4/1 8/1 7/1\nf 4/1 1/1 5/1 8/1\n",
		"v//vn":        "f 4//1 3//1 2//1 1//1\nf 5//1 6//1 7//1 8//1\nf 1//1 2//1 6//1 5//1\nf 2//1 3//1 7//1 6//1\nf 3//1 4//1 8//1 7//1\nf 4//1 1//1 5//1 8//1\n",
		"v/vt/vn":      "f 4/1/1 3/1/1 2/1/1 1/1/1\nf 5/1/1 6/1/1 7/1/1 8/1/1\nf 1/1/1 2/1/1 6/1/1 5/1/1\nf 2/1/1 3/1/1 7/1/1 6/1/1\nf 3/1/1 4/1/1 8/1/1 7/1/1\nf 4/1/1 1/1/1 5/1/1 8/1/1\n",
		"negative":     "f -5 -6 -7 -8\nf -4 -3 -2 -1\nf -8 -7 -3 -4\nf -7 -6 -2 -3\nf -6 -5 -1 -2\nf -5 -8 -4 -1\n",
		"continued":    "f 4 3 \\\n2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7 # the last but one\r\nf\t4 1 5 8",
		"with the odd": "mtllib x.mtl\nvn 0 0 1\nvt 0 0\nusemtl red\ns off\nf 4 3 2 1\nf 5 6 7 8\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\nl 1 2\n",
	} {
		m := read(t, corners+faces)
		if v := m.Objects[0].Mesh.VolumeMM3(); math.Abs(v-1) > 1e-15 || m.Facets() != 12 || m.UnitKnown {
			t.Errorf("%s: volume %v, %d facets", name, v, m.Facets())
		}
	}
}

func TestVerticesAfterFaces(t *testing.T) {
	if m := read(t, "f 1 2 3\nv 0 0 0 1\nv 1 0 0 0.5 0.5 0.5\nv 0 1e0 0\n"); m.Facets() != 1 {
		t.Error("not read")
	}
}

func TestConcaveFace(t *testing.T) {
	m := read(t, "v 0 0 0\nv 2 0 0\nv 2 1 0\nv 1 1 0\nv 1 2 0\nv 0 2 0\nf 4 5 6 1 2 3\n")
	if a := m.Objects[0].Mesh.AreaMM2(); math.Abs(a-3) > 1e-12 {
		t.Errorf("area %v, want 3", a)
	}
}

func TestNames(t *testing.T) {
	two := "v 0 0 0\nv 1 0 0\nv 0 1 0\n%1\nf 1 2 3\nv 5 0 0\nv 6 0 0\nv 5 1 0\n%2\nf -3 -2 -1\n"
	for _, c := range []struct {
		first, second string
		want          []string
	}{
		{"o a", "o b b", []string{"a", "b b"}},
		{"g a", "g b", []string{"a", "b"}},
		{"o whole\ng a", "g b", []string{"whole"}},
		{"", "", []string{""}},
		{"g a", "g a", []string{"a"}},
	} {
		m := read(t, strings.NewReplacer("%1", c.first, "%2", c.second).Replace(two))
		var got []string
		for _, o := range m.Objects {
			got = append(got, o.Name)
		}
		if !reflect.DeepEqual(got, c.want) || m.Facets() != 2 {
			t.Errorf("%q, %q: objects %q, want %q", c.first, c.second, got, c.want)
		}
	}
	// A group a face is no solid: groups with common vertices are one.
	m := read(t, corners+"g bottom\nf 4 3 2 1\ng top\nf 5 6 7 8\ng side\nf 1 2 6 5\nf 2 3 7 6\nf 3 4 8 7\nf 4 1 5 8\n")
	if len(m.Objects) != 1 || len(m.Notes) != 1 || m.Objects[0].Name != "bottom" {
		t.Errorf("%d objects, notes %q", len(m.Objects), m.Notes)
	}
}

func TestBadInput(t *testing.T) {
	tri := "v 0 0 0\nv 1 0 0\nv 0 1 0\n"
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", "no surface"},
		{"no faces", tri, "no surface"},
		{"NaN", "v 0 0 nan\n", "line 1: vertex 1: nan: coordinate is not a finite number"},
		{"overflow", "v 0 0 1e999\n", "not a finite number"},
		{"comma", "v 0,5 0 0\n", `line 1: vertex 1: "0,5" is not a number`},
		{"short vertex", "v 0 0\n", "2 coordinates instead of 3"},
		{"two corners", tri + "f 1 2\n", "line 4: a face with 2 corners"},
		{"zero", tri + "f 0 1 2\n", `line 4: "0" names no vertex`},
		{"too far back", tri + "f -4 1 2\n", "names no vertex"},
		{"too far on", tri + "f 1 2 4\n", "line 4: facet 1: vertex 4 is used, but the file has only 3"},
		{"quad too far on", tri + "f 1 2 3 4\n", "line 4: facet 1"},
		{"letters", tri + "f 1 2 x\n", `"x" is no corner`},
		{"too many slashes", tri + "f 1/1/1/1 2 3\n", "no corner"},
		{"curves", "cstype bezier\n", "free-form"},
		{"dangling", tri + "f 1 2 3 \\", "to be continued"},
	} {
		_, err := Read(strings.NewReader(c.in), mesh.Limits{})
		var e *mesh.ReadError
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		} else if !errors.As(err, &e) || e.Do == "" {
			t.Errorf("%s: does not say what to do: %v", c.name, err)
		}
	}
}

func TestLimits(t *testing.T) {
	tri := "v 0 0 0\nv 1 0 0\nv 0 1 0\n"
	for _, c := range []struct {
		in, want string
		lim      mesh.Limits
	}{
		{tri + "f 1 2 3\nf 1 2 3\n", "Facets", mesh.Limits{Facets: 1}},
		{strings.Repeat(tri, 5), "Facets", mesh.Limits{Facets: 2}},
		{tri + "f" + strings.Repeat(" 1", 50), "PolygonCorners", mesh.Limits{PolygonCorners: 40}},
		{tri + "f 1 2 3\n", "Bytes", mesh.Limits{Bytes: 20}},
	} {
		_, err := Read(strings.NewReader(c.in), c.lim)
		var e *mesh.LimitError
		if !errors.As(err, &e) || e.Limit != c.want {
			t.Errorf("error %v, want the limit %s", err, c.want)
		}
	}
	if _, err := Read(strings.NewReader("v "+strings.Repeat("0", 2<<20)), mesh.Limits{}); err == nil || !strings.Contains(err.Error(), "line 1: a line of more than") {
		t.Errorf("error %v", err)
	}
}

// OBJ has no end mark: a cut between two lines cannot be seen, and gives the start of the whole; one
// within a line is noted.
func TestEveryPrefix(t *testing.T) {
	text := corners + "f 4 3 2\nf 5 6 7 8\nf 1 2 6 5\n"
	whole := read(t, text).Objects[0].Mesh
	for n := range text {
		m, err := Read(strings.NewReader(text[:n]), mesh.Limits{})
		if err != nil {
			continue
		}
		got := m.Objects[0].Mesh
		if text[n-1] != '\n' {
			if len(m.Notes) != 1 {
				t.Errorf("prefix of %d bytes was taken for whole", n)
			}
			continue
		}
		for f := range got.Tris {
			if got.Facet(f) != whole.Facet(f) {
				t.Errorf("prefix of %d bytes: facet %d is %v, want %v", n, f, got.Facet(f), whole.Facet(f))
			}
		}
	}
}

func TestWriteReadBack(t *testing.T) {
	tris := [][3]uint32{{0, 1, 2}, {2, 1, 3}}
	odd := []r3.Vec{{X: 0.1, Y: 1.0 / 3, Z: math.Pi}, {X: 5e-324, Y: math.MaxFloat64}, {Z: math.Copysign(0, -1)}, {X: 1e22}}
	want := &mesh.Model{Unit: 1, Objects: []mesh.Object{
		{Name: "upper half", Mesh: &mesh.Mesh{Verts: odd, Tris: tris}},
		{Name: "lower", Mesh: &mesh.Mesh{Verts: odd, Tris: tris}},
	}}
	var b bytes.Buffer
	if err := Write(&b, want); err != nil {
		t.Fatal(err)
	}
	got := read(t, b.String())
	if !reflect.DeepEqual(got.Objects, want.Objects) {
		t.Errorf("got %+v, want %+v", got.Objects, want.Objects)
	}
	want.Objects[1].Name = "upper\thalf\n#"
	b.Reset()
	if err := Write(&b, want); err != nil {
		t.Fatal(err)
	}
	if got := read(t, b.String()); len(got.Objects) != 2 || got.Objects[1].Name != "upper half (2)" {
		t.Errorf("equal names: %+v", got.Objects)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(corners + "f 4 3 2 1\nf -1 -2 -3\ng a b\nf 1/2/3 2//3 3/4\n"))
	f.Add([]byte("o x\nv 0 0 0\nv 2 0 0\nv 2 1 0\nv 1 1 0\nv 1 2 0\nv 0 2 0\nf 4 5 6 1 \\\n2 3\n"))
	lim := mesh.Limits{Facets: 10_000, Bytes: 1 << 20, PolygonCorners: 100}
	f.Fuzz(func(t *testing.T, data []byte) {
		var model *mesh.Model
		var err error
		fuzzcheck.Bounded(t, func() { model, err = Read(bytes.NewReader(data), lim) })
		if err != nil {
			fuzzcheck.MeshError(t, err)
			return
		}
		var b bytes.Buffer
		if err := Write(&b, model); err != nil {
			t.Fatalf("read what cannot be written: %v", err)
		}
		again, err := Read(&b, mesh.Limits{})
		if err != nil {
			t.Fatalf("our own file does not read: %v", err)
		}
		if again.Facets() != model.Facets() {
			t.Fatalf("%d facets became %d", model.Facets(), again.Facets())
		}
	})
}
