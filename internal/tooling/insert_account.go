package tooling

import (
	"fmt"
	"math"

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
	pour := &insertLedger{b: b, k: k, block: v.block, letters: append(append([]Tool(nil), b.lettered[Cradle]...), b.lettered[PatternCap]...)}
	pour.solid(Cradle, s.cradle)
	pour.solid(InsertBody, v.poured)
	pour.solid(PatternCap, s.pattern)
	if err := pour.spaces(s.dry, wetShare{"fill port and vents", v.pourUpper, s.ports}); err != nil {
		return err
	}
	b.out.Pours = []Pour{{Piece: InsertBody, ML: (pour.of(InsertBody) + pour.of("fill port and vents")) / 1000,
		In: []string{Cradle, PatternCap}, Ledger: pour.lines}}
	cast := &insertLedger{b: b, k: k, block: v.block, letters: append(append([]Tool(nil), b.lettered[Cradle]...), b.lettered[CastingCap]...)}
	cast.solid(Cradle, s.cradle)
	cast.solid(InsertBody, v.cured)
	cast.solid(CastingCap, s.casting)
	if b.grow != 1 {
		cast.shrunk = v.lower
	}
	if err := cast.spaces(s.dry, wetShare{"vents", v.upper, s.vents}, wetShare{"overflow gutter", v.upper, s.gutter}); err != nil {
		return err
	}
	b.mould.Ledger = cast.lines
	b.out.CastML = (cast.of("cavity") + cast.of("vents")) / 1000
	b.out.OverflowML = cast.of("overflow gutter") / 1000
	b.judge(pour, "silicone is poured")
	b.judge(cast, "part is cast")
	want := b.mould.Part.VolumeMM3()
	got := cast.of("cavity")
	off := math.Abs(got-want) / want
	b.mould.Checks = append(b.mould.Checks, Check{Name: "cavity volume", OK: off <= cavityTol, Value: 100 * off, Limit: 100 * cavityTol, Unit: "%",
		Words: fmt.Sprintf("the cavity as built holds %.3f mm³, the compensated part %.3f mm³", got, want)})
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

// wetShare is a group of tools that cut a space for liquid out of a raw body.
type wetShare struct {
	name  string
	raw   *solid.Solid
	tools []Tool
}

// insertLedger adds up the closed block at one stage.
type insertLedger struct {
	b                   *insertMould
	k                   *solid.Kernel
	block               *solid.Solid
	letters             []Tool
	shrunk              *solid.Solid // where the silicone's shrinkage leaves a gap; nil for none
	pieces              []*solid.Solid
	lines               []LedgerLine
	err                 error
	blockMM3, commonMM3 float64
}

func (l *insertLedger) solid(name string, s *solid.Solid) {
	v, err := volumeOf(s, nil)
	if err != nil && l.err == nil {
		l.err = fmt.Errorf("%s: %w", name, err)
	}
	l.pieces = append(l.pieces, s)
	l.lines = append(l.lines, LedgerLine{Name: name, VolumeMM3: v, Solid: true})
}

func (l *insertLedger) of(name string) float64 {
	for _, x := range l.lines {
		if x.Name == name {
			return x.VolumeMM3
		}
	}
	return 0
}

// spaces divides what the pieces leave of the block among the tools that made it. What the wet tools took
// from raw bodies is theirs; what no tool explains is the cavity.
func (l *insertLedger) spaces(dry []share, wet ...wetShare) error {
	if l.err != nil {
		return l.err
	}
	var err error
	if l.blockMM3, err = volumeOf(l.block, nil); err != nil {
		return err
	}
	space, err := l.block.Subtract(l.pieces...)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	empty, err := volumeOf(space, nil)
	if err != nil {
		return err
	}
	l.commonMM3 = empty - l.blockMM3
	for _, x := range l.lines {
		l.commonMM3 += x.VolumeMM3
	}
	for _, s := range append(dry, share{name: "labels", tools: l.letters}) {
		if len(s.tools) == 0 {
			continue
		}
		tool, err := s.cutters(l.k)
		if err != nil {
			return err
		}
		if space, err = l.take(s.name, space, tool); err != nil {
			return err
		}
	}
	for _, w := range wet {
		if len(w.tools) == 0 {
			continue
		}
		var held []*solid.Solid
		for _, t := range w.tools {
			h, err := w.raw.Intersect(t.Solid)
			if err != nil {
				return fmt.Errorf("tooling: %s: %w", w.name, err)
			}
			held = append(held, h)
		}
		tool, err := l.k.Union(held...)
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", w.name, err)
		}
		if space, err = l.take(w.name, space, tool); err != nil {
			return err
		}
	}
	if l.shrunk != nil {
		if space, err = l.take("gap left by the silicone's shrinkage", space, l.shrunk); err != nil {
			return err
		}
	}
	v, err := volumeOf(space, nil)
	if err != nil {
		return err
	}
	l.lines = append(l.lines, LedgerLine{Name: "cavity", VolumeMM3: v})
	if l.commonMM3 > apartTol*l.blockMM3 {
		l.lines = append(l.lines, LedgerLine{Name: "silicone pressed against its neighbours", VolumeMM3: -l.commonMM3})
	}
	return nil
}

// take books what a tool explains of the space, and returns the rest.
func (l *insertLedger) take(name string, space, tool *solid.Solid) (*solid.Solid, error) {
	v, err := volumeOf(space.Intersect(tool))
	if err != nil {
		return nil, err
	}
	l.lines = append(l.lines, LedgerLine{Name: name, VolumeMM3: v})
	rest, err := space.Subtract(tool)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", name, err)
	}
	return rest, nil
}

// judge checks the sum of a stage, and that its pieces do not share space.
func (b *insertMould) judge(l *insertLedger, when string) {
	sum := 0.0
	for _, x := range l.lines {
		sum += x.VolumeMM3
	}
	off := math.Abs(sum-l.blockMM3) / l.blockMM3
	b.mould.Checks = append(b.mould.Checks, Check{Name: "volumes add up when the " + when, OK: off <= ledgerTol, Value: off, Limit: ledgerTol, Unit: "of the block",
		Words: fmt.Sprintf("pieces and spaces come to %.6f mm³, the block to %.6f mm³", sum, l.blockMM3)})
	c := Check{Name: "pieces apart when the " + when, OK: math.Abs(l.commonMM3) <= apartTol*l.blockMM3, Value: l.commonMM3, Limit: apartTol * l.blockMM3, Unit: "mm³",
		Words: fmt.Sprintf("the pieces share %.3g mm³ when closed, within rounding", l.commonMM3)}
	if l.shrunk != nil { // the cured insert is soft, and smaller than its cradle: where it cannot shrink it is stretched
		c.OK = l.commonMM3 <= shrinkShare*l.of(InsertBody)
		c.Limit = shrinkShare * l.of(InsertBody)
		c.Words = fmt.Sprintf("the shrunk insert and its cradle share %.3g mm³, which it takes up by stretching", l.commonMM3)
	}
	b.mould.Checks = append(b.mould.Checks, c)
}

// shrinkShare bounds how much of a shrunk insert may lie in the cradle's material: a core of the cradle
// that the insert shrinks onto stretches it by the shrinkage itself, a few tenths of a per cent.
const shrinkShare = 0.02
