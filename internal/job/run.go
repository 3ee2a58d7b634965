package job

import (
	"cmp"
	"context"
	"errors"

	"mouldwright/internal/material"
	"mouldwright/internal/sheet"
	"mouldwright/internal/solid"
	"mouldwright/internal/tooling"

	"golang.org/x/image/font/sfnt"
	"gonum.org/v1/gonum/spatial/r3"
)

// RunOptions are those of a run, not of the job.
type RunOptions struct {
	Workers int // 0 means one a processor; results do not depend on it
	// Progress is called with what is being done and the share of the whole that is done, 0 to 1.
	Progress func(stage string, done float64)
	Pool     *solid.Pool // nil: one of its own

	disk disk       // tests make it fail
	view sheet.View // of the pictures; tests make them small
}

// stage is a span of the progress of a run.
func (o RunOptions) stage(name string, from, to float64) func(float64) {
	return func(done float64) {
		if o.Progress != nil {
			o.Progress(name, from+done*(to-from))
		}
	}
}

// Run does the whole job and writes out/. When the part cannot be moulded as asked, the error is a
// *Refusal beside the report, and out/ holds no mould: the report alone, with a picture of where the
// part locks. Any other error leaves out/ as it was. Two runs in one folder at once: the second is
// ErrBusy.
func Run(ctx context.Context, folder string, opt RunOptions) (rep *Report, err error) {
	f, err := Load(folder)
	if err != nil {
		return nil, err
	}
	unlock, err := lock(folder)
	if err != nil {
		return nil, err
	}
	defer unlock()
	m, err := findMaterial(folder, f)
	if err != nil {
		return nil, err
	}
	out, err := begin(opt.disk, folder)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, out.discard()) }()
	if opt.Pool == nil {
		opt.Pool = solid.NewPool(solid.Options{})
		defer opt.Pool.Close()
	}
	p, err := readPart(ctx, folder, f, opt.stage("looking the part over", 0, 0.1))
	if err != nil {
		return nil, err
	}
	rep = &Report{Format: ReportFormat, Part: p.report, Warnings: p.warnings}
	s := &trying{folder: folder, part: p, file: f, material: m, report: rep, opt: opt}
	if err := s.blendAndBallast(ctx); err != nil {
		return nil, err
	}
	if fam := findFamily(f.Mould.Family); fam != nil {
		return s.whole(ctx, out, fam)
	}
	mould, err := s.mould(ctx)
	if err != nil {
		return nil, err
	}
	if mould == nil {
		if err := s.refuse(ctx, out); err != nil {
			return nil, err
		}
		return rep, &Refusal{rep}
	}
	if mould, rep.Fill, err = s.filled(ctx, mould); err != nil {
		return nil, err
	}
	rep.Mould = mouldReport(mould)
	rep.Warnings = append(rep.Warnings, mould.Notes...)
	if err := s.amounts(mould, nil); err != nil {
		return nil, err
	}
	if err := s.trim(ctx, out, mould); err != nil {
		return nil, err
	}
	if err := writeFill(out, rep.Fill, mould); err != nil {
		return nil, err
	}
	if err := writeMould(ctx, out, f, mould, rep, opt.view, opt.stage("drawing and writing", 0.9, 1)); err != nil {
		return nil, err
	}
	return rep, nil
}

// findMaterial looks the casting material up: in the maker's own library first.
func findMaterial(folder string, f *File) (*material.Material, error) {
	return materialNamed(folder, f, "material.id", cmp.Or(f.Material.ID, DefaultMaterial))
}

// materialNamed looks a material up for a setting of the job.
func materialNamed(folder string, f *File, key, id string) (*material.Material, error) {
	lib, err := material.Generic()
	if err != nil {
		return nil, err
	}
	if f.Material.Library != "" {
		path, err := f.inside(folder, "material.library", f.Material.Library)
		if err != nil {
			return nil, err
		}
		own, err := material.ReadFile(path)
		if err != nil {
			return nil, err
		}
		lib = lib.Merge(own)
	}
	m, err := lib.Find(id)
	if err != nil {
		return nil, f.wrong(key, "%w", err)
	}
	return m, nil
}

func mouldOptions(p *part, f *File, m *material.Material, font []byte) tooling.TwoHalfOptions {
	g := f.Mould
	o := tooling.TwoHalfOptions{Show: p.show, ShrinkPct: shrink(f, m), PartingZMM: f.Parting.HeightMM, WallMM: g.WallMM, FloorMM: g.FloorMM,
		ToleranceMM: f.Opening.ToleranceMM, Bolt: cmp.Or(g.Bolt, defaultBolt), BoltPitchMM: g.BoltPitchMM, Keys: count(g.Keys, defaultKeys), KeyClearance: g.KeyClearance,
		Cavities: g.Cavities, CavityGapMM: g.CavityGapMM, RunnerMM: g.RunnerMM, SprueMM: g.SprueMM, Vents: count(g.Vents, defaultVents), VentMM: cmp.Or(g.VentMM, defaultVentMM)}
	if g.GutterML > 0 {
		o.Gutter = &tooling.GutterOptions{VolumeML: g.GutterML, LandMM: g.GutterLandMM}
	}
	o.Label = tooling.LabelOptions{Text: g.Label, CapHeightMM: cmp.Or(g.LabelMM, defaultLabelMM), Font: font}
	if o.Label.Text == "" {
		o.Label.Text = p.report.Name
	}
	if b := f.Printer.BuildMM; len(b) == 3 {
		o.BuildVolumeMM = r3.Vec{X: b[0], Y: b[1], Z: b[2]}
	}
	return o
}

// Defaults of settings that are this package's, not those of the packages it calls, as the comments of a new job.toml state them.
const (
	defaultBolt        = "M5"
	defaultKeys        = 4
	defaultVents       = 1
	defaultVentMM      = 1.5
	defaultLabelMM     = 6.0
	defaultOverfillPct = 5.0
	defaultCupResidueG = 3.0
)

// count is how many of something package tooling is asked for: it takes −1 for none.
func count(n *int, unset int) int {
	switch {
	case n == nil:
		return unset
	case *n == 0:
		return -1
	}
	return *n
}

// orElse is what a setting holds, or its default.
func orElse(v *float64, unset float64) float64 {
	if v == nil {
		return unset
	}
	return *v
}

func shrink(f *File, m *material.Material) r3.Vec {
	switch s := f.Material.ShrinkPct; {
	case len(s) == 3:
		return r3.Vec{X: s[0], Y: s[1], Z: s[2]}
	case len(s) == 1:
		return r3.Vec{X: s[0], Y: s[0], Z: s[0]}
	case m.ShrinkagePct != nil:
		return r3.Vec{X: *m.ShrinkagePct, Y: *m.ShrinkagePct, Z: *m.ShrinkagePct}
	}
	return r3.Vec{}
}

func labelFont(folder string, f *File) ([]byte, error) {
	if f.Mould.LabelFont == "" {
		return nil, nil
	}
	path, err := f.inside(folder, "mould.label_font", f.Mould.LabelFont)
	if err != nil {
		return nil, err
	}
	b, err := readSmall(path, mostFontBytes)
	if err != nil {
		return nil, f.wrong("mould.label_font", "%w", err)
	}
	if _, err := sfnt.Parse(b); err != nil {
		return nil, f.wrong("mould.label_font", "%s is not a TTF or OTF font: %w", f.Mould.LabelFont, err)
	}
	return b, nil
}

// mostFontBytes lets the largest fonts for East Asian writing through.
const mostFontBytes = 64 << 20
