package geom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Half base times height; turned and moved it stays. A needle whose corners lie on a line but for rounding
// has an area near nothing, where Heron's formula gives none.
func TestArea(t *testing.T) {
	tri := r3.Triangle{{X: 1, Y: 2, Z: 3}, {X: 4, Y: 2, Z: 3}, {X: 2, Y: 6, Z: 3}}
	if got := Area(tri); math.Abs(got-6) > 1e-12 {
		t.Errorf("3 × 4 / 2 is %g", got)
	}
	turned := r3.NewRotation(1.1, r3.Vec{X: 1, Y: -2, Z: 0.5})
	for i := range tri {
		tri[i] = turned.Rotate(tri[i])
	}
	if got := Area(tri); math.Abs(got-6) > 1e-12 {
		t.Errorf("turned it is %g", got)
	}
	needle := r3.Triangle{{}, {X: 0.7, Y: 1.6, Z: 1}, {X: 0.06999999999999999, Y: 0.16000000000000003, Z: 0.10000000000000002}}
	if got := Area(needle); !(got >= 0 && got < 1e-14) {
		t.Errorf("a needle has %g", got)
	}
	if !math.IsNaN(needle.Area()) {
		t.Log("r3.Triangle.Area copes with the needle by now: this function could go")
	}
}
