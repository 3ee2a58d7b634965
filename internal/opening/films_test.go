package opening

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// film is a rectangle with a facet pair on each side, cut along different diagonals, and thickness
// between them.
func film(x0, y0, x1, y1, z, thickness float64) *mesh.Mesh {
	b := newBuilder()
	top := z + thickness
	b.quad(v3(x0, y0, top), v3(x1, y0, top), v3(x1, y1, top), v3(x0, y1, top))
	// Separate vertices, so that nothing is shared between the sides but places.
	under := newBuilder()
	under.quad(v3(x1, y0, z), v3(x0, y0, z), v3(x0, y1, z), v3(x1, y1, z))
	return merge(&b.m, &under.m)
}

func TestFilmDoesNotLock(t *testing.T) {
	over := boxMesh(22, 2, 3, 28, 8, 9)
	withFilm := merge(boxMesh(0, 0, 0, 10, 10, 5), film(20, 0, 30, 10, 1, 0))
	wantState(t, translate(t, withFilm, over, up), Free)
	wantState(t, translate(t, over, withFilm, v3(0, 0, -1)), Free)
	turn := r3.NewRotation(0.7, r3.Unit(v3(1, 2, 3))).Rotate
	wantState(t, translate(t, withFilm.Map(turn), over.Map(turn), turn(up)), Free)
	// A film beside a wall rubs no more than it locks.
	side := boxMesh(20, 0, 1, 30, 10, 4)
	aside := merge(boxMesh(0, 40, 0, 10, 50, 5), film(20, 0, 30, 10, 1, 0))
	wantState(t, translate(t, aside, side, v3(1, 0, 0)), Free)
	// A plate of 1 µm is thin, but it is there.
	plate := merge(boxMesh(0, 0, 0, 10, 10, 5), boxMesh(20, 0, 1, 30, 10, 1.001))
	v := translate(t, plate, over, up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 3-1.001, 1e-12)
	wantNear(t, "area", v.OverlapAreaMM2, 36, 1e-6)
}

// What subtraction leaves has the area outside the hole, and its pieces do not overlap: with the part
// inside they add up to the whole.
func TestSubtractConvexKeepsTheArea(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tri := func(name string) []r2.Vec {
			p := make([]r2.Vec, 3)
			for i := range p {
				p[i] = v2(length(0, 10).Draw(t, name), length(0, 10).Draw(t, name))
			}
			if geom.PolygonArea(p) < 0 {
				p[1], p[2] = p[2], p[1]
			}
			return p
		}
		a, b := tri("a"), tri("b")
		if polygonWidth(a) < 0.01 || polygonWidth(b) < 0.01 {
			return
		}
		planes := grownPlanes(b, 0, nil)
		common := a
		for _, h := range planes {
			value := make([]float64, len(common))
			for i, q := range common {
				value[i] = h.C - r2.Dot(h.N, q)
			}
			if common = clipAbove(common, value, nil); len(common) == 0 {
				break
			}
		}
		left := 0.0
		for _, p := range subtractConvex(a, planes, nil) {
			left += geom.PolygonArea(p)
		}
		if want := geom.PolygonArea(a) - geom.PolygonArea(common); math.Abs(left-want) > 1e-9 {
			t.Fatalf("%g mm² left, want %g", left, want)
		}
	})
}
