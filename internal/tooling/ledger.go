package tooling

import (
	"fmt"
	"math"

	"mouldwright/internal/solid"
)

// wetShare is a group of tools that cut a space for liquid out of a raw body.
type wetShare struct {
	name  string
	raw   *solid.Solid
	tools []Tool
}

// ledger adds up the closed block at one stage.
type ledger struct {
	k                   *solid.Kernel
	block               *solid.Solid
	letters             []Tool
	shrunk              *solid.Solid // where the silicone's shrinkage leaves a gap; nil for none
	pieces              []*solid.Solid
	cavity              *solid.Solid // what no tool explains of the space
	lines               []LedgerLine
	err                 error
	blockMM3, commonMM3 float64
	rest                *solid.Solid // what nothing explains: the cavity
}

func (l *ledger) solid(name string, s *solid.Solid) {
	v, err := volumeOf(s, nil)
	if err != nil && l.err == nil {
		l.err = fmt.Errorf("%s: %w", name, err)
	}
	l.pieces = append(l.pieces, s)
	l.lines = append(l.lines, LedgerLine{Name: name, VolumeMM3: v, Solid: true})
}

// open books spaces that are known as bodies before anything else is asked of the rest: that is cheaper than
// to look for them there. What they share with pieces counts as shared by pieces.
func (l *ledger) open(name string, spaces ...*solid.Solid) {
	sum := 0.0
	for _, s := range spaces {
		v, err := volumeOf(s, nil)
		if err != nil && l.err == nil {
			l.err = fmt.Errorf("%s: %w", name, err)
		}
		sum += v
	}
	l.pieces = append(l.pieces, spaces...)
	l.lines = append(l.lines, LedgerLine{Name: name, VolumeMM3: sum})
}

func (l *ledger) of(name string) float64 {
	for _, x := range l.lines {
		if x.Name == name {
			return x.VolumeMM3
		}
	}
	return 0
}

// spaces divides what the pieces leave of the block among the tools that made it. What the wet tools took
// from raw bodies is theirs; what no tool explains is the cavity.
func (l *ledger) spaces(dry []share, wet ...wetShare) error {
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
	l.rest = space
	l.cavity = space
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
func (l *ledger) take(name string, space, tool *solid.Solid) (*solid.Solid, error) {
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

// judge checks the sum of a stage, and that its pieces do not share space. soft names the piece that may
// press on its neighbours where it shrank.
func (l *ledger) judge(m *Mould, when, soft string) {
	sum := 0.0
	for _, x := range l.lines {
		sum += x.VolumeMM3
	}
	off := math.Abs(sum-l.blockMM3) / l.blockMM3
	m.Checks = append(m.Checks, Check{Name: "volumes add up when the " + when, OK: off <= ledgerTol, Value: off, Limit: ledgerTol, Unit: "of the block",
		Words: fmt.Sprintf("pieces and spaces come to %.6f mm³, the block to %.6f mm³", sum, l.blockMM3)})
	c := Check{Name: "pieces apart when the " + when, OK: math.Abs(l.commonMM3) <= apartTol*l.blockMM3, Value: l.commonMM3, Limit: apartTol * l.blockMM3, Unit: "mm³",
		Words: fmt.Sprintf("the pieces share %.3g mm³ when closed", math.Abs(l.commonMM3))}
	if c.OK {
		c.Words += ", within rounding"
	}
	if l.shrunk != nil { // the cured insert is soft, and smaller than its cradle: where it cannot shrink it is stretched
		c.OK = l.commonMM3 <= shrinkShare*l.of(soft)
		c.Limit = shrinkShare * l.of(soft)
		c.Words = fmt.Sprintf("the shrunk %s and what holds it share %.3g mm³, which it takes up by stretching", soft, l.commonMM3)
	}
	m.Checks = append(m.Checks, c)
}

// shrinkShare bounds how much of a shrunk soft body may lie in the material that holds it: a core that the
// body shrinks onto stretches it by the shrinkage itself, a few tenths of a per cent.
const shrinkShare = 0.02
