package tooling

import (
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

const (
	// cavityTol is how far the cavity's volume may be off the compensated part's.
	cavityTol = 1e-3
	// ledgerTol is how far the ledger's lines may be off the block, relative to it.
	ledgerTol = 1e-9
	// apartTol is how much of the block two halves may share: rounding of cut edges, no more.
	apartTol = 1e-9
)

// account takes the finished halves out of the block and names every share of the space that is left:
// nothing in the closed mould goes unexplained. What remains after all features is the cavity, which
// is then compared with the part; it is measured on the pieces as built, not on the plan.
func (b *twoHalves) account(k *solid.Kernel, halves [2]*solid.Solid, shares []share) error {
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	both, err := halves[Lower].Intersect(halves[Upper])
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	common, err := both.VolumeMM3()
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	rest, err := block.Subtract(halves[Lower], halves[Upper])
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	for _, p := range b.mould.Pieces {
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: p.Name, VolumeMM3: p.VolumeMM3, Solid: true})
	}
	part, err := k.FromMesh(b.mould.Part)
	if err != nil {
		return fmt.Errorf("tooling: the part: %w", err)
	}
	for _, s := range shares {
		if s.wet && b.mould.Cast == nil {
			if b.mould.Cast, err = rest.Mesh(); err != nil {
				return fmt.Errorf("tooling: %w", err)
			}
		}
		if len(s.tools) == 0 {
			continue
		}
		if rest, err = b.take(k, rest, s, part); err != nil {
			return err
		}
	}
	cavity, err := rest.VolumeMM3()
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: "cavity", VolumeMM3: cavity})
	b.judgeVolumes(cavity, common)
	return nil
}

// take books one share of the space and returns the rest. A sprue's cutter stands into the cavity; that
// end belongs to the cavity.
func (b *twoHalves) take(k *solid.Kernel, rest *solid.Solid, s share, part *solid.Solid) (*solid.Solid, error) {
	var cuts []*solid.Solid
	for _, t := range s.tools {
		if !t.Add {
			cuts = append(cuts, t.Solid)
		}
	}
	tool, err := k.Union(cuts...)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
	}
	if s.wet {
		if tool, err = tool.Subtract(part); err != nil {
			return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
		}
	}
	mine, err := rest.Intersect(tool)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
	}
	v, err := mine.VolumeMM3()
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
	}
	b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: s.name, VolumeMM3: v})
	rest, err = rest.Subtract(tool)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
	}
	return rest, nil
}

func (b *twoHalves) judgeVolumes(cavity, common float64) {
	size := b.mould.Block.Size()
	block := size.X * size.Y * size.Z
	sum := 0.0
	for _, l := range b.mould.Ledger {
		sum += l.VolumeMM3
	}
	want := b.mould.Part.VolumeMM3()
	off := math.Abs(cavity-want) / want
	b.mould.Checks = append(b.mould.Checks,
		Check{Name: "cavity volume", OK: off <= cavityTol, Value: 100 * off, Limit: 100 * cavityTol, Unit: "%",
			Words: fmt.Sprintf("the cavity as built holds %.3f mm³, the compensated part %.3f mm³", cavity, want)},
		Check{Name: "volumes add up", OK: math.Abs(sum-block) <= ledgerTol*block, Value: math.Abs(sum-block) / block, Limit: ledgerTol, Unit: "of the block",
			Words: fmt.Sprintf("pieces and spaces come to %.6f mm³, the block to %.6f mm³", sum, block)},
		Check{Name: "halves apart", OK: common <= apartTol*block, Value: common, Limit: apartTol * block, Unit: "mm³",
			Words: fmt.Sprintf("the halves share %.3g mm³ when closed", common)})
}

// facetsOf lists the facets of the part that a half touches.
func facetsOf(upper []bool, h Half) (out []int32) {
	for f, u := range upper {
		if u == (h == Upper) {
			out = append(out, int32(f))
		}
	}
	return out
}

// asMesh is the parting surface for those who take a mesh.
func (s *Surface) asMesh() *mesh.Mesh { return &mesh.Mesh{Verts: s.Verts, Tris: s.Tris} }
