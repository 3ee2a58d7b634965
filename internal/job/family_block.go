package job

import (
	"context"

	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// BlockRule sizes blocks of silicone, for the families "silicone-block" and "cut-block"; other families leave
// it unused.
type BlockRule struct {
	ThicknessMM float64 `toml:"thickness_mm"` // least silicone round the part
	BoxMM       float64 `toml:"box_mm"`       // wall of the pouring box
	DraftDeg    float64 `toml:"draft_deg"`    // of its bore
	FreeMM      float64 `toml:"free_mm"`      // box over the silicone
	UncutMM     float64 `toml:"uncut_mm"`     // least silicone left behind the part in a cut block
}

// ranges are the settings with the span that makes sense.
func (r BlockRule) ranges() []settingRange {
	return []settingRange{
		{"block.thickness_mm", r.ThicknessMM, 0, 100, "mm"},
		{"block.box_mm", r.BoxMM, 0, 50, "mm"},
		{"block.draft_deg", r.DraftDeg, 0, 10, "°"},
		{"block.free_mm", r.FreeMM, 0, 50, "mm"},
		{"block.uncut_mm", r.UncutMM, 0, 100, "mm"},
	}
}

func buildSiliconeBlock(ctx context.Context, s *trying, silicone *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	return tooling.BlockMould(ctx, s.opt.Pool, s.part.mesh, tooling.BlockOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct,
		SiliconeShrinkPct: shrinkPct(silicone), BlockMM: f.Block.ThicknessMM, DraftDeg: f.Block.DraftDeg, WallMM: f.Block.BoxMM, FreeMM: f.Block.FreeMM,
		SprueMM: t.SprueMM, Vents: t.Vents, VentMM: t.VentMM, Keys: t.Keys, Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, ToleranceMM: t.ToleranceMM, Label: t.Label, BuildVolumeMM: t.BuildVolumeMM,
		Casting: f.flexOf(s.material), Silicone: f.flexOf(silicone), Workers: s.opt.Workers, Progress: s.building})
}

func buildCutBlock(ctx context.Context, s *trying, silicone *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	return tooling.CutBlock(ctx, s.opt.Pool, s.part.mesh, tooling.CutBlockOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct,
		SiliconeShrinkPct: shrinkPct(silicone), BlockMM: f.Block.ThicknessMM, DraftDeg: f.Block.DraftDeg, WallMM: f.Block.BoxMM, FreeMM: f.Block.FreeMM, HingeMM: f.Block.UncutMM,
		SprueMM: t.SprueMM, Vents: t.Vents, VentMM: t.VentMM, Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, ToleranceMM: t.ToleranceMM, Label: t.Label, BuildVolumeMM: t.BuildVolumeMM,
		Casting: f.flexOf(s.material), Silicone: f.flexOf(silicone), Workers: s.opt.Workers, Progress: s.building})
}
