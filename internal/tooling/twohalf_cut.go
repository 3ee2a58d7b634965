package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// share is a group of tools whose space in the closed mould is one line of the ledger.
type share struct {
	name  string
	wet   bool // filled with the casting, and one with it
	tools []Tool
	held  []*solid.Solid // when wet: what the tools take out of the raw halves
}

// cut makes the finished pieces from the raw halves, and measures what space is left in the block.
func (b *twoHalves) cut(ctx context.Context, k *solid.Kernel) error {
	lower0, err := k.FromMesh(b.lower)
	if err != nil {
		return fmt.Errorf("tooling: lower half: %w", err)
	}
	upper0, err := k.FromMesh(b.upper)
	if err != nil {
		return fmt.Errorf("tooling: upper half: %w", err)
	}
	around := RawHalves{Block: b.mould.Block}
	high, low := aprons(b.mould.Surface, b.mould.Block)
	if around.Lower, err = k.FromMesh(low); err != nil {
		return fmt.Errorf("tooling: under the parting surface: %w", err)
	}
	if around.Upper, err = k.FromMesh(high); err != nil {
		return fmt.Errorf("tooling: over the parting surface: %w", err)
	}
	dry, err := b.dryFeatures(k, around)
	if err != nil {
		return err
	}
	halves := [2]*solid.Solid{Lower: lower0, Upper: upper0}
	wet, err := b.wetFeatures(k, halves, around)
	if err != nil {
		return err
	}
	b.opt.Progress.tell("cutting the halves", 0.45)
	tools := allTools(append(dry, wet...))
	for h, s := range halves {
		if halves[h], err = Apply(s, Half(h), tools); err != nil {
			return fmt.Errorf("tooling: %w", err)
		}
	}
	for _, h := range []Half{Lower, Upper} {
		v, err := volumeOf(halves[h], nil)
		if err != nil {
			return err
		}
		p := Piece{Name: h.String() + " half", Exit: r3.Vec{Z: 1}, VolumeMM3: v}
		if h == Lower {
			p.Exit.Z = -1
		}
		if err := b.finish(ctx, &p, halves[h]); err != nil {
			return fmt.Errorf("tooling: %s: %w", p.Name, err)
		}
		b.mould.Pieces = append(b.mould.Pieces, p)
	}
	b.opt.Progress.tell("adding up volumes", 0.6)
	return b.account(k, halves, append(dry, wet...))
}

func allTools(shares []share) (all []Tool) {
	for _, s := range shares {
		all = append(all, s.tools...)
	}
	return all
}

// dryFeatures are those that hold no part of the casting.
func (b *twoHalves) dryFeatures(k *solid.Kernel, around RawHalves) ([]share, error) {
	h := fittings{mould: b.mould, layout: b.layout, bolt: b.bolt, field: b.field, outline: b.shadow, keyClearanceMM: b.opt.KeyClearance, prySlots: b.opt.PrySlots}
	dry, err := h.shares(k, around)
	if err != nil {
		return nil, err
	}
	labels, err := b.labelTools(k)
	if err != nil {
		return nil, err
	}
	gutter, err := b.gutterTools(k, around)
	if err != nil {
		return nil, err
	}
	dry = append(dry, labels, gutter)
	if b.cavities == nil {
		return dry, nil
	}
	numbers, err := b.numberTools(k, around)
	if err != nil {
		return nil, err
	}
	return append(dry, numbers), nil
}

// labelTools letters both halves on the side that the layout chose, each on its own side of the seam.
func (b *twoHalves) labelTools(k *solid.Kernel) (share, error) {
	s := share{name: "labels"}
	spot := b.layout.Label
	if spot == nil {
		return s, nil
	}
	lo, hi := b.seamAlong(spot)
	for _, h := range []Half{Lower, Upper} {
		z0, z1 := b.mould.Block.Min.Z, lo
		opt := b.opt.Label
		if h == Upper {
			z0, z1 = hi, b.mould.Block.Max.Z
		}
		opt.Text += " " + h.String()
		face := LabelFace{Centre: r3.Vec{X: spot.At.X, Y: spot.At.Y, Z: (z0 + z1) / 2}, Normal: r3.Vec{X: spot.Outward.X, Y: spot.Outward.Y},
			WidthMM: spot.WidthMM, HeightMM: z1 - z0, BehindMM: spot.BehindMM}
		l, err := NewLabel(face, opt)
		if err != nil {
			return s, fmt.Errorf("tooling: %w", err)
		}
		t, err := l.Tools(k, h)
		if err != nil {
			return s, fmt.Errorf("tooling: %w", err)
		}
		s.tools = append(s.tools, t...)
		b.mould.Features = append(b.mould.Features, l.Feature("L"+h.String()[:1], h))
	}
	return s, nil
}

// seamAlong is the lowest and highest parting surface along the stretch of side that the label takes.
func (b *twoHalves) seamAlong(spot *LabelSpot) (lo, hi float64) {
	lo, hi = b.mould.Block.Max.Z, b.mould.Block.Min.Z
	for _, v := range b.mould.Surface.Rim {
		p := b.mould.Surface.Verts[v]
		lo, hi = min(lo, p.Z), max(hi, p.Z)
	}
	return lo, hi
}

func (b *twoHalves) gutterTools(k *solid.Kernel, aprons RawHalves) (share, error) {
	s := share{name: "overflow gutter"}
	if b.opt.Gutter == nil {
		return s, nil
	}
	var keepOff [][]r2.Vec
	for _, at := range b.layout.Bolts {
		r := b.bolt.RadiusMM() + b.opt.LeastWallMM
		keepOff = append(keepOff, around(at, r, circleSegments(r)))
	}
	keepOff = append(keepOff, b.sideRoom()...)
	g, t, err := NewGutter(k, aprons, b.shadow, keepOff, *b.opt.Gutter)
	if err != nil {
		return s, fmt.Errorf("tooling: %w", err)
	}
	s.tools = t
	b.mould.Features = append(b.mould.Features, g.Feature("G1"))
	return s, nil
}
