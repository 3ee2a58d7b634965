package tooling

import (
	"math"
	"testing"
)

// rectangleMM4 is the series for a rectangular duct of 2a × 2b mm (White, Viscous Fluid Flow; from memory):
// Q·μ/(dp/dx) = 4·b·a³/3·(1 − 192·a/(π⁵·b)·Σ tanh(i·π·b/2a)/i⁵), i odd.
func rectangleMM4(w, h float64) float64 {
	a, b := w/2, h/2
	s := 0.0
	for i := 1.0; i < 200; i += 2 {
		s += math.Tanh(i*math.Pi*b/(2*a)) / math.Pow(i, 5)
	}
	return 4 * b * a * a * a / 3 * (1 - 192*a/(math.Pow(math.Pi, 5)*b)*s)
}

// Ducts whose flow is known in closed form.
func TestDuctAgainstClosedForms(t *testing.T) {
	for _, c := range []struct{ w, h float64 }{{1, 1}, {3, 3}, {2, 1}, {1, 2}, {3, 1}, {1, 3}, {4.8, 3.2}} {
		near(t, "rectangle", ductMM4(c.w, c.h, 0), rectangleMM4(c.w, c.h), ductTol)
	}
	// An equilateral triangle of side s: √3·s⁴/320 (White, from memory). It is the trapezoid whose sides
	// meet at its depth.
	s := 4.0
	near(t, "triangle", ductMM4(s, s*math.Sqrt(3)/2, 30), math.Sqrt(3)*s*s*s*s/320, 2e-3)
	// The dimension is a length to the fourth power.
	near(t, "scale", ductMM4(6, 4, 10), 16*ductMM4(3, 2, 10), 1e-12)
	// A trapezoid lies between the rectangles that it holds and that hold it.
	lean := 3.2 * math.Tan(10*math.Pi/180)
	if k := ductMM4(4.8, 3.2, 10); k < rectangleMM4(4.8-2*lean, 3.2) || k > rectangleMM4(4.8, 3.2) {
		t.Errorf("%g mm⁴ is not between its rectangles", k)
	}
}
