package material

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Weighted is a closed body of one density.
type Weighted struct {
	Name          string
	Mesh          *mesh.Mesh
	DensityGPerML float64 // negative for a hollow inside another body
}

// Balance is the mass and balance of bodies together.
type Balance struct {
	MassG float64 `json:"mass_g"`
	At    r3.Vec  `json:"at_mm"` // centre of gravity
}

// CentreOfGravity is the exact integral over the bodies' tetrahedra with the origin of the first body's
// box: mass Σ ρ·v, centre Σ ρ·v·(a+b+c+o)/4 / mass, where v = (a−o)·((b−o)×(c−o))/6.
func CentreOfGravity(bodies ...Weighted) (Balance, error) {
	if len(bodies) == 0 {
		return Balance{}, errors.New("no bodies to weigh")
	}
	var b Balance
	var moment r3.Vec
	o := bodies[0].Mesh.Bounds().Min
	for _, w := range bodies {
		if math.IsNaN(w.DensityGPerML) || math.Abs(w.DensityGPerML) > 25 || w.DensityGPerML == 0 {
			return Balance{}, fmt.Errorf("%s has a density of %g g/mL; give one from 0.01 to 25 (less than 0 for a hollow)", w.Name, w.DensityGPerML)
		}
		for i := range w.Mesh.Tris {
			t := w.Mesh.Facet(i)
			p, q, r := r3.Sub(t[0], o), r3.Sub(t[1], o), r3.Sub(t[2], o)
			g := w.DensityGPerML * r3.Dot(p, r3.Cross(q, r)) / 6 / 1000
			b.MassG += g
			moment = r3.Add(moment, r3.Scale(g/4, r3.Add(p, r3.Add(q, r))))
		}
	}
	if !(b.MassG > 0) {
		return Balance{}, fmt.Errorf("the bodies weigh %g g; is a surface inside out, or a hollow larger than what holds it?", b.MassG)
	}
	b.At = r3.Add(o, r3.Scale(1/b.MassG, moment))
	return b, nil
}

// Stand is how a body stands on its lowest points, z up.
type Stand struct {
	TipDeg   float64  `json:"tip_deg"` // tilted this far towards its weakest side, it tips over
	TowardsX float64  `json:"towards_x"`
	TowardsY float64  `json:"towards_y"`
	HeightMM float64  `json:"height_mm"` // of the centre of gravity over the ground
	Foot     []r2.Vec `json:"foot_mm"`   // the convex hull of what touches the ground
}

// footMM is how far above the lowest point a vertex still stands on the ground: a printer's and a
// sander's flatness.
const footMM = 0.05

// TipAngle is the angle by which a body on level ground can be tilted before its centre of gravity is
// over an edge of its foot: the least of atan(distance to the edge / height).
func TipAngle(m *mesh.Mesh, centre r3.Vec) (Stand, error) {
	low := m.Bounds().Min.Z
	var pts []r2.Vec
	for _, v := range m.Verts {
		if v.Z <= low+footMM {
			pts = append(pts, r2.Vec{X: v.X, Y: v.Y})
		}
	}
	s := Stand{Foot: geom.ConvexHull(pts), HeightMM: centre.Z - low, TipDeg: 90}
	if len(s.Foot) < 3 {
		return s, fmt.Errorf("it stands on %d points, not on a face; turn it so that a face is down", len(s.Foot))
	}
	if !(s.HeightMM > 0) {
		return s, fmt.Errorf("the centre of gravity is %g mm above the ground; it must be above 0", s.HeightMM)
	}
	for i, a := range s.Foot {
		b := s.Foot[(i+1)%len(s.Foot)]
		e := r2.Unit(r2.Sub(b, a))
		inside := r2.Cross(e, r2.Sub(r2.Vec{X: centre.X, Y: centre.Y}, a))
		if deg := math.Atan2(inside, s.HeightMM) * 180 / math.Pi; deg < s.TipDeg {
			s.TipDeg, s.TowardsX, s.TowardsY = deg, e.Y, -e.X
		}
	}
	return s, nil
}
