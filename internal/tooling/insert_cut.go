package tooling

import (
	"context"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// insertBodies are the raw bodies in the kernel. A body of the pouring stage is as much larger as the
// silicone shrinks.
type insertBodies struct {
	block         *solid.Solid
	lower, upper  *solid.Solid // casting stage, raw
	pourLower     *solid.Solid // pouring stage, raw: cradle and insert in one
	pourUpper     *solid.Solid // the pattern cap
	outer         *solid.Solid // the insert's outer shape with its pegs
	poured, cured *solid.Solid // the insert
	around        RawHalves    // over and under the parting surface, without the part
}

// cut makes the pieces and measures the space between them.
func (b *insertMould) cut(ctx context.Context, k *solid.Kernel) error {
	v, err := b.bodies(k)
	if err != nil {
		return err
	}
	h := fittings{mould: b.mould, layout: b.layout, bolt: b.bolt, field: b.field, outline: b.outline, keyClearanceMM: b.opt.KeyClearance, prySlots: b.opt.PrySlots}
	dry, err := h.shares(k, v.around)
	if err != nil {
		return err
	}
	b.opt.Progress.tell("cutting the pieces", 0.5)
	ports, err := sprueTools(k, b.ports)
	if err != nil {
		return err
	}
	vents, err := sprueTools(k, b.vents)
	if err != nil {
		return err
	}
	gutter, err := b.overflow(k, v.around)
	if err != nil {
		return err
	}
	cradle, err := v.pourLower.Subtract(v.outer)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", Cradle, err)
	}
	finished := [3]*solid.Solid{}
	for i, p := range []struct {
		name  string
		raw   *solid.Solid
		h     Half
		tools []Tool
	}{
		{Cradle, cradle, Lower, append(allTools(dry), b.labels(k, Cradle, Lower)...)},
		{PatternCap, v.pourUpper, Upper, append(append(allTools(dry), ports...), b.labels(k, PatternCap, Upper)...)},
		{CastingCap, v.upper, Upper, append(append(append(allTools(dry), vents...), gutter...), b.labels(k, CastingCap, Upper)...)},
	} {
		if finished[i], err = Apply(p.raw, p.h, p.tools); err != nil {
			return fmt.Errorf("tooling: %s: %w", p.name, err)
		}
		exit := 1.0
		if p.h == Lower {
			exit = -1
		}
		if err := b.mould.addPiece(ctx, p.name, finished[i], exit); err != nil {
			return err
		}
	}
	if b.labelErr != nil {
		return b.labelErr
	}
	if err := b.mould.addPiece(ctx, InsertBody, v.cured, -1); err != nil {
		return err
	}
	b.opt.Progress.tell("adding up volumes", 0.6)
	return b.account(k, v, insertSpaces{dry: dry, ports: ports, vents: vents, gutter: gutter, cradle: finished[0], pattern: finished[1], casting: finished[2]})
}

// bodies brings the raw bodies into the kernel, those of the pouring stage at their own size.
func (b *insertMould) bodies(k *solid.Kernel) (v insertBodies, err error) {
	l := loader{k: k}
	high, low := aprons(b.mould.Surface, b.mould.Block)
	v.around = RawHalves{Block: b.mould.Block, Lower: l.load("under the parting surface", low), Upper: l.load("over the parting surface", high)}
	v.lower, v.upper = l.load("under the cap", b.lower), l.load(CastingCap, b.upper)
	if b.grow == 1 {
		v.pourLower, v.pourUpper = v.lower, l.load(PatternCap, b.pattern)
	} else {
		v.pourLower, v.pourUpper = l.load("under the pattern cap", b.lower.Map(b.grown)), l.load(PatternCap, b.pattern.Map(b.grown))
	}
	shell := apron(&Surface{Verts: b.sheet.Verts, Tris: b.sheet.Tris}, b.sheet.TopMM+overshootMM, true)
	b.out.Outer = b.sheet.Mesh()
	v.outer = l.load(InsertBody, compact(shell))
	if l.err != nil {
		return v, l.err
	}
	if v.block, err = k.Box(b.mould.Block); err != nil {
		return v, fmt.Errorf("tooling: %w", err)
	}
	if b.grow != 1 {
		for _, s := range []**solid.Solid{&v.pourLower, &v.pourUpper} {
			if *s, err = (*s).Intersect(v.block); err != nil {
				return v, fmt.Errorf("tooling: pouring stage: %w", err)
			}
		}
	}
	if v.outer, err = b.withPegs(k, v.outer); err != nil {
		return v, err
	}
	if b.shell, err = v.outer.Mesh(); err != nil {
		return v, fmt.Errorf("tooling: %s: %w", InsertBody, err)
	}
	if v.poured, err = v.pourLower.Intersect(v.outer); err != nil {
		return v, fmt.Errorf("tooling: %s: %w", InsertBody, err)
	}
	v.cured, err = b.cure(v)
	return v, err
}

// cure is the insert at the size of the casting stage: its outer shape shrunk, cut out of what lies under
// the casting cap, so that it meets cap and casting on the very same facets.
func (b *insertMould) cure(v insertBodies) (*solid.Solid, error) {
	if b.grow == 1 {
		return v.poured, nil
	}
	outer, err := swollenSolid(v.outer, 1/b.grow, b.lineZ())
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", InsertBody, err)
	}
	out, err := v.lower.Intersect(outer)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", InsertBody, err)
	}
	return out, nil
}

const (
	// Pegs of the insert stand in the cradle's floor under the ring; they narrow downward.
	pegMM, pegTipMM, pegDraftDeg = 4.0, 1.8, 8.0
	// leastPegMM3 is the least that a peg must add to count: a tenth of a full one.
	leastPegMM3 = 5.0
)

// pegShares are where pegs stand along the ring: unevenly, so that the insert goes in one way only.
var pegShares = []float64{0, 0.3, 0.64, 0.15, 0.47, 0.82}

// withPegs adds the pegs that hold the insert in place in the cradle. They widen upward all the way, so
// they lift out with the rest.
func (b *insertMould) withPegs(k *solid.Kernel, outer *solid.Solid) (*solid.Solid, error) {
	spots := slices.Concat(b.many.rings(b.mould.Shadow, b.opt.ringMM()+b.opt.InsertMM/3)...)
	slope := math.Tan(pegDraftDeg * math.Pi / 180)
	var pegs []*solid.Solid
	for i := range max(0, min(b.opt.SoftKeys, len(pegShares))) {
		if len(spots) == 0 {
			break
		}
		at := spots[int(pegShares[i]*float64(len(spots)))]
		z, ok := b.field.At(at)
		if !ok {
			continue
		}
		low, high := z-b.opt.InsertMM-pegMM, b.sheet.TopMM+overshootMM
		peg, err := k.Frustum(r3.Vec{X: at.X, Y: at.Y, Z: low}, r3.Vec{Z: high - low}, pegTipMM, pegTipMM+(high-low)*slope, circleSegments(pegTipMM))
		if err != nil {
			return nil, fmt.Errorf("tooling: peg %d: %w", i+1, err)
		}
		added, err := volumeOf(peg.Subtract(outer))
		if err != nil {
			return nil, err
		}
		if added < leastPegMM3 || !b.outline.Contains(at) {
			continue
		}
		pegs = append(pegs, peg)
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("N%d", len(pegs)), Kind: "soft key", Piece: Cradle, At: r3.Vec{X: at.X, Y: at.Y, Z: low},
			SizesMM: []Size{{"tip diameter", 2 * pegTipMM}, {"under the insert", pegMM}}, Words: fmt.Sprintf("peg of the insert in the cradle, %.1f mm at the tip", 2*pegTipMM)})
	}
	if len(pegs) < min(2, b.opt.SoftKeys) {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("only %d of %d pegs found a place under the insert; its own shape must hold it in the cradle", len(pegs), b.opt.SoftKeys))
	}
	if len(pegs) == 0 {
		return outer, nil
	}
	out, err := outer.Union(pegs...)
	if err != nil {
		return nil, fmt.Errorf("tooling: pegs: %w", err)
	}
	return out, nil
}

func sprueTools(k *solid.Kernel, sprues []Sprue) (out []Tool, err error) {
	for _, s := range sprues {
		t, err := s.Tools(k)
		if err != nil {
			return nil, fmt.Errorf("tooling: %w", err)
		}
		out = append(out, t...)
	}
	return out, nil
}

// labels letters a piece on its side of the seam. An error is kept for later, so that the list of pieces
// reads as one.
func (b *insertMould) labels(k *solid.Kernel, piece string, h Half) []Tool {
	spot := b.layout.Label
	if spot == nil || b.labelErr != nil {
		return nil
	}
	z0, z1 := b.mould.Block.Min.Z, b.boundary[0]
	if h == Upper {
		z0, z1 = b.boundary[1], b.mould.Block.Max.Z
	}
	opt := b.opt.Label
	opt.Text += " " + piece
	l, err := NewLabel(LabelFace{Centre: r3.Vec{X: spot.At.X, Y: spot.At.Y, Z: (z0 + z1) / 2}, Normal: r3.Vec{X: spot.Outward.X, Y: spot.Outward.Y},
		WidthMM: spot.WidthMM, HeightMM: z1 - z0, BehindMM: spot.BehindMM}, opt)
	if err != nil {
		b.labelErr = fmt.Errorf("tooling: %w", err)
		return nil
	}
	t, err := l.Tools(k, h)
	if err != nil {
		b.labelErr = fmt.Errorf("tooling: %w", err)
		return nil
	}
	b.lettered[piece] = t
	f := l.Feature(fmt.Sprintf("L%d", len(b.lettered)), h)
	f.Piece = piece
	b.mould.Features = append(b.mould.Features, f)
	return t
}

// overflowStepMM is how much narrower the roof of the overflow gutter is on each side, so that what cures
// in it lifts out.
const overflowStepMM = 0.5

// overflow cuts the gutter into the casting cap, over the silicone: a land presses on the insert round
// the part, and what is squeezed past it collects behind. Two holes let the air out of it.
func (b *insertMould) overflow(k *solid.Kernel, around RawHalves) ([]Tool, error) {
	o := b.opt
	var all []*solid.Solid
	for i := range 2 {
		inset := float64(i) * overflowStepMM
		plan, err := ringPlan(k, Outline(b.mould.Shadow).Outer(), o.LandMM+inset, o.LandMM+o.OverflowMM-inset, b.ridgeMM())
		if err != nil {
			return nil, err
		}
		depth := o.OverflowDMM * float64(i+1) / 2
		s, err := follow(k, around.Lower, Lower, plan, func(r2.Vec) float64 { return depth })
		if err != nil {
			return nil, fmt.Errorf("tooling: overflow gutter: %w", err)
		}
		all = append(all, s)
	}
	rings := b.many.rings(b.mould.Shadow, o.LandMM+o.OverflowMM/2)
	for i := range 2 * len(rings) { // two on each
		spots := rings[i/2]
		if len(spots) == 0 {
			continue
		}
		at := spots[i%2*len(spots)/2]
		s, err := NewSprue(at, b.mould.Block.Max.Z, b.field, SprueOptions{TopDiameterMM: bleedMM, DraftDeg: VentOptions().DraftDeg})
		if err != nil {
			continue // steep there: one hole, or none, lets the air out more slowly
		}
		t, err := s.Tools(k)
		if err != nil {
			return nil, fmt.Errorf("tooling: overflow gutter: %w", err)
		}
		all = append(all, t[0].Solid)
		b.mould.Features = append(b.mould.Features, s.Feature(fmt.Sprintf("O%d", i+1), "overflow bleed", 0))
	}
	u, err := k.Union(all...)
	if err != nil {
		return nil, fmt.Errorf("tooling: overflow gutter: %w", err)
	}
	return []Tool{{Half: Upper, Solid: u}}, nil
}

// bleedMM is the diameter of the holes that let the air out of the overflow gutter.
const bleedMM = 1.6

// ridgeMM is the least width of what stands between the overflow gutters of two cavities: less would not
// print, so they are one there.
func (b *insertMould) ridgeMM() float64 {
	if b.many == nil {
		return 0
	}
	return b.opt.LeastWallMM + 2*overflowStepMM
}

// ringPlan is the plan between two distances outside an outline. Ridges narrower than ridgeMM between the
// outer edges of two rings belong to it.
func ringPlan(k *solid.Kernel, o Outline, from, to, ridgeMM float64) ([][]r2.Vec, error) {
	r, err := k.Region(o)
	if err != nil {
		return nil, fmt.Errorf("tooling: ring: %w", err)
	}
	in, err := r.Offset(from, true)
	if err != nil {
		return nil, fmt.Errorf("tooling: ring: %w", err)
	}
	out, err := r.Offset(to+ridgeMM/2, true)
	if err != nil {
		return nil, fmt.Errorf("tooling: ring: %w", err)
	}
	if ridgeMM > 0 {
		if out, err = out.Offset(-ridgeMM/2, true); err != nil {
			return nil, fmt.Errorf("tooling: ring: %w", err)
		}
	}
	if out, err = out.Subtract(in); err != nil {
		return nil, fmt.Errorf("tooling: ring: %w", err)
	}
	loops, err := out.Loops()
	if err != nil {
		return nil, fmt.Errorf("tooling: ring: %w", err)
	}
	return loops, nil
}
