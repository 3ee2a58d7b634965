package sheet

import (
	"bytes"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// ISO 5455 recommends 1, 2 and 5 times powers of ten, enlarging to 50:1 and reducing to 1:10000.
func TestScaleIsTheLargestStandardOneThatFits(t *testing.T) {
	for _, c := range []struct {
		w, h float64
		want string
	}{
		{150, 100, "1:1"}, {150.1, 100, "1:2"}, {75, 50, "2:1"}, {301, 10, "1:5"}, {3, 2, "50:1"}, {10, 1400, "1:20"},
	} {
		s, err := fitScale(c.w, c.h, 150, 100)
		if err != nil || s.String() != c.want {
			t.Errorf("%g × %g mm: scale %s, %v, want %s", c.w, c.h, s, err, c.want)
		}
	}
	if _, err := fitScale(1e6, 1, 150, 100); err == nil {
		t.Error("a kilometre fits")
	}
}

// A name may hold anything: what cannot be drawn becomes a question mark, in both formats.
func TestAnyTextIsDrawn(t *testing.T) {
	for in, want := range map[string]string{"Fußring Ω, Ж ≈ 3 µm": "Fußring Ω, Ж ≈ 3 µm", "ring \U0001f600": "ring ?", "\xff\xfe": "??", "a\x00b\x07\r\n": "a?b???", "\ufffd": "?", "語": "語"} {
		d := New(A4, in)
		d.Text(Text{Words: in, At: r2.Vec{X: 20, Y: 20}, Clear: true})
		if got := d.items[1].(Text).Words; got != want || d.Title != want {
			t.Errorf("%q is drawn as %q, titled %q, want %q", in, got, d.Title, want)
		}
		var pdf, svg bytes.Buffer
		if err := errors.Join(WritePDF(&pdf, d), d.WriteSVG(&svg)); err != nil {
			t.Errorf("%q: %v", in, err)
		}
		for x := xml.NewDecoder(&svg); ; {
			if _, err := x.Token(); err == io.EOF {
				break
			} else if err != nil {
				t.Errorf("%q: the SVG is no XML: %v", in, err)
				break
			}
		}
	}
}

// Hatch lines a step apart cover length × step = area.
func TestHatchingCoversTheArea(t *testing.T) {
	ring := [][]r2.Vec{circle(r2.Vec{X: 50, Y: 40}, 30), circle(r2.Vec{X: 50, Y: 40}, 12)}
	want := polygonAreaMM2(ring[0]) - polygonAreaMM2(ring[1])
	for _, h := range hatchings {
		fine := hatching{h.angleDeg, 0.05}
		var length float64
		for _, l := range hatchLines(ring, fine) {
			length += r2.Norm(r2.Sub(l[1], l[0]))
			mid := r2.Scale(0.5, r2.Add(l[0], l[1]))
			if d := r2.Norm(r2.Sub(mid, r2.Vec{X: 50, Y: 40})); d < 12-0.1 || d > 30 {
				t.Fatalf("a hatch line runs outside the ring")
			}
		}
		near(t, "covered area", length*fine.stepMM, want, want*1e-3)
	}
}

func TestSpotInsideIsInside(t *testing.T) {
	spot, ok := spotInside([][]r2.Vec{circle(r2.Vec{}, 30), circle(r2.Vec{}, 20)})
	if d := r2.Norm(spot); !ok || d <= 20 || d >= 30 {
		t.Errorf("spot %v at %g from the centre of a ring of 20 to 30", spot, d)
	}
	if _, ok := spotInside(nil); ok {
		t.Error("a spot inside nothing")
	}
}

func TestLengthsAsPrinted(t *testing.T) {
	for v, want := range map[float64]string{10: "10", 10.5: "10.5", 10.126: "10.13", 0: "0", -0.001: "0", 100: "100", 84.00000001: "84"} {
		if got := mm(v); got != want {
			t.Errorf("mm(%g) = %q, want %q", v, got, want)
		}
	}
}

// Every sheet: well-formed XML, all texts inside the frame, no two texts over each other.
func TestSheetsAreReadable(t *testing.T) {
	for name, d := range sampleSheets(t) {
		var b bytes.Buffer
		if err := d.WriteSVG(&b); err != nil {
			t.Fatal(err)
		}
		for dec := xml.NewDecoder(bytes.NewReader(b.Bytes())); ; {
			if _, err := dec.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Fatalf("%s: not well-formed: %v", name, err)
			}
		}
		var texts []Text
		for _, it := range d.items {
			if x, ok := it.(Text); ok {
				texts = append(texts, x)
			}
		}
		for i, x := range texts {
			lo, hi := extentOf(x.box(0))
			if lo.X < marginLeftMM || lo.Y < marginMM || hi.X > d.Paper.WidthMM-marginMM || hi.Y > d.Paper.HeightMM-marginMM {
				t.Errorf("%s: %q runs out of the frame", name, x.Words)
			}
			for _, y := range texts[:i] {
				lo2, hi2 := extentOf(y.box(0))
				if lo.X < hi2.X && lo2.X < hi.X && lo.Y < hi2.Y && lo2.Y < hi.Y {
					t.Errorf("%s: %q and %q overlap", name, x.Words, y.Words)
				}
			}
		}
	}
}

func extentOf(pts []r2.Vec) (lo, hi r2.Vec) { return bounds(cutPiece{loops: [][]r2.Vec{pts}}) }

func TestSectionDrawingSaysWhatItShows(t *testing.T) {
	var b bytes.Buffer
	if err := sampleSheets(t)["section"].WriteSVG(&b); err != nil {
		t.Fatal(err)
	}
	svg := b.String()
	// The mould is 84 wide and 30 high, the casting 64 wide, 14 high and 10 from the side.
	for _, want := range []string{">84<", ">30<", ">64<", ">14<", ">10<", ">2:1<", ">mm<", ">lower half<", ">upper half<", ">cavity<", ">sprue ø8<", "Foot ring &amp; spacer"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the section lacks %s", want)
		}
	}
	if n := strings.Count(svg, ">key 10°<"); n != 1 {
		t.Errorf("two equal keys are labelled %d times", n)
	}
	if strings.Contains(svg, "far away") {
		t.Error("a label 30 mm off the plane is drawn")
	}
}

// The table has each spot's place from the block's lower left corner, and each way of making once.
func TestPlanTable(t *testing.T) {
	words := map[string]int{}
	var all strings.Builder
	for _, it := range sampleSheets(t)["plan"].items {
		if x, ok := it.(Text); ok {
			words[x.Words]++
			all.WriteString(x.Words + " ")
		}
	}
	// Bolts stand at ±36 in a block of ±42: 6 and 78 mm from the corner. Marks stand on the view too.
	for w, n := range map[string]int{"A1": 2, "A3": 2, "K1": 2, "K2": 2, "6": 4, "78": 4, "bolt": 4, "K1 K2: cone, 8 mm, 8° draft": 1, "parting line": 1} {
		if words[w] != n {
			t.Errorf("%q stands %d times, want %d", w, words[w], n)
		}
	}
	if s := all.String(); !strings.Contains(s, "A1 A2 A3 A4: M5 × 25 cap screw") || !strings.Contains(s, "a standard length reaches") {
		t.Errorf("the bolts' description is not whole: %s", s)
	}
}

func TestLongTableCountsWhatIsLeftOut(t *testing.T) {
	opt := PlanOptions{Block: rect(0, 0, 100, 100)}
	for i := range 200 {
		opt.Spots = append(opt.Spots, Spot{Name: "bolt", DiameterMM: 1, At: r2.Vec{X: float64(i % 10 * 10), Y: float64(i / 10 * 5)}})
	}
	d, err := PlanDrawing(opt)
	if err != nil {
		t.Fatal(err)
	}
	rows, more := 0, 0
	for _, it := range d.items {
		if x, ok := it.(Text); ok {
			if x.Words == "bolt" {
				rows++
			}
			if n, err := fmt.Sscanf(x.Words, "and %d more", &more); n == 1 && err != nil {
				t.Fatal(err)
			}
		}
	}
	if rows == 0 || rows+more != 200 {
		t.Errorf("%d rows and %d more, want 200 in all", rows, more)
	}
}

func TestLinesBreakAtSpaces(t *testing.T) {
	x := Text{Words: "one two three four five six seven", HeightMM: 2}
	got := x.lines(20, 9)
	if strings.Join(got, " ") != x.Words || len(got) < 2 {
		t.Errorf("lines %q", got)
	}
	for _, l := range append(got, x.lines(20, 2)...) {
		if w := (Text{Words: l, HeightMM: 2}).WidthMM(); w > 20 {
			t.Errorf("%q is %g mm long", l, w)
		}
	}
	if cut := x.lines(20, 2); len(cut) != 2 || !strings.HasSuffix(cut[1], "…") {
		t.Errorf("cut lines %q", cut)
	}
}

func TestSheetsRepeatByteForByte(t *testing.T) {
	render := func() (out [][]byte) {
		s := sampleSheets(t)
		for _, name := range []string{"plan", "section"} {
			var svg bytes.Buffer
			if err := s[name].WriteSVG(&svg); err != nil {
				t.Fatal(err)
			}
			out = append(out, svg.Bytes())
		}
		var pdf bytes.Buffer
		if err := WritePDF(&pdf, s["section"], s["plan"]); err != nil {
			t.Fatal(err)
		}
		return append(out, pdf.Bytes())
	}
	first := render()
	if !bytes.HasPrefix(first[2], []byte("%PDF-")) || bytes.Count(first[2], []byte("/Type /Page\n")) != 2 {
		t.Error("not a PDF of two pages")
	}
	for range 4 {
		for i, again := range render() {
			if !bytes.Equal(first[i], again) {
				t.Fatalf("output %d differs from run to run", i)
			}
		}
	}
}

func TestDrawingsRefuseBadInput(t *testing.T) {
	ctx := context.Background()
	b := box(r3.Vec{}, r3.Vec{X: 40, Y: 30, Z: 20})
	if _, err := SectionDrawing(ctx, []Piece{{"box", b}}, level(90), SectionOptions{}); err == nil || !strings.Contains(err.Error(), "misses every piece") {
		t.Errorf("plane past the box: %v", err)
	}
	b.Tris = b.Tris[:11]
	if _, err := SectionDrawing(ctx, []Piece{{"lid", b}}, level(9), SectionOptions{}); err == nil || !strings.Contains(err.Error(), "section of lid") {
		t.Errorf("open box: %v", err)
	}
	if _, err := PlanDrawing(PlanOptions{}); err == nil {
		t.Error("a plan of nothing")
	}
	if err := WritePDF(io.Discard); err == nil {
		t.Error("a PDF of no sheets")
	}
	if err := sampleSheets(t)["plan"].WriteSVG(failing{}); err == nil {
		t.Error("a full disk goes unseen by WriteSVG")
	}
	if err := WritePDF(failing{}, sampleSheets(t)["plan"]); err == nil {
		t.Error("a full disk goes unseen by WritePDF")
	}
}

// failing is a disk that is full.
type failing struct{}

func (failing) Write([]byte) (int, error) { return 0, errors.New("no space left on device") }

func TestPaperByName(t *testing.T) {
	for _, name := range []string{"", "A4", "a4-upright", "A3", "letter"} {
		if p, err := PaperByName(name); err != nil || p.WidthMM == 0 {
			t.Errorf("%q: %v, %v", name, p, err)
		}
	}
	if _, err := PaperByName("A9"); err == nil {
		t.Error("A9 accepted")
	}
}

// Long names are cut, not run over the frame, and a crowd of labels keeps apart.
func TestCrowdedSheetStaysReadable(t *testing.T) {
	_, lower, _ := ringMould(24)
	opt := SectionOptions{Paper: Letter, Head: Head{Title: strings.Repeat("A very long name ", 20), Subject: strings.Repeat("seen from somewhere ", 12), Note: strings.Repeat("note ", 60)}}
	for i := range 14 {
		opt.Labels = append(opt.Labels, Label{Words: fmt.Sprintf("label %d %s", i, strings.Repeat("label ", 9)), At: r3.Vec{X: 30, Z: -12 + 0.1*float64(i)}})
	}
	d, err := SectionDrawing(context.Background(), []Piece{{strings.Repeat("lower ", 20), lower}}, upright, opt)
	if err != nil {
		t.Fatal(err)
	}
	var last float64
	for _, it := range d.items {
		x, ok := it.(Text)
		if !ok {
			continue
		}
		lo, hi := extentOf(x.box(0))
		if lo.X < marginLeftMM || hi.X > Letter.WidthMM-marginMM {
			t.Errorf("%q runs out of the frame", x.Words)
		}
		if strings.HasPrefix(x.Words, "label") {
			if last != 0 && x.At.Y-last < labelStepMM-1e-9 {
				t.Errorf("labels %g mm apart", x.At.Y-last)
			}
			last = x.At.Y
		}
	}
}
