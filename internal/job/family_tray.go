package job

import (
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/material"
	"mouldwright/internal/mesh"
	"mouldwright/internal/tooling"
)

// familyTray is the family that is poured open.
const familyTray = "tray"

// TrayRule sizes the open-face tray, and names the carrier that is over-moulded in it.
type TrayRule struct {
	LandMM float64 `toml:"land_mm"` // brim between cavity and moat
	MoatML float64 `toml:"moat_ml"`
	MoatMM float64 `toml:"moat_mm"`

	Carrier       string  `toml:"carrier"` // a file in the part's coordinates; "" for none
	CarrierObject string  `toml:"carrier_object"`
	CarrierGPerML float64 `toml:"carrier_g_per_ml"`
	Tabs          int     `toml:"tabs"`
	TabMM         float64 `toml:"tab_mm"`
	NeckMM        float64 `toml:"neck_mm"`
	AirHoles      *bool   `toml:"air_holes"`
	AirHoleMM     float64 `toml:"air_hole_mm"`
	BondHoles     *int    `toml:"bond_holes"` // 0 for none
	BondHoleMM    float64 `toml:"bond_hole_mm"`
	BondPitchMM   float64 `toml:"bond_pitch_mm"`
}

func (r TrayRule) check(f *File) error {
	if r.Carrier != "" && f.Mould.Family != familyTray {
		return f.wrong("tray.carrier", "a carrier is over-moulded in the open tray alone: put family = %q under [mould], or leave carrier out", familyTray)
	}
	if n := f.Mould.Cavities; r.Carrier != "" && n > 1 {
		return f.wrong("mould.cavities", "%d cavities are asked for, and a carrier lies in one: take 1, or leave tray.carrier out", n)
	}
	if r.Tabs == 1 || r.Tabs == 2 {
		return f.wrong("tray.tabs", "%d tabs do not keep a carrier level: give 3 or more", r.Tabs)
	}
	return nil
}

func (r TrayRule) ranges() []settingRange {
	rs := []settingRange{
		{"tray.land_mm", r.LandMM, 0, 20, "mm"}, {"tray.moat_ml", r.MoatML, 0, 1000, "mL"}, {"tray.moat_mm", r.MoatMM, 0, 50, "mm"},
		{"tray.carrier_g_per_ml", r.CarrierGPerML, 0, 22, "g/mL"}, {"tray.tabs", float64(r.Tabs), 0, 12, "tabs"}, {"tray.tab_mm", r.TabMM, 0, 50, "mm"},
		{"tray.neck_mm", r.NeckMM, 0, 10, "mm"}, {"tray.air_hole_mm", r.AirHoleMM, 0, 20, "mm"}, {"tray.bond_hole_mm", r.BondHoleMM, 0, 50, "mm"},
		{"tray.bond_pitch_mm", r.BondPitchMM, 0, 500, "mm"},
	}
	if r.BondHoles != nil {
		rs = append(rs, settingRange{"tray.bond_holes", float64(*r.BondHoles), 0, 60, "holes"})
	}
	return rs
}

// carrier is how package tooling is asked for it.
func (r TrayRule) carrier(resin *material.Material) tooling.CarrierOptions {
	o := tooling.CarrierOptions{Tabs: r.Tabs, TabMM: r.TabMM, NeckMM: r.NeckMM, AirHoleMM: r.AirHoleMM, BondHoles: count(r.BondHoles, 0), BondHoleMM: r.BondHoleMM,
		BondPitchMM: r.BondPitchMM, ResinGPerML: resin.MixedDensity().GPerML, CarrierGPerML: r.CarrierGPerML}
	if r.AirHoles != nil && !*r.AirHoles {
		o.AirHoles = -1
	}
	return o
}

func buildTray(ctx context.Context, s *trying, _ *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	carrier, err := s.readCarrier(ctx)
	if err != nil {
		return nil, err
	}
	return tooling.TrayMould(ctx, s.opt.Pool, s.part.mesh, tooling.TrayOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct,
		Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, LandMM: f.Tray.LandMM, MoatML: f.Tray.MoatML, MoatMM: f.Tray.MoatMM, WallMM: t.WallMM, FloorMM: t.FloorMM, ToleranceMM: t.ToleranceMM,
		Bolt: t.Bolt, Label: t.Label, BuildVolumeMM: t.BuildVolumeMM, Carrier: carrier, CarrierOptions: f.Tray.carrier(s.material),
		Casting: f.flexOf(s.material), Workers: s.opt.Workers, Progress: s.building})
}

// readCarrier reads the carrier's file and looks it over; nil where the job names none.
func (s *trying) readCarrier(ctx context.Context) (*mesh.Mesh, error) {
	f := s.file
	if f.Tray.Carrier == "" {
		return nil, nil
	}
	path, err := f.inside(s.folder, "tray.carrier", f.Tray.Carrier)
	if err != nil {
		return nil, err
	}
	o, err := OpenPartContext(ctx, path, f.Part.Unit, f.Tray.CarrierObject)
	var choice *ChoiceError
	if errors.As(err, &choice) {
		return nil, f.wrong("tray.carrier_object", "%w", err)
	}
	if err != nil {
		return nil, err
	}
	in, err := mesh.Inspect(ctx, o.Object.Mesh)
	if err != nil {
		return nil, err
	}
	if err := in.Fatal(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for _, q := range in.Problems() {
		s.report.Warnings = append(s.report.Warnings, f.Tray.Carrier+": "+q.String())
	}
	s.report.Warnings = append(s.report.Warnings, o.Notes...)
	return in.Mesh, nil
}
