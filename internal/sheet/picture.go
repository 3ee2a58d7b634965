package sheet

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Shown is one body of a picture. A zero Colour takes the next of Palette.
type Shown struct {
	Name   string
	Mesh   *mesh.Mesh
	Offset r3.Vec // mm, added to every vertex: where an exploded view puts it
	Colour color.RGBA
	// Marked facets are shown in MarkColour, as the undercuts of a part; nil for none. MarkedName
	// stands beside that colour in the legend.
	Marked     []bool
	MarkedName string
}

// MarkColour is vermilion of the same palette, which no body takes by itself before the sixth.
var MarkColour = Palette[5]

// View is how a picture is taken; the zero value is a 3/4 view from the front right and above,
// 1200 × 900 pixels. The projection is parallel, so the scale bar holds everywhere.
type View struct {
	AzimuthDeg   float64 // of the eye about z, from +x towards +y; 0 with ElevationDeg 0 means the default
	ElevationDeg float64 // of the eye above the xy plane, −90 to 90
	WidthPx      int     // 0: 1200
	HeightPx     int     // 0: 900
	Plain        bool    // no legend, scale bar or axis mark
}

// Palette is the colour-blind-safe palette of Okabe and Ito (2008), in the order pictures use it;
// yellow and black are left out, as shading would drown them.
var Palette = []color.RGBA{
	{86, 180, 233, 255},  // sky blue
	{230, 159, 0, 255},   // orange
	{0, 158, 115, 255},   // bluish green
	{204, 121, 167, 255}, // reddish purple
	{0, 114, 178, 255},   // blue
	{213, 94, 0, 255},    // vermilion
}

const (
	defaultAzimuthDeg   = -55.0
	defaultElevationDeg = 28.0
	// maxPicturePx bounds a side of a picture: with supersampling the buffers of a square of this
	// side take about 1.1 GB.
	maxPicturePx = 4096
	// oversample: each pixel is the mean of this many squared samples.
	oversample = 3
)

// Picture renders the bodies with depth, shading and drawn edges. Bodies need not be closed. It
// fails when there is nothing finite to show.
func Picture(ctx context.Context, shown []Shown, v View) (image.Image, error) {
	v, err := v.withDefaults()
	if err != nil {
		return nil, err
	}
	cam, err := aim(shown, v)
	if err != nil {
		return nil, err
	}
	c := newCanvas(ctx, v.WidthPx*oversample, v.HeightPx*oversample)
	c.below = v.ElevationDeg < 0
	for i, s := range shown {
		if s.Marked != nil && len(s.Marked) != len(s.Mesh.Tris) {
			return nil, fmt.Errorf("picture: %d marks for the %d facets of %s", len(s.Marked), len(s.Mesh.Tris), s.Name)
		}
		if s.Colour == (color.RGBA{}) {
			s.Colour = Palette[i%len(Palette)]
		}
		if err := c.body(cam, s); err != nil {
			return nil, err
		}
	}
	img := c.shrink(oversample)
	if !v.Plain {
		annotate(img, cam, shown)
	}
	return img, nil
}

func (v View) withDefaults() (View, error) {
	if v.AzimuthDeg == 0 && v.ElevationDeg == 0 {
		v.AzimuthDeg, v.ElevationDeg = defaultAzimuthDeg, defaultElevationDeg
	}
	if v.WidthPx == 0 {
		v.WidthPx = 1200
	}
	if v.HeightPx == 0 {
		v.HeightPx = 900
	}
	if v.WidthPx < 16 || v.HeightPx < 16 || v.WidthPx > maxPicturePx || v.HeightPx > maxPicturePx {
		return v, fmt.Errorf("picture of %d × %d pixels: each side must be from 16 to %d", v.WidthPx, v.HeightPx, maxPicturePx)
	}
	if !(math.Abs(v.ElevationDeg) <= 90) || math.IsNaN(v.AzimuthDeg) || math.IsInf(v.AzimuthDeg, 0) {
		return v, fmt.Errorf("picture: the view from azimuth %g°, elevation %g° is not possible", v.AzimuthDeg, v.ElevationDeg)
	}
	return v, nil
}

// camera turns world mm into samples: x right, y down, z towards the eye.
type camera struct {
	right, up, eye r3.Vec  // unit axes
	perMM          float64 // samples to the mm
	cx, cy         float64 // samples of world point centre
	centre         r3.Vec
}

func (c camera) at(p r3.Vec) r3.Vec {
	d := r3.Sub(p, c.centre)
	return r3.Vec{X: c.cx + c.perMM*r3.Dot(c.right, d), Y: c.cy - c.perMM*r3.Dot(c.up, d), Z: c.perMM * r3.Dot(c.eye, d)}
}

// turned is a direction in the camera's axes.
func (c camera) turned(d r3.Vec) r3.Vec {
	return r3.Vec{X: r3.Dot(c.right, d), Y: r3.Dot(c.up, d), Z: r3.Dot(c.eye, d)}
}

// Part of the picture, as a fraction of its width or height, that the bodies may fill; the rest is
// for the legend above and the scale bar below.
const (
	fillWidth  = 0.90
	fillHeight = 0.80
)

// aim points the camera at the middle of what is shown and scales it to fit.
func aim(shown []Shown, v View) (camera, error) {
	sa, ca := math.Sincos(v.AzimuthDeg * math.Pi / 180)
	se, ce := math.Sincos(v.ElevationDeg * math.Pi / 180)
	c := camera{
		eye:   r3.Vec{X: ce * ca, Y: ce * sa, Z: se},
		right: r3.Vec{X: -sa, Y: ca},
		up:    r3.Vec{X: -se * ca, Y: -se * sa, Z: ce},
		cx:    float64(v.WidthPx*oversample) / 2, cy: float64(v.HeightPx*oversample) / 2,
	}
	lo := r3.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}
	hi := r3.Scale(-1, lo)
	for _, s := range shown {
		for f, t := range s.Mesh.Tris {
			for _, i := range t {
				if int(i) >= len(s.Mesh.Verts) {
					return c, fmt.Errorf("picture: facet %d of %s uses vertex %d of %d", f, s.Name, i, len(s.Mesh.Verts))
				}
				p := c.turned(r3.Add(s.Mesh.Verts[i], s.Offset))
				if !finite(p) {
					return c, fmt.Errorf("picture: a vertex of %s is not finite", s.Name)
				}
				lo = r3.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y), Z: min(lo.Z, p.Z)}
				hi = r3.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y), Z: max(hi.Z, p.Z)}
			}
		}
	}
	if lo.X > hi.X {
		return c, errors.New("picture: nothing to show")
	}
	m := r3.Scale(0.5, r3.Add(lo, hi))
	c.centre = r3.Add(r3.Add(r3.Scale(m.X, c.right), r3.Scale(m.Y, c.up)), r3.Scale(m.Z, c.eye))
	w, h := max(hi.X-lo.X, 1e-9), max(hi.Y-lo.Y, 1e-9)
	c.perMM = min(2*c.cx*fillWidth/w, 2*c.cy*fillHeight/h)
	return c, nil
}

func finite(p r3.Vec) bool {
	s := p.X + p.Y + p.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}
