package opening

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Two wedges lie on each other, flat on flat, with their feather edges together: the upper leaves upward,
// however sharp they are, and turned about. Under the tolerance the fixed one's underside lies below the
// moving one's top; that must not count.
func TestFeatherEdgesPass(t *testing.T) {
	for _, deg := range []float64{0.5, 2, 10, 30, 60} {
		rise := 10 * math.Tan(deg*math.Pi/180)
		upper := prismY([]r2.Vec{v2(0, 0), v2(10, 0), v2(10, rise)}, 0, 8)
		lower := prismY([]r2.Vec{v2(0, 0), v2(10, -rise), v2(10, 0)}, 0, 8)
		passes := func(v *Verdict) {
			t.Helper()
			// Next to the edge itself, where the two are within rounding of each other, a graze may be left.
			if most := filmShare * DefaultToleranceMM / (2 * math.Tan(deg*math.Pi/180)); v.State == Blocked || v.GrazeMM > 1.01*most {
				t.Errorf("wedges of %g°: %s", deg, v.Words())
			}
		}
		passes(translate(t, upper, lower, up))
		// The other way they are in each other's way over the whole face.
		v := translate(t, upper, lower, v3(0, 0, -1))
		wantState(t, v, Blocked)
		wantNear(t, "area", v.OverlapAreaMM2, 80, 1e-4)
		turn := r3.NewRotation(1.3, r3.Unit(v3(2, -1, 0.5))).Rotate
		passes(translate(t, upper.Map(turn), lower.Map(turn), turn(up)))
	}
}

// A layer that reaches into the other by less than the tolerance, as rounding leaves it, still blocks: there
// the fixed one does not end before the moving one begins. So does a feather under a hook that comes after it.
func TestTouchingLayersStillBlock(t *testing.T) {
	box := boxMesh(0, 0, 0, 10, 10, 5)
	for _, sunk := range []float64{0, 0.001, 0.004} {
		v := translate(t, box, boxMesh(2, 2, 5-sunk, 8, 8, 9), up)
		wantState(t, v, Blocked)
		wantNear(t, "area", v.OverlapAreaMM2, 36, 1e-4)
	}
	upper := prismY([]r2.Vec{v2(0, 0), v2(10, 0), v2(10, 1)}, 0, 8)
	lower := prismY([]r2.Vec{v2(0, 0), v2(10, -1), v2(10, 0)}, 0, 8)
	v := translate(t, upper, merge(lower, boxMesh(4, 2, 3, 14, 6, 5)), up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 2, 1e-9)
	wantNear(t, "area", v.OverlapAreaMM2, 24, 1e-4)
}
