package tooling

import (
	"fmt"

	"mouldwright/internal/solid"
)

// insertSpaces are the finished pieces and what was cut from them.
type insertSpaces struct {
	dry                      []share
	ports, vents, gutter     []Tool
	cradle, pattern, casting *solid.Solid
}

// account measures both stages on the bodies as made: everything in the closed block is a piece, or a
// space with a name.
func (b *insertMould) account(k *solid.Kernel, v insertBodies, s insertSpaces) error {
	pour := &ledger{k: k, block: v.block, letters: append(append([]Tool(nil), b.lettered[Cradle]...), b.lettered[PatternCap]...)}
	pour.solid(Cradle, s.cradle)
	pour.solid(InsertBody, v.poured)
	pour.solid(PatternCap, s.pattern)
	if err := pour.spaces(s.dry, wetShare{"fill port and vents", v.pourUpper, s.ports}); err != nil {
		return err
	}
	b.out.Pours = []Pour{{Piece: InsertBody, ML: (pour.of(InsertBody) + pour.of("fill port and vents")) / 1000,
		In: []string{Cradle, PatternCap}, Ledger: pour.lines}}
	cast := &ledger{k: k, block: v.block, letters: append(append([]Tool(nil), b.lettered[Cradle]...), b.lettered[CastingCap]...)}
	cast.solid(Cradle, s.cradle)
	cast.solid(InsertBody, v.cured)
	cast.solid(CastingCap, s.casting)
	if b.grow != 1 {
		cast.shrunk = v.lower
	}
	if err := cast.spaces(s.dry, wetShare{"vents", v.upper, s.vents}, wetShare{"overflow gutter", v.upper, s.gutter}); err != nil {
		return err
	}
	b.out.CastML = (cast.of("cavity") + cast.of("vents")) / 1000
	b.out.OverflowML = cast.of("overflow gutter") / 1000
	pour.judge(b.mould, "silicone is poured", InsertBody)
	cast.judge(b.mould, "part is cast", InsertBody)
	if err := b.many.book(cast, b.mould); err != nil {
		return err
	}
	if left := pour.of("cavity"); left > apartTol*pour.blockMM3 {
		b.mould.Checks = append(b.mould.Checks, Check{Name: "silicone fills its cavity", Value: left, Unit: "mm³",
			Words: fmt.Sprintf("%.3f mm³ of the closed block while the silicone is poured have no name", left)})
	}
	return b.cast(k, v, s)
}

// cast is the casting as it comes out: the part and what stands in the vents.
func (b *insertMould) cast(k *solid.Kernel, v insertBodies, s insertSpaces) error {
	part, err := k.FromMesh(b.parting.Mesh)
	if err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	for _, t := range s.vents {
		held, err := v.upper.Intersect(t.Solid)
		if err != nil {
			return fmt.Errorf("tooling: vents: %w", err)
		}
		if part, err = part.Union(held); err != nil {
			return fmt.Errorf("tooling: vents: %w", err)
		}
	}
	if b.mould.Cast, err = part.Mesh(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	if err := b.many.check(k, b.mould, InsertBody, b.grow, b.opt.InsertMM); err != nil {
		return err
	}
	for i, p := range b.ports {
		held, err := volumeOf(v.pourUpper.Intersect(s.ports[i].Solid))
		if err != nil {
			return err
		}
		kind, name := "fill port for the silicone", "F1"
		if i > 0 {
			kind, name = "vent for the silicone", fmt.Sprintf("F%d", i+1)
		}
		f := p.Feature(name, kind, held)
		f.Piece = PatternCap
		b.mould.Features = append(b.mould.Features, f)
	}
	for i, p := range b.vents {
		held, err := volumeOf(v.upper.Intersect(s.vents[i].Solid))
		if err != nil {
			return err
		}
		f := p.Feature(fmt.Sprintf("V%d", i+1), "vent", held)
		f.Piece = CastingCap
		b.mould.Features = append(b.mould.Features, f)
	}
	return nil
}
