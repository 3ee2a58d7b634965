package sheet

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// hatching is how one piece is marked where it is cut. Angles are from the paper's x axis, counter-
// clockwise.
type hatching struct{ angleDeg, stepMM float64 }

// hatchings go to the pieces in turn, so that neighbours differ in angle (ISO 128-50), and beyond
// the fourth in spacing too.
var hatchings = []hatching{
	{45, 2.4}, {135, 2.4}, {20, 2.4}, {110, 2.4}, {45, 1.4}, {135, 1.4}, {20, 1.4}, {110, 1.4},
}

// hatchLines are the parts of parallel lines that lie inside the loops (even-odd). Lines are
// counted from the paper's origin, so separate areas of one piece are hatched alike.
func hatchLines(loops [][]r2.Vec, h hatching) [][2]r2.Vec {
	sin, cos := math.Sincos(-h.angleDeg * math.Pi / 180) // paper's y points down
	turn := func(p r2.Vec) r2.Vec { return r2.Vec{X: p.X*cos + p.Y*sin, Y: -p.X*sin + p.Y*cos} }
	back := func(p r2.Vec) r2.Vec { return r2.Vec{X: p.X*cos - p.Y*sin, Y: p.X*sin + p.Y*cos} }
	crossings := map[int][]float64{}
	for _, loop := range loops {
		for i, a := range loop {
			a, b := turn(a), turn(loop[(i+1)%len(loop)])
			if a.Y > b.Y {
				a, b = b, a
			}
			// Lines k·step with a.Y <= y < b.Y: half open, so a shared corner counts once.
			for k := int(math.Ceil(a.Y / h.stepMM)); float64(k)*h.stepMM < b.Y; k++ {
				t := (float64(k)*h.stepMM - a.Y) / (b.Y - a.Y)
				crossings[k] = append(crossings[k], a.X+t*(b.X-a.X))
			}
		}
	}
	rows := make([]int, 0, len(crossings))
	for k := range crossings {
		rows = append(rows, k)
	}
	slices.Sort(rows)
	var out [][2]r2.Vec
	for _, k := range rows {
		xs := crossings[k]
		slices.Sort(xs)
		for i := 0; i+1 < len(xs); i += 2 {
			y := float64(k) * h.stepMM
			out = append(out, [2]r2.Vec{back(r2.Vec{X: xs[i], Y: y}), back(r2.Vec{X: xs[i+1], Y: y})})
		}
	}
	return out
}

// hatch fills the loops with hatching.
func (d *Drawing) hatch(loops [][]r2.Vec, h hatching) {
	for _, l := range hatchLines(loops, h) {
		d.Line(PenHatch, l[0], l[1])
	}
}

// spotInside is a point well inside the loops: of the middles of the horizontal spans at a number of
// heights, the one farthest from any edge; of nearly equal ones the rightmost, as labels stand on
// the right. ok is false when the loops hold no area.
func spotInside(loops [][]r2.Vec) (spot r2.Vec, ok bool) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, l := range loops {
		for _, p := range l {
			lo, hi = min(lo, p.Y), max(hi, p.Y)
		}
	}
	const rows, nearlyEqual = 24, 0.98
	best := 0.0
	for k := range rows {
		y := lo + (hi-lo)*(float64(k)+0.5)/rows
		for _, s := range spans(loops, y) {
			if (s[1]-s[0])/2 < best*nearlyEqual { // its middle is at most that far from an edge
				continue
			}
			p := r2.Vec{X: (s[0] + s[1]) / 2, Y: y}
			room := clearance(loops, p)
			if room > best || room > best*nearlyEqual && p.X > spot.X {
				best, spot, ok = max(best, room), p, true
			}
		}
	}
	return spot, ok
}

// spans are the parts of the horizontal line at y that lie inside the loops, from left to right.
func spans(loops [][]r2.Vec, y float64) [][2]float64 {
	var xs []float64
	for _, l := range loops {
		for i, a := range l {
			b := l[(i+1)%len(l)]
			if (a.Y <= y) != (b.Y <= y) {
				xs = append(xs, a.X+(y-a.Y)/(b.Y-a.Y)*(b.X-a.X))
			}
		}
	}
	slices.Sort(xs)
	var out [][2]float64
	for i := 0; i+1 < len(xs); i += 2 {
		out = append(out, [2]float64{xs[i], xs[i+1]})
	}
	return out
}

// clearance is the distance from p to the nearest edge.
func clearance(loops [][]r2.Vec, p r2.Vec) float64 {
	least := math.Inf(1)
	for _, l := range loops {
		for i, a := range l {
			d := r2.Sub(l[(i+1)%len(l)], a)
			t := 0.0
			if n := r2.Norm2(d); n > 0 {
				t = min(1, max(0, r2.Dot(r2.Sub(p, a), d)/n))
			}
			least = min(least, r2.Norm(r2.Sub(p, r2.Add(a, r2.Scale(t, d)))))
		}
	}
	return least
}
