package tooling

import (
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
)

// spool has two flanges of radius flange and a waist, each 6 mm high.
func spool(flange, waist float64, n int) *mesh.Mesh {
	return turnedSolid(n, r2.Vec{X: flange}, r2.Vec{X: flange, Y: 6}, r2.Vec{X: waist, Y: 6}, r2.Vec{X: waist, Y: 12}, r2.Vec{X: flange, Y: 12}, r2.Vec{X: flange, Y: 18})
}

// pawn is a chess pawn: a base, a neck, a collar and a ball.
func pawn(n int) *mesh.Mesh {
	s := []r2.Vec{{X: 11}, {X: 11, Y: 4}, {X: 8, Y: 7}, {X: 4.5, Y: 16}, {X: 4, Y: 23}, {X: 7, Y: 24}, {X: 7, Y: 25.5}, {X: 4, Y: 26.5}}
	for i := 3; i < 8; i++ {
		sin, cos := math.Sincos(math.Pi * float64(i) / 8)
		s = append(s, r2.Vec{X: 6 * sin, Y: 32 - 6*cos})
	}
	return turnedSolid(n, s...)
}

// hook is a bent rod of square section: a shank along y, an arc of half a turn, a tip.
func hook() []r2.Vec {
	loop := []r2.Vec{{X: 6, Y: 0}, {X: 10, Y: 0}, {X: 10, Y: 24}}
	arc := func(r, from, to float64) {
		for i := range 9 {
			s, c := math.Sincos((from + (to-from)*float64(i)/8) * math.Pi / 180)
			loop = append(loop, r2.Vec{X: r * c, Y: 24 + r*s})
		}
	}
	loop = loop[:2]
	arc(10, 0, 180)
	loop = append(loop, r2.Vec{X: -10, Y: 14}, r2.Vec{X: -6, Y: 14})
	arc(6, 180, 0)
	return loop
}

// prismoidMM3 is a rectangle of a × b that widens by slope on each side over a length l: Simpson's rule,
// which is exact for it.
func prismoidMM3(a, b, slope, l float64) float64 {
	at := func(t float64) float64 { return (a + 2*slope*t) * (b + 2*slope*t) }
	return l / 6 * (at(0) + 4*at(l/2) + at(l))
}
