package tooling

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

func face(w, h float64) LabelFace {
	return LabelFace{Centre: r3.Vec{Y: -45, Z: 9}, Normal: r3.Vec{Y: -1}, WidthMM: w, HeightMM: h, BehindMM: 8}
}

// A dash is a rectangle, so its ink fills its box; an H stands the cap height tall, about the face's middle.
func TestLabelGlyphsOfStraightLines(t *testing.T) {
	dash := must(NewLabel(face(60, 16), LabelOptions{Text: "-", Font: goregular.TTF}))(t)
	if len(dash.Loops) != 1 || len(dash.Loops[0]) != 4 {
		t.Fatalf("dash: %d loops, the first of %d points", len(dash.Loops), len(dash.Loops[0]))
	}
	lo, hi := planBox(dash.Loops[0])
	near(t, "area of a dash", math.Abs(loopArea(dash.Loops[0])), (hi.X-lo.X)*(hi.Y-lo.Y), 1e-9)
	h := must(NewLabel(face(60, 16), LabelOptions{Text: "H", Font: goregular.TTF}))(t)
	lo, hi = planBox(h.Loops[0])
	near(t, "height of H", hi.Y-lo.Y, 5, 1e-9)
	near(t, "middle of H", r2.Norm(r2.Add(lo, hi)), 0, 1e-9)
}

// The ink of text is what an independent rasteriser (golang.org/x/image/vector, behind opentype's faces)
// fills for the same glyph at a large size: the area agrees to a thousandth.
func TestLabelAreaAgreesWithARasteriser(t *testing.T) {
	const ppem = 1024.0
	f := must(opentype.Parse(goregular.TTF))(t)
	ff := must(opentype.NewFace(f, &opentype.FaceOptions{Size: ppem, DPI: 72, Hinting: font.HintingNone}))(t)
	withKernel(t, func(k *solid.Kernel) {
		for _, r := range "OBg8&é@" {
			_, mask, _, _, ok := ff.Glyph(fixed.P(0, 0), r)
			if !ok {
				t.Fatalf("no glyph %q", r)
			}
			b, sum := mask.Bounds(), 0.0
			for y := b.Min.Y; y < b.Max.Y; y++ {
				for x := b.Min.X; x < b.Max.X; x++ {
					_, _, _, a := mask.At(x, y).RGBA()
					sum += float64(a) / 0xffff
				}
			}
			set := must(setText(string(r), goregular.TTF))(t)
			upem := float64(must(sfnt.Parse(goregular.TTF))(t).UnitsPerEm())
			var loops [][]r2.Vec
			for _, c := range set.curves {
				loops = append(loops, c.flatten(r2.Vec{}, ppem/upem, 0.005))
			}
			area := must(must(k.Region(loops))(t).AreaMM2())(t)
			near(t, "area of "+string(r), area, sum, 1e-3)
		}
	})
}

func TestLabelChordToleranceConverges(t *testing.T) {
	// A curve's chords lie inside a convex outline: the finer they are, the more area, up to the limit.
	area := func(chord float64) float64 {
		l := must(NewLabel(face(60, 16), LabelOptions{Text: "O", ChordMM: chord}))(t)
		a := 0.0
		for _, loop := range l.Loops {
			a = max(a, math.Abs(loopArea(loop)))
		}
		return a
	}
	coarse, mid, fine := area(0.2), area(0.02), area(0.001)
	if !(coarse < mid && mid < fine) || fine-mid > 0.02*math.Pi*5 {
		t.Errorf("areas %g, %g, %g for chords 0.2, 0.02, 0.001 mm", coarse, mid, fine)
	}
}

// Text is sunk into the face, by the depth asked, and reads from outside: the first sign of "-L" lies to the
// left of one who looks at the face, so at lower x on the front, higher x on the back.
func TestLabelCut(t *testing.T) {
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[0].height)
		for _, c := range []struct {
			normal, centre r3.Vec
			right          r3.Vec
		}{
			{r3.Vec{Y: -1}, r3.Vec{Y: -45, Z: 9}, r3.Vec{X: 1}},
			{r3.Vec{Y: 1}, r3.Vec{Y: 45, Z: 9}, r3.Vec{X: -1}},
			{r3.Vec{X: 1}, r3.Vec{X: 60, Z: 9}, r3.Vec{Y: 1}},
			{r3.Vec{X: -1}, r3.Vec{X: -60, Z: 9}, r3.Vec{Y: -1}},
		} {
			l := must(NewLabel(LabelFace{Centre: c.centre, Normal: c.normal, WidthMM: 60, HeightMM: 16, BehindMM: 8}, LabelOptions{Text: "-L"}))(t)
			tools := must(l.Tools(k, Lower))(t)
			held := heldBy(t, f.lower, Lower, tools)
			ink := must(must(k.Region(l.Loops))(t).AreaMM2())(t)
			near(t, "held", held, ink*0.5, 1e-6)
			cut := must(f.lower.Intersect(tools[0].Solid))(t)
			b := must(cut.Bounds())(t)
			near(t, "depth", math.Abs(r3.Dot(c.normal, r3.Sub(b.Max, b.Min))), 0.5, 1e-9)
			near(t, "height", b.Max.Z-b.Min.Z, 5, 1e-9)
			parts := must(cut.Parts())(t)
			if len(parts) != 2 {
				t.Fatalf("%d letters cut", len(parts))
			}
			// The dash is the one whose box is all ink; it must be the left one.
			var at [2]float64
			for _, p := range parts {
				pb := must(p.Bounds())(t)
				size := r3.Sub(pb.Max, pb.Min)
				full := math.Abs(must(p.VolumeMM3())(t)-size.X*size.Y*size.Z) < 1e-6
				mid := r3.Dot(c.right, r3.Scale(0.5, r3.Add(pb.Max, pb.Min)))
				if full {
					at[0] = mid
				} else {
					at[1] = mid
				}
			}
			if at[0] >= at[1] {
				t.Errorf("normal %v: dash at %g, L at %g along the reading direction", c.normal, at[0], at[1])
			}
		}
	})
}

func TestLabelShrinksOrRefuses(t *testing.T) {
	wide := must(NewLabel(face(200, 16), LabelOptions{Text: "FOOT RING 3"}))(t)
	tight := must(NewLabel(face(34, 16), LabelOptions{Text: "FOOT RING 3"}))(t)
	if wide.CapHeightMM != 5 || tight.CapHeightMM >= 5 {
		t.Errorf("capitals %g and %g mm", wide.CapHeightMM, tight.CapHeightMM)
	}
	near(t, "shrunk width", tight.WidthMM, 34-3, 1e-9)
	near(t, "shape kept", tight.WidthMM/tight.CapHeightMM, wide.WidthMM/wide.CapHeightMM, 1e-9)

	deep := face(60, 16)
	deep.BehindMM = 2.4
	slanted := face(60, 16)
	slanted.Normal.Z = 1
	for name, c := range map[string]struct {
		face LabelFace
		text string
		want error
		say  string
	}{
		"too long":      {face(30, 16), strings.Repeat("WORD ", 20), ErrLabel, "shorten the text"},
		"no room":       {face(2, 16), "A", ErrLabel, "block larger"},
		"thin wall":     {deep, "A", ErrLabel, "2.4 mm of solid"},
		"slanted":       {slanted, "A", ErrLabel, "horizontal"},
		"missing glyph": {face(60, 16), "A漢", ErrMissingGlyph, `'漢'`},
		"two lines":     {face(60, 16), "A\nB", nil, "control character"},
		"nothing":       {face(60, 16), "  ", nil, "at least one visible"},
	} {
		_, err := NewLabel(c.face, LabelOptions{Text: c.text})
		if err == nil || (c.want != nil && !errors.Is(err, c.want)) || !strings.Contains(err.Error(), c.say) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := NewLabel(face(60, 16), LabelOptions{Text: "A", Font: []byte("not a font")}); err == nil || !strings.Contains(err.Error(), "TTF or OTF") {
		t.Errorf("bad font: error %v", err)
	}
}

func TestLabelMonospaceAdvance(t *testing.T) {
	// In a monospaced face the ink of n equal letters is (n−1) advances longer than that of one.
	w := func(s string) float64 {
		set := must(setText(s, gomono.TTF))(t)
		return set.box.Max.X - set.box.Min.X
	}
	near(t, "advance", w("HHHHH")-w("H"), 4*(w("HH")-w("H")), 1e-12)
}

// A font with damaged bytes gives an error or a label that stays on its face; the damage is from a fixed
// sequence, so a failure repeats.
func TestLabelSurvivesDamagedFonts(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	errs := 0
	for range 400 {
		bad := append([]byte(nil), goregular.TTF...)
		for range 1 + rnd.IntN(40) {
			// The tables' directory and headers lie in front; damage there reaches everything.
			at := rnd.IntN(len(bad))
			if rnd.IntN(2) == 0 {
				at = rnd.IntN(1024)
			}
			bad[at] = byte(rnd.IntN(256))
		}
		l, err := NewLabel(face(100, 16), LabelOptions{Text: "Mould 7", Font: bad})
		if err != nil {
			errs++
			continue
		}
		onFace(t, l)
	}
	if errs == 0 || errs == 400 {
		t.Errorf("%d of 400 damaged fonts refused: the damage does not test much", errs)
	}
}

func onFace(t *testing.T, l Label) {
	t.Helper()
	for _, loop := range l.Loops {
		for _, p := range loop {
			if !(math.Abs(p.X) <= 50 && math.Abs(p.Y) <= 8) {
				t.Fatalf("point %v lies off the face", p)
			}
		}
	}
}

// Any bytes for a font, any text: an error or a label, never a panic.
func FuzzLabel(f *testing.F) {
	f.Add([]byte(nil), "M4")
	f.Add(goregular.TTF[:2000], "x")
	f.Fuzz(func(t *testing.T, fontFile []byte, text string) {
		if len(text) > 200 {
			return
		}
		if len(fontFile) == 0 {
			fontFile = nil
		}
		l, err := NewLabel(face(100, 16), LabelOptions{Text: text, Font: fontFile})
		if err != nil {
			return
		}
		onFace(t, l)
	})
}
