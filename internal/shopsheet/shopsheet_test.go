package shopsheet

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
	"mouldwright/internal/material"
	"mouldwright/internal/sheet"
	"mouldwright/internal/steps"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r2"
)

const link = "http://127.0.0.1:8080/bench/foot-ring?run=run-17"

func generic(t testing.TB, id string) *material.Material {
	t.Helper()
	lib, err := material.Generic()
	if err != nil {
		t.Fatal(err)
	}
	m, err := lib.Find(id)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// content is a full sheet: everything that can be on one is.
func content(t testing.TB, name, family string, b steps.Bench, pieces ...job.PieceReport) Content {
	t.Helper()
	m := generic(t, "pu-flexible")
	shot, err := m.Shot([]material.Volume{{Name: "cavity", VolumeMM3: 24000}}, material.ShotOptions{OverfillPct: 5, CupResidueG: 3,
		Pigments: []material.Pigment{{Name: "amber paste", Pct: 1.5}, {Name: "white", Pct: 2, Of: "B (polyol)"}}})
	if err != nil {
		t.Fatal(err)
	}
	rep := &job.Report{Part: job.PartReport{Name: name, SizeMM: [3]float64{66, 68, 10}, VolumeMM3: 24000, ShowCount: 5, ShowMM2: 1400}, Shot: shot,
		Mould: &job.MouldReport{Family: family, BlockMM: [3]float64{120.4, 95.2, 27.7}, Scale: [3]float64{1.003, 1.003, 1.003}, LineMM: 362, LineOnShowMM: 3.4,
			Opening: "empty, the pieces part freely; with the casting inside they part too\ncasting stuck to lower half: opens", Pieces: pieces},
		Fill: &job.FillReport{Flat: &fill.Result{TrappedMM3: 90}, Tilted: &fill.Result{TrappedMM3: 2}, Tilt: fill.TiltChoice{TiltDeg: 12.3, Words: "raise the side toward +x by 12.3°; 2 mm³ of air stay"},
			Wedge: &fill.Wedge{Words: "wedge 120.4 × 95.2 mm, tilt 12.3°, corners 3.0, 28.7, 28.7 and 3.0 mm high, 180.0 mL of print"}}}
	for i := range 8 {
		x, y := []float64{-52, 52, 52, -52, -27, -27, 0, 3}[i], []float64{-39, -39, 39, 39, -39, 39, -39, 39}[i]
		rep.Mould.Features = append(rep.Mould.Features, job.FeatureReport{Name: fmt.Sprintf("B%d", i+1), Kind: "bolt", Piece: "both", AtMM: [3]float64{x, y, 0}, Words: "M5 × 20 cap screw (ISO 4762), hex nut (ISO 4032)"},
			job.FeatureReport{Name: fmt.Sprintf("V%d", i+1), Kind: "vent", Piece: "upper", AtMM: [3]float64{float64(4*i - 20), 5, 0}},
			job.FeatureReport{Name: fmt.Sprintf("K%d", i+1), Kind: "key", Piece: "both", AtMM: [3]float64{float64(14*i - 50), -20, 0}})
	}
	rep.Mould.Features = append(rep.Mould.Features, job.FeatureReport{Name: "S1", Kind: "sprue", Piece: "upper", AtMM: [3]float64{10, 20, 10}},
		job.FeatureReport{Name: "G1", Kind: "gutter", Piece: "lower"}, job.FeatureReport{Name: "P1", Kind: "pry slot", Piece: "both", AtMM: [3]float64{60, 4, 0}})
	if family == tooling.InsertFamily {
		rep.Pours = []job.PourReport{{Piece: tooling.InsertBody, In: []string{tooling.Cradle, tooling.PatternCap}, ML: 60}}
		b.Silicone = generic(t, "silicone-platinum")
		if rep.Pours[0].Shot, err = b.Silicone.Shot([]material.Volume{{Name: "silicone insert, port and vents", VolumeMM3: 60000}}, material.ShotOptions{OverfillPct: 5, CupResidueG: 3}); err != nil {
			t.Fatal(err)
		}
	}
	if b.Backfill != nil {
		weighted(t, rep, m, b.Backfill)
	}
	p, err := steps.Make(rep, m, b)
	if err != nil {
		t.Fatal(err)
	}
	return Content{Report: rep, Plan: p, Link: link, Date: "2026-03-02"}
}

// weighted gives a report everything about amounts that one can have.
func weighted(t testing.TB, rep *job.Report, m, fill *material.Material) {
	t.Helper()
	r, err := material.BallFill(59090, 7.85, 4, 22.5, fill.MixedDensity().GPerML)
	if err != nil {
		t.Fatal(err)
	}
	shot, err := fill.Shot([]material.Volume{{Name: "between the balls", VolumeMM3: 1000 * r.ResinML}}, material.ShotOptions{OverfillPct: 5,
		Filler: &material.FillerShare{Filler: material.Filler{Name: "chalk", DensityGPerML: 2.7}, Pct: 20}})
	if err != nil {
		t.Fatal(err)
	}
	tip := 66.1
	rep.Ballast = &job.BallastReport{From: "what the part closes in of a box", Where: "hollow", BallMM: 4, BallGPerML: 7.85, Balls: 1058, Packing: "loose", Fill: r, Used: r.Loose, Backfill: shot,
		With: job.Standing{MassG: 332.1, TipDeg: &tip, HighMM: 14.2}, Words: []string{"chamber: what the part closes in of a box, 59.09 mL, 22.5 mm wide at its narrowest", "278.3 g of balls of 4 mm, about 1058 of them, packed loose (0.60 of the space, ± 3 %); loose 278.3 g, dense 296.9 g"}}
	chain, err := material.Chain(68, material.Shrink{Name: "print", ShrinkPct: 0.4, ErrorPct: 0.2}, material.Shrink{Name: m.Name, ShrinkPct: 0.3, ErrorPct: 0.15})
	if err != nil {
		t.Fatal(err)
	}
	rep.Shrink = &job.ShrinkReport{LengthMM: 68, Axis: "y", Chain: chain, PrintScale: 1 / 0.996}
	rep.Bench = &job.BenchReport{ShopC: 20, CureC: 40, Fillings: 2, MouldPerK: 9e-5, Thin: "Thin sections: 20 % of the part's surface is on walls thinner than the 3 mm that it asks for, the thinnest 2.89 mm at x 3.0, y 5.8, z 19.0 mm of the part."}
}

func halves() []job.PieceReport {
	return []job.PieceReport{{Name: "lower half", VolumeMM3: 143e3, SizeMM: [3]float64{120.4, 95.2, 19.5}, Exit: [3]float64{0, 0, -1}}, {Name: "upper half", VolumeMM3: 139e3, SizeMM: [3]float64{120.4, 95.2, 14.3}, Exit: [3]float64{0, 0, 1}}}
}

func insert() []job.PieceReport {
	return []job.PieceReport{{Name: tooling.Cradle, SizeMM: [3]float64{90, 90, 30}}, {Name: tooling.PatternCap, Exit: [3]float64{0, 0, 1}}, {Name: tooling.CastingCap, Exit: [3]float64{0, 0, 1}}, {Name: tooling.InsertBody, Poured: true, VolumeMM3: 58000}}
}

// sheets are those whose pages are looked over: short, long, with long words, of both papers.
func sheets(t testing.TB) map[string][]*sheet.Drawing {
	t.Helper()
	out := map[string][]*sheet.Drawing{}
	full := steps.Bench{Shots: 17, Vacuum: true, Pot: true, CureC: 35, TorqueNM: 0.8, GrainCoats: 4, CupML: 400}
	for name, c := range map[string]Content{
		"plain":      content(t, "Foot ring", "two rigid halves", steps.Bench{}, halves()...),
		"full":       content(t, "Foot ring", "two rigid halves", full, halves()...),
		"ballast":    content(t, "Ballast base", "two rigid halves", steps.Bench{Backfill: generic(t, "epoxy-2-1"), Blast: true, FinestGrit: 2000}, halves()...),
		"insert":     content(t, "Bumper cap", tooling.InsertFamily, full, insert()...),
		"long words": content(t, "Donaudampfschifffahrtselektrizitätenhauptbetriebswerkbauunterbeamtengesellschaft with a very long name, left-hand side, version 17b", "two rigid halves", steps.Bench{Printed: material.PrintedFilament}, halves()...),
	} {
		for _, paper := range []string{"A4", "Letter"} {
			pages, err := Pages(c, Options{Paper: paper})
			if err != nil {
				t.Fatal(err)
			}
			out[name+", "+paper] = pages
		}
	}
	return out
}

// ink is what a page's SVG says is where.
type ink struct {
	texts []inkText
	lines [][2]r2.Vec
}

type inkText struct {
	box   r2.Box
	words string
	capMM float64
}

// read gets texts and strokes back out of a page.
func read(t *testing.T, d *sheet.Drawing) ink {
	t.Helper()
	var b bytes.Buffer
	if err := d.WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	var doc struct {
		Texts []struct {
			X    float64 `xml:"x,attr"`
			Y    float64 `xml:"y,attr"`
			Size float64 `xml:"font-size,attr"`
			Len  float64 `xml:"textLength,attr"`
			At   string  `xml:"text-anchor,attr"`
			Body string  `xml:",chardata"`
		} `xml:"text"`
		Paths []struct {
			D    string `xml:"d,attr"`
			Fill string `xml:"fill,attr"`
		} `xml:"path"`
	}
	if err := xml.Unmarshal(b.Bytes(), &doc); err != nil {
		t.Fatal(err)
	}
	var out ink
	for _, x := range doc.Texts {
		x0 := x.X - map[string]float64{"start": 0, "middle": 0.5, "end": 1}[x.At]*x.Len
		// Capitals are 0.72 of the font's size here, descenders about 0.21.
		out.texts = append(out.texts, inkText{r2.Box{Min: r2.Vec{X: x0, Y: x.Y - 0.72*x.Size}, Max: r2.Vec{X: x0 + x.Len, Y: x.Y + 0.21*x.Size}}, x.Body, 0.72 * x.Size})
	}
	for _, p := range doc.Paths {
		if p.Fill == "none" {
			out.lines = append(out.lines, segments(t, p.D)...)
		}
	}
	return out
}

func segments(t *testing.T, d string) (out [][2]r2.Vec) {
	t.Helper()
	closed := strings.HasSuffix(d, "Z")
	var pts []r2.Vec
	for _, f := range strings.FieldsFunc(strings.TrimSuffix(d, "Z"), func(r rune) bool { return r == 'M' || r == 'L' }) {
		xy := strings.Fields(f)
		x, err1 := strconv.ParseFloat(xy[0], 64)
		y, err2 := strconv.ParseFloat(xy[1], 64)
		if err1 != nil || err2 != nil {
			t.Fatalf("path %q", d)
		}
		pts = append(pts, r2.Vec{X: x, Y: y})
	}
	for i := range pts {
		if i+1 < len(pts) {
			out = append(out, [2]r2.Vec{pts[i], pts[i+1]})
		} else if closed {
			out = append(out, [2]r2.Vec{pts[i], pts[0]})
		}
	}
	return out
}

// crosses says whether a segment goes through a box: it is cut to the box's range of x, then of y.
func crosses(s [2]r2.Vec, b r2.Box) bool {
	t0, t1 := 0.0, 1.0
	for _, c := range [][4]float64{{s[0].X, s[1].X, b.Min.X, b.Max.X}, {s[0].Y, s[1].Y, b.Min.Y, b.Max.Y}} {
		d := c[1] - c[0]
		if d == 0 {
			if c[0] <= c[2] || c[0] >= c[3] {
				return false
			}
			continue
		}
		a, e := (c[2]-c[0])/d, (c[3]-c[0])/d
		t0, t1 = max(t0, min(a, e)), min(t1, max(a, e))
	}
	return t0 < t1
}

// On no page does a text touch another or a line, or leave the margins; and none is too small to read.
// ISO 3098 has 1.8 mm as its smallest lettering (from memory); names in the sketch are a little less.
func TestNothingOverlaps(t *testing.T) {
	for name, pages := range sheets(t) {
		for n, d := range pages {
			in := read(t, d)
			if len(in.texts) < 8 {
				t.Errorf("%s, page %d: only %d texts", name, n+1, len(in.texts))
			}
			for i, a := range in.texts {
				if a.box.Min.X < marginMM-0.01 || a.box.Max.X > d.Paper.WidthMM-marginMM+0.01 || a.box.Min.Y < marginMM-0.01 || a.box.Max.Y > d.Paper.HeightMM-marginMM+1 {
					t.Errorf("%s, page %d: %q leaves the margins: %v", name, n+1, a.words, a.box)
				}
				if a.capMM < nameMM-0.05 {
					t.Errorf("%s, page %d: %q is %.2f mm high", name, n+1, a.words, a.capMM)
				}
				for _, b := range in.texts[i+1:] {
					if overlap(a.box, b.box) {
						t.Errorf("%s, page %d: %q touches %q", name, n+1, a.words, b.words)
					}
				}
				for _, s := range in.lines {
					if crosses(s, a.box) {
						t.Errorf("%s, page %d: a line from %v to %v goes through %q", name, n+1, s[0], s[1], a.words)
					}
				}
			}
		}
	}
}

// Everything that the plan holds stands on the paper: each title, each amount with its unit.
func TestNothingIsLeftOut(t *testing.T) {
	c := content(t, "Foot ring", "two rigid halves", steps.Bench{Shots: 17, Vacuum: true, Pot: true}, halves()...)
	pages, err := Pages(c, Options{})
	if err != nil {
		t.Fatal(err)
	}
	var words []string
	for _, d := range pages {
		for _, x := range read(t, d).texts {
			words = append(words, x.words)
		}
	}
	all := strings.Join(words, " ")
	for _, s := range c.Plan.Steps {
		want := append([]string{s.Title}, append(s.Words, s.Cautions...)...)
		for _, q := range s.Quantities {
			want = append(want, fmt.Sprintf("%s: %s %s", q.Name, strconv.FormatFloat(q.Value, 'f', -1, 64), q.Unit))
		}
		for _, w := range want {
			if !strings.Contains(all, strings.Join(strings.Fields(w), " ")) {
				t.Errorf("%s: %q is not on the sheet", s.ID, w)
			}
		}
	}
	for _, w := range append(c.Plan.Cautions, c.Plan.NeverTouch...) {
		if !strings.Contains(all, w) {
			t.Errorf("%q is not on the sheet", w)
		}
	}
}

func pdf(t testing.TB, pages []*sheet.Drawing) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := sheet.WritePDF(&b, pages...); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func TestSameBytes(t *testing.T) {
	c := content(t, "Foot ring", "two rigid halves", steps.Bench{Shots: 3}, halves()...)
	a, err1 := Pages(c, Options{})
	b, err2 := Pages(c, Options{})
	if err1 != nil || err2 != nil || !bytes.Equal(pdf(t, a), pdf(t, b)) {
		t.Errorf("the same plan gave other bytes (%v, %v)", err1, err2)
	}
}

// Debian's poppler draws the PDF and its zbar reads the code, as a phone would from the paper.
func TestCodeCanBeRead(t *testing.T) {
	for _, tool := range []string{"pdftoppm", "zbarimg"} {
		if _, err := exec.LookPath(tool); err != nil {
			if os.Getenv("CI") == "true" {
				t.Fatalf("%v; apt-get install poppler-utils zbar-tools", err)
			}
			t.Skipf("%v; apt-get install poppler-utils zbar-tools", err)
		}
	}
	pages, err := Pages(content(t, "Foot ring", "two rigid halves", steps.Bench{}, halves()...), Options{})
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "s.pdf")
	if err := os.WriteFile(file, pdf(t, pages), 0o644); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("pdftoppm", "-r", "150", "-f", "1", "-l", "1", "-png", "-singlefile", file, filepath.Join(dir, "p")).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	out, err := exec.Command("zbarimg", "--quiet", "--raw", filepath.Join(dir, "p.png")).Output()
	if err != nil || strings.TrimSpace(string(out)) != link {
		t.Errorf("read %q (%v), want %q", out, err, link)
	}
}

func TestErrors(t *testing.T) {
	c := content(t, "Foot ring", "two rigid halves", steps.Bench{}, halves()...)
	if _, err := Pages(c, Options{Paper: "B5"}); err == nil || !strings.Contains(err.Error(), "use A4 or Letter") {
		t.Errorf("%v", err)
	}
	if _, err := Pages(Content{}, Options{}); err == nil {
		t.Error("an empty sheet was made")
	}
	c.Link = strings.Repeat("x", 5000)
	if _, err := Pages(c, Options{}); err == nil || !strings.Contains(err.Error(), "5000 letters") {
		t.Errorf("%v", err)
	}
}
