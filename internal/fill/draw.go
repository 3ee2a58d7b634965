package fill

import (
	"fmt"
	"image/color"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/sheet"
)

// The palette of Okabe and Ito (2008), told apart by people of every colour vision.
var (
	inkBlack  = color.RGBA{0, 0, 0, 255}
	inkOrange = color.RGBA{230, 159, 0, 255}
	inkSky    = color.RGBA{86, 180, 233, 255}
	inkGreen  = color.RGBA{0, 158, 115, 255}
	inkBlue   = color.RGBA{0, 114, 178, 255}
	inkRed    = color.RGBA{213, 94, 0, 255} // vermillion
	inkPurple = color.RGBA{204, 121, 167, 255}
	inkSpace  = color.RGBA{235, 235, 235, 255} // empty space
	inkMould  = color.RGBA{150, 150, 150, 255}
)

// area is the part of a sheet that a picture or chart fills: y grows upward in data, down on paper.
type area struct {
	x0, y0, x1, y1 float64 // on paper, mm; y0 at the top
	lo, hi         r2.Vec  // data
}

func (a *area) at(p r2.Vec) r2.Vec {
	return r2.Vec{X: a.x0 + (p.X-a.lo.X)/(a.hi.X-a.lo.X)*(a.x1-a.x0), Y: a.y1 - (p.Y-a.lo.Y)/(a.hi.Y-a.lo.Y)*(a.y1-a.y0)}
}

// square keeps the scales of both axes the same.
func (a *area) square() {
	sx, sy := (a.x1-a.x0)/(a.hi.X-a.lo.X), (a.y1-a.y0)/(a.hi.Y-a.lo.Y)
	if sx < sy {
		a.y0 = a.y1 - (a.hi.Y-a.lo.Y)*sx
	} else {
		a.x1 = a.x0 + (a.hi.X-a.lo.X)*sy
	}
}

const titleMM = 3.5

func page(title string) *sheet.Drawing {
	d := sheet.New(sheet.Paper{Name: "fill", WidthMM: 180, HeightMM: 130}, title)
	d.Text(sheet.Text{At: r2.Vec{X: 10, Y: 10}, Words: title, HeightMM: titleMM, Bold: true})
	return d
}

// PocketMap shows the mould from above, along gravity: the cavity's outline, where air stays, where
// resin runs in and air leaves. Pockets are numbered as in the result.
func (r *Result) PocketMap(set Setup) *sheet.Drawing {
	d := page("Trapped air, seen from above")
	f := &r.last
	c := f.cols
	a := area{x0: 10, y0: 18, x1: 170, y1: 108, lo: r2.Vec{X: c.x0 - c.pitch/2, Y: c.y0 - c.pitch/2},
		hi: r2.Vec{X: c.x0 + (float64(c.nx)-0.5)*c.pitch, Y: c.y0 + (float64(c.ny)-0.5)*c.pitch}}
	a.square()
	coarse := max(1, int(math.Ceil(float64(max(c.nx, c.ny))/mapCells)))
	for _, layer := range []struct {
		ink  color.RGBA
		pick func(r int32) bool
	}{{inkSky, func(int32) bool { return true }}, {inkRed, func(r int32) bool { return f.air[r] && c.hi[r]-float64(f.surface[r]) > c.pitch*1e-3 }}} {
		for j := 0; j < c.ny; j += coarse {
			for _, s := range c.stretches(j, coarse, layer.pick) {
				lo, hi := a.at(c.corner(s[0], j)), a.at(c.corner(s[1], j+coarse))
				hi.Y -= seamMM
				d.Fill(layer.ink, []r2.Vec{lo, {X: hi.X, Y: lo.Y}, hi, {X: lo.X, Y: hi.Y}})
			}
		}
	}
	mark := func(p r3.Vec, ink color.RGBA, words string) {
		v := c.frame.Apply(p)
		at := a.at(r2.Vec{X: v.X, Y: v.Y})
		d.Circle(sheet.Pen{WidthMM: 0.6, Colour: ink}, at, 2)
		d.Text(sheet.Text{At: r2.Vec{X: at.X + 2.6, Y: at.Y + 1}, Words: words, HeightMM: 2.5, Clear: true})
	}
	for i, p := range set.Pour {
		mark(p, inkBlack, fmt.Sprintf("pour %d", i+1))
	}
	for i, p := range set.Vents {
		mark(p, inkGreen, fmt.Sprintf("vent %d", i+1))
	}
	for i, k := range r.Pockets {
		if i == mapLabels {
			break
		}
		mark(k.Top, inkRed, fmt.Sprintf("%d: %s", i+1, amount(k.VolumeMM3)))
	}
	for i, w := range r.Words {
		d.Text(sheet.Text{At: r2.Vec{X: 10, Y: 115 + 4.5*float64(i)}, Words: w, HeightMM: 2.5})
	}
	return d
}

const (
	mapCells  = 240 // a side of the map at most
	mapLabels = 12  // pockets named on it at most
	seamMM    = 0.1 // by which strips overlap, so that no viewer shows seams between them
)

// corner is the corner of a column's square on the low side of both axes.
func (c *columns) corner(i, j int) r2.Vec {
	return r2.Vec{X: c.x0 + (float64(i)-0.5)*c.pitch, Y: c.y0 + (float64(j)-0.5)*c.pitch}
}

// stretches are the runs of columns [from, to) in a band of rows of which some run is picked.
func (c *columns) stretches(j, band int, pick func(r int32) bool) (out [][2]int) {
	open := -1
	for i := 0; ; i += band {
		on := false
		for y := j; i < c.nx && y < min(j+band, c.ny) && !on; y++ {
			for x := i; x < min(i+band, c.nx) && !on; x++ {
				k := y*c.nx + x
				for r := c.first[k]; r < c.first[k+1]; r++ {
					on = on || pick(r)
				}
			}
		}
		switch {
		case on && open < 0:
			open = i
		case !on && open >= 0:
			out = append(out, [2]int{open, min(i, c.nx)})
			open = -1
		}
		if i >= c.nx {
			return out
		}
	}
}

// line is one curve of a chart.
type line struct {
	name string
	pts  []r2.Vec
}

var (
	lineInks   = []color.RGBA{inkBlue, inkRed, inkGreen, inkPurple, inkOrange, inkSky, inkBlack}
	lineDashes = [][]float64{nil, {3, 1}, {1, 1}, {5, 1, 1, 1}}
)

// chart draws curves over two axes from zero. Curves differ by colour and dash.
func chart(title, xName, yName string, lines []line) *sheet.Drawing {
	d := page(title)
	a := area{x0: 26, y0: 18, x1: 130, y1: 112}
	a.hi = r2.Vec{X: 1e-9, Y: 1e-9}
	for _, l := range lines {
		for _, p := range l.pts {
			a.hi.X, a.hi.Y = max(a.hi.X, p.X), max(a.hi.Y, p.Y)
		}
	}
	a.hi.X, a.hi.Y = roundUp(a.hi.X), roundUp(a.hi.Y)
	a.axes(d, xName, yName)
	for i, l := range lines {
		pen := sheet.Pen{WidthMM: 0.6, Colour: lineInks[i%len(lineInks)], DashMM: lineDashes[i/len(lineInks)%len(lineDashes)]}
		var pts []r2.Vec
		for _, p := range l.pts {
			pts = append(pts, a.at(p))
		}
		d.Polyline(pen, false, pts...)
		if len(pts) < 30 {
			for _, p := range pts {
				d.Circle(sheet.Pen{WidthMM: 0.4, Colour: pen.Colour}, p, 0.8)
			}
		}
		y := 22 + 6*float64(i)
		d.Line(pen, r2.Vec{X: 134, Y: y}, r2.Vec{X: 142, Y: y})
		d.Text(sheet.Text{At: r2.Vec{X: 144, Y: y + 1}, Words: l.name, HeightMM: 2.5})
	}
	return d
}

// axes draws both axes with about five round marks each.
func (a *area) axes(d *sheet.Drawing, xName, yName string) {
	pen := sheet.Pen{WidthMM: 0.35, Colour: inkBlack}
	d.Line(pen, r2.Vec{X: a.x0, Y: a.y1}, r2.Vec{X: a.x1, Y: a.y1})
	d.Line(pen, r2.Vec{X: a.x0, Y: a.y1}, r2.Vec{X: a.x0, Y: a.y0})
	for _, v := range marks(a.lo.X, a.hi.X) {
		p := a.at(r2.Vec{X: v, Y: a.lo.Y})
		d.Line(pen, p, r2.Vec{X: p.X, Y: p.Y + 1.5})
		d.Text(sheet.Text{At: r2.Vec{X: p.X, Y: p.Y + 5.5}, Words: fmt.Sprintf("%.4g", v), Anchor: sheet.Middle})
	}
	for _, v := range marks(a.lo.Y, a.hi.Y) {
		p := a.at(r2.Vec{X: a.lo.X, Y: v})
		d.Line(pen, p, r2.Vec{X: p.X - 1.5, Y: p.Y})
		d.Text(sheet.Text{At: r2.Vec{X: p.X - 2.2, Y: p.Y + 1}, Words: fmt.Sprintf("%.4g", v), Anchor: sheet.End})
	}
	d.Text(sheet.Text{At: r2.Vec{X: (a.x0 + a.x1) / 2, Y: a.y1 + 11}, Words: xName, Anchor: sheet.Middle})
	d.Text(sheet.Text{At: r2.Vec{X: a.x0 - 14, Y: (a.y0 + a.y1) / 2}, Words: yName, Anchor: sheet.Middle, Up: true})
}

// roundUp is the next number of the form 1, 2, 2.5 or 5 times a power of ten.
func roundUp(v float64) float64 {
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 2.5, 5} {
		if m*p >= v*(1-1e-12) {
			return m * p
		}
	}
	return 10 * p
}

// marks are round numbers from lo to hi, about five.
func marks(lo, hi float64) (out []float64) {
	step := roundUp((hi - lo) / 6)
	for i := math.Ceil(lo/step - 1e-9); i*step <= hi+1e-9*step; i++ {
		out = append(out, i*step+0) // −0 becomes 0
	}
	return out
}

// CurveChart is the level against the amount poured.
func (r *Result) CurveChart() *sheet.Drawing {
	l := line{name: "highest level"}
	for _, p := range r.Curve {
		l.pts = append(l.pts, r2.Vec{X: p.PouredMM3 / 1000, Y: p.LevelMM})
	}
	return chart("Level against amount poured", "poured, mL", "level over the lowest point, mm", []line{l})
}

// Chart is a map of the trapped air over both tilts. Squares are drawn as large as the grid is wide.
func (t *TiltResult) Chart() *sheet.Drawing {
	d := page("Trapped air against tilt")
	a := area{x0: 30, y0: 18, x1: 124, y1: 112, lo: r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, hi: r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}}
	most := 0.0
	for _, p := range t.Map {
		a.lo = r2.Vec{X: min(a.lo.X, p.XDeg), Y: min(a.lo.Y, p.YDeg)}
		a.hi = r2.Vec{X: max(a.hi.X, p.XDeg), Y: max(a.hi.Y, p.YDeg)}
		most = max(most, p.BareMM3)
	}
	a.lo, a.hi = r2.Vec{X: a.lo.X - t.step.X/2, Y: a.lo.Y - t.step.Y/2}, r2.Vec{X: a.hi.X + t.step.X/2, Y: a.hi.Y + t.step.Y/2}
	onGrid := func(v, step float64) bool { return math.Abs(v/step-math.Round(v/step)) < 1e-9 }
	for _, grid := range []bool{true, false} { // what was looked at closer lies on top, smaller
		for _, p := range t.Map {
			if (onGrid(p.XDeg, t.step.X) && onGrid(p.YDeg, t.step.Y)) != grid {
				continue
			}
			half := r2.Scale(0.5, t.step)
			if !grid {
				half = r2.Scale(0.2, half)
			}
			c := r2.Vec{X: p.XDeg, Y: p.YDeg}
			lo, hi := a.at(r2.Sub(c, half)), a.at(r2.Add(c, half))
			d.Fill(shade(p.BareMM3, most), []r2.Vec{lo, {X: hi.X, Y: lo.Y}, hi, {X: lo.X, Y: hi.Y}})
		}
	}
	a.axes(d, "+x side raised, degrees", "+y side raised, degrees")
	for _, m := range []struct {
		p    TiltPoint
		name string
		ink  color.RGBA
	}{{t.Flat.TiltPoint, "flat", inkBlack}, {t.Best.TiltPoint, "best", inkGreen}} {
		at := a.at(r2.Vec{X: m.p.XDeg, Y: m.p.YDeg})
		d.Circle(sheet.Pen{WidthMM: 0.7, Colour: m.ink}, at, 2)
		d.Text(sheet.Text{At: r2.Vec{X: at.X + 2.6, Y: at.Y + 1}, Words: m.name, Clear: true})
	}
	for i := range 6 {
		v := most * float64(5-i) / 5
		y := 22 + 8*float64(i)
		d.Fill(shade(v, most), []r2.Vec{{X: 134, Y: y}, {X: 140, Y: y}, {X: 140, Y: y + 8}, {X: 134, Y: y + 8}})
		d.Text(sheet.Text{At: r2.Vec{X: 142, Y: y + 5}, Words: amount(v)})
	}
	d.Text(sheet.Text{At: r2.Vec{X: 134, Y: 78}, Words: "air without new vents"})
	return d
}

// shade runs from white to vermillion, by the square root so that small pockets show.
func shade(v, most float64) color.RGBA {
	s := 0.0
	if most > 0 {
		s = math.Sqrt(max(0, v) / most)
	}
	mix := func(c uint8) uint8 { return uint8(math.Round(255 + s*(float64(c)-255))) }
	return color.RGBA{mix(inkRed.R), mix(inkRed.G), mix(inkRed.B), 255}
}

// Chart is the trapped air against the starting angle, a curve for every hinge edge.
func (c *LidComparison) Chart() *sheet.Drawing {
	var lines []line
	var flat []r2.Vec
	for _, r := range c.Closings {
		p := r2.Vec{X: r.FromDeg, Y: r.TrappedMM3}
		if r.FromDeg == 0 {
			flat = []r2.Vec{p}
			continue
		}
		i := slices.IndexFunc(lines, func(l line) bool { return l.name == r.Hinge.Name })
		if i < 0 {
			i = len(lines)
			lines = append(lines, line{name: r.Hinge.Name, pts: slices.Clone(flat)})
		}
		lines[i].pts = append(lines[i].pts, p)
	}
	if lines == nil {
		lines = []line{{name: "flat", pts: flat}}
	}
	return chart("Air under the lid against the angle it is lowered from", "starting angle, degrees", "trapped air, mm³", lines)
}

// Chart is the trapped air and the resin run over, against the angle while the lid turns, or against
// its lift when it is put on flat.
func (r *LidResult) Chart() *sheet.Drawing {
	trapped, over := line{name: "trapped air"}, line{name: "resin run over"}
	xName := "angle of the lid, degrees"
	if r.FromDeg == 0 {
		xName = "lift of the lid, mm"
	}
	for _, s := range r.Steps {
		x := s.AngleDeg
		if r.FromDeg == 0 {
			x = s.LiftMM
		} else if s.LiftMM > 0 {
			continue
		}
		trapped.pts = append(trapped.pts, r2.Vec{X: x, Y: s.TrappedMM3})
		over.pts = append(over.pts, r2.Vec{X: x, Y: s.OverMM3})
	}
	return chart("Closing the lid", xName, "mm³", []line{trapped, over})
}
