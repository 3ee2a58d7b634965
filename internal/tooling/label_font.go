package tooling

import (
	"errors"
	"fmt"
	"math"
	"unicode"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/gonum/spatial/r2"
)

// ErrMissingGlyph is the cause when a font has no shape for a character.
var ErrMissingGlyph = errors.New("the font has no such character")

// typeset is one line of text in font units, y up, the baseline at 0.
type typeset struct {
	curves    []contour
	box       r2.Box // of the ink's control points
	capHeight float64
}

// contour is one closed outline: lines, quadratics and cubics, each from the end of the one before.
type contour struct {
	start r2.Vec
	segs  [][]r2.Vec // 1, 2 or 3 points: the controls and the end
}

// setText lays out one line with the font's own advances and kerning.
func setText(text string, fontFile []byte) (*typeset, error) {
	if fontFile == nil {
		fontFile = gobold.TTF
	}
	f, err := sfnt.Parse(fontFile)
	if err != nil {
		return nil, fmt.Errorf("read the font: %w: give a TTF or OTF file", err)
	}
	// At one pixel a unit, the outlines come in font units, unhinted.
	t := &typer{f: f, ppem: fixed.I(int(f.UnitsPerEm()))}
	out := &typeset{}
	prev := sfnt.GlyphIndex(0)
	x := 0.0
	for i, r := range []rune(text) {
		if unicode.IsControl(r) {
			return nil, fmt.Errorf("character %d (%U) is a control character: give one line of plain text", i+1, r)
		}
		g, err := f.GlyphIndex(&t.buf, r)
		if err != nil {
			return nil, fmt.Errorf("character %d (%q): %w", i+1, r, err)
		}
		if g == 0 {
			return nil, fmt.Errorf("character %d (%q, %U): %w: choose another font or leave it out", i+1, r, r, ErrMissingGlyph)
		}
		if prev != 0 {
			// A font without a kerning table answers ErrNotFound: then there is none.
			if kern, err := f.Kern(&t.buf, prev, g, t.ppem, font.HintingNone); err == nil {
				x += units(kern)
			}
		}
		cs, err := t.outline(g, x)
		if err != nil {
			return nil, fmt.Errorf("character %d (%q): %w", i+1, r, err)
		}
		out.curves = append(out.curves, cs...)
		adv, err := f.GlyphAdvance(&t.buf, g, t.ppem, font.HintingNone)
		if err != nil {
			return nil, fmt.Errorf("character %d (%q): %w", i+1, r, err)
		}
		x += units(adv)
		prev = g
	}
	if len(out.curves) == 0 {
		return nil, errors.New("there is nothing to cut: give at least one visible character")
	}
	out.box = inkBox(out.curves)
	out.capHeight = t.capHeight()
	return out, nil
}

type typer struct {
	f    *sfnt.Font
	buf  sfnt.Buffer
	ppem fixed.Int26_6
}

func units(v fixed.Int26_6) float64 { return float64(v) / 64 }

// outline is a glyph's contours moved right by x. The font reader's y runs down; ours runs up.
func (t *typer) outline(g sfnt.GlyphIndex, x float64) ([]contour, error) {
	segs, err := t.f.LoadGlyph(&t.buf, g, t.ppem, nil)
	if err != nil {
		return nil, fmt.Errorf("read its outline: %w", err)
	}
	var out []contour
	for _, s := range segs {
		n := 1
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			out = append(out, contour{start: r2.Vec{X: x + units(s.Args[0].X), Y: -units(s.Args[0].Y)}})
			continue
		case sfnt.SegmentOpQuadTo:
			n = 2
		case sfnt.SegmentOpCubeTo:
			n = 3
		}
		if len(out) == 0 {
			return nil, errors.New("its outline does not begin with a start point: the font is damaged")
		}
		pts := make([]r2.Vec, n)
		for i := range pts {
			pts[i] = r2.Vec{X: x + units(s.Args[i].X), Y: -units(s.Args[i].Y)}
		}
		c := &out[len(out)-1]
		c.segs = append(c.segs, pts)
	}
	return out, nil
}

// capHeight is the height of the letter H; a font without one is taken by its em, of which capitals fill
// about seven tenths in most designs (common practice, no source).
func (t *typer) capHeight() float64 {
	const ofEm = 0.7
	if g, err := t.f.GlyphIndex(&t.buf, 'H'); err == nil && g != 0 {
		if cs, err := t.outline(g, 0); err == nil && len(cs) > 0 {
			if b := inkBox(cs); b.Max.Y > 0 {
				return b.Max.Y
			}
		}
	}
	return ofEm * float64(t.f.UnitsPerEm())
}

// inkBox bounds the control points, which bound the curves.
func inkBox(cs []contour) r2.Box {
	var all []r2.Vec
	for _, c := range cs {
		all = append(all, c.start)
		for _, s := range c.segs {
			all = append(all, s...)
		}
	}
	b, _ := Outline{all}.Bounds()
	return b
}

// flatten turns the contour into a loop in mm about mid, within chord of the curve. Repeated points are
// dropped, so the loop has no edge of zero length.
func (c contour) flatten(mid r2.Vec, scale, chord float64) []r2.Vec {
	place := func(p r2.Vec) r2.Vec { return r2.Scale(scale, r2.Sub(p, mid)) }
	loop := []r2.Vec{place(c.start)}
	add := func(p r2.Vec) {
		if p != loop[len(loop)-1] {
			loop = append(loop, p)
		}
	}
	from := loop[0]
	for _, s := range c.segs {
		pts := []r2.Vec{from}
		for _, p := range s {
			pts = append(pts, place(p))
		}
		second := 0.0
		for i := 0; i+2 < len(pts); i++ {
			// A Bézier curve of degree d has B″ within d(d−1) times its second differences.
			d := float64(len(pts) - 1)
			dd := r2.Add(r2.Sub(pts[i], r2.Scale(2, pts[i+1])), pts[i+2])
			second = max(second, d*(d-1)*r2.Norm(dd))
		}
		n := chordPieces(second, chord)
		for i := 1; i <= n; i++ {
			add(bezier(pts, float64(i)/float64(n)))
		}
		from = pts[len(pts)-1]
	}
	for len(loop) > 1 && loop[len(loop)-1] == loop[0] {
		loop = loop[:len(loop)-1]
	}
	return loop
}

// bezier evaluates a curve of any degree by de Casteljau's scheme; it gives the ends exactly.
func bezier(pts []r2.Vec, t float64) r2.Vec {
	if t == 1 {
		return pts[len(pts)-1]
	}
	p := append([]r2.Vec(nil), pts...)
	for n := len(p) - 1; n > 0; n-- {
		for i := range n {
			p[i] = r2.Vec{X: math.FMA(t, p[i+1].X-p[i].X, p[i].X), Y: math.FMA(t, p[i+1].Y-p[i].Y, p[i].Y)}
		}
	}
	return p[0]
}
