package stl

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fuzzcheck"
	"mouldwright/internal/mesh"
)

const tetra = `solid four sides
facet normal 0 0 -1
 outer loop
  vertex 0 0 0
  vertex 0 1 0
  vertex 1 0 0
 endloop
endfacet
facet normal 0 -1 0
 outer loop
  vertex 0 0 0
  vertex 1e0 0 0
  vertex 0 0 1.0E+00
 endloop
endfacet
facet normal -1 0 0
 outer loop
  vertex 0 0 0
  vertex 0 0 1
  vertex 0 +1 0
 endloop
endfacet
facet normal nan nan nan
 outer loop
  vertex 1 0 0
  vertex 0 1 0
  vertex 0 0 1
 endloop
endfacet
endsolid four sides
`

func read(t *testing.T, s string) *mesh.Model {
	t.Helper()
	m, err := Read(strings.NewReader(s), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Six times the volume of a tetrahedron is the determinant of its edges: here 1.
func TestTetrahedronVolume(t *testing.T) {
	for name, text := range map[string]string{
		"LF":          tetra,
		"CRLF":        strings.ReplaceAll(tetra, "\n", "\r\n"),
		"CR":          strings.ReplaceAll(tetra, "\n", "\r"),
		"upper case":  strings.ToUpper(tetra),
		"BOM":         "\xef\xbb\xbf" + tetra,
		"blank start": "\n\n  " + tetra,
		"no endsolid": tetra[:strings.Index(tetra, "endsolid")],
	} {
		m := read(t, text)
		if len(m.Objects) != 1 || m.UnitKnown {
			t.Fatalf("%s: %d objects, unit known %v", name, len(m.Objects), m.UnitKnown)
		}
		if got := 6 * m.Objects[0].Mesh.VolumeMM3(); math.Abs(got-1) > 1e-15 {
			t.Errorf("%s: volume %v/6, want 1/6", name, got)
		}
		if want := "four sides"; !strings.EqualFold(m.Objects[0].Name, want) {
			t.Errorf("%s: name %q, want %q", name, m.Objects[0].Name, want)
		}
		if (name == "no endsolid") != (len(m.Notes) == 1) {
			t.Errorf("%s: notes %q", name, m.Notes)
		}
	}
}

func TestSeveralSolids(t *testing.T) {
	m := read(t, tetra+strings.ReplaceAll(tetra, "four sides", "second")+"solid empty\nendsolid\n")
	if len(m.Objects) != 2 || m.Objects[1].Name != "second" || len(m.Objects[1].Mesh.Tris) != 4 {
		t.Fatalf("objects %+v", m.Objects)
	}
	if len(m.Notes) != 1 || !strings.Contains(m.Notes[0], "empty") {
		t.Errorf("the empty solid is not mentioned: %q", m.Notes)
	}
}

// The layout of binary STL as all readers of the format know it: 80 bytes of header, a little-endian
// uint32 count, then 12 floats and a uint16 a facet.
func TestBinaryLayout(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, read(t, tetra).Objects[0].Mesh, "part"); err != nil {
		t.Fatal(err)
	}
	data := b.Bytes()
	if len(data) != 80+4+4*50 {
		t.Fatalf("%d bytes, want 284", len(data))
	}
	if n := binary.LittleEndian.Uint32(data[80:]); n != 4 {
		t.Errorf("count %d, want 4", n)
	}
	at := func(i int) float32 { return math.Float32frombits(binary.LittleEndian.Uint32(data[i:])) }
	if n := [3]float32{at(84), at(88), at(92)}; n != [3]float32{0, 0, -1} {
		t.Errorf("first normal %v, want 0 0 -1", n)
	}
	if y := at(84 + 12 + 12 + 4); y != 1 {
		t.Errorf("second corner's y is %v, want 1", y)
	}
}

func TestBinaryThatStartsWithSolid(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, read(t, tetra).Objects[0].Mesh, ""); err != nil {
		t.Fatal(err)
	}
	for _, header := range []string{"solid", "solid part\nfacet normal", "SOLID by hand"} {
		data := bytes.Clone(b.Bytes())
		copy(data, header)
		m, err := Read(bytes.NewReader(data), mesh.Limits{})
		if err != nil || m.Facets() != 4 {
			t.Errorf("header %q: %v", header, err)
		}
	}
	// Our own writer never makes such a file.
	b.Reset()
	if err := Write(&b, read(t, tetra).Objects[0].Mesh, " Solid body"); err != nil {
		t.Fatal(err)
	}
	if hasWordPrefix(b.String(), "solid") {
		t.Error("a binary file was written with a header that starts with \"solid\"")
	}
}

// Every prefix is either refused or, for ASCII that only lacks its "endsolid", read with a note.
func TestEveryPrefix(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, read(t, tetra).Objects[0].Mesh, "x"); err != nil {
		t.Fatal(err)
	}
	for n := range b.Len() {
		if _, err := Read(bytes.NewReader(b.Bytes()[:n]), mesh.Limits{}); err == nil {
			t.Errorf("binary prefix of %d bytes was taken for whole", n)
		} else if e := (*mesh.ReadError)(nil); !errors.As(err, &e) || e.Do == "" {
			t.Errorf("binary prefix of %d bytes: error says not what to do: %v", n, err)
		}
	}
	end := strings.LastIndex(tetra, "endsolid")
	for n := range end {
		m, err := Read(strings.NewReader(tetra[:n]), mesh.Limits{})
		if err != nil {
			if e := (*mesh.ReadError)(nil); !errors.As(err, &e) || e.Do == "" {
				t.Errorf("prefix of %d bytes: error says not what to do: %v", n, err)
			}
			continue
		}
		if !strings.HasSuffix(strings.TrimSpace(tetra[:n]), "endfacet") || len(m.Notes) == 0 {
			t.Errorf("ASCII prefix of %d bytes was taken for whole", n)
		}
	}
}

func TestBadInput(t *testing.T) {
	binaryWith := func(count uint32, facets int, x float32) string {
		b := make([]byte, 84+50*facets)
		binary.LittleEndian.PutUint32(b[80:], count)
		for f := range facets {
			binary.LittleEndian.PutUint32(b[84+50*f+12:], math.Float32bits(x))
		}
		return string(b)
	}
	inf, nan := float32(math.Inf(-1)), float32(math.NaN())
	for _, c := range []struct {
		name, in, want string
		cause          error
	}{
		{"empty", "", "empty", mesh.ErrNoFacets},
		{"no facets, ASCII", "solid x\nendsolid x\n", "no surface", mesh.ErrNoFacets},
		{"no facets, binary", binaryWith(0, 0, 0), "no surface", mesh.ErrNoFacets},
		{"NaN, ASCII", strings.Replace(tetra, "vertex 1e0 0 0", "vertex NaN 0 0", 1), "line 12: facet 2", mesh.ErrNotFinite},
		{"overflow, ASCII", strings.Replace(tetra, "vertex 1e0 0 0", "vertex 1e999 0 0", 1), "1e999", mesh.ErrNotFinite},
		{"NaN, binary", binaryWith(2, 2, nan), "byte 96: facet 1", mesh.ErrNotFinite},
		{"Inf, binary", binaryWith(2, 2, inf), "byte 96: facet 1", mesh.ErrNotFinite},
		{"short", binaryWith(3, 2, 1), "byte 184: facet 3", io.ErrUnexpectedEOF},
		{"decimal comma", strings.Replace(tetra, "vertex 1e0 0 0", "vertex 1,0 0 0", 1), `line 12: facet 2: "1,0" is not a number`, nil},
		{"four corners", strings.Replace(tetra, " endloop", "  vertex 1 1 1\n endloop", 1), `"vertex" where "endloop"`, nil},
		{"HTML", "<html>not found</html>", "ends in the 84-byte header", nil},
		{"long line", "solid " + strings.Repeat("x", 1<<17), "more than 65536 bytes", nil},
	} {
		_, err := Read(strings.NewReader(c.in), mesh.Limits{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
		if c.cause != nil && !errors.Is(err, c.cause) {
			t.Errorf("%s: %v does not wrap %v", c.name, err, c.cause)
		}
	}
}

func TestLimits(t *testing.T) {
	var b bytes.Buffer
	if err := Write(&b, read(t, tetra).Objects[0].Mesh, ""); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		in   string
		lim  mesh.Limits
		want string
	}{
		{tetra, mesh.Limits{Facets: 3}, "Facets"},
		{b.String(), mesh.Limits{Facets: 3}, "Facets"},
		{tetra, mesh.Limits{Bytes: 100}, "Bytes"},
		{b.String(), mesh.Limits{Bytes: 283}, "Bytes"},
		{strings.Repeat("\xff", 1000), mesh.Limits{}, "Facets"},
	} {
		_, err := Read(strings.NewReader(c.in), c.lim)
		var e *mesh.LimitError
		if !errors.As(err, &e) || e.Limit != c.want {
			t.Errorf("%v: error %v, want the limit %s", c.lim, err, c.want)
		}
	}
	if _, err := Read(strings.NewReader(b.String()), mesh.Limits{Facets: 4, Bytes: 284}); err != nil {
		t.Errorf("exactly at the limit: %v", err)
	}
}

// A header may claim what it likes: memory follows what was read.
func TestHeaderCountIsNotTrusted(t *testing.T) {
	b := make([]byte, 84)
	binary.LittleEndian.PutUint32(b[80:], 9_000_000)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := Read(bytes.NewReader(b), mesh.Limits{}); err == nil {
		t.Fatal("read")
	}
	runtime.ReadMemStats(&after)
	allocated := after.TotalAlloc - before.TotalAlloc
	if allocated > 16<<20 {
		t.Errorf("%d bytes allocated for an 84-byte file", allocated)
	}
}

func TestWriteReadBack(t *testing.T) {
	m := &mesh.Mesh{
		Verts: []r3.Vec{{X: 1e-3, Y: 2, Z: 3}, {X: 0.1, Y: -7}, {Z: 1e6}, {X: 1.0 / 3, Y: 1e-20, Z: 8}},
		Tris:  [][3]uint32{{0, 1, 2}, {0, 2, 3}, {0, 3, 1}, {1, 3, 2}},
	}
	for name, write := range map[string]func(io.Writer, *mesh.Mesh, string) error{"binary": Write, "ASCII": WriteASCII} {
		var b bytes.Buffer
		if err := write(&b, m, "a name"); err != nil {
			t.Fatal(err)
		}
		model, err := Read(&b, mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		o := model.Objects[0]
		if o.Name != "a name" {
			t.Errorf("%s: name %q", name, o.Name)
		}
		back := mesh.Weld(o.Mesh, 0)
		if fmt.Sprint(back.Tris) != fmt.Sprint(m.Tris) {
			t.Fatalf("%s: facets %v, want %v", name, back.Tris, m.Tris)
		}
		for i, v := range m.Verts {
			want := r3.Vec{X: round(v.X, name), Y: round(v.Y, name), Z: round(v.Z, name)}
			if back.Verts[i] != want {
				t.Errorf("%s: vertex %d is %v, want %v", name, i, back.Verts[i], want)
			}
		}
	}
}

// round is what a coordinate becomes: ASCII keeps the shortest decimal of the float32, read as a double.
func round(x float64, form string) float64 {
	if form == "binary" {
		return float64(float32(x))
	}
	var y float64
	fmt.Sscan(fmt.Sprint(float32(x)), &y)
	return y
}

// Two vertices 1e-9 mm apart fall together in 32 bits: the two facets on their edge go, the rest
// stays closed.
func TestRoundingKeepsTheSurfaceClosed(t *testing.T) {
	m := &mesh.Mesh{
		Verts: []r3.Vec{{X: 100}, {X: 100 + 1e-9}, {X: 100, Y: 1}, {X: 100, Y: -1}, {X: 100, Z: 1}},
		Tris:  [][3]uint32{{0, 1, 2}, {1, 0, 3}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4}, {0, 2, 4}},
	}
	var b bytes.Buffer
	if err := Write(&b, m, ""); err != nil {
		t.Fatal(err)
	}
	model, err := Read(&b, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	back := mesh.Weld(model.Objects[0].Mesh, 0)
	if len(back.Tris) != 4 {
		t.Fatalf("%d facets, want 4", len(back.Tris))
	}
	for f, n := range back.Adjacency() {
		for k := range n {
			// Facets folded onto each other share several edges, so count directed edges instead.
			a, c := back.Tris[f][k], back.Tris[f][(k+1)%3]
			if balance(back, a, c) != 0 {
				t.Errorf("edge %d–%d is open", a, c)
			}
		}
	}
}

func balance(m *mesh.Mesh, a, b uint32) int {
	n := 0
	for _, t := range m.Tris {
		for k := range 3 {
			switch [2]uint32{t[k], t[(k+1)%3]} {
			case [2]uint32{a, b}:
				n++
			case [2]uint32{b, a}:
				n--
			}
		}
	}
	return n
}

func TestWriterRefuses(t *testing.T) {
	bad := func(v r3.Vec) *mesh.Mesh {
		return &mesh.Mesh{Verts: []r3.Vec{{}, {X: 1}, v}, Tris: [][3]uint32{{0, 1, 2}}}
	}
	for name, m := range map[string]*mesh.Mesh{
		"no facets":        {},
		"NaN":              bad(r3.Vec{Y: math.NaN()}),
		"past float32":     bad(r3.Vec{Y: 1e39}),
		"index":            {Verts: []r3.Vec{{}}, Tris: [][3]uint32{{0, 1, 2}}},
		"collapses wholly": bad(r3.Vec{X: 1 + 1e-12}),
	} {
		if err := Write(io.Discard, m, ""); err == nil {
			t.Errorf("%s was written", name)
		}
		if err := WriteASCII(io.Discard, m, ""); err == nil {
			t.Errorf("%s was written as ASCII", name)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(tetra))
	f.Add([]byte("solid a\nendsolid\nsolid b\rfacet"))
	var b bytes.Buffer
	m, err := Read(strings.NewReader(tetra), mesh.Limits{})
	if err != nil {
		f.Fatal(err)
	}
	if err := Write(&b, m.Objects[0].Mesh, "solid"); err != nil {
		f.Fatal(err)
	}
	f.Add(b.Bytes())
	f.Fuzz(func(t *testing.T, data []byte) {
		lim := mesh.Limits{Facets: 10_000, Bytes: 1 << 20}
		var model *mesh.Model
		var err error
		fuzzcheck.Bounded(t, func() { model, err = Read(bytes.NewReader(data), lim) })
		if err != nil {
			fuzzcheck.MeshError(t, err)
			return
		}
		for _, o := range model.Objects {
			if err := o.Mesh.CheckWritable(); err != nil {
				t.Fatalf("read what cannot be written: %v", err)
			}
			var b bytes.Buffer
			if err := WriteASCII(&b, o.Mesh, o.Name); err != nil {
				continue // too large for float32, or collapsed
			}
			if _, err := Read(&b, lim); err != nil {
				t.Fatalf("our own file does not read: %v", err)
			}
		}
	})
}
