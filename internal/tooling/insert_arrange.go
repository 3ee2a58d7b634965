package tooling

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// arrange sizes the block and finds places for bolts, keys, pry slots and label round the insert.
func (b *insertMould) arrange(k *solid.Kernel) error {
	o := b.opt
	r, err := k.Region(b.sheet.Loops)
	if err != nil {
		return fmt.Errorf("tooling: insert: %w", err)
	}
	loops, err := r.Loops()
	if err != nil {
		return fmt.Errorf("tooling: insert: %w", err)
	}
	b.outline = Outline(loops).Outer()
	if err := b.many.inOneBody(InsertBody, b.outline); err != nil {
		return err
	}
	part := b.mould.Part.Bounds()
	key := KeyOptions{ClearanceMM: o.KeyClearance}.withDefaults()
	z0, z1 := b.hollow.Min.Z-o.FloorMM, b.grown(part.Max).Z+o.FloorMM
	lo := LayoutOptions{MaxPitchMM: o.BoltPitchMM, Keys: o.Keys, Pry: PryOptions{PerBlock: o.PrySlots}, WallMM: o.WallMM,
		KeyRadiusMM: key.RadiusMM + key.RootMM + key.ClearanceMM, MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}}
	lo.OddKeyRadiusMM = lo.KeyRadiusMM + key.OddRadiusMM
	if o.Keys >= 0 {
		z0, z1 = key.room(b.parting, z0, z1)
	}
	if b.bolt, z0, z1, err = lo.blockBolt(o.Bolt, b.parting, z0, z1); err != nil {
		return err
	}
	if o.Label.Text != "" {
		lo.LabelWidthMM = leastLabelMM
	}
	box, _ := b.outline.Bounds()
	if b.layout, err = PlaceFeatures(box, b.outline, lo); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	f := b.layout.Footprint
	b.mould.Block = r3.Box{Min: r3.Vec{X: f.Min.X, Y: f.Min.Y, Z: z0}, Max: r3.Vec{X: f.Max.X, Y: f.Max.Y, Z: z1}}
	return nil
}

// stitch lays the parting surface out to the block's sides and stitches the raw bodies.
func (b *insertMould) stitch(ctx context.Context) error {
	s, err := newSurface(ctx, b.parting, b.layout.Footprint)
	if err != nil {
		return err
	}
	b.surface, b.field, b.mould.Surface = s, NewHeightField(s.asMesh()), s
	b.boundary = [2]float64{math.Inf(1), math.Inf(-1)}
	for _, v := range s.Rim {
		b.boundary = [2]float64{min(b.boundary[0], s.Verts[v].Z), max(b.boundary[1], s.Verts[v].Z)}
	}
	if b.upper, b.lower, err = stitchHalves(b.parting, s, b.mould.Block); err != nil {
		return err
	}
	b.pattern = patternRaw(b)
	if err := closed(PatternCap, b.pattern); err != nil {
		return err
	}
	b.topOpen, b.topSource = openUpward(b.many.alone(b.parting))
	if err := b.placePorts(); err != nil {
		return err
	}
	b.placeVents()
	return nil
}

// patternRaw is all that lies over the insert: the part's lower facets as the part has them, the parting
// surface turned over, and the block's sides and lid.
func patternRaw(b *insertMould) *mesh.Mesh {
	m := &mesh.Mesh{Verts: b.surface.Verts}
	for f, t := range b.parting.Mesh.Tris {
		if !b.parting.Upper[f] {
			m.Tris = append(m.Tris, t)
		}
	}
	for _, t := range b.surface.Tris {
		m.Tris = append(m.Tris, [3]uint32{t[0], t[2], t[1]})
	}
	m.Verts, m.Tris = closeBlock(m, b.surface.Rim, b.mould.Block.Max.Z, true)
	return compact(m)
}

// placePorts puts the fill port on the ring's lowest place and the vents far from it and high.
func (b *insertMould) placePorts() error {
	o := b.opt
	mid := (o.ringMM() + o.InsertMM) / 2
	top := NewHeightField(b.surface.asMesh().Map(b.grown))
	rings := b.many.rings(b.mould.Shadow, mid)
	spots := slices.Concat(rings...)
	try := func(at r2.Vec, d float64) (Sprue, error) {
		return NewSprue(at, b.mould.Block.Max.Z, top, SprueOptions{TopDiameterMM: d})
	}
	var last error
	at, lowest := -1, math.Inf(1)
	for i, p := range spots {
		s, err := try(p, o.PortMM)
		if err != nil {
			last = err
			continue
		}
		if z, _ := b.field.At(p); z < lowest-heightStepMM {
			at, lowest = i, z
			b.ports = []Sprue{s}
		}
	}
	if at < 0 {
		return fmt.Errorf("tooling: no room for the silicone's fill port on the ring round the part: %w; make it thinner", cmp.Or(last, ErrSprue))
	}
	for i := range max(0, o.PortVents) * len(rings) { // so many round each cavity, in turn
		spots := rings[i%len(rings)]
		best, score := Sprue{}, math.Inf(-1)
		for _, p := range spots {
			far := farthest(b.ports, p)
			z, _ := b.field.At(p)
			if v := far + ventHeightWeight*z; far > o.PortMM && v > score {
				if s, err := try(p, o.PortVentMM); err == nil {
					best, score = s, v
				}
			}
		}
		if math.IsInf(score, -1) {
			continue
		}
		b.ports = append(b.ports, best)
	}
	return nil
}

const (
	// heightStepMM is the least difference in height that decides between places.
	heightStepMM = 0.01
	// ventHeightWeight is how many mm of distance from the port a mm of height is worth to a vent: air
	// collects high.
	ventHeightWeight = 20
)

// farthest is the clear distance from p to the nearest of some sprues.
func farthest(have []Sprue, p r2.Vec) float64 {
	d := math.Inf(1)
	for _, s := range have {
		d = min(d, r2.Norm(r2.Sub(p, s.At))-s.BottomRadius)
	}
	return d
}

// ventTries bounds the facets tried for each vent of the casting cap.
const ventTries = 4000

// placeVents puts vents on the highest open places of the casting cap's side, off the show faces and
// clear of each other: those of one cavity, at the same places of all. Fewer than asked is no failure: the
// features show them.
func (b *insertMould) placeVents() {
	if b.topOpen != nil {
		b.ventOne()
		b.vents = b.many.into(b.vents)
	}
}

// ventOne finds the vents of the cavity that stands alone.
func (b *insertMould) ventOne() {
	show := make([]bool, len(b.topSource))
	for i, f := range b.topSource {
		show[i] = b.opt.Show != nil && b.opt.Show[f]
	}
	m := b.topOpen.m
	stride := max(1, len(m.Tris)/ventTries)
	for range max(0, b.opt.Vents) {
		best, score := Sprue{}, math.Inf(-1)
		for f := 0; f < len(m.Tris); f += stride {
			c := m.Facet(f).Centroid()
			at := r2.Vec{X: c.X, Y: c.Y}
			far := farthest(b.vents, at)
			z := math.Floor(c.Z/heightStepMM) * heightStepMM
			v := ventHeightWeight*z + min(far, ventFarMM)
			if show[f] || far < b.opt.VentMM+b.opt.LeastWallMM || v <= score {
				continue
			}
			s, err := NewSprue(at, b.mould.Block.Max.Z, b.topOpen, SprueOptions{TopDiameterMM: b.opt.VentMM, DraftDeg: VentOptions().DraftDeg})
			if err == nil && s.AvoidsShow(b.topOpen, show).OK {
				best, score = s, v
			}
		}
		if math.IsInf(score, -1) {
			return
		}
		b.vents = append(b.vents, best)
	}
}

// ventFarMM is the distance beyond which two vents are far enough apart.
const ventFarMM = 500
