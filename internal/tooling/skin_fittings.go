package tooling

import (
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// tools makes bolts, keys, pry slots and labels. They are those of a block as high as the two flanges; the
// plate passes the keys on and lets the bolts through.
func (b *skinMould) tools(k *solid.Kernel, around RawHalves) (t skinTools, err error) {
	flanges := &Mould{Block: b.flange}
	t.dry, err = fittings{mould: flanges, layout: b.layout, bolt: b.bolt, field: b.field, outline: b.outline,
		keyClearanceMM: b.opt.KeyClearance, key: b.opt.key(), prySlots: b.opt.PrySlots}.shares(k, around)
	if err != nil {
		return t, err
	}
	b.mould.Features = append(b.mould.Features, flanges.Features...)
	b.mould.Checks = append(b.mould.Checks, flanges.Checks...)
	all := allTools(t.dry)
	for i, s := range b.sides {
		t.label[i] = b.labels(k, s)
		t.all[i] = append(append([]Tool(nil), all...), t.label[i]...)
	}
	if b.labelErr != nil {
		return t, b.labelErr
	}
	return t, b.plateTools(k, &t)
}

// plateTools makes the plate's own: the upper flange's hollow cones below, the lower flange's cones on top,
// and plain holes for the bolts.
func (b *skinMould) plateTools(k *solid.Kernel, t *skinTools) error {
	t.keys = share{name: "clearance round the keys in the plate"}
	t.holes = share{name: "bolt holes in the plate"}
	lift := r3.Vec{Z: b.opt.PlateMM}
	for _, s := range t.dry {
		if s.name != keysShare {
			continue
		}
		for _, c := range s.tools {
			if c.Half == Lower && c.Add {
				up, err := c.Solid.Translate(lift)
				if err != nil {
					return fmt.Errorf("tooling: %s: %w", MasterPlate, err)
				}
				t.plate = append(t.plate, Tool{Add: true, Solid: up})
			}
			if c.Half == Upper && !c.Add {
				t.plate = append(t.plate, Tool{Solid: c.Solid})
				t.keys.tools = append(t.keys.tools, Tool{Solid: c.Solid})
			}
		}
	}
	for _, at := range b.layout.Bolts {
		r := b.bolt.Thread.HoleMM / 2
		hole, err := prisms(k, slab{[][]r2.Vec{around(at, r, circleSegments(r))}, b.flange.Min.Z, b.flange.Max.Z + b.opt.PlateMM})
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", MasterPlate, err)
		}
		t.plate = append(t.plate, Tool{Solid: hole})
		t.holes.tools = append(t.holes.tools, Tool{Solid: hole})
	}
	return nil
}

// labels letters a shell's flange on its side of the seam.
func (b *skinMould) labels(k *solid.Kernel, s *skinSide) []Tool {
	spot := b.layout.Label
	if spot == nil || b.labelErr != nil {
		return nil
	}
	z0, z1 := b.flange.Min.Z, b.boundary[0]
	if s.half == Upper {
		z0, z1 = b.boundary[1], b.flange.Max.Z
	}
	opt := b.opt.Label
	opt.Text += " " + s.shell
	l, err := NewLabel(LabelFace{Centre: r3.Vec{X: spot.At.X, Y: spot.At.Y, Z: (z0 + z1) / 2}, Normal: r3.Vec{X: spot.Outward.X, Y: spot.Outward.Y},
		WidthMM: spot.WidthMM, HeightMM: z1 - z0, BehindMM: spot.BehindMM}, opt)
	if err != nil {
		b.labelErr = fmt.Errorf("tooling: %w", err)
		return nil
	}
	t, err := l.Tools(k, s.half)
	if err != nil {
		b.labelErr = fmt.Errorf("tooling: %w", err)
		return nil
	}
	f := l.Feature("L"+s.half.String()[:1], s.half)
	f.Piece = s.shell
	b.mould.Features = append(b.mould.Features, f)
	return t
}
