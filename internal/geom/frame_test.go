package geom

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

func TestFrameToAxesIsExact(t *testing.T) {
	negZero := math.Copysign(0, -1)
	for _, d := range []r3.Vec{
		{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}, {Z: 40}, {X: -0.25},
		{X: 1, Y: negZero, Z: negZero}, {X: negZero, Y: -1, Z: negZero},
	} {
		f := FrameTo(d)
		ones := 0
		for _, row := range []r3.Vec{f.X, f.Y, f.Z} {
			for _, e := range []float64{row.X, row.Y, row.Z} {
				if e != 0 && math.Abs(e) != 1 {
					t.Errorf("%v: entry %g", d, e)
				}
				if e != 0 {
					ones++
				}
				if e == 0 && math.Signbit(e) {
					t.Errorf("%v: negative zero", d)
				}
			}
		}
		if ones != 3 || r3.Cross(f.X, f.Y) != f.Z {
			t.Errorf("%v: not a right-handed permutation: %v", d, f)
		}
		v := r3.Vec{X: 0.1, Y: 1e17 + 16, Z: -1.0 / 3}
		if got := f.Inverse(f.Apply(v)); got != v {
			t.Errorf("%v: %v came back as %v", d, v, got)
		}
		if FrameTo(r3.Vec{X: d.X + 0, Y: d.Y + 0, Z: d.Z + 0}) != f {
			t.Errorf("%v: the sign of a zero changes the frame", d)
		}
	}
	if f := FrameTo(r3.Vec{Z: 1}); f != (Frame{X: r3.Vec{X: 1}, Y: r3.Vec{Y: 1}, Z: r3.Vec{Z: 1}}) {
		t.Errorf("+z is not the identity: %v", f)
	}
}

func TestFrameToIsRotation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.OneOf(rapid.Float64Range(-1, 1), rapid.SampledFrom([]float64{0, 1e-9, -1e-9, 1, -1}))
		d := r3.Vec{X: c.Draw(t, "x"), Y: c.Draw(t, "y"), Z: c.Draw(t, "z")}
		if r3.Norm(d) < 1e-150 {
			return
		}
		f := FrameTo(d)
		const tol = 3e-15 // the direction is normalised to about 2 ulps, and each entry takes a few more
		for _, e := range []float64{
			r3.Norm2(f.X) - 1, r3.Norm2(f.Y) - 1, r3.Norm2(f.Z) - 1,
			r3.Dot(f.X, f.Y), r3.Dot(f.Y, f.Z), r3.Dot(f.Z, f.X),
			r3.Norm(r3.Sub(r3.Cross(f.X, f.Y), f.Z)),
			r3.Norm(r3.Sub(f.Apply(r3.Unit(d)), r3.Vec{Z: 1})),
			r3.Norm(r3.Sub(f.Inverse(r3.Vec{Z: 1}), r3.Unit(d))),
		} {
			if math.Abs(e) > tol {
				t.Fatalf("%v: off by %g in %v", d, e, f)
			}
		}
	})
}
