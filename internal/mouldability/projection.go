package mouldability

import (
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Reach says how a facet leaves the mould.
type Reach uint8

const (
	Wall   Reach = iota // zero draft: slides along either half
	Up                  // leaves along +d
	Down                // leaves along −d
	Caught              // part of it is caught: it faces one way and the part is in that way
)

func (r Reach) String() string {
	return [...]string{"wall", "up", "down", "undercut"}[r]
}

// ErrDirection says that an opening direction is zero or not finite.
var ErrDirection = errors.New("mouldability: the opening direction must be a finite vector that is not zero")

// ErrEmpty says that a mesh has no facet with an area.
var ErrEmpty = errors.New("mouldability: the mesh has no facet with an area")

// projection is a mesh seen along an opening direction: vertices in a frame whose z is the
// direction and whose origin is the middle of the part, so that small differences keep their digits.
type projection struct {
	m      *mesh.Mesh
	frame  geom.Frame
	centre r3.Vec
	verts  []r3.Vec
	nz     []float64 // n·d, 0 for a facet without area
	area   []float64 // mm²
	facing []Reach   // Up, Down or Wall by normal alone
	noise  float64   // mm that coordinates are trusted to
}

func unitDirection(d r3.Vec) (r3.Vec, error) {
	n := r3.Norm(d)
	if n == 0 || math.IsNaN(n) || math.IsInf(n, 0) {
		return r3.Vec{}, fmt.Errorf("%w: got (%g, %g, %g)", ErrDirection, d.X, d.Y, d.Z)
	}
	if n == 1 { // keep exact axes exact
		return d, nil
	}
	return r3.Scale(1/n, d), nil
}

// checkMesh refuses what would make every later figure meaningless, naming the first offender.
func checkMesh(m *mesh.Mesh) error {
	if m == nil || len(m.Tris) == 0 {
		return ErrEmpty
	}
	for f, t := range m.Tris {
		for _, i := range t {
			if int(i) >= len(m.Verts) {
				return fmt.Errorf("mouldability: facet %d names vertex %d of %d", f, i, len(m.Verts))
			}
			v := m.Verts[i]
			if s := v.X + v.Y + v.Z; math.IsNaN(s) || math.IsInf(s, 0) {
				return fmt.Errorf("mouldability: facet %d has a vertex that is not finite (%g, %g, %g); inspect the file", f, v.X, v.Y, v.Z)
			}
		}
	}
	return nil
}

func newProjection(m *mesh.Mesh, d r3.Vec) (*projection, error) {
	b := m.Bounds()
	p := &projection{
		m:      m,
		frame:  geom.FrameTo(d),
		centre: r3.Scale(0.5, r3.Add(b.Min, b.Max)),
		verts:  make([]r3.Vec, len(m.Verts)),
		nz:     make([]float64, len(m.Tris)),
		area:   make([]float64, len(m.Tris)),
		facing: make([]Reach, len(m.Tris)),
		noise:  noiseRel * r3.Norm(r3.Sub(b.Max, b.Min)),
	}
	if p.noise == 0 {
		return nil, ErrEmpty
	}
	for i, v := range m.Verts {
		p.verts[i] = p.frame.Apply(r3.Sub(v, p.centre))
	}
	total := 0.0
	for f := range m.Tris {
		a, b, c := p.facet(f)
		n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
		l := r3.Norm(n)
		p.area[f] = l / 2
		total += l
		if l == 0 {
			continue
		}
		p.nz[f] = n.Z / l
		p.facing[f] = facingOf(p.nz[f], lateralWidth(a, b, c))
	}
	if total == 0 {
		return nil, ErrEmpty
	}
	return p, nil
}

// facingOf is the class of a facet by its normal and by its width in the projection.
func facingOf(nz, width float64) Reach {
	if math.Abs(nz) < sinZeroDraft && width < WallWidthMM {
		return Wall
	}
	if nz > 0 {
		return Up
	}
	if nz < 0 {
		return Down
	}
	return Wall
}

var sinZeroDraft = math.Sin(ZeroDraftDeg * math.Pi / 180)

// lateralWidth is the least width in mm of a triangle's projection: how far it leans sideways.
func lateralWidth(a, b, c r3.Vec) float64 {
	p, q, r := xy(a), xy(b), xy(c)
	l := max(r2.Norm2(r2.Sub(q, p)), r2.Norm2(r2.Sub(r, q)), r2.Norm2(r2.Sub(p, r)))
	if l == 0 {
		return 0
	}
	return math.Abs(r2.Cross(r2.Sub(q, p), r2.Sub(r, p))) / math.Sqrt(l)
}

// facet returns the corners of facet f in the frame.
func (p *projection) facet(f int) (a, b, c r3.Vec) {
	t := p.m.Tris[f]
	return p.verts[t[0]], p.verts[t[1]], p.verts[t[2]]
}

// world takes a point of the frame back to the part's own coordinates.
func (p *projection) world(v r3.Vec) r3.Vec { return r3.Add(p.frame.Inverse(v), p.centre) }

// plane is the height z = C + X·x + Y·y over the projection.
type plane struct{ X, Y, C float64 }

func (q plane) at(v r2.Vec) float64 { return q.C + q.X*v.X + q.Y*v.Y }

// planeOf is the height of facet f above the projection; only for facets that are not walls. The
// origin is put at its first corner: near walls the slopes are steep and digits would drown.
func (p *projection) planeOf(f int, origin r2.Vec) plane {
	a, b, c := p.facet(f)
	n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
	x, y := -n.X/n.Z, -n.Y/n.Z
	return plane{X: x, Y: y, C: a.Z + x*(origin.X-a.X) + y*(origin.Y-a.Y)}
}

func xy(v r3.Vec) r2.Vec { return r2.Vec{X: v.X, Y: v.Y} }
