package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// splitDegs are tried in turn, until the line does not pass over itself: a facet leaning further than this
// from upright, and open to the side that it faces, goes with that side. Nearer to upright it is a wall,
// which may go with either.
var splitDegs = []float64{15, 5, 1}

const (
	// axisCatchCost is what it costs besides when axes are compared: a catch that another axis avoids is a
	// fault of the axis.
	axisCatchCost = 1.0
	// meanShow: show faces that look less than this much one way have no front.
	meanShow = 0.3
	// axisDot snaps a direction within 2° of an axis of the part to it, so that a part modelled square
	// keeps its coordinates to the last bit.
	axisDot = 0.9994
)

// splitRule says what giving facets to a side costs, in mm of parting line: lowCatch and upCatch for each
// square millimetre, seen along the opening direction, that the side catches behind; showUp for each
// square millimetre of show face that the upper side makes.
type splitRule struct{ lowCatch, upCatch, showUp float64 }

var (
	// insertRule: a catch costs little for the silicone, which peels; five times as much for the rigid
	// core, from which the casting has to be stretched. The rigid cap should make no show face.
	insertRule = splitRule{lowCatch: 0.02, upCatch: 0.1, showUp: 1}
	// softRule is for two silicone sides, which are alike. At this cost a line that catches nothing is
	// worth the detour on a round part of 10 mm radius and more: the cut across a ball saves
	// π·r·φ² of line at latitude φ, and catches π·r²·φ².
	softRule = splitRule{lowCatch: 0.1, upCatch: 0.1}
)

// ErrSplit is the cause when no line divides the part between two sides of which one at least is soft.
var ErrSplit = errors.New("no parting line for silicone")

// direction chooses the way the upper side leaves: opposite to the way the show faces look, or the axis
// whose split costs least.
func (r splitRule) direction(ctx context.Context, part *mesh.Mesh, show []bool) (r3.Vec, error) {
	var sum r3.Vec
	area := 0.0
	for f, s := range show {
		if s {
			t := part.Facet(f)
			sum = r3.Add(sum, r3.Scale(0.5, r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))))
			area += geom.Area(t)
		}
	}
	if area > 0 && r3.Norm(sum) > meanShow*area {
		d := r3.Unit(r3.Scale(-1, sum))
		for _, a := range ownAxes(part) {
			if r3.Dot(a, d) > axisDot {
				return a, nil
			}
		}
		return d, nil
	}
	best, least := r3.Vec{}, math.Inf(1)
	var last error
	for _, a := range ownAxes(part) {
		m, _, err := place(part, a, r3.Vec{})
		if err != nil {
			return best, err
		}
		p, err := r.split(ctx, m, show)
		if err != nil {
			if ctx.Err() != nil {
				return best, ctx.Err()
			}
			last = err
			continue
		}
		if c := r.cost(p, show); c < least {
			best, least = a, c
		}
	}
	if math.IsInf(least, 1) {
		return best, fmt.Errorf("tooling: along no axis of the part: %w", last)
	}
	return best, nil
}

// split divides the part between a lower and an upper side, which leaves along +z, so that a parting surface starts at the line between them.
func (r splitRule) split(ctx context.Context, m *mesh.Mesh, show []bool) (*mouldability.Parting, error) {
	tree := geom.NewBVH(m.Verts, m.Tris)
	const margin = 5.0 // mm round the part: enough to see whether a surface starts at all
	box := m.Bounds()
	foot := r2.Box{Min: r2.Vec{X: box.Min.X - margin, Y: box.Min.Y - margin}, Max: r2.Vec{X: box.Max.X + margin, Y: box.Max.Y + margin}}
	var first error
	for _, deg := range splitDegs {
		p, err := r.at(ctx, m, tree, show, deg)
		if err == nil {
			if _, err = newSurface(ctx, p, foot); err == nil {
				return p, nil
			}
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		first = cmp.Or(first, err)
	}
	return nil, fmt.Errorf("%w: %w; try another direction", ErrSplit, first)
}

// at is the split of least cost with walls up to an angle from upright.
func (r splitRule) at(ctx context.Context, m *mesh.Mesh, tree *geom.BVH, show []bool, wallDeg float64) (*mouldability.Parting, error) {
	lean := math.Sin(wallDeg * math.Pi / 180)
	low, up := make([]float64, len(m.Tris)), make([]float64, len(m.Tris))
	some := [2]bool{}
	for f := range m.Tris {
		if f%1024 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		t := m.Facet(f)
		n := r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0]))
		l := r3.Norm(n)
		if l == 0 {
			continue
		}
		z := n.Z / l
		low[f], up[f] = r.catches(l/2, z)
		if show != nil && show[f] {
			up[f] += r.showUp * l / 2
		}
		if math.Abs(z) <= lean {
			continue
		}
		if away := (r3.Vec{Z: math.Copysign(1, z)}); tree.AnyHit(t.Centroid(), away, skinMM, math.Inf(1)) {
			continue // something of the part lies before it
		}
		if z > 0 {
			low[f], some[Upper] = math.Inf(1), true
		} else {
			up[f], some[Lower] = math.Inf(1), true
		}
	}
	if !some[Upper] || !some[Lower] {
		return nil, errors.New("no facet of the part is open upward, or none downward: is it closed?")
	}
	return mouldability.Divide(ctx, m, low, up, mouldability.PartOptions{Show: show})
}

// catches is what it costs to give a facet to the lower and to the upper side, by what that side would
// catch behind.
func (r splitRule) catches(areaMM2, z float64) (low, up float64) {
	return r.lowCatch * areaMM2 * max(0, z), r.upCatch * areaMM2 * max(0, -z)
}

// cost judges a split where axes are compared: by the sum behind the cut, and more for catches.
func (r splitRule) cost(p *mouldability.Parting, show []bool) float64 {
	c := p.LengthMM + (mouldability.DefaultShowCost-1)*p.ShowLengthMM
	for f, u := range p.Upper {
		t := p.Mesh.Facet(f)
		n := t.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		z := r3.Unit(n).Z
		low, up := r.catches(geom.Area(t), z)
		if !u {
			c += low + axisCatchCost*geom.Area(t)*max(0, z)
			continue
		}
		c += up + axisCatchCost*geom.Area(t)*max(0, -z)
		if show != nil && show[p.Source[f]] {
			c += r.showUp * geom.Area(t)
		}
	}
	return c
}
