package threemf

import (
	"archive/zip"
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
)

func model() *mesh.Model {
	verts := []r3.Vec{{X: 0.1, Y: 1.0 / 3, Z: math.Pi}, {X: -5e-324, Y: math.MaxFloat64, Z: 1e-9},
		{X: math.Copysign(0, -1), Y: math.Nextafter(1, 2), Z: -123456789.123456789}, {X: 1e22, Y: 1e21, Z: 4}}
	tris := [][3]uint32{{0, 2, 1}, {0, 1, 3}, {0, 3, 2}, {1, 2, 3}}
	return &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: []mesh.Object{
		{Name: `lid "A" <1> & ümlaut`, Mesh: &mesh.Mesh{Verts: verts, Tris: tris}},
		{Name: "painted", Mesh: &mesh.Mesh{Verts: verts, Tris: tris}, Colours: []mesh.RGBA{{R: 1, A: 255}, {G: 2, A: 3}}, FacetColour: []int32{0, 1, 1, 0}},
		{Name: "half painted", Mesh: &mesh.Mesh{Verts: verts, Tris: tris}, Colours: []mesh.RGBA{{R: 1, A: 255}}, FacetColour: []int32{0, -1, -1, 0}},
	}}
}

func write(t testing.TB, m *mesh.Model) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, m); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Doubles, names and colours survive, bit for bit; minus zero too.
func TestWriteReadBack(t *testing.T) {
	want := model()
	got, err := read(write(t, want), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got.Objects, want.Objects) {
		t.Errorf("got %+v, want %+v", got.Objects, want.Objects)
	}
	if !math.Signbit(got.Objects[0].Mesh.Verts[2].X) {
		t.Error("minus zero lost its sign")
	}
	if got.Unit != mesh.Millimetre || !got.UnitKnown || len(got.Notes) != 0 {
		t.Errorf("unit %v, notes %q", got.Unit, got.Notes)
	}
}

func TestDoublesSurvive(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		finite := rapid.Float64Range(-math.MaxFloat64, math.MaxFloat64)
		v := make([]r3.Vec, 3)
		for i := range v {
			v[i] = r3.Vec{X: finite.Draw(t, "x"), Y: finite.Draw(t, "y"), Z: finite.Draw(t, "z")}
		}
		var b bytes.Buffer
		m := &mesh.Model{Unit: mesh.Millimetre, Objects: []mesh.Object{{Mesh: &mesh.Mesh{Verts: v, Tris: [][3]uint32{{0, 1, 2}}}}}}
		if err := Write(&b, m); err != nil {
			t.Fatal(err)
		}
		got, err := read(b.Bytes(), mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(got.Objects[0].Mesh, m.Objects[0].Mesh) {
			t.Fatalf("got %v, want %v", got.Objects[0].Mesh.Verts, v)
		}
	})
}

func TestSameBytesEveryTime(t *testing.T) {
	want := write(t, model())
	for range 3 {
		if !bytes.Equal(write(t, model()), want) {
			t.Fatal("the same model gave different bytes")
		}
	}
}

func TestWriteScalesToMM(t *testing.T) {
	m := &mesh.Model{Unit: mesh.Inch, Objects: []mesh.Object{{Mesh: &mesh.Mesh{
		Verts: []r3.Vec{{}, {X: 1}, {Y: 1}}, Tris: [][3]uint32{{0, 1, 2}}}}}}
	got, err := read(write(t, m), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	if x := got.Objects[0].Mesh.Verts[1].X; x != 25.4 {
		t.Errorf("an inch became %v mm", x)
	}
}

// Chapters 1 and 2: the parts that a package must have, and that all of it is well-formed XML.
func TestPackage(t *testing.T) {
	data := write(t, model())
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, f := range z.File {
		names = append(names, f.Name)
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		dec := xml.NewDecoder(bytes.NewReader(text))
		for {
			if _, err := dec.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Fatalf("%s: %v", f.Name, err)
			}
		}
		if f.Name == "3D/3dmodel.model" && !strings.Contains(string(text), `unit="millimeter"`) {
			t.Error("the model does not name its unit")
		}
	}
	if want := []string{"[Content_Types].xml", "_rels/.rels", "3D/3dmodel.model"}; !reflect.DeepEqual(names, want) {
		t.Errorf("parts %q, want %q", names, want)
	}
}

func TestWriterRefuses(t *testing.T) {
	tri := [][3]uint32{{0, 1, 2}}
	for name, o := range map[string]mesh.Object{
		"no facets":      {Mesh: &mesh.Mesh{}},
		"NaN":            {Mesh: &mesh.Mesh{Verts: []r3.Vec{{}, {}, {X: math.NaN()}}, Tris: tri}},
		"colour":         {Mesh: &mesh.Mesh{Verts: make([]r3.Vec, 3), Tris: tri}, FacetColour: []int32{0}},
		"colours' count": {Mesh: &mesh.Mesh{Verts: make([]r3.Vec, 3), Tris: tri}, FacetColour: []int32{}},
	} {
		if err := Write(io.Discard, &mesh.Model{Unit: 1, Objects: []mesh.Object{o}}); err == nil {
			t.Errorf("%s was written", name)
		}
	}
	if err := Write(io.Discard, &mesh.Model{}); err == nil {
		t.Error("an empty model was written")
	}
}

func BenchmarkRead(b *testing.B) {
	big := &mesh.Mesh{}
	for i := range 50_000 {
		big.Verts = append(big.Verts, r3.Vec{X: float64(i) / 7, Y: float64(i%100) / 3, Z: 1.0 / float64(i+1)})
	}
	for i := range uint32(100_000) {
		big.Tris = append(big.Tris, [3]uint32{i % 50_000, (i + 1) % 50_000, (i + 7) % 50_000})
	}
	data := write(b, &mesh.Model{Unit: 1, Objects: []mesh.Object{{Mesh: big}}})
	b.ResetTimer()
	for range b.N {
		if _, err := read(data, mesh.Limits{}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/100_000, "ns/facet")
}
