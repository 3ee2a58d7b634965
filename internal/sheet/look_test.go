package sheet

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"os"
	"path/filepath"
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
		Labels: []Label{{"sprue ø8", r3.Vec{X: 26, Z: 9}}, {"gutter 3 × 2", r3.Vec{X: 36, Z: 0}}, {"key 10°", r3.Vec{X: -38, Z: 0}}, {"key 10°", r3.Vec{X: 38, Z: 0}}, {"far away", r3.Vec{Y: 30}}},
	})
	if err != nil {
		t.Fatal(err)
	}
	h.Subject, h.Sheet = "Parting surface of the lower half, seen from above", "2 / 2"
	var spots []Spot
	for _, p := range []r2.Vec{{X: -36, Y: -36}, {X: 36, Y: -36}, {X: 36, Y: 36}, {X: -36, Y: 36}} {
		spots = append(spots, Spot{Name: "bolt", Size: "M5 × 25 cap screw (ISO 4762), hex nut (ISO 4032), washer (ISO 7089) under the head; hole 5.5 mm (ISO 273 medium), grip 18.5 mm, nut pocket 5.7 mm deep (0.7 mm more than the nut needs, so that a standard length reaches)", At: p, DiameterMM: 5.5})
	}
	for _, p := range []r2.Vec{{X: 0, Y: -38}, {X: 0, Y: 38}} {
		spots = append(spots, Spot{Mark: fmt.Sprintf("K%d", len(spots)-3), Name: "key", Size: "cone, 8 mm, 8° draft", At: p, DiameterMM: 8})
	}
	spots = append(spots, Spot{Name: "pry slot", Size: "12 × 4", At: r2.Vec{X: 38}, WidthMM: 4, HeightMM: 12})
	plan, err := PlanDrawing(PlanOptions{Head: h, Cuts: []Cut{{"A", r2.Vec{X: -42, Y: 3}, r2.Vec{X: 42, Y: 3}}, {"B", r2.Vec{X: 1, Y: -42}, r2.Vec{X: 1, Y: 42}}}, Block: rect(-42, -42, 42, 42), Spots: spots,
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

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
}
