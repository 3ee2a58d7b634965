package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// GutterOptions sizes the overflow gutter: a trough in the lower half around the part that takes what is
// squeezed out over the land. The zero value is 5 mm wide, 2 mm deep, 3 mm from the part.
type GutterOptions struct {
	LandMM   float64 // parting surface between the part and the gutter; default 3
	WidthMM  float64 // at the parting surface; default 5
	VolumeML float64 // to hold; 0: DepthMM rules
	DepthMM  float64 // used when VolumeML is 0; default 2
	DraftDeg float64 // mean draft of the sides, made in steps; default 10
	Steps    int     // default 4
	FloorMM  float64 // least lower half left under it; default 3
	EdgeMM   float64 // least wall to the outside of the block; default 3
}

func (o GutterOptions) withDefaults() GutterOptions {
	setDefault(&o.LandMM, 3)
	setDefault(&o.WidthMM, 5)
	setDefault(&o.DepthMM, 2)
	setDefault(&o.DraftDeg, 10)
	setDefault(&o.FloorMM, 3)
	setDefault(&o.EdgeMM, 3)
	if o.Steps == 0 {
		o.Steps = 4
	}
	return o
}

// Gutter is a gutter as cut.
type Gutter struct {
	Options   GutterOptions
	DepthMM   float64
	AskedMM3  float64 // 0 when a depth was asked
	HeldMM3   float64 // measured on the lower half
	Narrowest float64 // width of the bottom, mm
	At        r3.Vec  // a place in it
}

// ErrGutter is the cause when the gutter cannot hold what is asked where it is asked.
var ErrGutter = errors.New("gutter does not fit")

// leastBottomMM is the least width of the gutter's floor: narrower, a brush with release does not reach.
// Common practice, no source.
const leastBottomMM = 1.0

// NewGutter cuts the gutter around shadow (the part's outline in plan; its holes are left alone), clear
// of the counter-clockwise loops in keepOff (bolts, keys, a side sprue). The trough follows the parting
// surface: its floor is that surface lowered.
func NewGutter(k *solid.Kernel, raw RawHalves, shadow Outline, keepOff [][]r2.Vec, opt GutterOptions) (Gutter, []Tool, error) {
	o := opt.withDefaults()
	if err := finite("gutter", map[string]float64{"land": o.LandMM, "width": o.WidthMM, "volume": o.VolumeML, "depth": o.DepthMM, "draft": o.DraftDeg}); err != nil {
		return Gutter{}, nil, err
	}
	if o.WidthMM <= leastBottomMM || o.DraftDeg >= 60 || o.Steps < 1 || o.Steps > 64 {
		return Gutter{}, nil, fmt.Errorf("gutter: %.1f mm wide with %.0f° draft in %d steps: give a width over %.1f mm, a draft under 60° and 1 to 64 steps: %w",
			o.WidthMM, o.DraftDeg, o.Steps, leastBottomMM, ErrGutter)
	}
	g := Gutter{Options: o, AskedMM3: o.VolumeML * 1000, DepthMM: o.DepthMM}
	b := trough{k: k, shadow: shadow.Outer(), block: raw.Block, keepOff: keepOff, opt: o}
	if o.VolumeML > 0 {
		var err error
		if g.DepthMM, err = b.depthFor(g.AskedMM3); err != nil {
			return Gutter{}, nil, err
		}
	} else if b.inset(g.DepthMM) > b.deepestInset() {
		return Gutter{}, nil, fmt.Errorf("gutter: %.1f mm deep with %.0f° draft closes a width of %.1f mm: make it wider or less deep: %w", g.DepthMM, o.DraftDeg, o.WidthMM, ErrGutter)
	}
	g.Narrowest = o.WidthMM - 2*b.inset(g.DepthMM)
	t, err := b.cutter(raw.Upper, g.DepthMM)
	if err != nil {
		return Gutter{}, nil, err
	}
	tool := Tool{Half: Lower, Solid: t}
	if g.HeldMM3, err = HeldMM3(raw.Lower, tool); err != nil {
		return Gutter{}, nil, fmt.Errorf("gutter: %w", err)
	}
	box, err := t.Bounds()
	if err != nil {
		return Gutter{}, nil, fmt.Errorf("gutter: %w", err)
	}
	if floor := box.Min.Z - raw.Block.Min.Z; short(floor, o.FloorMM) {
		got, want := lengths(floor, o.FloorMM)
		return Gutter{}, nil, fmt.Errorf("gutter: %.1f mm deep, it leaves %s mm under it, %s mm is wanted: make the lower half thicker, or the gutter wider: %w",
			g.DepthMM, got, want, ErrGutter)
	}
	g.At = r3.Vec{X: box.Min.X + o.WidthMM/2, Y: (box.Min.Y + box.Max.Y) / 2, Z: box.Min.Z}
	return g, []Tool{tool}, nil
}

// Feature describes the gutter for drawings and the ledger.
func (g Gutter) Feature(name string) Feature {
	w := fmt.Sprintf("overflow gutter, %.1f mm wide, %.2f mm deep, holds %.2f mL", g.Options.WidthMM, g.DepthMM, g.HeldMM3/1000)
	if g.AskedMM3 > 0 {
		w += fmt.Sprintf(" (%.2f mL asked)", g.AskedMM3/1000)
	}
	return Feature{Name: name, Kind: "gutter", Piece: Lower.String(), At: g.At, VolumeMM3: g.HeldMM3, Words: w,
		SizesMM: []Size{{"land", g.Options.LandMM}, {"width", g.Options.WidthMM}, {"depth", g.DepthMM}}}
}

// trough makes the plan of the gutter at each depth.
type trough struct {
	k       *solid.Kernel
	shadow  Outline
	block   r3.Box
	keepOff [][]r2.Vec
	opt     GutterOptions
}

// inset is how far each side has come in at a depth.
func (b *trough) inset(depth float64) float64 {
	return depth * math.Tan(b.opt.DraftDeg*math.Pi/180)
}

func (b *trough) deepestInset() float64 { return (b.opt.WidthMM - leastBottomMM) / 2 }

// plan is the gutter's region with both sides brought in.
func (b *trough) plan(inset float64) (*solid.Region, error) {
	s, err := b.k.Region(b.shadow)
	if err != nil {
		return nil, err
	}
	out, err := s.Offset(b.opt.LandMM+b.opt.WidthMM-inset, true)
	if err != nil {
		return nil, err
	}
	in, err := s.Offset(b.opt.LandMM+inset, true)
	if err != nil {
		return nil, err
	}
	if out, err = out.Subtract(in); err != nil {
		return nil, err
	}
	e := b.opt.EdgeMM + inset
	lo, hi := b.block.Min, b.block.Max
	room, err := b.k.Region([][]r2.Vec{{{X: lo.X + e, Y: lo.Y + e}, {X: hi.X - e, Y: lo.Y + e}, {X: hi.X - e, Y: hi.Y - e}, {X: lo.X + e, Y: hi.Y - e}}})
	if err != nil {
		return nil, err
	}
	if out, err = out.Intersect(room); err != nil {
		return nil, err
	}
	if len(b.keepOff) == 0 {
		return out, nil
	}
	off, err := b.k.Region(b.keepOff)
	if err != nil {
		return nil, err
	}
	if off, err = off.Offset(inset, true); err != nil {
		return nil, err
	}
	return out.Subtract(off)
}

// volume is that of the stepped trough at a depth: each step is as wide as a true slope would be at
// half its height, so the volume is that of the true slope to second order in the step.
func (b *trough) volume(depth float64) (float64, error) {
	v := 0.0
	for i := range b.opt.Steps {
		r, err := b.plan(b.inset(b.mid(i, depth)))
		if err != nil {
			return 0, err
		}
		a, err := r.AreaMM2()
		if err != nil {
			return 0, err
		}
		v += a * depth / float64(b.opt.Steps)
	}
	return v, nil
}

func (b *trough) mid(step int, depth float64) float64 {
	return depth * (float64(step) + 0.5) / float64(b.opt.Steps)
}

// volumeTol is the relative error to which the depth is solved: far under what anyone can pour.
const volumeTol = 1e-5

// depthFor solves for the depth that holds v mm³. The volume rises with the depth as long as the floor
// has width, so the bracket from zero to the deepest trough holds the answer or there is none.
func (b *trough) depthFor(v float64) (float64, error) {
	lo, hi := 0.0, b.block.Max.Z-b.block.Min.Z
	if t := math.Tan(b.opt.DraftDeg * math.Pi / 180); t > 0 {
		hi = min(hi, b.deepestInset()/t)
	}
	vlo, vhi := -v, 0.0
	most, err := b.volume(hi)
	if err != nil {
		return 0, fmt.Errorf("gutter: %w", err)
	}
	if vhi = most - v; vhi < 0 {
		return 0, fmt.Errorf("gutter: %.1f mm wide it holds %.2f mL at most, %.2f mL is asked: make it wider or the block larger: %w",
			b.opt.WidthMM, most/1000, v/1000, ErrGutter)
	}
	// Regula falsi with the Illinois halving: a handful of rounds on a nearly straight curve.
	const rounds = 60
	d := hi
	for range rounds {
		d = (lo*vhi - hi*vlo) / (vhi - vlo)
		got, err := b.volume(d)
		if err != nil {
			return 0, fmt.Errorf("gutter: %w", err)
		}
		switch f := got - v; {
		case math.Abs(f) <= volumeTol*v:
			return d, nil
		case f < 0:
			lo, vlo, vhi = d, f, vhi/2
		default:
			hi, vhi, vlo = d, f, vlo/2
		}
	}
	return d, nil
}

// cutter is the union of the steps, each following the parting surface.
func (b *trough) cutter(upper0 *solid.Solid, depth float64) (*solid.Solid, error) {
	var steps []*solid.Solid
	var col column
	for i := range b.opt.Steps {
		r, err := b.plan(b.inset(b.mid(i, depth)))
		if err != nil {
			return nil, fmt.Errorf("gutter: %w", err)
		}
		loops, err := r.Loops()
		if err != nil {
			return nil, fmt.Errorf("gutter: %w", err)
		}
		if len(loops) == 0 {
			return nil, fmt.Errorf("gutter: there is no room for it between the part and the edge of the block: make the block larger: %w", ErrGutter)
		}
		// The steps narrow, so each column is cut out of the one before, which has few facets.
		if i == 0 {
			col, err = newColumn(b.k, upper0, Upper, loops)
		} else {
			col, err = col.within(loops)
		}
		if err != nil {
			return nil, fmt.Errorf("gutter: %w", err)
		}
		col.reach = b.opt.Steps - i
		down := depth * float64(i+1) / float64(b.opt.Steps)
		s, err := col.moved(func(r2.Vec) float64 { return down })
		if err != nil {
			return nil, fmt.Errorf("gutter: %w", err)
		}
		steps = append(steps, s)
	}
	t, err := b.k.Union(steps...)
	if err != nil {
		return nil, fmt.Errorf("gutter: %w", err)
	}
	return t, nil
}
