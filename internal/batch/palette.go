package batch

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/sheet"
)

// palette is that of Okabe & Ito (2008), which people with the common colour-vision deficiencies can
// tell apart; black is left for lines.
var palette = []color.RGBA{
	{230, 159, 0, 255}, {86, 180, 233, 255}, {0, 158, 115, 255}, {240, 228, 66, 255},
	{0, 114, 178, 255}, {213, 94, 0, 255}, {204, 121, 167, 255},
}

var (
	ink      = color.RGBA{25, 25, 25, 255}
	faint    = color.RGBA{214, 214, 214, 255}
	shut     = color.RGBA{240, 240, 240, 255}
	potGrey  = color.RGBA{190, 190, 190, 255}
	penBar   = sheet.Pen{WidthMM: 0.2, Colour: ink}
	penGrid  = sheet.Pen{WidthMM: 0.13, Colour: faint}
	penHatch = sheet.Pen{WidthMM: 0.22, Colour: color.RGBA{60, 60, 60, 255}}
)

// letter names a version or a way in a picture beside its colour: A, B, … Z, A2, …
func letter(i int) string {
	s := string(rune('A' + i%26))
	if i >= 26 {
		s += string(rune('1' + i/26%9))
	}
	return s
}

// tint mixes a colour with white.
func tint(c color.RGBA, share float64) color.RGBA {
	mix := func(v uint8) uint8 { return uint8(float64(v)*share + 255*(1-share) + 0.5) }
	return color.RGBA{mix(c.R), mix(c.G), mix(c.B), 255}
}

func rectangle(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// hatch draws the pattern of version i into a bar, so that its colour is not the only sign: plain,
// rising, falling, upright, level, and again with the spacing halved.
func hatch(d *sheet.Drawing, i int, x0, y0, x1, y1 float64) {
	kind, gap := i%5, 1.8
	if i/5%2 == 1 {
		gap = 0.9
	}
	h := y1 - y0
	switch kind {
	case 1, 2:
		for x := x0 - h + gap/2; x < x1; x += gap {
			a, b := max(x, x0), min(x+h, x1)
			if b <= a {
				continue
			}
			ya, yb := y1-(a-x), y1-(b-x)
			if kind == 2 {
				ya, yb = y0+(a-x), y0+(b-x)
			}
			d.Line(penHatch, r2.Vec{X: a, Y: ya}, r2.Vec{X: b, Y: yb})
		}
	case 3:
		for x := x0 + gap/2; x < x1; x += gap {
			d.Line(penHatch, r2.Vec{X: x, Y: y0}, r2.Vec{X: x, Y: y1})
		}
	case 4:
		for y := y0 + gap/2; y < y1; y += gap {
			d.Line(penHatch, r2.Vec{X: x0, Y: y}, r2.Vec{X: x1, Y: y})
		}
	}
}

// words puts down text if it fits the width, else nothing; it says whether it did.
func words(d *sheet.Drawing, t sheet.Text, widthMM float64) bool {
	if t.WidthMM() > widthMM {
		return false
	}
	d.Text(t)
	return true
}

// cut shortens text to a width, marking the loss with an ellipsis.
func cut(t sheet.Text, widthMM float64) sheet.Text {
	rs := []rune(t.Words)
	for n := len(rs); t.WidthMM() > widthMM && n > 0; n-- {
		t.Words = string(rs[:n-1]) + "…"
	}
	return t
}
