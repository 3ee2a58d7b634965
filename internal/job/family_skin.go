package job

import (
	"context"

	"mouldwright/internal/material"
	"mouldwright/internal/tooling"
)

// SkinRule sizes the skins and shells of the family "skin"; other families leave it unused.
type SkinRule struct {
	ThicknessMM float64 `toml:"thickness_mm"` // of the silicone
	DraftDeg    float64 `toml:"draft_deg"`    // of its outer face against the shells
	LandMM      float64 `toml:"land_mm"`      // how far the skins reach past the parting line
	ShellMM     float64 `toml:"shell_mm"`     // thickness of the shells
	FlangeMM    float64 `toml:"flange_mm"`    // of their flanges, at least
	PlateMM     float64 `toml:"plate_mm"`     // of the plate that carries the master
	PortMM      float64 `toml:"port_mm"`      // diameter of the silicone's fill ports
}

// ranges are the settings with the span that makes sense.
func (r SkinRule) ranges() []settingRange {
	return []settingRange{
		{"skin.thickness_mm", r.ThicknessMM, 0, 50, "mm"},
		{"skin.draft_deg", r.DraftDeg, 0, 30, "°"},
		{"skin.land_mm", r.LandMM, 0, 50, "mm"},
		{"skin.shell_mm", r.ShellMM, 0, 50, "mm"},
		{"skin.flange_mm", r.FlangeMM, 0, 50, "mm"},
		{"skin.plate_mm", r.PlateMM, 0, 20, "mm"},
		{"skin.port_mm", r.PortMM, 0, 30, "mm"},
	}
}

func buildSkin(ctx context.Context, s *trying, silicone *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	return tooling.SkinMould(ctx, s.opt.Pool, s.part.mesh, tooling.SkinOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct,
		SiliconeShrinkPct: shrinkPct(silicone), Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, SkinMM: f.Skin.ThicknessMM, DraftDeg: f.Skin.DraftDeg, LandMM: f.Skin.LandMM, ShellMM: f.Skin.ShellMM,
		FlangeMM: f.Skin.FlangeMM, PlateMM: f.Skin.PlateMM, PortMM: f.Skin.PortMM, SprueMM: t.SprueMM, Vents: t.Vents, VentMM: t.VentMM,
		WallMM: t.WallMM, ToleranceMM: t.ToleranceMM, Bolt: t.Bolt, BoltPitchMM: t.BoltPitchMM, Keys: t.Keys, KeyClearance: t.KeyClearance,
		Label: t.Label, BuildVolumeMM: t.BuildVolumeMM, Casting: f.flexOf(s.material), Silicone: f.flexOf(silicone), Workers: s.opt.Workers, Progress: s.building})
}
