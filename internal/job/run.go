package job

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"mouldwright/internal/material"
	"mouldwright/internal/solid"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// RunOptions are those of a run, not of the job.
type RunOptions struct {
	Workers int // 0 means one a processor; results do not depend on it
	// Progress is called with what is being done and the share of the whole that is done, 0 to 1.
	Progress func(stage string, done float64)
	Pool     *solid.Pool // nil: one of its own
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
// *Refusal beside the report, and out/ holds the report alone. Any other error leaves out/ as it was.
func Run(ctx context.Context, folder string, opt RunOptions) (*Report, error) {
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
	if opt.Pool == nil {
		opt.Pool = solid.NewPool(solid.Options{})
		defer opt.Pool.Close()
	}
	p, err := readPart(ctx, folder, f, opt.stage("looking the part over", 0, 0.1))
	if err != nil {
		return nil, err
	}
	rep := &Report{Format: ReportFormat, Part: p.report, Warnings: p.warnings}
	mould, err := mouldIt(ctx, folder, p, f, m, rep, opt)
	if err != nil {
		return nil, err
	}
	if mould == nil {
		rep.Refused = true
		if err := writeRefusal(folder, rep); err != nil {
			return nil, err
		}
		return rep, &Refusal{rep}
	}
	rep.Mould = mouldReport(mould)
	rep.Warnings = append(rep.Warnings, mould.Notes...)
	if rep.Shot, err = weigh(f, m, mould); err != nil {
		return nil, err
	}
	if err := writeMould(ctx, folder, f, mould, rep, opt.stage("drawing and writing", 0.85, 1)); err != nil {
		return nil, err
	}
	return rep, nil
}

// findMaterial looks the casting material up: in the maker's own library first.
func findMaterial(folder string, f *File) (*material.Material, error) {
	id := f.Material.ID
	if id == "" {
		id = DefaultMaterial
	}
	lib, err := material.Generic()
	if err != nil {
		return nil, err
	}
	if f.Material.Library != "" {
		if !filepath.IsLocal(f.Material.Library) {
			return nil, &FileError{Path: filepath.Join(folder, FileName), Key: "material.library", Words: fmt.Sprintf("%q must lie inside the job folder", f.Material.Library)}
		}
		own, err := material.ReadFile(filepath.Join(folder, f.Material.Library))
		if err != nil {
			return nil, err
		}
		lib = lib.Merge(own)
	}
	m, err := lib.Find(id)
	if err != nil {
		return nil, err
	}
	return m, nil
}

// mouldIt tries the opening directions in turn and builds the mould along the first that opens. It
// returns nil, with the reasons in rep, when there is none.
func mouldIt(ctx context.Context, folder string, p *part, f *File, m *material.Material, rep *Report, opt RunOptions) (*tooling.Mould, error) {
	cands, err := candidates(ctx, p, f, opt.stage("searching opening directions", 0.1, 0.25))
	if err != nil {
		return nil, err
	}
	font, err := labelFont(folder, f)
	if err != nil {
		return nil, err
	}
	var reasons []Reason // of the best direction, should all fail
	for i, c := range cands {
		opt.stage("judging a direction", 0.25, 0.35)(float64(i) / float64(len(cands)))
		d, err := judge(ctx, p, f, c)
		if err != nil {
			return nil, err
		}
		if !d.OK {
			if i == 0 {
				if err := explainLock(ctx, opt.Pool, p, f, &d); err != nil {
					return nil, err
				}
			}
			rep.Directions = append(rep.Directions, d)
			if reasons == nil {
				reasons = lockReasons(d)
			}
			continue
		}
		mould, why, err := build(ctx, p, f, m, c.d, font, opt)
		if err != nil {
			return nil, err
		}
		if why == nil {
			rep.Directions = append(rep.Directions, d)
			return mould, nil
		}
		d.OK = false
		d.Words = "opens, but no sound mould came of it: " + why[0].Words
		rep.Directions = append(rep.Directions, d)
		// A direction that opens is nearer to a mould than one that locks.
		reasons = why
	}
	rep.Reasons = reasons
	return nil, nil
}

// cannot are the causes in package tooling that speak of this part and these settings, not of a fault.
var cannot = []error{tooling.ErrLineOverItself, tooling.ErrLayout, tooling.ErrSprue, tooling.ErrKey, tooling.ErrNoBolt,
	tooling.ErrPry, tooling.ErrGutter, tooling.ErrLabel}

// build makes the mould along d, or says why it would be no good.
func build(ctx context.Context, p *part, f *File, m *material.Material, d r3.Vec, font []byte, opt RunOptions) (*tooling.Mould, []Reason, error) {
	o := mouldOptions(p, f, m, font)
	o.Direction, o.Workers = d, opt.Workers
	o.Progress = func(stage string, done float64) { opt.stage(stage, 0.35, 0.85)(done) }
	mould, err := tooling.TwoHalves(ctx, opt.Pool, p.mesh, o)
	if err != nil {
		for _, c := range cannot {
			if errors.Is(err, c) {
				return nil, []Reason{{What: "no mould", Words: err.Error()}}, nil
			}
		}
		return nil, nil, err
	}
	var why []Reason
	for _, c := range mould.Failed() {
		why = append(why, Reason{What: c.Name, Words: fmt.Sprintf("%.4g, the limit is %.4g %s: %s", c.Value, c.Limit, c.Unit, c.Words)})
	}
	return mould, why, nil
}

func mouldOptions(p *part, f *File, m *material.Material, font []byte) tooling.TwoHalfOptions {
	g := f.Mould
	o := tooling.TwoHalfOptions{Show: p.show, ShrinkPct: shrink(f, m), PartingZMM: f.Parting.HeightMM, WallMM: g.WallMM, FloorMM: g.FloorMM,
		ToleranceMM: f.Opening.ToleranceMM, Bolt: g.Bolt, BoltPitchMM: g.BoltPitchMM, Keys: none(g.Keys), KeyClearance: g.KeyClearance,
		SprueMM: g.SprueMM, Vents: none(g.Vents), VentMM: g.VentMM}
	if g.GutterML > 0 {
		o.Gutter = &tooling.GutterOptions{VolumeML: g.GutterML, LandMM: g.GutterLandMM}
	}
	o.Label = tooling.LabelOptions{Text: g.Label, CapHeightMM: g.LabelMM, Font: font}
	if o.Label.Text == "" {
		o.Label.Text = p.report.Name
	}
	if b := f.Printer.BuildMM; len(b) == 3 {
		o.BuildVolumeMM = r3.Vec{X: b[0], Y: b[1], Z: b[2]}
	}
	return o
}

// none turns the 0 of a job file, which asks for none, into the −1 that package tooling takes for none.
func none(n int) int {
	if n == 0 {
		return -1
	}
	return n
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
	if !filepath.IsLocal(f.Mould.LabelFont) {
		return nil, &FileError{Path: filepath.Join(folder, FileName), Key: "mould.label_font", Words: fmt.Sprintf("%q must lie inside the job folder", f.Mould.LabelFont)}
	}
	b, err := os.ReadFile(filepath.Join(folder, f.Mould.LabelFont))
	if err != nil {
		return nil, fmt.Errorf("read the label font: %w", err)
	}
	return b, nil
}

// weigh works out one filling: what the casting, and the overflow, take.
func weigh(f *File, m *material.Material, mould *tooling.Mould) (*material.Shot, error) {
	var vols []material.Volume
	for _, l := range mould.Ledger {
		switch l.Name {
		case "cavity", "sprue", "vents", "overflow gutter":
			vols = append(vols, material.Volume{Name: l.Name, VolumeMM3: l.VolumeMM3})
		}
	}
	o := material.ShotOptions{OverfillPct: f.Shot.OverfillPct, CupResidueG: f.Shot.CupResidueG, ScaleStepG: f.Shot.ScaleStepG}
	if f.Material.PigmentPct > 0 {
		name := f.Material.Pigment
		if name == "" {
			name = "pigment"
		}
		o.Pigments = []material.Pigment{{Name: name, Pct: f.Material.PigmentPct}}
	}
	return m.Shot(vols, o)
}
