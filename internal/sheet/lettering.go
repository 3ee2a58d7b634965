package sheet

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/gonum/spatial/r2"
)

// face is one of the two fonts that every drawing and picture uses, so that a text has the same
// width wherever it is drawn. They hold Latin, Greek and Cyrillic letters.
type face struct {
	ttf  []byte
	font *sfnt.Font
	cap  float64 // height of a capital letter, in ems
}

var faces = sync.OnceValue(func() [2]face {
	var out [2]face
	for i, ttf := range [][]byte{goregular.TTF, gobold.TTF} {
		f, err := opentype.Parse(ttf)
		if err != nil {
			panic(fmt.Sprintf("the built-in font does not parse: %v", err)) // cannot be: it is compiled in
		}
		var buf sfnt.Buffer
		m, err := f.Metrics(&buf, fixed.I(1000), font.HintingNone)
		if err != nil {
			panic(fmt.Sprintf("the built-in font has no metrics: %v", err))
		}
		out[i] = face{ttf, f, float64(m.CapHeight) / 64 / 1000}
	}
	return out
})

func (t Text) face() face {
	if t.Bold {
		return faces()[1]
	}
	return faces()[0]
}

// smallMM is the height of capitals where a text does not say: the smallest of ISO 3098 that copies well.
const smallMM = 2.5

// drawable puts a ? for what a drawing cannot hold: control characters, which SVG forbids, and letters
// beyond the first 65,536 of Unicode, such as emoji, which neither our fonts nor the PDF writer have.
func drawable(words string) string {
	return strings.Map(func(r rune) rune {
		if r == utf8.RuneError || r > math.MaxUint16 || unicode.IsControl(r) {
			return '?'
		}
		return r
	}, words)
}

// capMM is the height of the text's capitals.
func (t Text) capMM() float64 {
	if t.HeightMM == 0 {
		return smallMM
	}
	return t.HeightMM
}

// emMM is the font size in mm that gives capitals of the text's height.
func (t Text) emMM() float64 { return t.capMM() / t.face().cap }

// WidthMM is the length of the text on paper.
func (t Text) WidthMM() float64 { return t.face().width(t.Words) * t.emMM() }

// width is the advance of s in ems.
func (f face) width(s string) float64 {
	var buf sfnt.Buffer
	var sum fixed.Int26_6
	for _, r := range s {
		g, err := f.font.GlyphIndex(&buf, r)
		if err != nil {
			continue
		}
		if a, err := f.font.GlyphAdvance(&buf, g, fixed.I(1000), font.HintingNone); err == nil {
			sum += a
		}
	}
	return float64(sum) / 64 / 1000
}

// shortened is the text cut with an ellipsis to what fits maxMM.
func (t Text) shortened(maxMM float64) Text {
	if t.WidthMM() <= maxMM {
		return t
	}
	rs := []rune(t.Words)
	for n := len(rs) - 1; n > 0; n-- {
		t.Words = string(rs[:n]) + "…"
		if t.WidthMM() <= maxMM {
			break
		}
	}
	return t
}

// circleSagittaMM is how far a drawn circle may be from a true one: half the narrowest line.
const circleSagittaMM = 0.02

func circle(c r2.Vec, r float64) []r2.Vec {
	n := 12
	if r > circleSagittaMM {
		n = max(n, int(math.Ceil(math.Pi/math.Acos(1-circleSagittaMM/r))))
	}
	pts := make([]r2.Vec, n)
	for i := range pts {
		s, co := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		pts[i] = r2.Vec{X: c.X + r*co, Y: c.Y + r*s}
	}
	return pts
}
