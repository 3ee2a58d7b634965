package tooling

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// BoltOptions says which screw holds the halves together and how it sits. The zero value is an M4 cap
// screw with its head in a counterbore on top, on a washer, and a nut in a pocket underneath.
type BoltOptions struct {
	Thread          string  // "M3" … "M8"; default M4
	HeadOnTop       bool    // leave the head on the upper face instead of in a counterbore
	NoWasher        bool    // seat the head straight on the mould
	NutClearanceMM  float64 // added across flats for printing; default 0.2
	NutAllowanceMM  float64 // pocket deeper than the nut by this; default 0.3
	HeadClearanceMM float64 // added to the diameter of the counterbore; default 0.6
	MinWallMM       float64 // least wall between the parting surface and a seat; default 3
	SinkMM          float64 // how much deeper than needed pocket and counterbore may each go to meet a standard screw; default 20
}

func (o BoltOptions) withDefaults() BoltOptions {
	if o.Thread == "" {
		o.Thread = "M4"
	}
	setDefault(&o.NutClearanceMM, 0.2)
	setDefault(&o.NutAllowanceMM, 0.3)
	setDefault(&o.HeadClearanceMM, 0.6)
	setDefault(&o.MinWallMM, 3)
	setDefault(&o.SinkMM, 20)
	return o
}

// setDefault fills a size that was left at zero.
func setDefault(v *float64, d float64) {
	if *v == 0 {
		*v = d
	}
}

// Bolt is one choice of screw for a block height, with the pockets that suit it.
type Bolt struct {
	Thread        Thread
	Options       BoltOptions
	LengthMM      float64 // nominal length of the screw
	GripMM        float64 // mould between the two seats
	PocketMM      float64 // depth of the nut pocket in the lower face
	CounterboreMM float64 // depth of the counterbore in the upper face; 0 with the head on top
	WasherMM      float64 // washer under the head; 0 without
	Words         string
}

// ErrNoBolt is the cause when no standard screw fits.
var ErrNoBolt = errors.New("no standard screw fits")

// FindThread looks a size up by name, "m4" or "M4".
func FindThread(name string) (Thread, error) {
	var known []string
	for _, t := range threads {
		if strings.EqualFold(t.Name, name) {
			t.LengthsMM = append([]float64(nil), t.LengthsMM...)
			return t, nil
		}
		known = append(known, t.Name)
	}
	return Thread{}, fmt.Errorf("bolt size %q is not known: use one of %s", name, strings.Join(known, ", "))
}

// tailPitches is how far a screw must stand through its nut, in pitches: the first threads of a screw
// are not full. Common practice, no source.
const tailPitches = 1

// ChooseBolt picks the longest standard screw that stays inside a block of height blockMM, and sinks the
// nut to meet it: the nut pocket is as deep as the nut needs or deeper, so that the screw always stands
// a pitch through the nut and never out of the lower face. What the pocket may not sink, the counterbore
// does.
func ChooseBolt(blockMM float64, opt BoltOptions) (Bolt, error) {
	o := opt.withDefaults()
	t, err := FindThread(o.Thread)
	if err != nil {
		return Bolt{}, err
	}
	if err := finite("bolt", map[string]float64{"block height": blockMM, "nut clearance": o.NutClearanceMM,
		"nut allowance": o.NutAllowanceMM, "head clearance": o.HeadClearanceMM, "least wall": o.MinWallMM, "sinking": o.SinkMM}); err != nil {
		return Bolt{}, err
	}
	b := Bolt{Thread: t, Options: o}
	if !o.NoWasher {
		b.WasherMM = t.WasherMM
	}
	if !o.HeadOnTop {
		b.CounterboreMM = t.HeadHighMM + b.WasherMM + o.NutAllowanceMM
	}
	// From under the head to the lower face of the block.
	reach := blockMM - b.CounterboreMM + b.WasherMM
	least := t.NutHighMM + o.NutAllowanceMM
	for _, l := range t.LengthsMM {
		if l <= reach {
			b.LengthMM = l
		}
	}
	b.PocketMM = max(least, reach+t.NutHighMM+tailPitches*t.PitchMM-b.LengthMM)
	surplus := max(0, b.PocketMM-least-o.SinkMM)
	b.PocketMM -= surplus
	if surplus > 0 && !o.HeadOnTop {
		b.CounterboreMM += surplus
	}
	b.GripMM = blockMM - b.CounterboreMM - b.PocketMM
	switch {
	case b.LengthMM == 0 || short(b.GripMM, 2*o.MinWallMM):
		return Bolt{}, fmt.Errorf("%s in a block %.1f mm high leaves %.1f mm between the seats, %.1f mm is needed: "+
			"make the block higher, use a smaller thread or leave the head on top: %w", t.Name, blockMM, max(0, b.GripMM), 2*o.MinWallMM, ErrNoBolt)
	case surplus > o.SinkMM || (surplus > 0 && o.HeadOnTop):
		return Bolt{}, fmt.Errorf("%s in a block %.1f mm high: the longest standard screw, %g mm, is too short: use a larger thread, which comes longer, or allow deeper pockets: %w",
			t.Name, blockMM, b.LengthMM, ErrNoBolt)
	}
	b.Words = b.words()
	return b, nil
}

func (b Bolt) words() string {
	w := fmt.Sprintf("%s × %g cap screw (ISO 4762), hex nut (ISO 4032)", b.Thread.Name, b.LengthMM)
	if b.WasherMM > 0 {
		w += ", washer (ISO 7089) under the head"
	}
	w += fmt.Sprintf("; hole %.1f mm (ISO 273 medium), grip %.1f mm, nut pocket %.1f mm deep", b.Thread.HoleMM, b.GripMM, b.PocketMM)
	if extra := b.PocketMM - b.Thread.NutHighMM - b.Options.NutAllowanceMM; extra > 0.05 {
		w += fmt.Sprintf(" (%.1f mm more than the nut needs, so that a standard length reaches)", extra)
	}
	return w + fmt.Sprintf("; %g mm hexagon key", b.Thread.KeyMM)
}

// PocketFlatsMM is the nut pocket's width across flats.
func (b Bolt) PocketFlatsMM() float64 { return b.Thread.NutFlatsMM + b.Options.NutClearanceMM }

// headRadiusMM is the radius that head or washer need.
func (b Bolt) headRadiusMM() float64 {
	d := b.Thread.HeadDiamMM
	if b.WasherMM > 0 {
		d = max(d, b.Thread.WasherDiaMM)
	}
	return (d + b.Options.HeadClearanceMM) / 2
}

// RadiusMM is the radius of the circle about all that the bolt cuts out, in plan.
func (b Bolt) RadiusMM() float64 {
	return max(b.PocketFlatsMM()/math.Sqrt(3), b.headRadiusMM(), b.Thread.HoleMM/2)
}

// Tools makes the cutters for a bolt at a place in plan.
func (b Bolt) Tools(k *solid.Kernel, at r2.Vec, block r3.Box) ([]Tool, error) {
	z0, z1 := block.Min.Z, block.Max.Z
	hole := b.Thread.HoleMM / 2
	n := circleSegments(hole)
	shaft := [][]r2.Vec{around(at, hole, n)}
	low, err := prisms(k,
		slab{shaft, z0 - overshootMM, z1 + overshootMM},
		slab{[][]r2.Vec{around(at, b.PocketFlatsMM()/2, 6)}, z0 - overshootMM, z0 + b.PocketMM})
	if err != nil {
		return nil, fmt.Errorf("bolt at (%.1f, %.1f): %w", at.X, at.Y, err)
	}
	high := []slab{{shaft, z0 - overshootMM, z1 + overshootMM}}
	if b.CounterboreMM > 0 {
		r := b.headRadiusMM()
		high = append(high, slab{[][]r2.Vec{around(at, r, circleSegments(r))}, z1 - b.CounterboreMM, z1 + overshootMM})
	}
	up, err := prisms(k, high...)
	if err != nil {
		return nil, fmt.Errorf("bolt at (%.1f, %.1f): %w", at.X, at.Y, err)
	}
	return []Tool{{Half: Lower, Solid: low}, {Half: Upper, Solid: up}}, nil
}

// slab is an upright prism between two heights.
type slab struct {
	loops  [][]r2.Vec
	z0, z1 float64
}

// prisms is the union of upright prisms.
func prisms(k *solid.Kernel, slabs ...slab) (*solid.Solid, error) {
	var all []*solid.Solid
	for _, s := range slabs {
		p, err := k.Prism(s.loops, s.z0, s.z1)
		if err != nil {
			return nil, err
		}
		all = append(all, p)
	}
	if len(all) == 1 {
		return all[0], nil
	}
	return all[0].Union(all[1:]...)
}

// Walls checks the mould left between the parting surface and the two seats: that is what the bolt
// clamps, and a thin seat breaks out.
func (b Bolt) Walls(at r2.Vec, block r3.Box, surface *HeightField) (Check, error) {
	r := b.RadiusMM()
	lo, hi, whole := surface.Range(around(at, r, circleSegments(r)))
	if !whole {
		return Check{}, fmt.Errorf("bolt at (%.1f, %.1f): the parting surface does not run under all of it: move it clear of the part and inside the block", at.X, at.Y)
	}
	under, over := lo-(block.Min.Z+b.PocketMM), block.Max.Z-b.CounterboreMM-hi
	c := Check{Name: "bolt seat wall", Value: min(under, over), Limit: b.Options.MinWallMM, Unit: "mm"}
	c.OK = !short(c.Value, c.Limit)
	c.Words = fmt.Sprintf("bolt at (%.1f, %.1f): %.1f mm of mould over the nut, %.1f mm under the head; at least %.1f mm is wanted", at.X, at.Y, under, over, c.Limit)
	return c, nil
}

// Feature describes the bolt for drawings and the ledger.
func (b Bolt) Feature(name string, at r2.Vec, block r3.Box) Feature {
	return Feature{Name: name, Kind: "bolt", Piece: "both", At: r3.Vec{X: at.X, Y: at.Y, Z: block.Min.Z},
		SizesMM: []Size{
			{"screw length", b.LengthMM}, {"hole", b.Thread.HoleMM}, {"grip", b.GripMM},
			{"nut pocket across flats", b.PocketFlatsMM()}, {"nut pocket depth", b.PocketMM},
			{"counterbore", 2 * b.headRadiusMM()}, {"counterbore depth", b.CounterboreMM},
		},
		Words: b.Words}
}

// finite rejects sizes that are not finite or below zero, naming the first in the order of their names.
func finite(what string, sizes map[string]float64) error {
	bad := ""
	for name, v := range sizes {
		if !(v >= 0) || math.IsInf(v, 0) {
			if bad == "" || name < bad {
				bad = name
			}
		}
	}
	if bad != "" {
		return fmt.Errorf("%s: the %s is %g mm: give a length of zero or more", what, bad, sizes[bad])
	}
	return nil
}
