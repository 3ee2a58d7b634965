package mouldability

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// hemisphere returns n directions spread evenly over z > 0: a spherical Fibonacci lattice, whose
// points lie in the middles of n bands of equal area, each turned by the golden angle from the last
// (Á. González, Mathematical Geosciences 42 (2010) 49).
func hemisphere(n int) []r3.Vec {
	golden := math.Pi * (3 - math.Sqrt(5))
	out := make([]r3.Vec, n)
	for i := range out {
		z := (float64(i) + 0.5) / float64(n)
		r := math.Sqrt(1 - z*z)
		s, c := math.Sincos(golden * float64(i))
		out[i] = r3.Vec{X: r * c, Y: r * s, Z: z}
	}
	return out
}
