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

const (
	// legOutMM is how far the legs stand out past a shell: room for the collars of the fill ports.
	legOutMM = 7.0
	// collarEndMM is how much shorter than the legs the collars end, so that the mould stands on its legs.
	collarEndMM = 1.0
	// legMM and footMM are the radii of a leg at the flange and at its foot; legApartMM is kept to what
	// else is on the outside of a flange.
	legMM, footMM, legApartMM = 6.0, 5.0, 1.5
	// leastLegs stand without rocking over.
	leastLegs = 3
)

// arrange sizes flanges and block, and finds places for bolts, keys, pry slots and label round the shells.
func (b *skinMould) arrange(k *solid.Kernel) error {
	if err := b.takeOutline(k); err != nil {
		return err
	}
	o, key := b.opt, b.opt.key()
	z0, z1 := b.parting.MinZ-o.FlangeMM, b.parting.MaxZ+o.FlangeMM
	lo := LayoutOptions{MaxPitchMM: o.BoltPitchMM, Keys: o.Keys, Pry: PryOptions{PerBlock: o.PrySlots}, WallMM: o.WallMM,
		KeyRadiusMM: key.RadiusMM + key.RootMM*math.Tan(key.DraftDeg*math.Pi/180) + key.ClearanceMM,
		MostMM:      r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}}
	lo.OddKeyRadiusMM = lo.KeyRadiusMM + key.OddRadiusMM
	if o.Keys >= 0 {
		z0, z1 = key.room(b.parting, z0, z1)
	}
	var err error
	if b.bolt, z0, z1, err = lo.blockBolt(o.Bolt, b.parting, z0, z1); err != nil {
		return err
	}
	if o.Label.Text != "" {
		lo.LabelWidthMM = leastLabelMM
	}
	if b.layout, err = b.spreadLayout(lo); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	f := b.layout.Footprint
	b.flange = r3.Box{Min: r3.Vec{X: f.Min.X, Y: f.Min.Y, Z: z0}, Max: r3.Vec{X: f.Max.X, Y: f.Max.Y, Z: z1}}
	b.mould.Block = b.flange
	// Hanging, a shell's lowest place is its sheet's; of the upper one that is its highest.
	b.mould.Block.Min.Z = min(z0, b.sides[Lower].outer.Mesh().Bounds().Min.Z-legOutMM)
	b.mould.Block.Max.Z = max(z1, -b.sides[Upper].outer.Mesh().Bounds().Min.Z+legOutMM)
	b.placeLegs()
	return nil
}

// keySpread is the least share of the shells' length that their keys must span, each way: keys in one corner
// let the far end swing by the clearance times the ratio of the arms.
const keySpread = 0.5

// spreadLayout finds places for all that goes round the shells, and looks again with wider flanges where
// the keys would crowd at one end.
func (b *skinMould) spreadLayout(lo LayoutOptions) (*Layout, error) {
	box, _ := b.outline.Bounds()
	size := r2.Sub(box.Max, box.Min)
	l, err := PlaceFeatures(box, b.outline, lo)
	if err != nil || len(l.Keys) < 4 {
		return l, err
	}
	var at []r2.Vec
	for _, k := range l.Keys {
		at = append(at, k.At)
	}
	first, last := planBox(at)
	d := lo.withDefaults()
	room := d.EdgeMM + 2*d.OddKeyRadiusMM + d.CavityMM
	if last.X-first.X < keySpread*size.X {
		box.Min.X, box.Max.X = box.Min.X-room, box.Max.X+room
	}
	if last.Y-first.Y < keySpread*size.Y {
		box.Min.Y, box.Max.Y = box.Min.Y-room, box.Max.Y+room
	}
	if r2.Sub(box.Max, box.Min) == size {
		return l, nil
	}
	if wide, err := PlaceFeatures(box, b.outline, lo); err == nil {
		return wide, nil
	}
	return l, nil // the printer has no room for more
}

// placeLegs puts a leg as near to each corner of the flanges as bolts and shells let it stand. Keys are on
// the other face, and not in the way.
func (b *skinMould) placeLegs() {
	p := placer{foot: b.layout.Footprint}
	var free []r2.Vec
	for _, s := range p.sides() {
		for t := legMM; t <= s.length-legMM; t += slideMM {
			leg := disc(s.at(t, legMM), legMM+legApartMM)
			ok := gapToOutline(leg, b.outline) >= 0
			for _, at := range b.layout.Bolts {
				ok = ok && gap(leg, disc(at, b.bolt.RadiusMM())) >= 0
			}
			if ok {
				free = append(free, leg.core[0])
			}
		}
	}
	for _, c := range b.layout.Footprint.Vertices() {
		best, d := r2.Vec{}, math.Inf(1)
		for _, f := range free {
			if l := r2.Norm(r2.Sub(f, c)); l < d {
				best, d = f, l
			}
		}
		if d < math.Inf(1) && !slices.ContainsFunc(b.legs, func(l r2.Vec) bool { return r2.Norm(r2.Sub(l, best)) < 2*legMM }) {
			b.legs = append(b.legs, best)
		}
	}
}

// takeOutline joins the two shells' outlines in plan.
func (b *skinMould) takeOutline(k *solid.Kernel) error {
	var all *solid.Region
	for _, s := range b.sides {
		var loops [][]r2.Vec
		for _, l := range s.outer.Loops {
			loops = append(loops, s.loop(l))
		}
		r, err := k.Region(loops)
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
		if err := b.many.inOneBody(s.skin, s.inner.Loops); err != nil {
			return err
		}
		if all == nil {
			all = r
		} else if all, err = all.Union(r); err != nil {
			return fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
	}
	loops, err := all.Loops()
	if err != nil {
		return fmt.Errorf("tooling: shells: %w", err)
	}
	b.outline = Outline(loops).Outer()
	return nil
}

// loop takes a loop in plan from the hanging frame to the mould frame, still running the same way round.
func (s *skinSide) loop(l []r2.Vec) []r2.Vec {
	out := slices.Clone(l)
	if s.half == Upper {
		for i, p := range out {
			out[i] = r2.Vec{X: p.X, Y: -p.Y}
		}
		slices.Reverse(out)
	}
	return out
}

// collarEnd is the height at which a side's collars end, in the frame in which it stands.
func (b *skinMould) collarEnd(h Half) float64 {
	if h == Upper {
		return b.mould.Block.Max.Z - collarEndMM
	}
	return -b.mould.Block.Min.Z - collarEndMM
}

// stitch lays the parting surface out to the flanges' sides and stitches the raw bodies.
func (b *skinMould) stitch(ctx context.Context) error {
	s, err := newSurface(ctx, b.parting, b.layout.Footprint)
	if err != nil {
		return err
	}
	b.surface, b.mould.Surface, b.field = s, s, NewHeightField(s.asMesh().Map(b.grown))
	b.boundary = [2]float64{math.Inf(1), math.Inf(-1)}
	for _, v := range s.Rim {
		z := b.grown(s.Verts[v]).Z
		b.boundary = [2]float64{min(b.boundary[0], z), max(b.boundary[1], z)}
	}
	if b.upper, b.lower, err = stitchHalves(b.parting, s, b.mould.Block); err != nil {
		return err
	}
	b.plate = plateRaw(b, b.opt.PlateMM)
	return closed(MasterPlate, b.plate)
}
