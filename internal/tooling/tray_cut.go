package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// cut makes tray and carrier, and measures what is between them.
func (b *trayMould) cut(ctx context.Context) error {
	b.opt.Progress.tell("cutting the tray", 0.3)
	if b.carrier == nil {
		if err := b.split(nil); err != nil {
			return err
		}
	}
	block, err := b.k.Box(b.mould.Block)
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	raw, err := block.Subtract(b.poured)
	if err != nil {
		return fmt.Errorf("tooling: tray: %w", err)
	}
	moat := share{name: "overflow moat"}
	t, err := prisms(b.k, b.moat...)
	if err != nil {
		return fmt.Errorf("tooling: moat: %w", err)
	}
	moat.tools = []Tool{{Half: Lower, Solid: t}}
	screws, err := b.screwTools()
	if err != nil {
		return err
	}
	seats, err := b.seats()
	if err != nil {
		return err
	}
	dry := []share{moat, screws, seats}
	tray, err := Apply(raw, Lower, append(allTools(dry), b.letters...))
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", Tray, err)
	}
	if err := b.mould.addPiece(ctx, Tray, tray, -1); err != nil {
		return err
	}
	pieces := []*solid.Solid{tray}
	b.casting = b.poured
	if b.carrier != nil {
		c, err := b.cutCarrier(ctx)
		if err != nil {
			return err
		}
		pieces = append(pieces, c)
	}
	b.opt.Progress.tell("adding up volumes", 0.5)
	return b.account(pieces, dry)
}

// cutCarrier gives the carrier its tabs and holes.
func (b *trayMould) cutCarrier(ctx context.Context) (*solid.Solid, error) {
	wrap := func(err error) (*solid.Solid, error) { return nil, fmt.Errorf("tooling: %s: %w", CarrierPiece, err) }
	c, err := b.k.FromMesh(b.carrier)
	if err != nil {
		return wrap(err)
	}
	bare, err := b.poured.Subtract(c)
	if err != nil {
		return wrap(err)
	}
	m, err := bare.Mesh()
	if err != nil {
		return wrap(err)
	}
	b.placeHoles(m)
	for _, t := range b.tabs {
		s, err := t.solid(b.k)
		if err != nil {
			return wrap(err)
		}
		if c, err = c.Union(s); err != nil {
			return wrap(err)
		}
	}
	var holes []*solid.Solid
	for _, h := range b.holes {
		s, err := h.solid(b.k)
		if err != nil {
			return wrap(err)
		}
		holes = append(holes, s)
	}
	if len(holes) > 0 {
		if c, err = c.Subtract(holes...); err != nil {
			return wrap(err)
		}
	}
	if b.casting, err = b.poured.Subtract(c); err != nil {
		return wrap(err)
	}
	both, err := b.casting.Union(c)
	if err != nil {
		return wrap(err)
	}
	if both, err = both.Clean(); err != nil {
		return wrap(err)
	}
	if b.casts, err = both.Mesh(); err != nil {
		return wrap(err)
	}
	if b.out.Carried.SunkMM3, err = volumeOf(b.poured.Intersect(c)); err != nil {
		return nil, err
	}
	return c, b.mould.addPiece(ctx, CarrierPiece, c, 1)
}

// account measures the block on the bodies as made.
func (b *trayMould) account(pieces []*solid.Solid, dry []share) error {
	l, over, err := b.ledger(pieces)
	if err != nil {
		return err
	}
	if err := l.spaces(append(over, dry...)); err != nil {
		return err
	}
	m := b.mould
	m.Ledger = l.lines
	l.judge(m, "part is cast", "")
	all, err := b.casting.Parts()
	if err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	n := max(1, len(m.Cavities))
	c := Check{Name: "casting in one piece", OK: len(all) == n, Value: float64(len(all)), Limit: float64(n), Unit: "pieces", Words: "the cavity is one room"}
	if n > 1 {
		c.Name, c.Words = "each casting in one piece", "each cavity is one room"
	}
	if !c.OK {
		c.Words = fmt.Sprintf("the carrier divides the casting into %d pieces that no resin joins: give it bond holes, or make it smaller", len(all))
	}
	m.Checks = append(m.Checks, c)
	taken := 0.0 // of the part, by the carrier
	for _, p := range pieces[1:] {
		if taken, err = volumeOf(b.part.Intersect(p)); err != nil {
			return err
		}
	}
	got, want := l.of("cavity")+taken, m.Part.VolumeMM3()
	off := math.Abs(got-want) / want
	m.Checks = append(m.Checks, Check{Name: "cavity volume", OK: off <= cavityTol, Value: 100 * off, Limit: 100 * cavityTol, Unit: "%",
		Words: fmt.Sprintf("the cavity as built and what the carrier takes of it come to %.3f mm³, the compensated part to %.3f mm³", got, want)})
	if err := b.bookCavities(l, pieces[0]); err != nil {
		return err
	}
	b.out.CastML, b.out.OverflowML = l.of("cavity")/1000, l.of("overflow moat")/1000
	clean, err := b.casting.Clean()
	if err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	if m.Cast, err = clean.Mesh(); err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	if b.casts == nil {
		b.casts = m.Cast
	}
	return nil
}

// ledger is that of the block with the carrier in it: a box round both, whose air over the brim and
// beside the tray has lines of its own.
func (b *trayMould) ledger(pieces []*solid.Solid) (*ledger, []share, error) {
	tray := b.mould.Block
	box := tray
	if len(pieces) > 1 {
		c, err := pieces[1].Bounds()
		if err != nil {
			return nil, nil, fmt.Errorf("tooling: %w", err)
		}
		box.Min = r3.Vec{X: min(box.Min.X, c.Min.X), Y: min(box.Min.Y, c.Min.Y), Z: box.Min.Z}
		box.Max = r3.Vec{X: max(box.Max.X, c.Max.X), Y: max(box.Max.Y, c.Max.Y), Z: max(box.Max.Z, c.Max.Z)}
	}
	block, err := b.k.Box(box)
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	l := &ledger{k: b.k, block: block, letters: b.letters}
	names := []string{Tray, CarrierPiece}
	for i, p := range pieces {
		l.solid(names[i], p)
	}
	if box == tray {
		return l, nil, nil
	}
	tight, err := b.k.Box(tray)
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	air, err := block.Subtract(tight)
	if err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	b.mould.Block = box
	return l, []share{{name: "air over the brim", tools: []Tool{{Half: Upper, Solid: air}}}}, nil
}

// bond measures where casting and carrier touch, in all and in the holes.
func (b *trayMould) bond() {
	c := b.out.Carried
	carrier := geom.NewBVH(b.mould.piece(CarrierPiece).Verts, b.mould.piece(CarrierPiece).Tris)
	given := geom.NewBVH(b.carrier.Verts, b.carrier.Tris)
	m := b.mould.Cast
	for f := range m.Tris {
		t := m.Facet(f)
		if _, on := carrier.NearestWithin(t.Centroid(), bondMM); !on {
			continue
		}
		c.BondMM2 += geom.Area(t)
		if _, on := given.NearestWithin(t.Centroid(), bondMM); !on {
			c.HoleBondMM2 += geom.Area(t)
		}
	}
}

// bondMM is how near a facet of the casting lies to the carrier that it touches: rounding.
const bondMM = 1e-4

// shapes tells what makes each facet of the casting: true where the tray does.
func (b *trayMould) shapes() []bool {
	m := b.mould.Cast
	made := make([]bool, len(m.Tris))
	var carrier *geom.BVH
	if c := b.mould.piece(CarrierPiece); c != nil {
		carrier = geom.NewBVH(c.Verts, c.Tris)
	}
	for f := range m.Tris {
		at := m.Facet(f).Centroid()
		made[f] = at.Z < b.level-flatFaceMM/2
		if carrier != nil && made[f] {
			_, on := carrier.NearestWithin(at, bondMM)
			made[f] = !on
		}
	}
	return made
}
