package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Rect is a rectangle in any orientation: a corner, a unit direction along its first side (the
// second is that one turned left by 90°), and the lengths of the sides.
type Rect struct {
	Corner        r2.Vec
	Along         r2.Vec
	Length, Width float64
}

// Area is Length · Width.
func (r Rect) Area() float64 { return r.Length * r.Width }

// Corners are the four corners, counter-clockwise from Corner.
func (r Rect) Corners() [4]r2.Vec {
	left := turnLeft(r.Along)
	right := step(r.Corner, r.Along, r.Length)
	return [4]r2.Vec{r.Corner, right, step(right, left, r.Width), step(r.Corner, left, r.Width)}
}

// MinAreaRect is the rectangle of least area around a convex polygon, as ConvexHull returns it
// (counter-clockwise, no corner on the line of its neighbours). One side lies on an edge of the hull
// (Freeman and Shapira 1975), so one turn of callipers around the hull finds it, in linear time
// (Toussaint 1983). Of equal ones the first around the hull is returned. A hull of two points gives
// a rectangle without width, of one a point.
func MinAreaRect(hull []r2.Vec) Rect {
	switch len(hull) {
	case 0:
		return Rect{Along: r2.Vec{X: 1}}
	case 1:
		return Rect{Corner: hull[0], Along: r2.Vec{X: 1}}
	case 2:
		d := r2.Sub(hull[1], hull[0])
		return Rect{Corner: hull[0], Along: r2.Unit(d), Length: r2.Norm(d)}
	}
	n := len(hull)
	best, bestArea := Rect{}, math.Inf(1)
	// The corners farthest forward, to the left, and back, seen along the edge; they only move on.
	far, top, rear := 1, 1, 1
	for i, p := range hull {
		q := hull[(i+1)%n]
		u := r2.Unit(r2.Sub(q, p))
		v := turnLeft(u)
		far = climb(hull, max(far, i+1), u)
		top = climb(hull, max(top, far), v)
		rear = climb(hull, max(rear, top), r2.Scale(-1, u))
		x0 := along(hull[rear%n], p, u)
		r := Rect{
			Corner: step(p, u, x0), Along: u,
			Length: along(hull[far%n], p, u) - x0, Width: along(hull[top%n], p, v),
		}
		if a := r.Area(); a < bestArea {
			best, bestArea = r, a
		}
	}
	return best
}

// climb goes around the hull from corner i as long as that leads farther along d.
func climb(hull []r2.Vec, i int, d r2.Vec) int {
	n := len(hull)
	for end := i + n; i < end && along(hull[(i+1)%n], hull[i%n], d) > 0; i++ {
	}
	return i
}

// along is how far p lies from o in direction d.
func along(p, o, d r2.Vec) float64 {
	v := r2.Sub(p, o)
	return float64(v.X*d.X) + float64(v.Y*d.Y)
}

// step is p + t·d, each product rounded.
func step(p, d r2.Vec, t float64) r2.Vec {
	return r2.Vec{X: p.X + float64(t*d.X), Y: p.Y + float64(t*d.Y)}
}

func turnLeft(v r2.Vec) r2.Vec { return r2.Vec{X: -v.Y, Y: v.X} }
