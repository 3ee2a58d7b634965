package geom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

func box(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

func TestClipConvexClosedForms(t *testing.T) {
	sq := box(0, 0, 4, 4)
	diamond := []r2.Vec{{X: 2, Y: -1}, {X: 5, Y: 2}, {X: 2, Y: 5}, {X: -1, Y: 2}}
	for _, c := range []struct {
		name string
		a, b []r2.Vec
		area float64
	}{
		{"itself", sq, sq, 16},
		{"corner", sq, box(3, 3, 9, 9), 1},
		{"inside", sq, box(1, 1, 2, 3), 2},
		{"around", sq, box(-1, -1, 9, 9), 16},
		{"apart", sq, box(5, 0, 6, 1), 0},
		{"touching", sq, box(4, 0, 6, 4), 0},
		{"octagon", sq, diamond, 14}, // four corners of legs 1 cut off the square
		{"nothing", nil, sq, 0},
		{"by nothing", sq, nil, 0},
	} {
		for _, swap := range []bool{false, true} {
			a, b := c.a, c.b
			if swap {
				a, b = b, a
			}
			if got := PolygonArea(ClipConvex(a, b, nil)); math.Abs(got-c.area) > 1e-14 {
				t.Errorf("%s, swapped %v: area %g, want %g", c.name, swap, got, c.area)
			}
		}
	}
	var c r2.Vec
	for _, p := range ClipConvex(sq, diamond, nil) { // the corners of an octagon as even as this lie about its centroid
		c = r2.Add(c, r2.Scale(1.0/8, p))
	}
	if r2.Norm(r2.Sub(c, r2.Vec{X: 2, Y: 2})) > 1e-14 {
		t.Errorf("centroid of the octagon %v", c)
	}
}

func TestPolygonFarFromOrigin(t *testing.T) {
	p := box(1e8, 1e8, 1e8+1, 1e8+2)
	if a := PolygonArea(p); a != 2 {
		t.Errorf("area %g, want 2", a)
	}
}

func drawHull(t *rapid.T, name string) []r2.Vec {
	c := rapid.Custom(func(t *rapid.T) r2.Vec {
		if rapid.Bool().Draw(t, "grid") {
			return r2.Vec{X: float64(rapid.IntRange(0, 6).Draw(t, "x")), Y: float64(rapid.IntRange(0, 6).Draw(t, "y"))}
		}
		return r2.Vec{X: rapid.Float64Range(0, 6).Draw(t, "x"), Y: rapid.Float64Range(0, 6).Draw(t, "y")}
	})
	return ConvexHull(rapid.SliceOfN(c, 3, 20).Draw(t, name))
}

func TestClipConvexProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b := drawHull(t, "a"), drawHull(t, "b")
		if len(a) < 3 || len(b) < 3 {
			return
		}
		buf := make([]r2.Vec, ClipBuffer(len(a), len(b)))
		ab := ClipConvex(a, b, buf)
		if len(ab) > 0 && &buf[:cap(buf)][cap(buf)-1] != &ab[:cap(ab)][cap(ab)-1] && cap(ab) > len(buf) {
			t.Fatal("the buffer was not used")
		}
		area := PolygonArea(ab)
		if ba := PolygonArea(ClipConvex(b, a, nil)); math.Abs(area-ba) > 1e-12 {
			t.Fatalf("a∩b %g, b∩a %g", area, ba)
		}
		// The half planes of one edge of b split a into two parts.
		p, q := b[0], b[1]
		d := r2.Scale(1000, r2.Sub(q, p))
		n := turnLeft(d)
		left := []r2.Vec{r2.Sub(p, d), r2.Add(p, d), r2.Add(r2.Add(p, d), n), r2.Add(r2.Sub(p, d), n)}
		right := []r2.Vec{left[1], left[0], r2.Sub(left[0], n), r2.Sub(left[1], n)}
		if r2.Norm(d) < 100 {
			return // too short to reach beyond a
		}
		parts := PolygonArea(ClipConvex(a, left, nil)) + PolygonArea(ClipConvex(a, right, nil))
		if whole := PolygonArea(a); math.Abs(parts-whole) > 1e-11 {
			t.Fatalf("parts %g, whole %g", parts, whole)
		}
	})
}

func TestClipConvexDoesNotAllocate(t *testing.T) {
	a, b := box(0, 0, 4, 4), box(1, 1, 9, 9)
	buf := make([]r2.Vec, ClipBuffer(4, 4))
	if n := testing.AllocsPerRun(50, func() { ClipConvex(a, b, buf) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func TestConvexHullClosedForms(t *testing.T) {
	var pts []r2.Vec
	for i := range 5 {
		for j := range 5 {
			pts = append(pts, r2.Vec{X: float64(i) * .1, Y: float64(j) * .1}, r2.Vec{X: float64(i) * .1, Y: float64(j) * .1})
		}
	}
	if h := ConvexHull(pts); len(h) != 4 || h[0] != (r2.Vec{}) || math.Abs(PolygonArea(h)-.16) > 1e-16 {
		t.Errorf("grid: %v", h)
	}
	if h := ConvexHull([]r2.Vec{{X: 1, Y: 1}, {X: 3, Y: 3}, {X: 2, Y: 2}}); len(h) != 2 || h[0].X != 1 || h[1].X != 3 {
		t.Errorf("line: %v", h)
	}
	if h := ConvexHull([]r2.Vec{{X: 1}, {X: 1}}); len(h) != 1 {
		t.Errorf("point: %v", h)
	}
	if h := ConvexHull(nil); len(h) != 0 {
		t.Errorf("nothing: %v", h)
	}
}

func TestConvexHullProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		pts := rapid.SliceOfN(rapid.Custom(pt2), 3, 30).Draw(t, "points")
		h := ConvexHull(pts)
		if len(h) < 3 {
			for _, p := range pts {
				if Orient2D(h[0], h[len(h)-1], p) != 0 {
					t.Fatalf("%v is not on the flat hull", p)
				}
			}
			return
		}
		for i, a := range h {
			b := h[(i+1)%len(h)]
			if Orient2D(a, b, h[(i+2)%len(h)]) <= 0 {
				t.Fatalf("hull does not turn left at %d", i)
			}
			for _, p := range pts {
				if Orient2D(a, b, p) < 0 {
					t.Fatalf("%v is outside", p)
				}
			}
		}
	})
}

func TestMinAreaRectClosedForms(t *testing.T) {
	s, c := math.Sincos(0.3)
	var tilted []r2.Vec
	for _, p := range box(1, 2, 8, 5) {
		tilted = append(tilted, r2.Vec{X: c*p.X - s*p.Y, Y: s*p.X + c*p.Y})
	}
	if r := MinAreaRect(ConvexHull(tilted)); math.Abs(r.Area()-21) > 1e-13 || math.Abs(max(r.Length, r.Width)-7) > 1e-13 {
		t.Errorf("tilted 7 × 3: %v", r)
	}
	// An equilateral triangle of side 2: the rectangle on a side is 2 × √3.
	if r := MinAreaRect([]r2.Vec{{}, {X: 2}, {X: 1, Y: math.Sqrt(3)}}); math.Abs(r.Area()-2*math.Sqrt(3)) > 1e-14 {
		t.Errorf("triangle: %v", r)
	}
	// A regular hexagon of side 1: 2 × √3.
	var hex []r2.Vec
	for k := range 6 {
		s, c := math.Sincos(math.Pi / 3 * float64(k))
		hex = append(hex, r2.Vec{X: c, Y: s})
	}
	if r := MinAreaRect(ConvexHull(hex)); math.Abs(r.Area()-2*math.Sqrt(3)) > 1e-14 {
		t.Errorf("hexagon: %v", r)
	}
	if r := MinAreaRect([]r2.Vec{{}, {X: 3, Y: 4}}); r.Length != 5 || r.Width != 0 {
		t.Errorf("segment: %v", r)
	}
	if r := MinAreaRect([]r2.Vec{{X: 3, Y: 4}}); r.Corner != (r2.Vec{X: 3, Y: 4}) || r.Area() != 0 {
		t.Errorf("point: %v", r)
	}
	if r := MinAreaRect(nil); r.Area() != 0 {
		t.Errorf("nothing: %v", r)
	}
}

// The rectangle holds every corner, and none of many other orientations gives a smaller one.
func TestMinAreaRectProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		h := drawHull(t, "hull")
		if len(h) < 3 || PolygonArea(h) < 1e-6 {
			return
		}
		r := MinAreaRect(h)
		corners := r.Corners()
		if math.Abs(PolygonArea(corners[:])-r.Area()) > 1e-12 {
			t.Fatalf("corners %v", corners)
		}
		spread := func(d r2.Vec) float64 {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, p := range h {
				x := r2.Dot(p, d)
				lo, hi = min(lo, x), max(hi, x)
			}
			return hi - lo
		}
		for _, p := range h {
			v := r2.Sub(p, r.Corner)
			x, y := r2.Dot(v, r.Along), r2.Dot(v, turnLeft(r.Along))
			if x < -1e-12 || x > r.Length+1e-12 || y < -1e-12 || y > r.Width+1e-12 {
				t.Fatalf("corner %v lies outside %v", p, r)
			}
		}
		try := func(d r2.Vec) {
			if a := spread(d) * spread(turnLeft(d)); a < r.Area()*(1-1e-12)-1e-14 {
				t.Fatalf("along %v the area is %g, less than %g", d, a, r.Area())
			}
		}
		for i := range 90 {
			s, c := math.Sincos(float64(i) * math.Pi / 180)
			try(r2.Vec{X: c, Y: s})
		}
		for i, p := range h {
			try(r2.Unit(r2.Sub(h[(i+1)%len(h)], p)))
		}
	})
}
