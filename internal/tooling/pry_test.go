package tooling

import (
	"errors"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/solid"
)

// A notch is a wedge of mean height (opening + end)/2: the same volume on every surface, since its roof
// is the surface moved upright.
func TestPryVolumeAndOpening(t *testing.T) {
	for _, s := range slopes {
		t.Run(s.name, func(t *testing.T) {
			withKernel(t, func(k *solid.Kernel) {
				f := newFixture(t, k, s.height)
				p := must(NewPry(r2.Vec{X: 10, Y: -45}, r2.Vec{Y: 1}, f.shadow, PryOptions{}))(t)
				tools := must(p.Tools(k, f.lower, f.upper))(t)
				near(t, "lower", heldBy(t, f.lower, Lower, tools), 10*8*(2+0.5)/2, 1e-9)
				near(t, "upper", heldBy(t, f.upper, Upper, tools), 10*8*(2+0.5)/2, 1e-9)
				opens(t, must(Apply(f.lower, Lower, tools))(t), Lower, f.block)
				opens(t, must(Apply(f.upper, Upper, tools))(t), Upper, f.block)
			})
		})
	}
}

func TestPryAtACorner(t *testing.T) {
	withKernel(t, func(k *solid.Kernel) {
		f := newFixture(t, k, slopes[2].height)
		p := must(NewPry(r2.Vec{X: 60, Y: 45}, r2.Vec{X: -1, Y: -1}, f.shadow, PryOptions{OneHalf: true}))(t)
		tools := must(p.Tools(k, f.lower, f.upper))(t)
		if len(tools) != 1 || tools[0].Half != Lower {
			t.Fatalf("one half asked, got %+v", tools)
		}
		// In plan: the strip 8 deep and 10 wide on the diagonal, cut by the corner. Up to u = 5 along
		// the diagonal the corner is the narrower (width 2u), from there the strip (width 10). The
		// height is 2 − 1.5·u/8, so the volume is ∫₀⁵ 2u(2 − 0.1875u)du + ∫₅⁸ 10(2 − 0.1875u)du.
		first := 2*25.0 - 0.1875*2*125/3
		second := 10 * (2*3 - 0.1875*(64-25)/2)
		near(t, "corner", heldBy(t, f.lower, Lower, tools), first+second, 1e-9)
		opens(t, must(Apply(f.lower, Lower, tools))(t), Lower, f.block)
	})
}

func TestPryKeepsClearOfTheCavity(t *testing.T) {
	shadow := Outline{rect(-15, -10, 15, 10)}
	// From a side 20 mm off the middle, 8 mm deep: 2 mm are left to the part at y = −10.
	if _, err := NewPry(r2.Vec{Y: -20}, r2.Vec{Y: 1}, shadow, PryOptions{}); !errors.Is(err, ErrPry) {
		t.Errorf("error %v", err)
	}
	if _, err := NewPry(r2.Vec{Y: -22}, r2.Vec{Y: 1}, shadow, PryOptions{}); err != nil {
		t.Errorf("4 mm left, 4 mm asked: %v", err)
	}
}
