package tooling

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/solid"
)

func TestSprueBreaksThroughAndOpens(t *testing.T) {
	for _, o := range []struct {
		name string
		opt  SprueOptions
		at   r2.Vec
	}{{"sprue", SprueOptions{}, r2.Vec{X: 5, Y: 2}}, {"vent", VentOptions(), r2.Vec{X: -12, Y: -7}}} {
		t.Run(o.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, slopes[2].height)
				s := must(NewSprue(o.at, 40, f.top, o.opt))(t)
				tools := must(s.Tools(k))(t)
				if len(tools) != 1 || tools[0].Half != Upper || tools[0].Add {
					t.Fatalf("a sprue is one cut in the upper half, got %+v", tools)
				}
				up := must(Apply(f.upper, Upper, tools))(t)
				opens(t, up, Upper, f.block)
				// Through: the cut joins cavity and outside, which gives the half one more handle.
				if g0, g1 := must(f.upper.Genus())(t), must(up.Genus())(t); g1 != g0+1 {
					t.Errorf("genus %d, then %d: the sprue is not one hole through", g0, g1)
				}
				// Volume: a frustum from the flat top of the part, at z = 18 + 8, to the top of the block.
				held := must(HeldMM3(f.upper, tools[0]))(t)
				top := f.height(0, 0) + 8
				want := frustumVolume(40-top, s.radiusAt(top), s.TopRadius, circleSegments(s.BottomRadius))
				near(t, "held", held, want, 1e-9)
				if s.BottomRadius <= s.TopRadius {
					t.Error("the sprue widens upward: it locks")
				}
			})
		})
	}
}

func TestSprueOnASlopeReachesTheLowestPlaceUnderIt(t *testing.T) {
	top := NewHeightField(fieldMesh(func(x, y float64) float64 { return 10 + 0.5*x }, -60, -45, 60, 45))
	s := must(NewSprue(r2.Vec{X: 4, Y: 1}, 60, top, SprueOptions{}))(t)
	if want := 10 + 0.5*(4-s.BottomRadius) - 0.5; s.BottomZ > want+1e-9 {
		t.Errorf("bottom at z = %g mm, the surface under it comes down to %g mm", s.BottomZ, want+0.5)
	}
	near(t, "bottom radius", s.BottomRadius, 3+(60-s.BottomZ)*math.Tan(1.5*math.Pi/180), 1e-12)
}

func TestSprueErrors(t *testing.T) {
	top := heightsOf(t, func(x, y float64) float64 { return 10 })
	cliff := heightsOf(t, func(x, y float64) float64 { return 40 * x })
	for name, f := range map[string]func() (Sprue, error){
		"beside the part": func() (Sprue, error) { return NewSprue(r2.Vec{X: 100}, 40, top, SprueOptions{}) },
		"over the edge":   func() (Sprue, error) { return NewSprue(r2.Vec{X: 58}, 40, top, SprueOptions{}) },
		"part too high":   func() (Sprue, error) { return NewSprue(r2.Vec{}, 9, top, SprueOptions{}) },
		"too steep":       func() (Sprue, error) { return NewSprue(r2.Vec{}, 100, cliff, SprueOptions{DraftDeg: 5}) },
	} {
		if _, err := f(); !errors.Is(err, ErrSprue) {
			t.Errorf("%s: error %v", name, err)
		}
	}
	if _, err := NewSprue(r2.Vec{}, 40, top, SprueOptions{TopDiameterMM: math.NaN()}); err == nil {
		t.Error("a diameter of NaN passes")
	}
}

func TestSprueAvoidsShow(t *testing.T) {
	m := fieldMesh(func(x, y float64) float64 { return 10 }, -60, -45, 60, 45)
	top := NewHeightField(m)
	s := must(NewSprue(r2.Vec{X: 25, Y: 20}, 40, top, SprueOptions{}))(t)
	show := make([]bool, len(m.Tris))
	for i := range m.Tris {
		c := m.Facet(i).Centroid()
		show[i] = c.X < 0
	}
	if c := s.AvoidsShow(top, show); !c.OK {
		t.Errorf("a sprue 25 mm from the show face: %+v", c)
	}
	s.At.X = 1
	if c := s.AvoidsShow(top, show); c.OK || c.Value < 1 {
		t.Errorf("a sprue across the show face's edge: %+v", c)
	}
}

// On a flat surface the trough is a trapezoid: area (w − h·tan draft)·h, the closed form, from the block's
// side to the part.
func TestSideSprueVolumeAndOpening(t *testing.T) {
	for _, s := range slopes {
		t.Run(s.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, s.height)
				side := must(NewSideSprue(r2.Vec{X: 60, Y: 3}, r2.Vec{X: -1}, f.shadow, SideSprueOptions{}))(t)
				near(t, "length", side.LengthMM, 45.3, 1e-12)
				tools := must(side.Tools(k, f.lower))(t)
				held := must(HeldMM3(f.upper, tools[0]))(t)
				// The same on every surface, since the trough is the flat one moved upright point by point.
				near(t, "held", held, (6-4*math.Tan(10*math.Pi/180))*4*45, 1e-9)
				up := must(Apply(f.upper, Upper, tools))(t)
				opens(t, up, Upper, f.block)
				if parts := must(up.Parts())(t); len(parts) != 1 {
					t.Errorf("the upper half falls into %d parts", len(parts))
				}
			})
		})
	}
}

func TestSideSprueErrors(t *testing.T) {
	box := Outline{rect(-15, -10, 15, 10)}
	for name, f := range map[string]func() (SideSprue, error){
		"aimed past": func() (SideSprue, error) {
			return NewSideSprue(r2.Vec{X: 60, Y: 9}, r2.Vec{X: -1}, box, SideSprueOptions{})
		},
		"grazing": func() (SideSprue, error) {
			return NewSideSprue(r2.Vec{X: 60, Y: 14}, r2.Vec{X: -1, Y: -0.08}, box, SideSprueOptions{})
		},
		"no direction": func() (SideSprue, error) { return NewSideSprue(r2.Vec{X: 60}, r2.Vec{}, box, SideSprueOptions{}) },
		"closes": func() (SideSprue, error) {
			return NewSideSprue(r2.Vec{X: 60}, r2.Vec{X: -1}, box, SideSprueOptions{DraftDeg: 40})
		},
	} {
		if _, err := f(); !errors.Is(err, ErrSprue) {
			t.Errorf("%s: error %v", name, err)
		}
	}
}
