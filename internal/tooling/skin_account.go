package tooling

import (
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// account measures the three closed stages on the bodies as made: everything in the block is a piece, or a
// space with a name.
func (b *skinMould) account(k *solid.Kernel, v skinBodies, t skinTools) error {
	var outside [2]*solid.Solid
	for i, s := range b.sides {
		var err error
		if outside[i], err = v.pour[i].Subtract(v.body[i]); err != nil {
			return fmt.Errorf("tooling: %s: %w", s.shell, err)
		}
	}
	if err := b.accountPours(k, v, t, outside); err != nil {
		return err
	}
	channels, err := b.channelsAsCast(v)
	if err != nil {
		return err
	}
	cast := &ledger{k: k, block: v.block, letters: append(append([]Tool(nil), t.label[Lower]...), t.label[Upper]...)}
	cast.solid(LowerShell, v.shell[Lower])
	cast.solid(UpperShell, v.shell[Upper])
	cast.solid(LowerSkin, v.cured[Lower])
	cast.solid(UpperSkin, v.cured[Upper])
	cast.open(outsideShells, outside[:]...)
	if b.grow != 1 {
		part, err := k.FromMesh(b.parting.Mesh)
		if err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
		if cast.shrunk, err = v.block.Subtract(part); err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
	}
	if err := cast.spaces(t.dry, wetShare{"sprue", v.raw[Upper], channels[:len(b.sprues)]}, wetShare{"vents", v.raw[Upper], channels[len(b.sprues):]}); err != nil {
		return err
	}
	b.out.CastML = (cast.of("cavity") + cast.of("sprue") + cast.of("vents")) / 1000
	cast.judge(b.mould, "part is cast", UpperSkin)
	if err := b.many.book(cast, b.mould); err != nil {
		return err
	}
	return b.cast(k, v, channels)
}

// channelsAsCast are sprue and vents as far as their sleeves go.
func (b *skinMould) channelsAsCast(v skinBodies) (out []Tool, err error) {
	end := b.cured(r3.Vec{Z: b.collarEnd(Upper)}).Z
	for _, s := range v.stalks {
		if s, err = b.ended(s, Upper, end); err != nil {
			return nil, fmt.Errorf("tooling: sprue: %w", err)
		}
		out = append(out, Tool{Half: Upper, Solid: s})
	}
	return out, nil
}

// outsideShells names what the block has round the shells.
const outsideShells = "outside of the shells"

// accountPours adds up the block with the plate in it, once both skins are there. While the upper skin is
// poured, the lower one's room is still empty; nothing else differs.
func (b *skinMould) accountPours(k *solid.Kernel, v skinBodies, t skinTools, outside [2]*solid.Solid) error {
	fail := func(err error) error { return fmt.Errorf("tooling: pouring stage: %w", err) }
	var err error
	up := func(s *solid.Solid) *solid.Solid {
		if err == nil {
			s, err = s.Translate(r3.Vec{Z: b.opt.PlateMM})
		}
		return s
	}
	lifted := func(tools []Tool) (out []Tool) {
		for _, x := range tools {
			if x.Half == Upper {
				x.Solid = up(x.Solid)
			}
			out = append(out, x)
		}
		return out
	}
	box := b.mould.Block
	box.Max.Z += b.opt.PlateMM
	block, boxErr := k.Box(box)
	if boxErr != nil {
		return fail(boxErr)
	}
	var dry []share
	for _, s := range t.dry {
		dry = append(dry, share{name: s.name, tools: lifted(s.tools)})
	}
	dry = append(dry, t.holes, t.keys)
	l := &ledger{k: k, block: block, letters: lifted(append(append([]Tool(nil), t.label[Lower]...), t.label[Upper]...))}
	bodies := []struct {
		name string
		s    *solid.Solid
	}{{LowerShell, v.shell[Lower]}, {MasterPlate, v.plate}, {UpperShell, up(v.shell[Upper])}, {UpperSkin, up(v.poured[Upper])}, {LowerSkin, v.poured[Lower]}}
	high := up(outside[Upper])
	if err != nil {
		return fail(err)
	}
	for _, x := range bodies {
		l.solid(x.name, x.s)
	}
	l.open(outsideShells, outside[Lower], high)
	if err := l.spaces(dry); err != nil {
		return err
	}
	l.judge(b.mould, "skins are poured", LowerSkin)
	if left := l.of("cavity"); math.Abs(left) > apartTol*l.blockMM3 {
		b.mould.Checks = append(b.mould.Checks, Check{Name: "silicone fills its rooms", Value: left, Unit: "mm³",
			Words: fmt.Sprintf("%.3f mm³ of the closed block while the skins are poured have no name", left)})
	}
	first := slices.Clone(l.lines)
	for i := range first {
		if first[i].Name == LowerSkin {
			first[i].Name, first[i].Solid = "room of the lower skin, still empty", false
		}
	}
	lift := r3.Vec{Z: b.opt.PlateMM}
	b.out.Pours = []Pour{{Piece: UpperSkin, ML: l.of(UpperSkin) / 1000, In: []string{UpperShell, MasterPlate}, Ledger: first, Shift: map[string]r3.Vec{UpperSkin: lift, UpperShell: lift}},
		{Piece: LowerSkin, ML: l.of(LowerSkin) / 1000, In: []string{LowerShell, MasterPlate}, Ledger: l.lines}}
	return nil
}

// cast is the casting as it comes out: the part, and what stands in sprue and vents.
func (b *skinMould) cast(k *solid.Kernel, v skinBodies, channels []Tool) error {
	part, err := k.FromMesh(b.parting.Mesh)
	if err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	for i, c := range b.feed() {
		held, err := v.raw[Upper].Intersect(channels[i].Solid)
		if err != nil {
			return fmt.Errorf("tooling: sprue: %w", err)
		}
		if part, err = part.Union(held); err != nil {
			return fmt.Errorf("tooling: sprue: %w", err)
		}
		mm3, err := volumeOf(held, nil)
		if err != nil {
			return err
		}
		name, kind := fmt.Sprintf("S%d", i+1), "sprue"
		if n := len(b.sprues); i >= n {
			name, kind = fmt.Sprintf("V%d", i-n+1), "vent"
		}
		f := c.Feature(name, kind, mm3)
		f.Piece = UpperSkin
		f.Words += fmt.Sprintf("; lined with %.1f mm of silicone", b.opt.SleeveMM)
		b.mould.Features = append(b.mould.Features, f)
	}
	if b.mould.Cast, err = part.Mesh(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	if err := b.many.check(k, b.mould, "skins", b.grow, b.opt.SkinMM); err != nil {
		return err
	}
	return b.bookPorts(k, v)
}

// bookPorts enters the silicone's ports: what they hold stays on the skins.
func (b *skinMould) bookPorts(k *solid.Kernel, v skinBodies) error {
	for _, s := range b.sides {
		tools, err := sprueTools(k, s.ports)
		if err != nil {
			return err
		}
		n := 0
		for i, p := range s.ports {
			x, err := turned(tools[i].Solid, s.half == Lower)
			if err != nil {
				return fmt.Errorf("tooling: %s: %w", s.shell, err)
			}
			mm3, err := volumeOf(v.poured[s.half].Intersect(x))
			if err != nil {
				return err
			}
			kind := "fill port for the silicone"
			if i > 0 {
				kind = "vent for the silicone"
			}
			n++
			f := p.Feature(fmt.Sprintf("F%s%d", s.half.String()[:1], n), kind, mm3)
			f.Piece, f.At = s.shell, s.stand(f.At)
			b.mould.Features = append(b.mould.Features, f)
		}
	}
	return nil
}
