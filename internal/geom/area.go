package geom

import "gonum.org/v1/gonum/spatial/r3"

// Area is the area of a triangle: half the length of the cross product of two sides. r3.Triangle.Area goes
// by the lengths of the sides instead (Heron), which for a needle rounds to the root of a negative number:
// one such facet would make every sum over a mesh NaN.
func Area(t r3.Triangle) float64 {
	return r3.Norm(t.Normal()) / 2
}
