package tooling

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/solid"
)

// ringArea is the closed form of the band between the offsets a < b of a w × d rectangle with round
// corners: by Steiner's formula, perimeter·(b−a) + π(b²−a²).
func ringArea(w, d, a, b float64) float64 {
	return 2*(w+d)*(b-a) + math.Pi*(b*b-a*a)
}

func TestGutterHoldsWhatIsAsked(t *testing.T) {
	for _, s := range slopes {
		t.Run(s.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, s.height)
				g, tools, err := NewGutter(k, f.raw(), f.shadow, nil, GutterOptions{VolumeML: 1.5, Steps: 2})
				if err != nil {
					t.Fatal(err)
				}
				near(t, "held", g.HeldMM3, 1500, 1e-4)
				near(t, "held again", g.HeldMM3, must(HeldMM3(f.lower, tools[0]))(t), 1e-12)
				low := must(Apply(f.lower, Lower, tools))(t)
				opens(t, low, Lower, f.block)
				if v := must(must(f.upper.Intersect(low))(t).VolumeMM3())(t); v > 1e-9 {
					t.Errorf("the halves overlap by %g mm³", v)
				}
				if parts := must(low.Parts())(t); len(parts) != 1 {
					t.Errorf("the lower half falls into %d parts", len(parts))
				}
			})
		})
	}
}

func TestGutterRingClosedForm(t *testing.T) {
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[1].height)
		o := GutterOptions{DepthMM: 1.6, Steps: 3, DraftDeg: 12, LandMM: 4, WidthMM: 6}
		g, _, err := NewGutter(k, f.raw(), f.shadow, nil, o)
		if err != nil {
			t.Fatal(err)
		}
		want := 0.0
		for i := range 3 {
			in := 1.6 * (float64(i) + 0.5) / 3 * math.Tan(12*math.Pi/180)
			want += ringArea(30, 20, 4+in, 10-in) * 1.6 / 3
		}
		// Round corners are polygons within 0.002 mm of the arc: of some 10 mm, 2e-4 of a corner's area.
		near(t, "held", g.HeldMM3, want, 2e-4)
	})
}

func TestGutterKeepsClearOfBolts(t *testing.T) {
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[0].height)
		at, bar := r2.Vec{X: 22}, rect(-40, -3, -10, 3)
		_, tools, err := NewGutter(k, f.raw(), f.shadow, [][]r2.Vec{DiscLoop(at, 5), bar}, GutterOptions{Steps: 1})
		if err != nil {
			t.Fatal(err)
		}
		c := must(k.Prism([][]r2.Vec{ring(at, 5, 64)}, 0, 40))(t)
		if v := must(HeldMM3(c, tools[0]))(t); v > 1e-9 {
			t.Errorf("the gutter takes %g mm³ of the bolt's place", v)
		}
		b := must(k.Prism([][]r2.Vec{bar}, 0, 40))(t)
		if v := must(HeldMM3(b, tools[0]))(t); v > 1e-9 {
			t.Errorf("the gutter takes %g mm³ of the sprue's place", v)
		}
	})
}

func TestGutterErrors(t *testing.T) {
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[0].height)
		for name, o := range map[string]GutterOptions{
			"too much":    {VolumeML: 50},
			"too deep":    {DepthMM: 17, DraftDeg: 1, Steps: 1},
			"closes":      {DepthMM: 14},
			"no room":     {LandMM: 60},
			"too narrow":  {WidthMM: 0.5},
			"silly steps": {Steps: 1000},
		} {
			if _, _, err := NewGutter(k, f.raw(), f.shadow, nil, o); !errors.Is(err, ErrGutter) {
				t.Errorf("%s: error %v", name, err)
			}
		}
	})
}
