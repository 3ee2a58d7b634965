package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// blockBodies are the bodies in the kernel, at the size of the casting.
type blockBodies struct {
	part, under, over, room *solid.Solid
	channels                []*solid.Solid // stalks and pins, from inside the part to their ends, in the feed's order
	sprue, vents            []*solid.Solid // the same by their kind
	domes                   []*solid.Solid
	pockets                 []*solid.Solid // one for each cavity
}

// cut makes the pieces and books both pours and the casting.
func (b *blockMould) cut(ctx context.Context, k *solid.Kernel) error {
	v, err := b.bodies(k)
	if err != nil {
		return err
	}
	boxBody, label, err := b.makeBox(k, b.opt.Label, true)
	if err != nil {
		return err
	}
	board, err := b.cutBoard(k, v)
	if err != nil {
		return err
	}
	master, err := v.part.Union(v.channels...)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", Master, err)
	}
	upper, err := raw(v.over, v.room, append(append([]*solid.Solid(nil), v.domes...), v.channels...), nil)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", UpperBlock, err)
	}
	lower, err := raw(v.under, v.room, nil, v.domes)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", LowerBlock, err)
	}
	b.opt.Progress.tell("cutting the pieces", 0.5)
	up, down := r3.Vec{Z: 1}, r3.Vec{Z: -1}
	pieces := map[string]madePiece{
		PouringBox: {PouringBox, boxBody, down, false}, PartingBoard: {PartingBoard, board, down, false}, Master: {Master, master, down, false},
		UpperBlock: {UpperBlock, upper, up, true}, LowerBlock: {LowerBlock, lower, down, true}}
	pick := func(names ...string) (out []madePiece) {
		for _, n := range names {
			out = append(out, pieces[n])
		}
		return out
	}
	if err := b.add(ctx, pick(PouringBox, PartingBoard, Master, UpperBlock, LowerBlock)); err != nil {
		return err
	}
	b.opt.Progress.tell("adding up volumes", 0.6)
	return b.account(k, v, boxBody, label, pick)
}

// raw is a raw body within the silicone's room, less what is cut from it and with what is added.
func raw(s, room *solid.Solid, cut, add []*solid.Solid) (*solid.Solid, error) {
	s, err := s.Intersect(room)
	if err == nil && len(add) > 0 {
		s, err = s.Union(add...)
	}
	if err == nil && len(cut) > 0 {
		s, err = s.Subtract(cut...)
	}
	return s, err
}

func (b *blockMould) bodies(k *solid.Kernel) (v blockBodies, err error) {
	l := loader{k: k}
	v.part, v.over, v.under = l.load("part", b.parting.Mesh), l.load("over the parting surface", b.upper), l.load("under the parting surface", b.lower)
	for _, m := range b.mould.eachOf(b.pocket) {
		v.pockets = append(v.pockets, l.load(PartingBoard, m))
	}
	if l.err != nil {
		return v, l.err
	}
	if v.room, err = b.box.room(k); err != nil {
		return v, err
	}
	if b.room, err = v.room.Mesh(); err != nil {
		return v, fmt.Errorf("tooling: %w", err)
	}
	for i, c := range b.feed.all() {
		s, err := b.channel(k, v, c.(Sprue))
		if err != nil {
			return v, err
		}
		v.channels = append(v.channels, s)
		if kind, _ := b.feed.named(i); kind == "sprue" {
			v.sprue = append(v.sprue, s)
		} else {
			v.vents = append(v.vents, s)
		}
	}
	for _, key := range b.keys {
		n := key.segments()
		dome, err := k.Frustum(r3.Vec{X: key.At.X, Y: key.At.Y, Z: key.BaseZ}, r3.Vec{Z: key.TipZ - key.BaseZ}, key.BaseRadius, key.TipRadius, n)
		if err != nil {
			return v, fmt.Errorf("tooling: key at (%.1f, %.1f): %w", key.At.X, key.At.Y, err)
		}
		v.domes = append(v.domes, dome)
	}
	return v, nil
}

// channel is a stalk or a pin. Where the part is thin its foot comes out below; that end is cut off.
func (b *blockMould) channel(k *solid.Kernel, v blockBodies, c Sprue) (*solid.Solid, error) {
	s, err := c.pin(k)
	if err != nil {
		return nil, err
	}
	past, err := volumeOf(s.Intersect(v.under))
	if err != nil {
		return nil, err
	}
	if past > 0 {
		if s, err = s.Subtract(v.under); err != nil {
			return nil, fmt.Errorf("tooling: sprue at (%.1f, %.1f): %w", c.At.X, c.At.Y, err)
		}
	}
	return s, nil
}

// pin is the sprue as a body of the master, from its foot in the part to its top.
func (s Sprue) pin(k *solid.Kernel) (*solid.Solid, error) {
	p, err := k.Frustum(r3.Vec{X: s.At.X, Y: s.At.Y, Z: s.BottomZ}, r3.Vec{Z: s.TopZ - s.BottomZ}, s.BottomRadius, s.TopRadius, circleSegments(s.BottomRadius))
	if err != nil {
		return nil, fmt.Errorf("tooling: sprue at (%.1f, %.1f): %w", s.At.X, s.At.Y, err)
	}
	return p, nil
}

// upTo is what of a sprue lies under a height.
func (s Sprue) upTo(z float64) Sprue {
	s.TopRadius, s.TopZ = s.radiusAt(z), z
	return s
}

// cutBoard makes the board: all that lies under the parting surface in the box, to the end on which the box
// stands, clear of its walls, less the master's hollow, with the domes.
func (b *blockMould) cutBoard(k *solid.Kernel, v blockBodies) (*solid.Solid, error) {
	room, err := b.box.bore(k, b.box.narrow(), b.box.wide()+b.box.freeMM, -b.opt.BoardClearMM)
	if err != nil {
		return nil, err
	}
	board, err := raw(v.under, room, v.pockets, nil)
	if err == nil && len(v.domes) > 0 {
		board, err = board.Union(v.domes...)
	}
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", PartingBoard, err)
	}
	return board, nil
}

// farMM is beyond any block.
const farMM = 2 * mostMM

// end is everything beyond one end of the silicone, as a tool of the ledger.
func (b *siliconeBlock) end(k *solid.Kernel, name string, wide bool) (share, error) {
	box := r3.Box{Min: r3.Vec{X: -farMM, Y: -farMM, Z: -farMM}, Max: r3.Vec{X: farMM, Y: farMM, Z: farMM}}
	at, out := b.box.wide(), b.box.out
	if !wide {
		at, out = -b.box.narrow(), r3.Scale(-1, out)
	}
	for _, c := range []struct {
		dir    float64
		lo, hi *float64
	}{{out.X, &box.Min.X, &box.Max.X}, {out.Y, &box.Min.Y, &box.Max.Y}, {out.Z, &box.Min.Z, &box.Max.Z}} {
		if c.dir > 0 {
			*c.lo = at
		} else if c.dir < 0 {
			*c.hi = -at
		}
	}
	s, err := k.Box(box)
	if err != nil {
		return share{}, fmt.Errorf("tooling: %s: %w", name, err)
	}
	return share{name: name, tools: []Tool{{Solid: s}}}, nil
}

// Names of the free ends of the box in ledgers.
const (
	freeOver  = "free over the silicone"
	freeUnder = "free under the silicone"
)

// account books both pours and the casting.
func (b *blockMould) account(k *solid.Kernel, v blockBodies, box, label *solid.Solid, pick func(...string) []madePiece) error {
	over, err := b.end(k, freeOver, false)
	if err != nil {
		return err
	}
	under, err := b.end(k, freeUnder, true)
	if err != nil {
		return err
	}
	gap := share{name: "clearance round the board", tools: []Tool{{Solid: v.under}}}
	first, err := b.pour(k, "upper block is poured", label, pick(PouringBox, PartingBoard, Master, UpperBlock), []share{over}, &gap)
	if err != nil {
		return err
	}
	second, err := b.pour(k, "lower block is poured", label, pick(PouringBox, Master, UpperBlock, LowerBlock), []share{over, under}, nil)
	if err != nil {
		return err
	}
	b.set.Pours = []Pour{
		{Piece: UpperBlock, ML: first.of(UpperBlock) / 1000, In: []string{PartingBoard, PouringBox, Master}, Ledger: first.lines},
		{Piece: LowerBlock, ML: second.of(LowerBlock) / 1000, In: []string{PouringBox, UpperBlock, Master}, Ledger: second.lines}}
	inside, err := v.over.Intersect(v.room)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	if err := b.closed(k, box, label, pick(UpperBlock, LowerBlock), []share{over, under},
		wetShare{"sprue", inside, wetTools(v.sprue)}, wetShare{"vents", inside, wetTools(v.vents)}); err != nil {
		return err
	}
	return b.cast(k, v, inside)
}

func wetTools(s []*solid.Solid) (out []Tool) {
	for _, t := range s {
		out = append(out, Tool{Half: Upper, Solid: t})
	}
	return out
}

// cast is the casting as it comes out, and lists the channels.
func (b *blockMould) cast(k *solid.Kernel, v blockBodies, inside *solid.Solid) error {
	out := v.part
	for i, s := range v.channels {
		held, err := inside.Intersect(s)
		if err != nil {
			return fmt.Errorf("tooling: casting: %w", err)
		}
		ml, err := volumeOf(held, nil)
		if err != nil {
			return err
		}
		within, err := s.Intersect(v.room)
		if err != nil {
			return fmt.Errorf("tooling: casting: %w", err)
		}
		if out, err = out.Union(within); err != nil {
			return fmt.Errorf("tooling: casting: %w", err)
		}
		c := b.feed.all()[i].(Sprue).upTo(b.box.block.Max.Z)
		kind, name := b.feed.named(i)
		b.mould.Features = append(b.mould.Features, c.Feature(name, kind, ml))
	}
	var err error
	if b.mould.Cast, err = out.Mesh(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	b.oneCasting(b.mould.Cast)
	return nil
}
