package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Frame is a right-handed orthonormal frame: its fields are the rows of a rotation matrix, so X, Y
// and Z are the world directions that Apply takes to +x, +y and +z.
type Frame struct{ X, Y, Z r3.Vec }

// FrameTo returns a rotation that takes the direction d to +z. The direction is normalised; the zero
// vector has no direction and gives NaN.
//
// For d along ±x, ±y or ±z every entry of the rotation is exactly 0, 1 or −1: coordinates are
// permuted and negated, never rounded, so a part modelled square to its axes stays so to the last
// bit. For other d the entries are those of Duff et al., "Building an Orthonormal Basis, Revisited"
// (2017), smooth in d but for the seam at d.Z = 0, which a continuous field of frames on the sphere
// cannot avoid.
func FrameTo(d r3.Vec) Frame {
	n := r3.Unit(d)
	n = r3.Vec{X: n.X + 0, Y: n.Y + 0, Z: n.Z + 0} // −0 becomes 0: both must give the same frame
	s := math.Copysign(1, n.Z)
	a := -1 / (s + n.Z)
	b := float64(float64(n.X*n.Y) * a)
	return Frame{
		X: r3.Vec{X: 1 + float64(s*float64(float64(n.X*n.X)*a)), Y: s*b + 0, Z: -s*n.X + 0},
		Y: r3.Vec{X: b + 0, Y: s + float64(float64(n.Y*n.Y)*a), Z: -n.Y + 0},
		Z: n,
	}
}

// Apply takes a world vector into the frame.
func (f Frame) Apply(v r3.Vec) r3.Vec {
	return r3.Vec{X: dot(f.X, v), Y: dot(f.Y, v), Z: dot(f.Z, v)}
}

// Inverse takes a vector in the frame back to the world: the transpose of Apply.
func (f Frame) Inverse(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: float64(f.X.X*v.X) + float64(f.Y.X*v.Y) + float64(f.Z.X*v.Z),
		Y: float64(f.X.Y*v.X) + float64(f.Y.Y*v.Y) + float64(f.Z.Y*v.Z),
		Z: float64(f.X.Z*v.X) + float64(f.Y.Z*v.Y) + float64(f.Z.Z*v.Z),
	}
}

// dot is r3.Dot with every product rounded, so that no processor fuses it into another result.
func dot(a, b r3.Vec) float64 {
	return float64(a.X*b.X) + float64(a.Y*b.Y) + float64(a.Z*b.Z)
}

func cross(a, b r3.Vec) r3.Vec {
	return r3.Vec{
		X: float64(a.Y*b.Z) - float64(a.Z*b.Y),
		Y: float64(a.Z*b.X) - float64(a.X*b.Z),
		Z: float64(a.X*b.Y) - float64(a.Y*b.X),
	}
}
