package job

import (
	"archive/zip"
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/mesh/stl"
)

// asFile is a mesh as the bytes of a file of that extension.
func asFile(t testing.TB, ext string, m *mesh.Mesh) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x"+ext)
	if err := meshfile.Save(path, &mesh.Model{Unit: 1, Objects: []mesh.Object{{Name: "x", Mesh: m}}}); err != nil {
		t.Fatal(err)
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// bomb is a 3MF whose model, the same comment over and over, unpacks to hundreds of times its size.
func bomb(t testing.TB) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, content := range map[string]string{
		"_rels/.rels": `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship Target="/3D/3dmodel.model" Id="r" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>`,
	} {
		w, err := z.Create(name)
		if err == nil {
			_, err = w.Write([]byte(content))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	w, err := z.Create("3D/3dmodel.model")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(w, `<model unit="millimeter" xmlns="http://schemas.microsoft.com/3dmanufacturing/core/2015/02">`); err != nil {
		t.Fatal(err)
	}
	comments := bytes.Repeat([]byte("<!-- -->"), 1<<17)
	for range 64 {
		if _, err := w.Write(comments); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Every broken part is refused with its path, what is wrong, and what to do, and the results of the run
// before stay as they are.
func TestBrokenParts(t *testing.T) {
	whole := block(24, 20, 10)
	open := block(24, 20, 10)
	open.Tris = open.Tris[1:]
	var ascii, nan bytes.Buffer
	if err := stl.WriteASCII(&ascii, whole, "x"); err != nil {
		t.Fatal(err)
	}
	bad := whole.Map(func(v r3.Vec) r3.Vec { return v })
	if err := stl.Write(&nan, bad, ""); err != nil {
		t.Fatal(err)
	}
	notNumber := slices.Clone(nan.Bytes())
	for i := range 4 { // the first coordinate of the first facet, past header, count and normal
		notNumber[84+12+i] = 0xff
	}
	type broken struct {
		name, file string
		data       []byte
		wants      []string
	}
	cases := []broken{
		{"empty", "p.stl", nil, []string{"empty"}},
		{"no facets", "p.stl", make([]byte, 84), []string{"no facet"}},
		{"no facets in ASCII", "p.stl", []byte("solid x\nendsolid x\n"), []string{"no facet"}},
		{"no facets in OBJ", "p.obj", []byte("v 0 0 0\nv 1 0 0\nv 0 1 0\n"), []string{"no facet"}},
		{"NaN in STL", "p.stl", notNumber, []string{"facet 1"}},
		{"NaN in ASCII", "p.stl", bytes.Replace(ascii.Bytes(), []byte("vertex -12"), []byte("vertex nan"), 1), []string{"line "}},
		{"NaN in OBJ", "p.obj", bytes.Replace(asFile(t, ".obj", whole), []byte("v -12"), []byte("v NaN"), 1), []string{"line "}},
		{"infinite in OBJ", "p.obj", bytes.Replace(asFile(t, ".obj", whole), []byte("v -12"), []byte("v 1e999"), 1), []string{"line "}},
		{"zip bomb", "p.3mf", bomb(t), []string{"3D/3dmodel.model", "200 unpacked bytes"}},
		{"open", "p.stl", asFile(t, ".stl", open), []string{"hole", "facet"}},
		{"inside out", "p.stl", asFile(t, ".stl", turned(whole)), []string{"inside out"}},
		{"not a mesh", "p.stl", []byte("dear printer, the lid should be red\n"), []string{"export"}},
	}
	for _, ext := range meshfile.Extensions() {
		b := asFile(t, ext, whole)
		for _, share := range []float64{0.3, 0.9} {
			cut := b[:int(share*float64(len(b)))]
			cases = append(cases, broken{fmt.Sprintf("%s cut at %.0f %%", ext, 100*share), "p" + ext, cut, nil})
		}
	}
	cases = append(cases, broken{"ASCII STL cut", "p.stl", ascii.Bytes()[:ascii.Len()/2], nil})
	for _, c := range cases {
		folder := newJob(t, whole, "")
		put(t, filepath.Join(folder, FileName), strings.Replace(small, "part.stl", c.file, 1))
		put(t, filepath.Join(folder, c.file), string(c.data))
		if err := writeSample(disk{}, folder, "before"); err != nil {
			t.Fatal(err)
		}
		before := tree(t, folder)
		_, err := run(folder)
		if err == nil {
			t.Errorf("%s: no error", c.name)
			continue
		}
		lacks(t, c.name, err.Error(), append(c.wants, filepath.Join(folder, c.file))...)
		if len(err.Error()) < len(folder)+40 {
			t.Errorf("%s: the error says little: %v", c.name, err)
		}
		if tree(t, folder) != before {
			t.Errorf("%s: the folder has changed", c.name)
		}
		t.Logf("%s: %v", c.name, err)
		// A new job is not made of such a file either, where reading it shows the fault.
		if fresh := filepath.Join(t.TempDir(), "fresh"); Create(fresh, filepath.Join(folder, c.file), CreateOptions{}) == nil {
			if c.name != "open" && c.name != "inside out" {
				t.Errorf("%s: a job was made of it", c.name)
			}
		} else if _, err := os.Stat(fresh); err == nil {
			t.Errorf("%s: half a job was made", c.name)
		}
	}
}

// Numbers off by 25.4 or 1000 are warned of, with the unit that would make sense and how to set it.
func TestLostUnits(t *testing.T) {
	for _, c := range []struct {
		by    float64
		wants []string
	}{
		{1 / 25.4, []string{"if the numbers are inches, scale by 25.4 to 150 mm", "part.unit"}},
		{1.0 / 1000, []string{"if the numbers are metres, scale by 1000 to 150 mm", "part.unit"}},
		{1000, []string{"if the numbers are microns, scale by 0.001 to 150 mm", "part.unit"}},
		{25.4, []string{"if the numbers are mm taken for inches", "part.unit"}},
	} {
		f := &File{Part: PartFile{File: "part.stl"}}
		p, err := readPart(ctx, newJob(t, scaled(block(150, 140, 60), c.by), ""), f, func(float64) {})
		if err != nil {
			t.Fatal(err)
		}
		lacks(t, fmt.Sprintf("off by %g", c.by), strings.Join(p.warnings, "\n"), c.wants...)
	}
	// Setting the unit puts it right.
	f := &File{Part: PartFile{File: "part.stl", Unit: "inch"}}
	p, err := readPart(ctx, newJob(t, scaled(block(150, 140, 60), 1/25.4), ""), f, func(float64) {})
	if err != nil || len(p.warnings) > 0 || math.Abs(p.report.SizeMM[0]-150) > 1e-4 {
		t.Errorf("in inches: %v, %v, %v", p, p.warnings, err)
	}
}

// A file with several objects says how each can be named.
func TestSeveralObjects(t *testing.T) {
	m := block(24, 20, 10)
	folder := newJob(t, m, "")
	path := filepath.Join(folder, "set.3mf")
	objects := []mesh.Object{{Name: "lid", Mesh: m}, {Name: "foot", Mesh: scaled(m, 2)}}
	if err := meshfile.Save(path, &mesh.Model{Unit: 1, UnitKnown: true, Objects: objects}); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(folder, FileName), strings.Replace(small, "part.stl", "set.3mf", 1))
	_, err := run(folder)
	if err == nil {
		t.Fatal("no error")
	}
	lacks(t, "the error", err.Error(), FileName, "part.object", "2 objects", `"lid", "foot"`)
	for name, width := range map[string]float64{"lid": 24, "foot": 48, "#2": 48} {
		p, err := OpenPart(path, "", name)
		if err != nil || math.Abs(p.Object.Mesh.Bounds().Size().X-width) > 1e-9 {
			t.Errorf("%s: %v", name, err)
		}
	}
	// Names that are missing or borne twice give way to numbers.
	twins := []mesh.Object{{Name: "lid"}, {}, {Name: "foot"}, {Name: "foot"}}
	if got := objectNames(twins); !slices.Equal(got, []string{"lid", "#2", "#3", "#4"}) {
		t.Errorf("names %q", got)
	}
	var choice *ChoiceError
	if _, err := choose(twins, path, "foot"); !errors.As(err, &choice) || choice.Asked != "foot" {
		t.Errorf("foot is two objects: %v", err)
	}
	if i, err := choose(twins, path, "#4"); i != 3 || err != nil {
		t.Errorf("#4 is %d, %v", i, err)
	}
}
