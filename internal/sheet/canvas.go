package sheet

import (
	"context"
	"image"
	"image/color"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// canvas is the oversampled picture with the depth of each sample.
type canvas struct {
	w, h  int
	rgb   []uint8   // three a sample
	depth []float32 // towards the eye; −Inf where nothing is

	below bool // the eye is below the bodies

	ctx  context.Context // looked at every checkSamples; a facet may cover the whole picture
	work int             // samples since the last look
}

// checkSamples is how many samples are shaded between looks at the context: about 2 ms.
const checkSamples = 1 << 16

// stopped says whether to give up, after work more samples.
func (c *canvas) stopped(work int) bool {
	if c.work += work; c.work < checkSamples {
		return false
	}
	c.work = 0
	return c.ctx.Err() != nil
}

func newCanvas(ctx context.Context, w, h int) *canvas {
	c := &canvas{ctx: ctx, w: w, h: h, rgb: make([]uint8, 3*w*h), depth: make([]float32, w*h)}
	for i := range c.rgb {
		c.rgb[i] = 255
	}
	for i := range c.depth {
		c.depth[i] = float32(math.Inf(-1))
	}
	return c
}

// edgeDeg is the angle between two facets from which their edge is drawn and the shading breaks.
const edgeDeg = 30.0

// body draws a body's facets, then the edges that a person would draw: sharp ones, open ones and
// the outline against what is behind.
func (c *canvas) body(cam camera, s Shown) error {
	m := s.Mesh
	pts := make([]r3.Vec, len(m.Verts))
	for i, v := range m.Verts {
		pts[i] = cam.at(r3.Add(v, s.Offset))
	}
	normals := make([]r3.Vec, len(m.Tris))
	for i := range m.Tris {
		if n := m.Facet(i).Normal(); r3.Norm(n) > 0 {
			normals[i] = r3.Unit(n)
		}
	}
	adj := m.Adjacency()
	corner, err := smoothNormals(c.ctx, m, normals, adj)
	if err != nil {
		return err
	}
	for i, t := range m.Tris {
		if c.stopped(facetWork) {
			return c.ctx.Err()
		}
		var n [3]r3.Vec
		for k := range 3 {
			n[k] = cam.turned(corner[i][k])
		}
		colour := s.Colour
		if s.Marked != nil && s.Marked[i] {
			colour = MarkColour
		}
		c.facet([3]r3.Vec{pts[t[0]], pts[t[1]], pts[t[2]]}, n, colour)
	}
	cosEdge := math.Cos(edgeDeg * math.Pi / 180)
	for i, t := range m.Tris {
		if c.stopped(facetWork) {
			return c.ctx.Err()
		}
		for k := range 3 {
			j := adj[i][k]
			if j >= 0 {
				sharp := r3.Dot(normals[i], normals[j]) < cosEdge
				front, frontJ := r3.Dot(normals[i], cam.eye) > 0, r3.Dot(normals[j], cam.eye) > 0
				outline := front && !frontJ
				if !outline && (!sharp || int(j) < i || !front && !frontJ) {
					continue
				}
			}
			c.edge(pts[t[k]], pts[t[(k+1)%3]])
		}
	}
	return c.ctx.Err()
}

// facetWork is what a facet costs beside its samples, in samples.
const facetWork = 8

// smoothNormals gives each corner of each facet the mean normal of the facets around its vertex
// that it reaches without crossing a sharp edge, so round faces look round and edges stay crisp.
// Each facet counts by its angle at the vertex, so that the way a face is triangulated does not
// show.
func smoothNormals(ctx context.Context, m *mesh.Mesh, normals []r3.Vec, adj [][3]int32) ([][3]r3.Vec, error) {
	tris := m.Tris
	cosEdge := math.Cos(edgeDeg * math.Pi / 180)
	out := make([][3]r3.Vec, len(tris))
	const maxFan = 64 // facets around a vertex that are looked at on each side
	for i, t := range tris {
		if i%(checkEvery/8) == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		for k := range 3 {
			sum := r3.Scale(cornerAngle(m, i, k), normals[i])
			for _, side := range []int{0, 2} { // leave by the edge after the corner, and the one before it
				f, v := int32(i), t[k]
				for range maxFan {
					kk := cornerOf(tris[f], v)
					g := adj[f][(kk+side)%3]
					if g < 0 || int(g) == i || r3.Dot(normals[f], normals[g]) < cosEdge {
						break
					}
					sum = r3.Add(sum, r3.Scale(cornerAngle(m, int(g), cornerOf(tris[g], v)), normals[g]))
					f = g
				}
			}
			if r3.Norm(sum) == 0 {
				sum = normals[i]
			}
			out[i][k] = sum
		}
	}
	return out, nil
}

// cornerAngle is the angle of facet f at its corner k.
func cornerAngle(m *mesh.Mesh, f, k int) float64 {
	t := m.Facet(f)
	a, b := r3.Sub(t[(k+1)%3], t[k]), r3.Sub(t[(k+2)%3], t[k])
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b))
}

func cornerOf(t [3]uint32, v uint32) int {
	switch v {
	case t[0]:
		return 0
	case t[1]:
		return 1
	}
	return 2
}

// facet fills one facet with its depth and shade.
func (c *canvas) facet(p, n [3]r3.Vec, col color.RGBA) {
	area := (p[1].X-p[0].X)*(p[2].Y-p[0].Y) - (p[2].X-p[0].X)*(p[1].Y-p[0].Y)
	if area == 0 || math.IsNaN(area) {
		return
	}
	y0, y1 := c.span(c.h, p[0].Y, p[1].Y, p[2].Y)
	for y := y0; y <= y1; y++ {
		py := float64(y) + 0.5
		x0, x1 := c.rowSpan(p, py)
		if c.stopped(x1 - x0 + 1) {
			return // body sees it too
		}
		for x := x0; x <= x1; x++ {
			px := float64(x) + 0.5
			a := ((p[1].X-px)*(p[2].Y-py) - (p[2].X-px)*(p[1].Y-py)) / area
			b := ((p[2].X-px)*(p[0].Y-py) - (p[0].X-px)*(p[2].Y-py)) / area
			g := 1 - a - b
			if a < 0 || b < 0 || g < 0 {
				continue
			}
			z := float32(a*p[0].Z + b*p[1].Z + g*p[2].Z)
			i := y*c.w + x
			if z <= c.depth[i] {
				continue
			}
			c.depth[i] = z
			shade := light(r3.Add(r3.Add(r3.Scale(a, n[0]), r3.Scale(b, n[1])), r3.Scale(g, n[2])), c.below)
			c.rgb[3*i], c.rgb[3*i+1], c.rgb[3*i+2] = lit(col.R, shade), lit(col.G, shade), lit(col.B, shade)
		}
	}
}

// rowSpan is the samples of a row that a facet can reach: what lies between its edges there, and
// one more on each side, so that the exact test decides. A long thin facet would otherwise cost its
// whole box.
func (c *canvas) rowSpan(p [3]r3.Vec, py float64) (int, int) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for k := range 3 {
		a, b := p[k], p[(k+1)%3]
		if (a.Y < py) == (b.Y < py) {
			continue
		}
		x := a.X + (py-a.Y)/(b.Y-a.Y)*(b.X-a.X)
		lo, hi = min(lo, x), max(hi, x)
	}
	if lo > hi {
		return 0, -1
	}
	return c.span(c.w, lo-1, hi+1, lo)
}

func (c *canvas) span(size int, a, b, d float64) (lo, hi int) {
	return max(0, int(math.Floor(min(a, b, d)))), min(size-1, int(math.Ceil(max(a, b, d))))
}

// keyLight and fillLight stand left above and right below the eye, in camera axes. Seen from below,
// the picture is lit from below, so that the face towards the eye is never the dark one.
var (
	keyLight  = r3.Unit(r3.Vec{X: -0.45, Y: 0.75, Z: 0.9})
	fillLight = r3.Unit(r3.Vec{X: 0.8, Y: -0.1, Z: 0.5})
)

// light is how bright a face with normal n (camera axes) is, about 0.35 to 1.1; below mirrors the
// lights. A face seen from behind, as in an open mesh, is lit like its front but darker.
func light(n r3.Vec, below bool) float64 {
	if below {
		n.Y = -n.Y
	}
	if l := math.Sqrt(r3.Norm2(n)); l > 0 { // plain root: unit normals need no care for overflow
		n = r3.Scale(1/l, n)
	}
	dim := 1.0
	if n.Z < 0 {
		n, dim = r3.Scale(-1, n), 0.7
	}
	return dim * (0.38 + 0.58*max(0, r3.Dot(n, keyLight)) + 0.2*max(0, r3.Dot(n, fillLight)))
}

func lit(v uint8, shade float64) uint8 { return uint8(min(255, float64(v)*shade+0.5)) }

const (
	edgeHalf = 1.7 // half the width of a drawn edge, in samples
	// edgeLift brings an edge in front of its own facets, in samples of depth.
	edgeLift = 3.0
)

// edge draws a line of the body where nothing is in front of it.
func (c *canvas) edge(a, b r3.Vec) {
	d := r3.Sub(b, a)
	steps := int(math.Ceil(max(math.Abs(d.X), math.Abs(d.Y))))
	if steps > 4*(c.w+c.h) {
		return
	}
	for s := 0; s <= steps; s++ {
		p := r3.Add(a, r3.Scale(float64(s)/float64(max(steps, 1)), d))
		x0, x1 := c.span(c.w, p.X-edgeHalf, p.X+edgeHalf, p.X)
		y0, y1 := c.span(c.h, p.Y-edgeHalf, p.Y+edgeHalf, p.Y)
		for y := y0; y <= y1; y++ {
			for x := x0; x <= x1; x++ {
				dx, dy := float64(x)+0.5-p.X, float64(y)+0.5-p.Y
				if i := y*c.w + x; dx*dx+dy*dy <= edgeHalf*edgeHalf && float32(p.Z+edgeLift) >= c.depth[i] {
					c.rgb[3*i], c.rgb[3*i+1], c.rgb[3*i+2] = 25, 25, 25
					// The edge keeps its body's depth, so that a body drawn later and nearer hides it.
					c.depth[i] = max(c.depth[i], float32(p.Z))
				}
			}
		}
	}
}

// shrink averages n × n samples to a pixel.
func (c *canvas) shrink(n int) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, c.w/n, c.h/n))
	for y := range c.h / n {
		for x := range c.w / n {
			var sum [3]int
			for sy := range n {
				for sx := range n {
					i := 3 * ((y*n+sy)*c.w + x*n + sx)
					for k := range 3 {
						sum[k] += int(c.rgb[i+k])
					}
				}
			}
			o := img.PixOffset(x, y)
			for k := range 3 {
				img.Pix[o+k] = uint8((sum[k] + n*n/2) / (n * n))
			}
			img.Pix[o+3] = 255
		}
	}
	return img
}
