package ply

import (
	"bytes"
	"errors"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fuzzcheck"
	"mouldwright/internal/mesh"
)

// A unit cube of six quads, with properties that are not needed, in an odd order, and elements of
// other kinds around.
const cube = `ply
format ascii 1.0
comment by hand
obj_info nothing
element camera 1
property float fov
property list uchar int what
element vertex 8
property uchar red
property float z
property double x
property uchar green
property uchar blue
property short y
element edge 2
property int vertex1
property int vertex2
element face 6
property uchar flags
property list uchar uint vertex_index
end_header
45.5 2 7 8
255 0 0 1 2 0
255 0 1 1 2 0
255 0 1 1 2 1
255 0 0 1 2 1
255 1 0 1 2 0
255 1 1 1 2 0
255 1 1 1 2 1
9 1 0 1 2 1
0 1
1 2
0 4 3 2 1 0
0 4 4 5 6 7
1 4 0 1 5 4
0 4 1 2 6 5
0 4 2 3 7 6
0 4 3 0 4 7
`

func read(t testing.TB, s string) *mesh.Model {
	t.Helper()
	m, err := Read(strings.NewReader(s), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func TestCube(t *testing.T) {
	for name, text := range map[string]string{"LF": cube, "CRLF": strings.ReplaceAll(cube, "\n", "\r\n")} {
		m := read(t, text)
		o := m.Objects[0]
		if v := o.Mesh.VolumeMM3(); v != 1 || m.UnitKnown || len(o.Mesh.Tris) != 12 || len(o.Mesh.Verts) != 8 || len(m.Notes) != 0 {
			t.Errorf("%s: volume %v, %d facets, notes %q", name, v, m.Facets(), m.Notes)
		}
		if !reflect.DeepEqual(o.Colours, []mesh.RGBA{{R: 255, G: 1, B: 2, A: 255}}) {
			t.Errorf("%s: colours %v", name, o.Colours)
		}
		for f, c := range o.FacetColour {
			t3 := o.Mesh.Tris[f]
			if mixed := t3[0] == 7 || t3[1] == 7 || t3[2] == 7; mixed != (c < 0) {
				t.Errorf("%s: facet %v has colour %d", name, t3, c)
			}
		}
	}
}

func TestFacesBeforeVertices(t *testing.T) {
	m := read(t, "ply\nformat ascii 1.0\nelement face 1\nproperty list uchar int vertex_indices\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nend_header\n"+
		"4 0 1 2 3\n0 0 0\n1 0 0\n1 1 0\n0 1 0\n")
	if a := m.Objects[0].Mesh.AreaMM2(); a != 1 {
		t.Errorf("area %v", a)
	}
}

// All the number types, both byte orders, against bytes set by hand.
func TestBinaryTypes(t *testing.T) {
	header := func(format string) string {
		return "ply\nformat " + format + " 1.0\nelement vertex 3\nproperty char x\nproperty ushort y\nproperty float z\nproperty double w\n" +
			"element face 1\nproperty list ushort uchar vertex_indices\nend_header\n"
	}
	little := header("binary_little_endian") +
		"\xff\x01\x00\x00\x00\x80\x3f\x00\x00\x00\x00\x00\x00\x00\x00" + // −1 1 1.0
		"\x02\x00\x01\x00\x00\x00\xc0\x00\x00\x00\x00\x00\x00\x00\x00" + // 2 256 −2.0
		"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00" +
		"\x03\x00\x00\x01\x02"
	big := header("binary_big_endian") +
		"\xff\x00\x01\x3f\x80\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00" +
		"\x02\x01\x00\xc0\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00" +
		"\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00\x00" +
		"\x00\x03\x00\x01\x02"
	want := []r3.Vec{{X: -1, Y: 1, Z: 1}, {X: 2, Y: 256, Z: -2}, {}}
	for _, s := range []string{little, big} {
		m := read(t, s)
		if !reflect.DeepEqual(m.Objects[0].Mesh.Verts, want) {
			t.Errorf("vertices %v, want %v", m.Objects[0].Mesh.Verts, want)
		}
	}
}

func sample() *mesh.Model {
	return &mesh.Model{Unit: 1, Objects: []mesh.Object{{
		Mesh: &mesh.Mesh{
			Verts: []r3.Vec{{X: 0.1, Y: 1.0 / 3, Z: math.Pi}, {X: 5e-324, Y: math.MaxFloat64}, {Z: math.Copysign(0, -1)}, {X: 1e22}},
			Tris:  [][3]uint32{{0, 1, 2}, {2, 1, 3}}},
		Colours:     []mesh.RGBA{{R: 1, G: 2, B: 3, A: 4}, {R: 5, A: 255}},
		FacetColour: []int32{0, 1},
	}}}
}

var writers = map[string]func(io.Writer, *mesh.Model) error{"ASCII": WriteASCII, "little endian": Write, "big endian": WriteBigEndian}

func TestWriteReadBack(t *testing.T) {
	for name, write := range writers {
		var b bytes.Buffer
		if err := write(&b, sample()); err != nil {
			t.Fatal(err)
		}
		got := read(t, b.String())
		if !reflect.DeepEqual(got.Objects, sample().Objects) || len(got.Notes) > 0 {
			t.Errorf("%s: got %+v %q", name, got.Objects, got.Notes)
		}
		if !math.Signbit(got.Objects[0].Mesh.Verts[2].Z) {
			t.Errorf("%s: minus zero lost its sign", name)
		}
	}
}

func TestEveryPrefix(t *testing.T) {
	for name, write := range writers {
		var b bytes.Buffer
		if err := write(&b, sample()); err != nil {
			t.Fatal(err)
		}
		for n := range b.Len() {
			m, err := Read(bytes.NewReader(b.Bytes()[:n]), mesh.Limits{})
			if err == nil && name == "ASCII" && len(m.Notes) == 1 {
				continue // cut within the last number or before the last line end: noted
			}
			var e *mesh.ReadError
			if err == nil {
				t.Errorf("%s: prefix of %d bytes was taken for whole", name, n)
			} else if !errors.As(err, &e) || e.Do == "" {
				t.Errorf("%s: prefix of %d bytes: does not say what to do: %v", name, n, err)
			}
		}
	}
}

func TestBadInput(t *testing.T) {
	swap := func(old, new string) string {
		if !strings.Contains(cube, old) {
			t.Fatalf("no %q", old)
		}
		return strings.Replace(cube, old, new, 1)
	}
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", "line 1: the file ends in its header"},
		{"other", "solid x\n", "does not start with \"ply\""},
		{"no faces", "ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\nend_header\n", "no surface"},
		{"no format", swap("format ascii 1.0\n", ""), "names no format"},
		{"version", swap("ascii 1.0", "ascii 2.0"), "version 1.0"},
		{"format", swap("ascii", "morse"), `unknown format "morse"`},
		{"type", swap("double x", "quad x"), "makes no sense"},
		{"no z", swap("float z", "float q"), "lack one of x, y, z"},
		{"no list", swap("vertex_index", "corners"), "no list vertex_indices"},
		{"count", swap("vertex 8", "vertex -8"), `"-8" is no count`},
		{"float list length", swap("list uchar uint", "list float uint"), "makes no sense"},
		{"two vertices", swap("element edge", "element vertex"), "comes twice"},
		{"strips", swap("element edge", "element tristrips"), "strips"},
		{"NaN", swap("255 0 1 1 2 1", "255 0 nan 1 2 1"), "line 25: vertex 2: NaN 1 0: coordinate is not a finite number"},
		{"Inf", swap("255 0 1 1 2 1", "255 0 1e999 1 2 1"), "not a finite number"},
		{"word", swap("255 0 1 1 2 1", "255 0 one 1 2 1"), `line 25: vertex 2: "one" is not a number`},
		{"fraction", swap("0 4 3 2 1 0", "0 4 3 2 1 0.5"), `"0.5" is not a whole number`},
		{"two corners", swap("0 4 3 2 1 0", "0 2 3 2"), "face 0: a face with 2 corners"},
		{"negative length", swap("0 4 3 2 1 0", "0 -4"), "a list of -4"},
		{"index", swap("0 4 3 2 1 0", "0 4 8 2 1 0"), "facet 1: face 0 uses vertex 8"},
		{"colour", swap("255 0 1 1 2 1", "256 0 1 1 2 1"), "colour 256"},
		{"more faces than there are", swap("face 6", "face 7"), "before its header's count"},
		{"long header line", swap("by hand", strings.Repeat("x", 9999)), "line 3: a header line of more than"},
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
	for _, c := range []struct {
		in, want string
		lim      mesh.Limits
	}{
		{cube, "Facets", mesh.Limits{Facets: 11}},
		{cube, "Facets", mesh.Limits{Facets: 2}},
		{cube, "PolygonCorners", mesh.Limits{PolygonCorners: 3}},
		{cube, "Bytes", mesh.Limits{Bytes: 500}},
	} {
		_, err := Read(strings.NewReader(c.in), c.lim)
		var e *mesh.LimitError
		if !errors.As(err, &e) || e.Limit != c.want {
			t.Errorf("error %v, want the limit %s", err, c.want)
		}
	}
	// Counts beyond reason cost nothing: neither of elements that store nothing, nor of others.
	for _, s := range []string{
		strings.Replace(cube, "element edge 2\nproperty int vertex1\nproperty int vertex2\n", "element edge 9000000000000000000\n", 1),
		strings.Replace(cube, "face 6", "face 9000000000000000000", 1),
	} {
		if _, err := Read(strings.NewReader(s), mesh.Limits{}); err == nil {
			t.Error("read")
		}
	}
}

func TestWriterRefuses(t *testing.T) {
	for name, write := range writers {
		for _, m := range []*mesh.Model{{}, {Objects: []mesh.Object{{Mesh: &mesh.Mesh{}}}},
			{Objects: []mesh.Object{{Mesh: &mesh.Mesh{Verts: []r3.Vec{{}, {}, {X: math.NaN()}}, Tris: [][3]uint32{{0, 1, 2}}}}}}} {
			m.Unit = 1
			if err := write(io.Discard, m); err == nil {
				t.Errorf("%s: wrote %+v", name, m)
			}
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(cube))
	for _, write := range writers {
		var b bytes.Buffer
		if err := write(&b, sample()); err != nil {
			f.Fatal(err)
		}
		f.Add(b.Bytes())
	}
	lim := mesh.Limits{Facets: 10_000, Bytes: 1 << 20, PolygonCorners: 100}
	f.Fuzz(func(t *testing.T, data []byte) {
		var model *mesh.Model
		var err error
		fuzzcheck.Bounded(t, func() { model, err = Read(bytes.NewReader(data), lim) })
		if err != nil {
			fuzzcheck.MeshError(t, err)
			return
		}
		for _, write := range writers {
			var b bytes.Buffer
			if err := write(&b, model); err != nil {
				t.Fatalf("read what cannot be written: %v", err)
			}
			again, err := Read(&b, mesh.Limits{})
			if err != nil {
				t.Fatalf("our own file does not read: %v", err)
			}
			if !reflect.DeepEqual(again.Objects[0].Mesh, model.Objects[0].Mesh) {
				t.Fatal("the mesh changed")
			}
		}
	})
}
