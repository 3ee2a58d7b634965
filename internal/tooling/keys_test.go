package tooling

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"mouldwright/internal/solid"
)

// frustumVolume is the closed form of an n-sided frustum with corners on circles.
func frustumVolume(h, r0, r1 float64, n int) float64 {
	return h / 3 * (r0*r0 + r0*r1 + r1*r1) * float64(n) / 2 * math.Sin(2*math.Pi/float64(n))
}

func TestKeyVolumesAndRegister(t *testing.T) {
	for _, s := range slopes {
		t.Run(s.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, s.height)
				key := must(NewKey(r2.Vec{X: 40, Y: 20}, false, f.block, f.surface, KeyOptions{}))(t)
				tools := must(key.Tools(k))(t)
				h := key.TipZ - key.BaseZ
				near(t, "male", must(tools[0].Solid.VolumeMM3())(t), frustumVolume(h, key.BaseRadius, key.TipRadius, key.segments()), 1e-9)
				slope := math.Tan(8 * math.Pi / 180)
				near(t, "draft", (key.BaseRadius-key.TipRadius)/h, slope, 1e-12)
				near(t, "female", must(tools[1].Solid.VolumeMM3())(t),
					frustumVolume(h+0.15, key.BaseRadius+0.15, key.TipRadius+0.15-0.15*slope, key.segments()), 1e-9)

				low, up := must(Apply(f.lower, Lower, tools))(t), must(Apply(f.upper, Upper, tools))(t)
				opens(t, low, Lower, f.block)
				opens(t, up, Upper, f.block)
				// The male stands clear of the upper half, and fills its hole but for the clearance.
				male := must(low.Intersect(up))(t)
				near(t, "overlap of the halves", must(male.VolumeMM3())(t), 0, 1e-9)
				stands := must(must(tools[0].Solid.Subtract(f.lower))(t).VolumeMM3())(t)
				near(t, "what the lower half gains", must(low.VolumeMM3())(t)-must(f.lower.VolumeMM3())(t), stands, 1e-6)
				if parts := must(low.Parts())(t); len(parts) != 1 {
					t.Errorf("the lower half falls into %d parts", len(parts))
				}
				if s.name == "flat" {
					// On a flat surface the male rises exactly the height asked.
					near(t, "rise", stands, frustumVolume(5, 4, key.TipRadius, key.segments()), 1e-9)
				}
			})
		})
	}
}

func TestNewKeyErrors(t *testing.T) {
	flat := heightsOf(t, func(x, y float64) float64 { return 18 })
	steep := heightsOf(t, func(x, y float64) float64 { return 18 + 2*x })
	at := r2.Vec{X: 30, Y: 10}
	for name, f := range map[string]func() (Key, error){
		"too blunt": func() (Key, error) { return NewKey(at, false, blockOf(0, 40), flat, KeyOptions{DraftDeg: 80}) },
		"no tip":    func() (Key, error) { return NewKey(at, false, blockOf(-500, 500), steep, KeyOptions{}) },
		"no root":   func() (Key, error) { return NewKey(at, false, blockOf(17, 40), flat, KeyOptions{}) },
		"no cover":  func() (Key, error) { return NewKey(at, false, blockOf(0, 24), flat, KeyOptions{}) },
		"off":       func() (Key, error) { return NewKey(r2.Vec{X: 58}, false, blockOf(0, 40), flat, KeyOptions{}) },
	} {
		if _, err := f(); !errors.Is(err, ErrKey) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := NewKey(at, false, blockOf(0, 40), flat, KeyOptions{HeightMM: math.NaN()}); err == nil {
		t.Error("a height of NaN passes")
	}
}

func keyAt(x, y, r float64) Key {
	return Key{At: r2.Vec{X: x, Y: y}, BaseRadius: r, ClearanceMM: 0.15}
}

func TestKeysCloseOneWay(t *testing.T) {
	for _, c := range []struct {
		name   string
		keys   []Key
		square bool
		ok     bool
	}{
		{"one", []Key{keyAt(0, 20, 4)}, false, false},
		{"two alike", []Key{keyAt(-30, 0, 4), keyAt(30, 0, 4)}, false, false},
		{"two alike, off centre: the swap needs a shift", []Key{keyAt(-30, 5, 4), keyAt(30, 0, 4)}, false, false},
		{"two of two sizes", []Key{keyAt(-30, 5, 5.5), keyAt(30, 0, 4)}, false, true},
		{"two of two sizes on an axis: a mirror fits", []Key{keyAt(-30, 0, 5.5), keyAt(30, 0, 4)}, false, false},
		{"four alike", []Key{keyAt(-30, -20, 4), keyAt(30, -20, 4), keyAt(30, 20, 4), keyAt(-30, 20, 4)}, false, false},
		{"four, one moved", []Key{keyAt(-30, -20, 4), keyAt(30, -20, 4), keyAt(30, 20, 4), keyAt(-24, 20, 4)}, false, true},
		{"four, one larger", []Key{keyAt(-30, -20, 5.5), keyAt(30, -20, 4), keyAt(30, 20, 4), keyAt(-30, 20, 4)}, false, true},
		{"four on a square, one larger: the diagonal mirror fits", []Key{keyAt(-30, -30, 5.5), keyAt(30, -30, 4), keyAt(30, 30, 4), keyAt(-30, 30, 4)}, true, false},
	} {
		if got := KeysCloseOneWay(c.keys, c.square, 0.5); got.OK != c.ok {
			t.Errorf("%s: %+v", c.name, got)
		}
	}
}

// The bound is a proof: no shift found by search may let a wrong turn in with less than it promises.
func TestKeysCloseOneWayIsABound(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 5).Draw(t, "keys")
		keys := make([]Key, n)
		for i := range keys {
			keys[i] = keyAt(rapid.Float64Range(-40, 40).Draw(t, "x"), rapid.Float64Range(-30, 30).Draw(t, "y"), rapid.Float64Range(3, 6).Draw(t, "r"))
		}
		for _, w := range swaps {
			bound := misfit(keys, w)
			shift := r2.Vec{X: rapid.Float64Range(-100, 100).Draw(t, "dx"), Y: rapid.Float64Range(-100, 100).Draw(t, "dy")}
			// Slide from there downhill to the best shift nearby.
			for step := 32.0; step > 1e-3; step /= 2 {
				for range 8 {
					best := worstMale(keys, w, shift)
					moved := false
					for _, d := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}} {
						if s := r2.Add(shift, r2.Scale(step, d)); worstMale(keys, w, s) < best {
							best, shift, moved = worstMale(keys, w, s), s, true
						}
					}
					if !moved {
						break
					}
				}
			}
			if got := worstMale(keys, w, shift); got < bound-1e-9 {
				t.Fatalf("%s, shifted by %v, enters to within %g mm; the bound says %g", w.name, shift, got, bound)
			}
		}
	})
}
