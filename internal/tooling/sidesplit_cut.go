package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

// cut makes the pieces and measures the space between them.
func (b *sideSplit) cut(ctx context.Context, k *solid.Kernel) error {
	upper, err := k.FromMesh(b.upper)
	if err != nil {
		return fmt.Errorf("tooling: side pieces: %w", err)
	}
	lower, err := k.FromMesh(b.lower)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", WholeHalf, err)
	}
	one, two, err := upper.SplitByPlane(r3.Vec{X: 1}, b.splitX)
	if err != nil {
		return fmt.Errorf("tooling: side split: %w", err)
	}
	dry, err := b.dryTools(k, upper)
	if err != nil {
		return err
	}
	raw := upper
	if b.feed.below {
		raw = lower
	}
	sprue, vents, held, err := b.wetTools(k, raw)
	if err != nil {
		return err
	}
	b.opt.Progress.tell("cutting the pieces", 0.5)
	pieces := []sidePiece{{WholeHalf, lower, r3.Vec{Z: -1}}, {SideOne, one, r3.Vec{X: 1}}, {SideTwo, two, r3.Vec{X: -1}}}
	for i := range pieces {
		p := &pieces[i]
		if p.s, err = Apply(p.s, Lower, b.toolsFor(i, dry, sprue, vents)); err != nil {
			return fmt.Errorf("tooling: %s: %w", p.name, err)
		}
		if err := b.mould.addPieceLeaving(ctx, p.name, p.s, p.exit); err != nil {
			return err
		}
	}
	b.opt.Progress.tell("adding up volumes", 0.6)
	return b.account(k, pieces, dry, held, wetShare{"sprue", raw, sprue}, wetShare{"vents", raw, vents})
}

type sidePiece struct {
	name string
	s    *solid.Solid
	exit r3.Vec
}

// toolsFor are the tools that a piece takes: 0 the whole half, 1 and 2 the side pieces.
func (b *sideSplit) toolsFor(piece int, dry []sideToolShare, wet ...[]Tool) (out []Tool) {
	for _, s := range dry {
		for _, t := range s.tools {
			if t.to[piece] {
				out = append(out, Tool{Half: Lower, Add: t.add, Solid: t.s})
			}
		}
	}
	if b.feed.below == (piece == 0) {
		for _, tools := range wet {
			for _, t := range tools {
				out = append(out, Tool{Half: Lower, Solid: t.Solid})
			}
		}
	}
	return out
}

// account names every piece of space in the closed block, and makes the casting.
func (b *sideSplit) account(k *solid.Kernel, pieces []sidePiece, dry []sideToolShare, held *solid.Solid, wet ...wetShare) error {
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	l := &ledger{k: k, block: block}
	for _, p := range pieces {
		l.solid(p.name, p.s)
	}
	var shares []share
	for _, s := range dry {
		shares = append(shares, s.forLedger())
	}
	if err := l.spaces(shares, wet...); err != nil {
		return err
	}
	m := b.mould
	m.Ledger = l.lines
	if b.row != nil {
		if err := b.bookRow(l); err != nil {
			return err
		}
	}
	l.judge(m, "part is cast", "")
	got := l.of("cavity")
	m.Checks = append(m.Checks, cavityCheck("cavity volume", got, m.Part.VolumeMM3()))
	b.out.CastML = (got + l.of("sprue") + l.of("vents")) / 1000
	cast, err := k.FromMesh(m.Part)
	if err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	if cast, err = cast.Union(held); err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	parts, err := cast.Parts()
	if err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	name, n := "casting in one piece", b.castings()
	if n > 1 {
		name = "each casting in one piece"
	}
	m.Checks = append(m.Checks, Check{Name: name, OK: len(parts) == n, Value: float64(len(parts)), Limit: float64(n), Unit: "pieces",
		Words: fmt.Sprintf("the casting with sprue and vents comes in this many pieces: %d", len(parts))})
	if m.Cast, err = cast.Mesh(); err != nil {
		return fmt.Errorf("tooling: casting: %w", err)
	}
	return nil
}
