package fill

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Frame is the state of a fill at one moment, for pictures: the columns with the resin's height in
// each.
type Frame struct {
	PouredMM3 float64
	FloorMM   float64 // lowest point of the cavity in the frame
	cols      *columns
	surface   []float32
	air       []bool // the run's air is cut off
}

func newFrame(s *sweep, floor float64) Frame {
	f := Frame{PouredMM3: s.poured, FloorMM: floor, cols: s.columns, surface: make([]float32, len(s.lo)), air: make([]bool, len(s.lo))}
	for r := range s.lo {
		f.surface[r] = float32(s.surface(int32(r)))
		f.air[r] = s.state[r] == frozen
	}
	return f
}

// FilledMM3 is the resin in the columns of the frame.
func (f *Frame) FilledMM3() float64 {
	v := 0.0
	for r, z := range f.surface {
		v += float64(z) - f.cols.lo[r]
	}
	return v * f.cols.pitch * f.cols.pitch
}

// Bar is one upright bar of a section: over an interval across, from the floor to the resin's surface
// and on to the ceiling. Coordinates are those of the gravity frame, with z from the cavity's lowest
// point.
type Bar struct {
	FromMM, ToMM                  float64 // across
	FloorMM, SurfaceMM, CeilingMM float64
	Trapped                       bool // the air above the resin is cut off
}

// Section is the frame cut upright through a point: along the frame's y axis when alongY, else along
// x.
func (f *Frame) Section(through r3.Vec, alongY bool) (out []Bar) {
	c := f.cols
	i0, j0 := c.cell(c.frame.Apply(through).X, c.frame.Apply(through).Y)
	n := c.nx
	if alongY {
		n = c.ny
	}
	for q := range n {
		k, at := j0*c.nx+q, c.x0+float64(q)*c.pitch
		if alongY {
			k, at = q*c.nx+i0, c.y0+float64(q)*c.pitch
		}
		for r := c.first[k]; r < c.first[k+1]; r++ {
			out = append(out, Bar{at - c.pitch/2, at + c.pitch/2, c.lo[r] - f.FloorMM, float64(f.surface[r]) - f.FloorMM, c.hi[r] - f.FloorMM, f.air[r]})
		}
	}
	return out
}

const (
	frameMarginPx = 12
	maxFramePx    = 8192
)

// Picture draws a section as an image of the given width, up the page against gravity: mould grey,
// resin blue, free space light, trapped air red.
func (f *Frame) Picture(through r3.Vec, alongY bool, widthPx int) (*image.RGBA, error) {
	if widthPx < 4*frameMarginPx || widthPx > maxFramePx {
		return nil, &OptionError{"the width of a picture in pixels", float64(widthPx), fmt.Sprintf("from %d to %d", 4*frameMarginPx, maxFramePx)}
	}
	bars := f.Section(through, alongY)
	c := f.cols
	lo, n := c.x0-c.pitch/2, c.nx
	if alongY {
		lo, n = c.y0-c.pitch/2, c.ny
	}
	wide := float64(n) * c.pitch
	tall := 0.0
	for r := range c.hi {
		tall = max(tall, c.hi[r]-f.FloorMM)
	}
	scale := float64(widthPx-2*frameMarginPx) / wide
	heightPx := min(maxFramePx, int(math.Ceil(tall*scale))+2*frameMarginPx)
	img := image.NewRGBA(image.Rect(0, 0, widthPx, heightPx))
	paint := func(x0, x1, z0, z1 float64, ink color.RGBA) {
		left, right := int(math.Round(x0)), int(math.Round(x1))
		low, high := heightPx-frameMarginPx-int(math.Round(z0*scale)), heightPx-frameMarginPx-int(math.Round(z1*scale))
		for y := max(0, high); y < min(heightPx, low); y++ {
			for x := max(0, left); x < min(widthPx, right); x++ {
				img.SetRGBA(x, y, ink)
			}
		}
	}
	for i := range img.Pix {
		img.Pix[i] = [4]uint8{inkMould.R, inkMould.G, inkMould.B, inkMould.A}[i%4]
	}
	for _, b := range bars {
		x0, x1 := frameMarginPx+(b.FromMM-lo)*scale, frameMarginPx+(b.ToMM-lo)*scale
		empty := inkSpace
		if b.Trapped {
			empty = inkRed
		}
		paint(x0, x1, b.FloorMM, b.CeilingMM, empty)
		paint(x0, x1, b.FloorMM, b.SurfaceMM, inkBlue)
	}
	return img, nil
}

// WritePNG writes the picture of a section.
func (f *Frame) WritePNG(w io.Writer, through r3.Vec, alongY bool, widthPx int) error {
	img, err := f.Picture(through, alongY, widthPx)
	if err != nil {
		return err
	}
	if err := png.Encode(w, img); err != nil {
		return fmt.Errorf("write the picture of a fill: %w", err)
	}
	return nil
}
