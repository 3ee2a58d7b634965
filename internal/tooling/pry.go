package tooling

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// PryOptions sizes the notches at the outside of the parting surface that take a flat blade. The zero
// value is 10 mm wide, 8 mm deep and opens 2 mm into each half.
type PryOptions struct {
	WidthMM  float64 // along the side; default 10
	DepthMM  float64 // into the block; default 8
	OpenMM   float64 // into each half at the outside; default 2
	EndMM    float64 // into each half at the inner end, so that the blade has no feather edge to crush; default 0.5
	OneHalf  bool    // cut the lower half alone
	KeepMM   float64 // least distance to the cavity; default 4
	PerBlock int     // how many; default 2, −1 for none
}

func (o PryOptions) withDefaults() PryOptions {
	setDefault(&o.WidthMM, 10)
	setDefault(&o.DepthMM, 8)
	setDefault(&o.OpenMM, 2)
	setDefault(&o.EndMM, 0.5)
	setDefault(&o.KeepMM, 4)
	if o.PerBlock == 0 {
		o.PerBlock = 2
	}
	return o
}

// Pry is one notch. Its roof and floor are the parting surface moved up and down, less and less inward.
type Pry struct {
	At, Inward r2.Vec // on the side of the block; unit direction
	Options    PryOptions
}

// ErrPry is the cause when a pry slot cannot be cut where asked.
var ErrPry = errors.New("pry slot does not fit")

// NewPry sets a notch on the outside of the block (a side or a corner), clear of the cavity.
func NewPry(at, inward r2.Vec, shadow Outline, opt PryOptions) (Pry, error) {
	o := opt.withDefaults()
	if err := finite("pry slot", map[string]float64{"width": o.WidthMM, "depth": o.DepthMM, "opening": o.OpenMM, "end": o.EndMM, "distance to the cavity": o.KeepMM}); err != nil {
		return Pry{}, err
	}
	n := r2.Norm(inward)
	if !(n > 0) || o.WidthMM <= 0 || o.DepthMM <= 0 || o.EndMM <= 0 || o.OpenMM < o.EndMM {
		return Pry{}, fmt.Errorf("pry slot: it needs a direction, a width, a depth, and an opening no smaller than its end: %w", ErrPry)
	}
	p := Pry{At: at, Inward: r2.Scale(1/n, inward), Options: o}
	if g := gapToOutline(shape{core: p.Plan()}, shadow); short(g, o.KeepMM) {
		got, want := lengths(max(0, g), o.KeepMM)
		return Pry{}, fmt.Errorf("pry slot at (%.1f, %.1f): it comes within %s mm of the cavity, %s mm is wanted: make it less deep or the wall thicker: %w",
			at.X, at.Y, got, want, ErrPry)
	}
	return p, nil
}

// Plan is the rectangle of the notch; it starts on the side of the block.
func (p Pry) Plan() []r2.Vec { return strip(p.At, p.Inward, p.Options.DepthMM, p.Options.WidthMM) }

// Tools makes the cutters from the raw halves.
func (p Pry) Tools(k *solid.Kernel, lower0, upper0 *solid.Solid) ([]Tool, error) {
	o := p.Options
	wedge := func(q r2.Vec) float64 {
		return o.OpenMM - (o.OpenMM-o.EndMM)*r2.Dot(p.Inward, r2.Sub(q, p.At))/o.DepthMM
	}
	// At a corner the rectangle starts half its width outside, so that it takes the whole corner.
	plan := [][]r2.Vec{strip(r2.Sub(p.At, r2.Scale(o.WidthMM/2, p.Inward)), p.Inward, o.DepthMM+o.WidthMM/2, o.WidthMM)}
	low, err := follow(k, upper0, Upper, plan, wedge)
	if err != nil {
		return nil, fmt.Errorf("pry slot at (%.1f, %.1f): %w", p.At.X, p.At.Y, err)
	}
	tools := []Tool{{Half: Lower, Solid: low}}
	if !o.OneHalf {
		up, err := follow(k, lower0, Lower, plan, wedge)
		if err != nil {
			return nil, fmt.Errorf("pry slot at (%.1f, %.1f): %w", p.At.X, p.At.Y, err)
		}
		tools = append(tools, Tool{Half: Upper, Solid: up})
	}
	return tools, nil
}

// Feature describes the notch; z is the height of the parting surface at the side.
func (p Pry) Feature(name string, z float64) Feature {
	piece := "both"
	if p.Options.OneHalf {
		piece = Lower.String()
	}
	return Feature{Name: name, Kind: "pry slot", Piece: piece, At: r3.Vec{X: p.At.X, Y: p.At.Y, Z: z},
		SizesMM: []Size{{"width", p.Options.WidthMM}, {"depth", p.Options.DepthMM}, {"opening in each half", p.Options.OpenMM}},
		Words:   fmt.Sprintf("pry slot for a flat blade, %.1f mm wide, %.1f mm deep", p.Options.WidthMM, p.Options.DepthMM)}
}
