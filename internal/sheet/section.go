package sheet

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Plane is a cutting plane through Origin with unit axes U (to the right on paper) and V (up on
// paper). It is seen from the side that U×V points to.
type Plane struct{ Origin, U, V r3.Vec }

// normal points from the plane to the viewer.
func (p Plane) normal() r3.Vec { return r3.Cross(p.U, p.V) }

// flat is a point's place on the plane.
func (p Plane) flat(v r3.Vec) r2.Vec {
	d := r3.Sub(v, p.Origin)
	return r2.Vec{X: r3.Dot(p.U, d), Y: r3.Dot(p.V, d)}
}

// frameTolerance bounds how far the axes of a Plane may be from unit length and a right angle; they
// come out of rotations, whose rounding is far smaller.
const frameTolerance = 1e-9

func (p Plane) check() error {
	if !(math.Abs(r3.Norm(p.U)-1) < frameTolerance && math.Abs(r3.Norm(p.V)-1) < frameTolerance && math.Abs(r3.Dot(p.U, p.V)) < frameTolerance) {
		return fmt.Errorf("section plane: axes %v and %v are not unit vectors at a right angle", p.U, p.V)
	}
	return nil
}

// OpenError says that a mesh has a hole where the plane cuts it, so its section does not close.
type OpenError struct{ A, B r3.Vec } // ends, mm, of an edge that lacks a facet

func (e *OpenError) Error() string {
	return fmt.Sprintf("the section does not close: no facet, or too many, at the edge from (%.4g, %.4g, %.4g) to (%.4g, %.4g, %.4g) mm; mend the mesh there",
		e.A.X, e.A.Y, e.A.Z, e.B.X, e.B.Y, e.B.Z)
}

// Section cuts a closed mesh and gives its loops on the plane in mm: outer loops counter-clockwise
// and holes clockwise as the viewer sees them. A vertex that lies on the plane counts as just on
// the viewer's side, so every facet is either crossed in two of its edges or not at all, and loops
// close by following edges, with no matching of near points. Coincident vertices need not be
// welded. The error of a mesh that is open along the cut is an *OpenError.
func Section(ctx context.Context, m *mesh.Mesh, p Plane) ([][]r2.Vec, error) {
	if err := p.check(); err != nil {
		return nil, err
	}
	c, err := cut(ctx, m, p)
	if err != nil {
		return nil, err
	}
	return c.loops(p)
}

// crossed is an edge that the plane crosses, its ends in a fixed order so that the two facets at it
// compute the same point and find each other.
type crossed struct{ lo, hi r3.Vec }

func crossedEdge(a, b r3.Vec) crossed {
	if before(b, a) {
		a, b = b, a
	}
	return crossed{a, b}
}

func before(a, b r3.Vec) bool {
	if a.X != b.X {
		return a.X < b.X
	}
	if a.Y != b.Y {
		return a.Y < b.Y
	}
	return a.Z < b.Z
}

// cutting is the crossed facets, each a directed step from one crossed edge to another with the
// solid on its left.
type cutting struct {
	from, to []crossed
	start    map[crossed][]int32 // steps that start at an edge, not yet taken
}

// checkEvery is how many facets are handled between looks at the context: well under 1 ms.
const checkEvery = 1 << 13

// onPlaneRel, of the distance to the farthest vertex, is how near a vertex counts as on the plane. The
// rounding of a height is a few 1e-16 of that distance, and of a plane's own axes as much again;
// without the margin, noise would scatter the vertices of a face that lies on the plane over both
// sides of it.
const onPlaneRel = 1e-12

func cut(ctx context.Context, m *mesh.Mesh, p Plane) (*cutting, error) {
	n := p.normal()
	height := make([]float64, len(m.Verts))
	var far float64
	for i, v := range m.Verts {
		d := r3.Sub(v, p.Origin)
		height[i] = r3.Dot(n, d)
		if !mesh.Finite(d) || !mesh.Finite(r3.Vec{X: height[i]}) {
			return nil, fmt.Errorf("vertex %d is not finite: %v", i, v)
		}
		far = max(far, math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z))
	}
	side := make([]bool, len(m.Verts)) // on the viewer's side
	for i, h := range height {
		side[i] = h >= -onPlaneRel*far
	}
	c := &cutting{start: map[crossed][]int32{}}
	for f, t := range m.Tris {
		if f%checkEvery == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		if max(t[0], t[1], t[2]) >= uint32(len(side)) {
			return nil, fmt.Errorf("facet %d uses vertex %d of %d", f, max(t[0], t[1], t[2]), len(side))
		}
		if side[t[0]] == side[t[1]] && side[t[1]] == side[t[2]] {
			continue
		}
		var down, up crossed
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if side[a] && !side[b] {
				down = crossedEdge(m.Verts[a], m.Verts[b])
			} else if !side[a] && side[b] {
				up = crossedEdge(m.Verts[a], m.Verts[b])
			}
		}
		if down == up { // a facet folded onto itself has no width
			continue
		}
		c.start[down] = append(c.start[down], int32(len(c.from)))
		c.from, c.to = append(c.from, down), append(c.to, up)
	}
	return c, nil
}

// loops follows the steps until each has been taken once.
func (c *cutting) loops(p Plane) ([][]r2.Vec, error) {
	taken := make([]bool, len(c.from))
	var out [][]r2.Vec
	for first := range c.from {
		if taken[first] {
			continue
		}
		var loop []r2.Vec
		for s := int32(first); ; {
			taken[s] = true
			if q := p.flat(p.cross(c.from[s])); len(loop) == 0 || q != loop[len(loop)-1] {
				loop = append(loop, q)
			}
			end := c.to[s]
			if end == c.from[first] {
				break
			}
			next := int32(-1)
			for _, i := range c.start[end] {
				if !taken[i] {
					next = i
					break
				}
			}
			if next < 0 {
				return nil, &OpenError{end.lo, end.hi}
			}
			s = next
		}
		for len(loop) > 1 && loop[0] == loop[len(loop)-1] {
			loop = loop[:len(loop)-1]
		}
		if len(loop) >= 3 {
			out = append(out, loop)
		}
	}
	return out, nil
}

// cross is where the plane meets an edge that it crosses.
func (p Plane) cross(e crossed) r3.Vec {
	n := p.normal()
	a, b := r3.Dot(n, r3.Sub(e.lo, p.Origin)), r3.Dot(n, r3.Sub(e.hi, p.Origin))
	t := min(1, max(0, a/(a-b))) // an end that counts as on the plane may lie past it by noise
	return r3.Add(e.lo, r3.Scale(t, r3.Sub(e.hi, e.lo)))
}

// areaMM2 is the signed area of a loop, counter-clockwise positive.
func areaMM2(loop []r2.Vec) float64 {
	var s float64
	for i, a := range loop {
		b := loop[(i+1)%len(loop)]
		s += r2.Cross(r2.Sub(a, loop[0]), r2.Sub(b, loop[0]))
	}
	return s / 2
}
