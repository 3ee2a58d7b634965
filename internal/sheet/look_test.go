package sheet

import (
	"bytes"
	"context"
	"image/png"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// sampleSheets are the drawings that tests read and that a person can look at: run
//
//	SHEET_LOOK=folder go test -run Look ./internal/sheet
func sampleSheets(t testing.TB) map[string]*Drawing {
	t.Helper()
	part, lower, upper := ringMould(96)
	h := Head{Title: "Foot ring & spacer", Subject: "Section y = 0, cut faces only", Note: "Flexible polyurethane, scale 1.003 for shrinkage", Sheet: "1 / 2", Date: "2025-03-01"}
	section, err := SectionDrawing(context.Background(), []Piece{{"lower half", lower}, {"upper half", upper}}, upright, SectionOptions{
		Head: h, Part: part,
		Labels: []Label{{"sprue ø8", r3.Vec{X: 26, Z: 9}}, {"gutter 3 × 2", r3.Vec{X: 36, Z: 0}}, {"key 10°", r3.Vec{X: -38, Z: 0}}, {"far away", r3.Vec{Y: 30}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	h.Subject, h.Sheet = "Parting surface of the lower half, seen from above", "2 / 2"
	var spots []Spot
	for _, p := range []r2.Vec{{X: -36, Y: -36}, {X: 36, Y: -36}, {X: 36, Y: 36}, {X: -36, Y: 36}} {
		spots = append(spots, Spot{Name: "bolt M5", Size: "ø5.5", At: p, DiameterMM: 5.5})
	}
	for _, p := range []r2.Vec{{X: 0, Y: -38}, {X: 0, Y: 38}} {
		spots = append(spots, Spot{Name: "key", Size: "ø8", At: p, DiameterMM: 8})
	}
	spots = append(spots, Spot{Name: "pry slot", Size: "12 × 4", At: r2.Vec{X: 38}, WidthMM: 4, HeightMM: 12})
	plan, err := PlanDrawing(PlanOptions{Head: h, Block: rect(-42, -42, 42, 42), Spots: spots,
		Parting:  Outline{Name: "parting line", Loops: [][]r2.Vec{circle(r2.Vec{}, 32), circle(r2.Vec{}, 20)}},
		Outlines: []Outline{{Name: "gutter", Loops: [][]r2.Vec{circle(r2.Vec{}, 34.5), circle(r2.Vec{}, 36.5)}}, {Name: "bore below", Hidden: true, Loops: [][]r2.Vec{circle(r2.Vec{}, 12)}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	return map[string]*Drawing{"section": section, "plan": plan}
}

func TestLook(t *testing.T) {
	dir := os.Getenv("SHEET_LOOK")
	if dir == "" {
		t.Skip("set SHEET_LOOK to a folder to write the sample sheets there")
	}
	for name, d := range sampleSheets(t) {
		var svg, pdf bytes.Buffer
		if err := d.WriteSVG(&svg); err != nil {
			t.Fatal(err)
		}
		if err := WritePDF(&pdf, d); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name+".svg"), svg.Bytes())
		write(t, filepath.Join(dir, name+".pdf"), pdf.Bytes())
	}
	sheets, err := sampleSet().Sheets(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	var all []*Drawing
	for _, s := range sheets {
		all = append(all, s.Drawing)
	}
	var pdf bytes.Buffer
	if err := WritePDF(&pdf, all...); err != nil {
		t.Fatal(err)
	}
	write(t, filepath.Join(dir, "set.pdf"), pdf.Bytes())
	pictures, err := sampleSet().Pictures(context.Background(), View{})
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range pictures {
		var b bytes.Buffer
		if err := png.Encode(&b, p.Image); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, p.Name+".png"), b.Bytes())
	}
	part, lower, upper := ringMould(96)
	for name, shown := range map[string][]Shown{
		"piece":    {{Name: "lower half", Mesh: lower}},
		"exploded": Exploded([]Leaving{{Name: "foot ring", Mesh: part}, {Name: "upper half", Mesh: upper, Exit: r3.Vec{Z: 1}}, {Name: "lower half", Mesh: lower, Exit: r3.Vec{Z: -1}}}, 12),
		"box":      {{Name: "box", Mesh: box(r3.Vec{}, r3.Vec{X: 40, Y: 30, Z: 20})}},
	} {
		img, err := Picture(context.Background(), shown, View{})
		if err != nil {
			t.Fatal(err)
		}
		var b bytes.Buffer
		if err := png.Encode(&b, img); err != nil {
			t.Fatal(err)
		}
		write(t, filepath.Join(dir, name+".png"), b.Bytes())
	}
}

// sampleSet is a whole mould with equal features on both sides.
func sampleSet() MouldSet {
	part, lower, upper := ringMould(96)
	set := MouldSet{Head: Head{Title: "Foot ring", Note: "Flexible polyurethane"}, Part: part,
		Pieces:  []Leaving{{Name: "Lower half", Mesh: lower, Exit: r3.Vec{Z: -1}}, {Name: "Upper half", Mesh: upper, Exit: r3.Vec{Z: 1}}},
		Parting: [][]r2.Vec{circle(r2.Vec{}, 32), circle(r2.Vec{}, 20)},
	}
	for _, x := range []float64{-37, 37} {
		set.Features = append(set.Features, Feature{Name: "bolt M5", Size: "ø5.5", At: r3.Vec{X: x, Y: 1}, DiameterMM: 5.5},
			Feature{Name: "key", Size: "ø8", At: r3.Vec{Y: x}, DiameterMM: 8})
	}
	set.Features = append(set.Features, Feature{Name: "sprue", Size: "ø5", At: r3.Vec{X: 26, Z: 10}, DiameterMM: 5})
	return set
}

func TestMouldSet(t *testing.T) {
	ctx := context.Background()
	sheets, err := sampleSet().Sheets(ctx)
	if err != nil {
		t.Fatal(err)
	}
	want := map[string][]string{
		"section-front": {"bolt M5 ø5.5", "sprue ø5", "y = 0 mm", "1 / 3", "Lower half"},
		"section-side":  {"key ø8", "x = 0 mm", "2 / 3"},
		"plan":          {"parting line", "3 / 3", "A1", "B2", "C1"},
	}
	for _, s := range sheets {
		var b bytes.Buffer
		if err := s.Drawing.WriteSVG(&b); err != nil {
			t.Fatal(err)
		}
		for _, w := range want[s.Name] {
			if !strings.Contains(b.String(), w) {
				t.Errorf("%s lacks %q", s.Name, w)
			}
		}
		if s.Name != "plan" && strings.Count(b.String(), ">bolt M5")+strings.Count(b.String(), ">key ø8") != 1 {
			t.Errorf("%s: equal features are not labelled once", s.Name)
		}
		delete(want, s.Name)
	}
	if len(want) > 0 {
		t.Errorf("sheets missing: %v", want)
	}
	pictures, err := sampleSet().Pictures(ctx, View{WidthPx: 120, HeightPx: 90})
	if err != nil {
		t.Fatal(err)
	}
	names := ""
	for _, p := range pictures {
		names += p.Name + " "
	}
	if names != "mould lower-half upper-half " {
		t.Errorf("pictures %q", names)
	}
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}
