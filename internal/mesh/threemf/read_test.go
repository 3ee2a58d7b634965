package threemf

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"errors"
	"fmt"
	"io"
	"math"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fuzzcheck"
	"mouldwright/internal/mesh"
)

// Chapters are those of the 3MF Core Specification, version 1.3, from memory.

const tetra = `<mesh><vertices><vertex x="0" y="0" z="0"/><vertex x="6" y="0" z="0"/><vertex x="0" y="1" z="0"/><vertex x="0" y="0" z="1"/></vertices>` +
	`<triangles><triangle v1="0" v2="2" v3="1"/><triangle v1="0" v2="1" v3="3"/><triangle v1="0" v2="3" v3="2"/><triangle v1="1" v2="2" v3="3"/></triangles></mesh>`

func modelXML(attrs, resources, build string) string {
	return `<?xml version="1.0" encoding="UTF-8"?><model xmlns="` + coreNS + `" xmlns:m="` + colourNS + `" ` + attrs + `><resources>` +
		resources + `</resources><build>` + build + `</build></model>`
}

type entry struct{ name, content string }

func pack(t testing.TB, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range entries {
		w, err := z.CreateHeader(&zip.FileHeader{Name: e.name, Method: zip.Deflate})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(w, e.content); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func packModel(t testing.TB, xml string) []byte {
	return pack(t, entry{"[Content_Types].xml", contentTypes}, entry{relsPart, rels}, entry{"3D/3dmodel.model", xml})
}

func read(data []byte, lim mesh.Limits) (*mesh.Model, error) {
	return Read(bytes.NewReader(data), int64(len(data)), lim)
}

func mustRead(t testing.TB, xml string) *mesh.Model {
	t.Helper()
	m, err := read(packModel(t, xml), mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Chapter 3.4: the units of a model, millimeter if none is given.
func TestUnits(t *testing.T) {
	for unit, mm := range map[string]float64{"": 1, "micron": 0.001, "millimeter": 1, "centimeter": 10, "inch": 25.4, "foot": 304.8, "meter": 1000} {
		attrs := ""
		if unit != "" {
			attrs = `unit="` + unit + `"`
		}
		m := mustRead(t, modelXML(attrs, `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`))
		if !m.UnitKnown || float64(m.Unit) != mm {
			t.Errorf("%s: unit %v, known %v", unit, m.Unit, m.UnitKnown)
		}
		// The tetrahedron has a volume of 6·1·1/6 = 1 cubic unit.
		if got := m.InMM().Objects[0].Mesh.VolumeMM3(); math.Abs(got/(mm*mm*mm)-1) > 1e-12 {
			t.Errorf("%s: volume %v mm³", unit, got)
		}
	}
}

// Chapter 3.3: a point as a row vector times the 4×3 matrix; the fourth row moves.
func TestTransforms(t *testing.T) {
	for _, c := range []struct {
		transform string
		want      r3.Vec // of vertex 1, (6 0 0)
	}{
		{"", r3.Vec{X: 6}},
		{"1 0 0 0 1 0 0 0 1 10 20 30", r3.Vec{X: 16, Y: 20, Z: 30}},
		{"0 1 0 -1 0 0 0 0 1 0 0 0", r3.Vec{Y: 6}}, // x goes to y
		{"2 0 0 0 2 0 0 0 2 1 0 0", r3.Vec{X: 13}},
		{"-1 0 0 0 1 0 0 0 1 0 0 0", r3.Vec{X: -6}}, // mirrored
	} {
		m := mustRead(t, modelXML("", `<object id="7" name="t">`+tetra+`</object>`,
			fmt.Sprintf(`<item objectid="7" transform="%s"/>`, c.transform)))
		if got := m.Objects[0].Mesh.Verts[1]; got != c.want {
			t.Errorf("%s: %v, want %v", c.transform, got, c.want)
		}
		if v := m.Objects[0].Mesh.VolumeMM3(); v <= 0 {
			t.Errorf("%s: inside out, volume %v", c.transform, v)
		}
	}
}

// Chapter 4.2: components; the inner transform goes first. The numbers: (6,0,0) moved by 1 in x, turned to
// y, moved by 100 in z.
func TestNestedComponents(t *testing.T) {
	m := mustRead(t, modelXML("",
		`<object id="1" name="leaf">`+tetra+`</object>`+
			`<object id="2" name="pair"><components><component objectid="1" transform="1 0 0 0 1 0 0 0 1 1 0 0"/><component objectid="1"/></components></object>`+
			`<object id="3" name="all"><components><component objectid="2" transform="0 1 0 -1 0 0 0 0 1 0 0 0"/></components></object>`,
		`<item objectid="3" transform="1 0 0 0 1 0 0 0 1 0 0 100"/><item objectid="1"/><item objectid="1"/>`))
	var names []string
	for _, o := range m.Objects {
		names = append(names, o.Name)
	}
	want := []string{"all / pair / leaf", "all / pair / leaf (2)", "leaf", "leaf (2)"}
	if !reflect.DeepEqual(names, want) {
		t.Errorf("names %q, want %q", names, want)
	}
	if got := m.Objects[0].Mesh.Verts[1]; got != (r3.Vec{Y: 7, Z: 100}) {
		t.Errorf("vertex at %v, want 0 7 100", got)
	}
	if got := m.Objects[2].Mesh.Verts[1]; got != (r3.Vec{X: 6}) {
		t.Errorf("the object placed by itself is at %v", got)
	}
}

// Two mirrors are a turn: facets must come out the right way round.
func TestMirrorTwice(t *testing.T) {
	mirror := `transform="-1 0 0 0 1 0 0 0 1 0 0 0"`
	m := mustRead(t, modelXML("", `<object id="1">`+tetra+`</object><object id="2"><components><component objectid="1" `+mirror+`/></components></object>`,
		`<item objectid="2" `+mirror+`/><item objectid="2"/>`))
	for i, o := range m.Objects {
		if v := o.Mesh.VolumeMM3(); math.Abs(v-1) > 1e-12 {
			t.Errorf("object %d: volume %v, want 1", i, v)
		}
	}
}

// Chapter 5 and the Materials extension: object-level and triangle-level properties.
func TestColours(t *testing.T) {
	painted := strings.Replace(tetra, `v3="1"/>`, `v3="1" pid="6" p1="1"/>`, 1)
	painted = strings.Replace(painted, `v3="3"/>`, `v3="3" p1="1"/>`, 1)
	m := mustRead(t, modelXML("",
		`<basematerials id="5"><base name="a" displaycolor="#FF0000"/><base name="b" displaycolor="#00FF0080"/></basematerials>`+
			`<m:colorgroup id="6"><m:color color="#0000FF"/><m:color color="#010203FF"/></m:colorgroup>`+
			`<object id="1" pid="5" pindex="0">`+painted+`</object><object id="2">`+tetra+`</object>`,
		`<item objectid="1"/><item objectid="2"/>`))
	o := m.Objects[0]
	var got []mesh.RGBA
	for _, i := range o.FacetColour {
		got = append(got, o.Colours[i])
	}
	red := mesh.RGBA{R: 255, A: 255}
	want := []mesh.RGBA{{R: 1, G: 2, B: 3, A: 255}, {G: 255, A: 128}, red, red}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("colours %v, want %v", got, want)
	}
	if m.Objects[1].FacetColour != nil {
		t.Error("an object without colours has some")
	}
}

// Chapter 4: object types. Supports are no part of the part.
func TestOtherTypesAreLeftOutWithANote(t *testing.T) {
	for _, kind := range []string{"solidsupport", "support", "surface", "other"} {
		m := mustRead(t, modelXML("", `<object id="1">`+tetra+`</object><object id="2" name="legs" type="`+kind+`">`+tetra+`</object>`,
			`<item objectid="1"/><item objectid="2"/>`))
		if len(m.Objects) != 1 || len(m.Notes) != 1 || !strings.Contains(m.Notes[0], "legs") {
			t.Errorf("%s: %d objects, notes %q", kind, len(m.Objects), m.Notes)
		}
	}
}

// The model part may have any name and lie anywhere (chapter 2): the relationship counts.
func TestModelPartByRelationship(t *testing.T) {
	xml := modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`)
	data := pack(t, entry{"_rels/.rels", strings.Replace(rels, "/3D/3dmodel.model", "/Other/Part.Model", 1)}, entry{"other/part.model", xml},
		entry{"3D/3dmodel.model", "not this one"})
	if m, err := read(data, mesh.Limits{}); err != nil || m.Facets() != 4 {
		t.Errorf("%v", err)
	}
}

func TestBadInput(t *testing.T) {
	object := `<object id="1">` + tetra + `</object>`
	item := `<item objectid="1"/>`
	vertex := func(x string) string {
		return modelXML("", strings.Replace(object, `x="6"`, `x="`+x+`"`, 1), item)
	}
	for _, c := range []struct{ name, xml, want string }{
		{"no facets", modelXML("", `<object id="1"><mesh><vertices/><triangles/></mesh></object>`, item), "no surface"},
		{"empty build", modelXML("", object, ""), "no surface"},
		{"NaN", vertex("NaN"), `object 1, vertex 1: x="NaN"`},
		{"Inf", vertex("INF"), "not a finite number"},
		{"overflow", vertex("1e400"), "not a finite number"},
		{"comma", vertex("1,5"), "not a finite number"},
		{"no x", modelXML("", strings.Replace(object, `x="6"`, ``, 1), item), "lacks one of x, y, z"},
		{"index", modelXML("", strings.Replace(object, `v1="1"`, `v1="4"`, 1), item), "facet 4: object 1: a triangle uses vertex 4"},
		{"negative index", modelXML("", strings.Replace(object, `v1="1"`, `v1="-1"`, 1), item), "v1="},
		{"huge index", modelXML("", strings.Replace(object, `v1="1"`, `v1="4294967295"`, 1), item), "v1="},
		{"unit", modelXML(`unit="furlong"`, object, item), `unknown unit "furlong"`},
		{"no such object", modelXML("", object, `<item objectid="2"/>`), "no such object"},
		{"twice", modelXML("", object+object, item), "two objects have the id 1"},
		{"self", modelXML("", `<object id="1"><components><component objectid="1"/></components></object>`, item), "component of itself"},
		{"cycle", modelXML("", `<object id="1"><components><component objectid="2"/></components></object><object id="2"><components><component objectid="1"/></components></object>`, item), "component of itself"},
		{"extension", modelXML(`xmlns:b="http://example.org/beams" requiredextensions="m b"`, object, item), "http://example.org/beams"},
		{"undeclared extension", modelXML(`requiredextensions="q"`, object, item), `"q"`},
		{"production path", modelXML(`xmlns:p="http://example.org/p"`, object, `<item p:path="/3D/x.model" objectid="1"/>`), "another part"},
		{"short transform", modelXML("", object, `<item objectid="1" transform="1 0 0"/>`), "3 numbers instead of 12"},
		{"NaN transform", modelXML("", object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 NaN 0 0 0"/>`), "NaN"},
		{"flat transform", modelXML("", object, `<item objectid="1" transform="1 0 0 0 1 0 0 0 0 0 0 0"/>`), "flattens"},
		{"far transform", modelXML("", object, `<item objectid="1" transform="1e308 0 0 0 1e-308 0 0 0 1 0 0 0"/>`), "out of bounds"},
		{"colour", modelXML("", `<basematerials id="2"><base name="a" displaycolor="red"/></basematerials>`+object, item), `"red" is not a colour`},
		{"no such colour", modelXML("", strings.Replace(object, `id="1"`, `id="1" pid="2" pindex="3"`, 1), item), "property 3 of group 2"},
		{"wrong root", `<html/>`, "starts with <html>"},
		{"no namespace", `<model><resources/></model>`, "namespace"},
		{"document type", `<!DOCTYPE model [<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;&a;">]>` + modelXML("", object, item), "document type"},
		{"entity", modelXML("", strings.Replace(object, `x="6"`, `x="&b;"`, 1), item), "broken XML"},
		{"unclosed", strings.TrimSuffix(modelXML("", object, item), "</model>"), "broken XML"},
		{"second root", modelXML("", object, item) + "<more/>", "follows the <model>"},
		{"encoding", strings.Replace(modelXML("", object, item), "UTF-8", "EBCDIC", 1), "EBCDIC"},
	} {
		_, err := read(packModel(t, c.xml), mesh.Limits{})
		var e *mesh.ReadError
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		} else if !errors.As(err, &e) || e.Do == "" {
			t.Errorf("%s: does not say what to do: %v", c.name, err)
		}
	}
}

func TestBadContainer(t *testing.T) {
	xml := modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`)
	target := func(s string) entry { return entry{relsPart, strings.Replace(rels, "/3D/3dmodel.model", s, 1)} }
	model := entry{"3D/3dmodel.model", xml}
	for _, c := range []struct {
		name, want string
		entries    []entry
	}{
		{"no relationships", `no "_rels/.rels"`, []entry{model}},
		{"no model named", "names no 3D model", []entry{{relsPart, "<Relationships/>"}, model}},
		{"model missing", `no "3D/3dmodel.model"`, []entry{{relsPart, rels}}},
		{"two models", "two models", []entry{{relsPart, strings.Replace(rels, "</Rel", `<Relationship Target="/a" Type="`+modelType+`"/></Rel`, 1)}, model}},
		{"target climbs out", "not a part of it", []entry{target("/../../etc/passwd"), model}},
		{"target is a web address", "not a part of it", []entry{target("http://example.org/x.model"), model}},
		{"target is external", "not a part of it", []entry{{relsPart, strings.Replace(rels, "/3D/3dmodel.model\"", "x\" TargetMode=\"External\"", 1)}, model}},
		{"entry climbs out", "no name for a part", []entry{{relsPart, rels}, model, {"../evil", "x"}}},
		{"entry from the root", "no name for a part", []entry{{relsPart, rels}, model, {"/evil", "x"}}},
		{"entry with backslashes", "no name for a part", []entry{{relsPart, rels}, model, {`..\evil`, "x"}}},
		{"two of one name", "twice", []entry{{relsPart, rels}, model, {"3d/3DMODEL.model", "x"}}},
	} {
		_, err := read(pack(t, c.entries...), mesh.Limits{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", c.name, err, c.want)
		}
	}
}

func TestLimits(t *testing.T) {
	xml := modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`)
	// Ten objects, each ten of the one before: 10¹⁰ placements out of 2 kB.
	var bomb strings.Builder
	bomb.WriteString(`<object id="1">` + tetra + `</object>`)
	for i := 2; i <= 11; i++ {
		fmt.Fprintf(&bomb, `<object id="%d"><components>%s</components></object>`, i,
			strings.Repeat(fmt.Sprintf(`<component objectid="%d"/>`, i-1), 10))
	}
	placed := modelXML("", bomb.String(), `<item objectid="11"/>`)
	hollow := modelXML("", strings.Replace(bomb.String(), tetra, "", 1), `<item objectid="11"/>`)
	for _, c := range []struct {
		name, xml, want string
		lim             mesh.Limits
	}{
		{"facets of a mesh", xml, "Facets", mesh.Limits{Facets: 3}},
		{"vertices without facets", modelXML("", `<object id="1"><mesh><vertices>`+strings.Repeat(`<vertex x="0" y="0" z="0"/>`, 20)+`</vertices></mesh></object>`, ""), "Facets", mesh.Limits{Facets: 5}},
		{"facets placed", placed, "Facets", mesh.Limits{Facets: 1000}},
		{"placements", placed, "Placements", mesh.Limits{}},
		{"vertices placed", modelXML("", `<object id="1">`+strings.Replace(tetra, `<vertex x="6"`, strings.Repeat(`<vertex x="0" y="0" z="0"/>`, 1000)+`<vertex x="6"`, 1)+`</object>`,
			strings.Repeat(`<item objectid="1"/>`, 20)), "Facets", mesh.Limits{Facets: 1000}},
		{"placements of nothing", hollow, "Placements", mesh.Limits{}},
		{"depth", modelXML("", strings.Repeat("<a>", 100)+strings.Repeat("</a>", 100), ""), "XMLDepth", mesh.Limits{}},
		{"one long attribute", modelXML(`title="`+strings.Repeat("ab c", 1<<19)+`"`, "", ""), "XMLToken", mesh.Limits{ZipRatio: 1e6}},
		{"bytes", xml, "Bytes", mesh.Limits{Bytes: 900}},
		{"zip bomb", modelXML("", strings.Repeat("<a/>", 1<<19), ""), "ZipRatio", mesh.Limits{}},
		{"zip bomb, ratio allowed", modelXML("", strings.Repeat("<a/>", 1<<19), ""), "Bytes", mesh.Limits{ZipRatio: 1e6, Bytes: 1 << 20}},
	} {
		_, err := read(packModel(t, c.xml), c.lim)
		var e *mesh.LimitError
		if !errors.As(err, &e) || e.Limit != c.want {
			t.Errorf("%s: error %v, want the limit %s", c.name, err, c.want)
		}
	}
}

// Long names and many notes cannot be multiplied by placing them again and again.
func TestNamesAndNotesAreBounded(t *testing.T) {
	m := mustRead(t, modelXML("", `<object id="1" name="`+strings.Repeat("ü", 5000)+`">`+tetra+`</object><object id="2" type="support">`+tetra+`</object>`,
		`<item objectid="1"/>`+strings.Repeat(`<item objectid="2"/>`, 500)))
	if n := m.Objects[0].Name; len(n) > maxName+4 || !strings.HasSuffix(n, "ü…") {
		t.Errorf("a name of %d bytes", len(n))
	}
	if len(m.Notes) > 101 {
		t.Errorf("%d notes", len(m.Notes))
	}
}

// The directory of a zip may lie about the size of an entry; what is unpacked counts.
func TestDirectoryLies(t *testing.T) {
	var packed bytes.Buffer
	fw, err := flate.NewWriter(&packed, 9)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := fw.Write(bytes.Repeat([]byte(" "), 32<<20)); err != nil {
		t.Fatal(err)
	}
	if err := fw.Close(); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.CreateRaw(&zip.FileHeader{Name: relsPart, Method: zip.Deflate, CompressedSize64: uint64(packed.Len()), UncompressedSize64: 64})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := w.Write(packed.Bytes()); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := read(b.Bytes(), mesh.Limits{}); err == nil {
		t.Error("read")
	}
}

// Every prefix of a file is refused: the directory of a zip is at its end.
func TestEveryPrefix(t *testing.T) {
	data := packModel(t, modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`))
	for n := range data {
		if _, err := read(data[:n], mesh.Limits{}); err == nil {
			t.Errorf("prefix of %d bytes was taken for whole", n)
		} else if e := (*mesh.ReadError)(nil); !errors.As(err, &e) || e.Do == "" {
			t.Errorf("prefix of %d bytes: does not say what to do: %v", n, err)
		}
	}
	xml := modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`)
	for n := range xml {
		if _, err := read(packModel(t, xml[:n]), mesh.Limits{}); err == nil {
			t.Errorf("a model part cut to %d bytes was taken for whole", n)
		}
	}
}

func TestDamage(t *testing.T) {
	data := packModel(t, modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`))
	want, err := read(data, mesh.Limits{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range data {
		bad := bytes.Clone(data)
		bad[i] ^= 0x10
		got, err := read(bad, mesh.Limits{})
		// A zip has spare bytes (dates, flags); what is read in spite of damage must be the same part.
		if err == nil && !reflect.DeepEqual(got.Objects, want.Objects) {
			t.Errorf("a flipped bit at byte %d changed the part unseen", i)
		}
	}
}

var fuzzLimits = mesh.Limits{Facets: 10_000, Bytes: 1 << 20}

// FuzzModel is the model part alone, without the zip around it, which takes most of the time.
func FuzzModel(f *testing.F) {
	for _, xml := range []string{
		modelXML(`unit="inch"`, `<object id="1">`+tetra+`</object>`, `<item objectid="1" transform="-1 0 0 0 1 0 0 0 1 0 0 0"/>`),
		modelXML("", `<basematerials id="5"><base name="a" displaycolor="#FF0000"/></basematerials><object id="1" pid="5" pindex="0">`+tetra+
			`</object><object id="2"><components><component objectid="1"/></components></object>`, `<item objectid="2"/>`),
	} {
		f.Add([]byte(xml))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var model *mesh.Model
		var err error
		fuzzcheck.Bounded(t, func() {
			lim := fuzzLimits.OrDefault()
			var doc *document
			if doc, err = parseDocument(bytes.NewReader(data), lim); err == nil {
				model, err = build(doc, lim)
			}
		})
		if err != nil {
			fuzzcheck.MeshError(t, err)
			return
		}
		for _, o := range model.Objects {
			for _, tri := range o.Mesh.Tris {
				for _, v := range tri {
					if int(v) >= len(o.Mesh.Verts) {
						t.Fatalf("a facet uses vertex %d of %d", v, len(o.Mesh.Verts))
					}
				}
			}
		}
	})
}

// FuzzRead is the whole package; what it reads is written and read again.
func FuzzRead(f *testing.F) {
	f.Add(packModel(f, modelXML("", `<object id="1">`+tetra+`</object>`, `<item objectid="1"/>`)))
	f.Fuzz(func(t *testing.T, data []byte) {
		var model *mesh.Model
		var err error
		fuzzcheck.Bounded(t, func() { model, err = read(data, fuzzLimits) })
		if err != nil {
			fuzzcheck.MeshError(t, err)
			return
		}
		var b bytes.Buffer
		if err := Write(&b, model); err != nil {
			if errors.Is(err, mesh.ErrNotFinite) {
				return // scaled to mm past the largest double
			}
			t.Fatalf("read what cannot be written: %v", err)
		}
		again, err := read(b.Bytes(), mesh.Limits{})
		if err != nil {
			t.Fatalf("our own file does not read: %v", err)
		}
		if again.Facets() != model.Facets() {
			t.Fatalf("%d facets became %d", model.Facets(), again.Facets())
		}
	})
}
