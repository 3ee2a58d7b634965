package tooling

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestShortLeavesRoundingOut(t *testing.T) {
	for _, c := range []struct {
		got, want float64
		short     bool
	}{{3, 3, false}, {3 - 1e-9, 3, false}, {0.1 + 0.2, 0.3, false}, {0.3, 0.1 + 0.2, false}, {2.99, 3, true}, {3 - 2e-6, 3, true}, {4, 3, false}} {
		if short(c.got, c.want) != c.short {
			t.Errorf("%g against %g: short is %v", c.got, c.want, !c.short)
		}
	}
}

func TestLengthsTellApart(t *testing.T) {
	for _, c := range []struct {
		got, want   float64
		wGot, wWant string
	}{{2.5, 3, "2.5", "3.0"}, {2.96, 3, "2.96", "3.00"}, {2.9996, 3, "2.9996", "3.0000"}, {3, 3, "3.0", "3.0"}} {
		if g, w := lengths(c.got, c.want); g != c.wGot || w != c.wWant {
			t.Errorf("%g and %g: %s and %s, want %s and %s", c.got, c.want, g, w, c.wGot, c.wWant)
		}
	}
}

// A key whose cover meets its limit but for rounding fits; one that misses it by a hair is told so with
// digits that differ.
func TestKeyAtItsLimit(t *testing.T) {
	flat := heightsOf(t, func(x, y float64) float64 { return 0.1 })
	block := r3.Box{Min: r3.Vec{X: -60, Y: -45, Z: -20}, Max: r3.Vec{X: 60, Y: 45, Z: 0.1 + 5 + 0.15 + 3}}
	block.Max.Z -= 1e-12
	if _, err := NewKey(r2.Vec{}, false, block, flat, KeyOptions{}); err != nil {
		t.Errorf("at the limit: %v", err)
	}
	block.Max.Z -= 0.001
	if _, err := NewKey(r2.Vec{}, false, block, flat, KeyOptions{}); err == nil || !strings.Contains(err.Error(), "2.999 mm") {
		t.Errorf("a micron short: %v", err)
	}
}
