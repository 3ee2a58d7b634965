package mouldability

import (
	"math"
	"testing"

	"mouldwright/bench/stacked"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// drawTurn draws a rotation, evenly over all of them (Shoemake, Graphics Gems III, 1992).
func drawTurn(t *rapid.T) func(r3.Vec) r3.Vec {
	u, a, b := rapid.Float64Range(0, 1).Draw(t, "u"), rapid.Float64Range(0, 2*math.Pi).Draw(t, "a"), rapid.Float64Range(0, 2*math.Pi).Draw(t, "b")
	x, y, z, w := math.Sqrt(1-u)*math.Sin(a), math.Sqrt(1-u)*math.Cos(a), math.Sqrt(u)*math.Sin(b), math.Sqrt(u)*math.Cos(b)
	rot := r3.Rotation{Real: w, Imag: x, Jmag: y, Kmag: z}
	return rot.Rotate
}

// The axis of whatever is turned, threaded or drawn out is found to a hundredth of a degree, whichever way the
// part lies: it is known, since the part was made about z (or, drawn out, along y).
func TestAxisIsFound(t *testing.T) {
	z, y := r3.Vec{Z: 1}, r3.Vec{Y: 1}
	cup := stacked.Turned([]r2.Vec{{Y: 0}, {X: 20, Y: 0}, {X: 21, Y: 30}, {X: 19, Y: 30}, {X: 18.2, Y: 2}, {Y: 2}}, 37)
	for _, c := range []struct {
		name string
		m    *mesh.Mesh
		axis r3.Vec
		deg  float64
	}{
		{"cup", cup, z, 0.01}, {"bellows", stacked.Bellows(3, 40), z, 0.01}, {"discs", stacked.Discs(3, 24), z, 0.01}, {"grip", stacked.Grip(4, 31), z, 0.01},
		{"thread", stacked.Thread(5, 36), z, 0.1 /* its ends run out on one side */}, {"comb", stacked.Comb(4), y, 0.01}, {"corrugated sheet", stacked.Corrugated(3, 20), y, 0.01},
	} {
		rapid.Check(t, func(t *rapid.T) {
			turn := drawTurn(t)
			m := c.m.Map(turn)
			best := 90.0
			for _, a := range starts(m, m.Adjacency(), 0) {
				if a.origin.Exact() && a.origin != OwnAxis {
					best = min(best, math.Acos(min(1, math.Abs(r3.Dot(a.d, turn(c.axis)))))*180/math.Pi)
				}
			}
			if best > c.deg {
				t.Errorf("%s: the nearest axis found is %.4f° off", c.name, best)
			}
		})
	}
}
