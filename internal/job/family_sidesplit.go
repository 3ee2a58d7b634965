package job

import (
	"context"

	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// SideSplitRule says how the side pieces of the family "side-split" leave; other families leave it unused.
type SideSplitRule struct {
	Side []float64 `toml:"side"` // of the first, in the part's coordinates; empty: the way that holds least
}

func (r SideSplitRule) check(f *File) error {
	if badDirection(r.Side) {
		return f.wrong("side_split.side", "%v must be three numbers, not all 0, such as [1, 0, 0]; leave it out to choose", r.Side)
	}
	return nil
}

func buildSideSplit(ctx context.Context, s *trying, _ *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	o := tooling.SideSplitOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct, WallMM: t.WallMM, FloorMM: t.FloorMM, ToleranceMM: t.ToleranceMM,
		Bolt: t.Bolt, BoltPitchMM: t.BoltPitchMM, KeyClearance: t.KeyClearance, SprueMM: t.SprueMM, Vents: t.Vents, VentMM: t.VentMM, Label: t.Label,
		BuildVolumeMM: t.BuildVolumeMM, Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, Side: vecOf(f.SideSplit.Side), Casting: f.flexOf(s.material), Workers: s.opt.Workers, Progress: s.building}
	if t.Keys < 0 {
		o.Keys = -1 // how many there are is the builder's own: two cones and two rails
	}
	return tooling.SideSplit(ctx, s.opt.Pool, s.part.mesh, o)
}
