package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// skinBodies are the bodies in the kernel, in the mould frame. Those of the pouring stage are as much larger
// as the silicone shrinks; its upper ones are where they are in the closed mould, not yet lifted by the plate.
type skinBodies struct {
	block  *solid.Solid
	raw    [2]*solid.Solid // casting stage: all that is no part
	pour   [2]*solid.Solid // pouring stage, the same
	around RawHalves       // over and under the parting surface as poured, without the part
	room   [2]*solid.Solid // what the silicone fills but for the master: outer face, pegs, ports, sleeves
	body   [2]*solid.Solid // the shells with collars, legs and flange, not hollowed yet
	stalks []*solid.Solid  // of sprue and vents at the casting stage, through everything
	poured [2]*solid.Solid // the skins
	cured  [2]*solid.Solid
	shell  [2]*solid.Solid // finished
	plate  *solid.Solid    // finished, as it lies on the lower shell
}

// skinTools are what is cut into and added to the pieces, with the spaces that they leave.
type skinTools struct {
	dry   []share   // in the closed mould
	plate []Tool    // into and onto the plate; Half is of no account
	holes share     // bolt holes through the plate
	keys  share     // clearance of the lower shell's keys in the plate
	all   [2][]Tool // into and onto the shells
	label [2][]Tool // of those, the letters
}

// cut makes the pieces and measures the space between them.
func (b *skinMould) cut(ctx context.Context, k *solid.Kernel) error {
	v, err := b.bodies(k)
	if err != nil {
		return err
	}
	b.opt.Progress.tell("cutting the pieces", 0.5)
	t, err := b.tools(k, v.around)
	if err != nil {
		return err
	}
	for i, s := range b.sides {
		hollow, err := v.body[i].Subtract(v.room[i])
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
		if v.shell[i], err = Apply(hollow, s.half, t.all[i]); err != nil {
			return fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
	}
	if v.plate, err = b.cutPlate(k, v, t); err != nil {
		return err
	}
	for _, p := range []struct {
		name string
		s    *solid.Solid
		exit float64
	}{{LowerShell, v.shell[Lower], -1}, {UpperShell, v.shell[Upper], 1}, {MasterPlate, v.plate, 1}, {LowerSkin, v.cured[Lower], -1}, {UpperSkin, v.cured[Upper], 1}} {
		if err := b.mould.addPiece(ctx, p.name, p.s, p.exit); err != nil {
			return err
		}
	}
	b.opt.Progress.tell("adding up volumes", 0.6)
	return b.account(k, v, t)
}

// bodies brings the raw bodies into the kernel and makes the skins.
func (b *skinMould) bodies(k *solid.Kernel) (v skinBodies, err error) {
	l := loader{k: k}
	high, low := aprons(&Surface{Verts: b.surface.asMesh().Map(b.grown).Verts, Tris: b.surface.Tris}, b.mould.Block)
	v.around = RawHalves{Block: b.flange, Lower: l.load("under the parting surface", low), Upper: l.load("over the parting surface", high)}
	v.raw = [2]*solid.Solid{l.load("under the upper skin", b.lower), l.load("over the lower skin", b.upper)}
	v.pour = v.raw
	if b.grow != 1 {
		v.pour = [2]*solid.Solid{l.load("under the plate", b.lower.Map(b.grown)), l.load("over the plate", b.upper.Map(b.grown))}
	}
	if l.err != nil {
		return v, l.err
	}
	if v.block, err = k.Box(b.mould.Block); err != nil {
		return v, fmt.Errorf("tooling: %w", err)
	}
	for i, s := range b.sides {
		if b.grow != 1 {
			if v.pour[i], err = v.pour[i].Intersect(v.block); err != nil {
				return v, fmt.Errorf("tooling: pouring stage: %w", err)
			}
		}
		if v.body[i], err = b.shellBody(k, s, v.pour[i]); err != nil {
			return v, fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
		if v.room[i], err = b.skinRoom(k, s); err != nil {
			return v, fmt.Errorf("tooling: %s: %w", s.skin, err)
		}
	}
	return v, b.skins(k, &v)
}

// turned takes a solid made in the frame where a side hangs or stands to the mould frame.
func turned(s *solid.Solid, turn bool) (*solid.Solid, error) {
	if !turn {
		return s, nil
	}
	return s.Transform(solid.Affine{X: r3.Vec{X: 1}, Y: r3.Vec{Y: -1}, Z: r3.Vec{Z: -1}})
}

// shellBody is a shell before it is hollowed: what lies within the shell's thickness of the skin, the
// flange, a collar round each port and sleeve, a boss round each peg, and legs.
func (b *skinMould) shellBody(k *solid.Kernel, s *skinSide, raw *solid.Solid) (*solid.Solid, error) {
	flange, err := k.Box(b.flange)
	if err != nil {
		return nil, err
	}
	sheet, err := k.FromMesh(overSheet(s.outer))
	if err != nil {
		return nil, err
	}
	bosses, err := s.pegBodies(k, b.opt.ShellMM)
	if err != nil {
		return nil, err
	}
	collars, err := b.collars(k, s)
	if err != nil {
		return nil, err
	}
	legs, err := b.legBodies(k, s)
	if err != nil {
		return nil, err
	}
	all := []*solid.Solid{flange}
	for _, g := range []struct {
		bodies []*solid.Solid
		turn   bool
	}{{append(bosses, sheet), s.half == Upper}, {append(collars, legs...), s.half == Lower}} {
		for _, x := range g.bodies {
			if x, err = turned(x, g.turn); err != nil {
				return nil, err
			}
			all = append(all, x)
		}
	}
	u, err := k.Union(all...)
	if err != nil {
		return nil, err
	}
	return raw.Intersect(u)
}

// pegBodies are the pegs, hanging, and so much all round them.
func (s *skinSide) pegBodies(k *solid.Kernel, moreMM float64) (out []*solid.Solid, err error) {
	slope := math.Tan(pegDraftDeg * math.Pi / 180)
	for i, p := range s.pegs {
		tip, r := r3.Sub(p.tip, r3.Vec{Z: moreMM}), p.radius+moreMM
		h := p.top - tip.Z
		peg, err := k.Frustum(tip, r3.Vec{Z: h}, r, r+h*slope, circleSegments(r))
		if err != nil {
			return nil, fmt.Errorf("peg %d: %w", i+1, err)
		}
		out = append(out, peg)
	}
	return out, nil
}

// collars stand round ports and sleeves, standing.
func (b *skinMould) collars(k *solid.Kernel, s *skinSide) (out []*solid.Solid, err error) {
	end := b.collarEnd(s.half)
	for _, c := range s.channels() {
		r := c.BottomRadius + collarMM
		collar, err := k.Cylinder(r3.Vec{X: c.At.X, Y: c.At.Y, Z: c.BottomZ}, r3.Vec{Z: end - c.BottomZ}, r, circleSegments(r))
		if err != nil {
			return nil, fmt.Errorf("collar: %w", err)
		}
		out = append(out, collar)
	}
	return out, nil
}

// legBodies run from the flange out to the block's end, standing.
func (b *skinMould) legBodies(k *solid.Kernel, s *skinSide) (out []*solid.Solid, err error) {
	foot := b.collarEnd(s.half) + collarEndMM
	base := s.stand(b.flange.Max).Z
	if s.half == Lower {
		base = s.stand(b.flange.Min).Z
	}
	if foot <= base {
		return nil, nil
	}
	base -= overshootMM
	for _, l := range b.legs {
		at := s.stand(r3.Vec{X: l.X, Y: l.Y})
		leg, err := k.Frustum(r3.Vec{X: at.X, Y: at.Y, Z: base}, r3.Vec{Z: foot - base}, legMM, footMM, circleSegments(legMM))
		if err != nil {
			return nil, fmt.Errorf("leg: %w", err)
		}
		out = append(out, leg)
	}
	return out, nil
}

// skinRoom is what a skin's silicone fills, but for the master: the outer face, the pegs, the ports and the
// sleeves, which end with their collars.
func (b *skinMould) skinRoom(k *solid.Kernel, s *skinSide) (*solid.Solid, error) {
	room, err := k.FromMesh(overSheet(s.inner))
	if err != nil {
		return nil, err
	}
	all, err := s.pegBodies(k, 0)
	if err != nil {
		return nil, err
	}
	for i, p := range s.pegs {
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("N%s%d", s.half.String()[:1], i+1), Kind: "soft key", Piece: s.shell, At: s.hang(p.tip),
			SizesMM: []Size{{"tip diameter", 2 * p.radius}, {"out of the skin", pegMM}}, Words: fmt.Sprintf("peg of the skin in its shell, %.1f mm at the tip", 2*p.radius)})
	}
	if len(all) > 0 {
		if room, err = room.Union(all...); err != nil {
			return nil, err
		}
	}
	if room, err = turned(room, s.half == Upper); err != nil {
		return nil, err
	}
	ways, err := sprueTools(k, s.channels())
	if err != nil {
		return nil, err
	}
	all = all[:0]
	for _, w := range ways {
		x, err := turned(w.Solid, s.half == Lower)
		if err != nil {
			return nil, err
		}
		all = append(all, x)
	}
	return room.Union(all...)
}

// ended cuts a body off where the collars of its side end.
func (b *skinMould) ended(s *solid.Solid, h Half, end float64) (*solid.Solid, error) {
	d := r3.Vec{Z: -1}
	if h == Lower {
		d.Z = 1
	}
	// The side stands with the collars on top, whichever way that is in the mould frame.
	return s.TrimByPlane(d, -end)
}

// skins makes the skins as poured and as cured.
func (b *skinMould) skins(k *solid.Kernel, v *skinBodies) error {
	ways, err := sprueTools(k, b.feed())
	if err != nil {
		return err
	}
	var grown []*solid.Solid
	for _, w := range ways {
		v.stalks = append(v.stalks, w.Solid)
		g, err := b.resized(w.Solid, b.grow)
		if err != nil {
			return err
		}
		grown = append(grown, g)
	}
	for i, s := range b.sides {
		fail := func(err error) error { return fmt.Errorf("tooling: %s: %w", s.skin, err) }
		outer, err := b.ended(v.room[i], s.half, b.collarEnd(s.half))
		if err != nil {
			return fail(err)
		}
		if b.rooms[i], err = outer.Mesh(); err != nil {
			return fail(err)
		}
		if v.poured[i], err = v.pour[i].Intersect(outer); err != nil {
			return fail(err)
		}
		if s.half == Upper {
			if v.poured[i], err = v.poured[i].Subtract(grown...); err != nil {
				return fail(err)
			}
		}
		if b.poured[i], err = v.poured[i].Mesh(); err != nil {
			return fail(err)
		}
		v.cured[i] = v.poured[i]
		if b.grow == 1 {
			continue
		}
		// The cured skin is cut out of what surrounds the part at the casting stage, so that skins and
		// casting meet on the very same facets.
		if outer, err = b.resized(outer, 1/b.grow); err != nil {
			return fail(err)
		}
		if v.cured[i], err = v.raw[i].Intersect(outer); err != nil {
			return fail(err)
		}
		if s.half == Upper {
			if v.cured[i], err = v.cured[i].Subtract(v.stalks...); err != nil {
				return fail(err)
			}
		}
	}
	return nil
}

// resized scales a body about the mould's axis at the height of the line.
func (b *skinMould) resized(s *solid.Solid, by float64) (*solid.Solid, error) {
	s, err := swollenSolid(s, by, b.lineZ())
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return s, nil
}

// leastStickMM3 is rounding: a foot that sticks out of the master's other side by more is cut off there.
const leastStickMM3 = 1e-6

// cutPlate makes the master plate: the stalks of sprue and vents stand on it, it wears the lower shell's
// keys underneath and its own on top.
func (b *skinMould) cutPlate(k *solid.Kernel, v skinBodies, t skinTools) (*solid.Solid, error) {
	fail := func(err error) (*solid.Solid, error) { return nil, fmt.Errorf("tooling: %s: %w", MasterPlate, err) }
	plate, err := k.FromMesh(b.plate)
	if err != nil {
		return fail(err)
	}
	lift := r3.Vec{Z: b.opt.PlateMM}
	if b.grow != 1 {
		box := b.mould.Block
		box.Max.Z += b.opt.PlateMM
		room, err := k.Box(box)
		if err != nil {
			return fail(err)
		}
		if plate, err = plate.Intersect(room); err != nil {
			return fail(err)
		}
	}
	add := make([]*solid.Solid, 0, len(v.stalks))
	for _, s := range v.stalks {
		if s, err = b.resized(s, b.grow); err != nil {
			return fail(err)
		}
		if s, err = b.ended(s, Upper, b.collarEnd(Upper)); err != nil {
			return fail(err)
		}
		if s, err = s.Translate(lift); err != nil {
			return fail(err)
		}
		// The foot of a stalk may come out of the other side of a thin part.
		if out, err := volumeOf(s.Intersect(v.pour[Lower])); err != nil {
			return fail(err)
		} else if out > leastStickMM3 {
			if s, err = s.Subtract(v.pour[Lower]); err != nil {
				return fail(err)
			}
		}
		add = append(add, s)
	}
	if plate, err = plate.Union(add...); err != nil {
		return fail(err)
	}
	if plate, err = Apply(plate, Lower, t.plate); err != nil {
		return fail(err)
	}
	return plate, nil
}
