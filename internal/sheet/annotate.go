package sheet

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"golang.org/x/image/font"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// annotate draws the legend, the axis mark and the scale bar on a finished picture.
func annotate(img *image.RGBA, cam camera, shown []Shown) {
	unit := float64(img.Bounds().Dy()) / 45 // lettering height of text, in pixels
	letters, err := opentype.NewFace(faces()[0].font, &opentype.FaceOptions{Size: unit, DPI: 72, Hinting: font.HintingNone})
	if err != nil { // only a bad size could do that; a picture without words is still a picture
		return
	}
	defer letters.Close()
	p := pencil{img, letters, unit}
	p.legend(shown)
	p.axes(cam)
	p.scaleBar(cam)
}

// pencil draws on a picture in pixels.
type pencil struct {
	img     *image.RGBA
	letters font.Face
	unit    float64
}

func (p pencil) words(s string, x, y float64) {
	d := font.Drawer{Dst: p.img, Src: image.NewUniform(black), Face: p.letters, Dot: fixed.Point26_6{X: fixed.Int26_6(x * 64), Y: fixed.Int26_6(y * 64)}}
	d.DrawString(s)
}

// area fills a polygon, smoothly. Only the box around it is worked on: a picture has many times more
// pixels than its letters and arrows.
func (p pencil) area(c color.RGBA, pts ...r2.Vec) {
	lo, hi := bounds(cutPiece{loops: [][]r2.Vec{pts}})
	box := image.Rect(int(math.Floor(lo.X)), int(math.Floor(lo.Y)), int(math.Ceil(hi.X))+1, int(math.Ceil(hi.Y))+1).Intersect(p.img.Bounds())
	if box.Empty() {
		return
	}
	z := vector.NewRasterizer(box.Dx(), box.Dy())
	for i, q := range pts {
		x, y := float32(q.X-float64(box.Min.X)), float32(q.Y-float64(box.Min.Y))
		if i == 0 {
			z.MoveTo(x, y)
		} else {
			z.LineTo(x, y)
		}
	}
	z.ClosePath()
	z.DrawOp = draw.Over
	z.Draw(p.img, box, image.NewUniform(c), image.Point{})
}

func (p pencil) line(c color.RGBA, a, b r2.Vec, width float64) {
	d := r2.Sub(b, a)
	if r2.Norm(d) == 0 {
		return
	}
	n := r2.Scale(width/2, r2.Unit(r2.Vec{X: -d.Y, Y: d.X}))
	p.area(c, r2.Add(a, n), r2.Add(b, n), r2.Sub(b, n), r2.Sub(a, n))
}

// legend lists names with their colours, top left.
func (p pencil) legend(shown []Shown) {
	y := 1.8 * p.unit
	row := func(name string, c color.RGBA) {
		if name == "" {
			return
		}
		x := p.unit
		p.area(black, rect(x, y-0.75*p.unit, x+p.unit, y+0.15*p.unit)...)
		p.area(c, rect(x+1, y-0.75*p.unit+1, x+p.unit-1, y+0.15*p.unit-1)...)
		p.words(name, x+1.5*p.unit, y)
		y += 1.5 * p.unit
	}
	for i, s := range shown {
		c := s.Colour
		if c == (color.RGBA{}) {
			c = Palette[i%len(Palette)]
		}
		row(s.Name, c)
		row(s.MarkedName, MarkColour)
	}
}

// axes draws x, y and z as arrows, bottom left, in colours of the palette and with their letters.
func (p pencil) axes(cam camera) {
	h := float64(p.img.Bounds().Dy())
	origin := r2.Vec{X: 3.6 * p.unit, Y: h - 3.6*p.unit}
	for i, a := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		t := cam.turned(a)
		tip := r2.Add(origin, r2.Scale(2.4*p.unit, r2.Vec{X: t.X, Y: -t.Y}))
		c := []color.RGBA{Palette[5], Palette[2], Palette[4]}[i]
		p.line(c, origin, tip, 0.16*p.unit)
		off := r2.Vec{X: t.X, Y: -t.Y}
		if l := r2.Norm(off); l > 0.05 {
			off = r2.Scale(0.6*p.unit/l, off)
		} else { // the axis points at the eye
			off = r2.Vec{X: 0.4 * p.unit, Y: 0.4 * p.unit}
		}
		at := r2.Add(tip, off)
		p.words([]string{"x", "y", "z"}[i], at.X-0.28*p.unit, at.Y+0.25*p.unit)
	}
}

// scaleBar draws a length of 1, 2 or 5 times a power of ten mm, bottom right, about a fifth of the
// picture wide.
func (p pencil) scaleBar(cam camera) {
	w, h := float64(p.img.Bounds().Dx()), float64(p.img.Bounds().Dy())
	perMM := cam.perMM / oversample
	length := roundLength(w / 5 / perMM)
	x1, y := w-1.5*p.unit, h-1.5*p.unit
	x0 := x1 - length*perMM
	p.line(black, r2.Vec{X: x0, Y: y}, r2.Vec{X: x1, Y: y}, 0.14*p.unit)
	for _, x := range []float64{x0, x1} {
		p.line(black, r2.Vec{X: x, Y: y - 0.35*p.unit}, r2.Vec{X: x, Y: y + 0.35*p.unit}, 0.14*p.unit)
	}
	s := mm(length) + " mm"
	tw := float64(font.MeasureString(p.letters, s)) / 64
	p.words(s, (x0+x1-tw)/2, y-0.6*p.unit)
}

// roundLength is the largest of 1, 2, 5 times a power of ten that is at most v.
func roundLength(v float64) float64 {
	base := math.Pow(10, math.Floor(math.Log10(v)))
	for _, k := range []float64{5, 2} {
		if k*base <= v {
			return k * base
		}
	}
	return base
}
