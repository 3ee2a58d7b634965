package job

import (
	"cmp"
	"context"
	"errors"

	"mouldwright/internal/material"
	"mouldwright/internal/opening"
	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// The families that job.toml may name.
const (
	familyTwoHalves = "two-halves"
	familyInsert    = "insert"
)

// defaultSilicone is the material of an insert when the job names none.
const defaultSilicone = "silicone-platinum"

// insert runs a job of the family "insert": it builds the mould of cradle, silicone insert and caps, or
// refuses with the checks that failed.
func (s *trying) insert(ctx context.Context, out *results) (*Report, error) {
	silicone, err := materialNamed(s.folder, s.file, "insert.silicone", cmp.Or(s.file.Insert.Silicone, defaultSilicone))
	if err != nil {
		return nil, err
	}
	in, err := s.buildInsert(ctx, silicone)
	if err != nil {
		return nil, err
	}
	if in == nil {
		if err := s.refuse(ctx, out); err != nil {
			return nil, err
		}
		return s.report, &Refusal{s.report}
	}
	rep := s.report
	rep.Mould = mouldReport(in.Mould)
	for _, st := range in.Stages {
		rep.Mould.Stages = append(rep.Mould.Stages, st.Words())
	}
	rep.Warnings = append(rep.Warnings, in.Notes...)
	if rep.Shot, err = weigh(s.file, s.material, in.Mould); err != nil {
		return nil, err
	}
	if rep.Silicone, err = siliconeShot(s.file, silicone, in.Pours[0].ML); err != nil {
		return nil, err
	}
	s.opt.stage("drawing and writing", 0.9, 1)(0)
	return rep, s.writeInsert(ctx, out, in)
}

// buildInsert returns nil, with the reasons kept for refuse, when no sound mould comes of the part.
func (s *trying) buildInsert(ctx context.Context, silicone *material.Material) (*tooling.Insert, error) {
	var err error
	if s.font, err = labelFont(s.folder, s.file); err != nil {
		return nil, err
	}
	in, err := tooling.BuildInsert(ctx, s.opt.Pool, s.part.mesh, s.insertOptions(silicone))
	if err != nil {
		for _, c := range cannot {
			if errors.Is(err, c) {
				s.reasons = []Reason{{What: "the mould cannot be laid out", Words: err.Error()}}
				return nil, nil
			}
		}
		return nil, err
	}
	for _, c := range in.Failed() {
		s.reasons = append(s.reasons, Reason{What: c.Name, Words: failedWords(c)})
	}
	if s.reasons != nil {
		return nil, nil
	}
	return in, nil
}

func (s *trying) insertOptions(silicone *material.Material) tooling.InsertOptions {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	o := tooling.InsertOptions{Show: t.Show, ShrinkPct: t.ShrinkPct, InsertMM: f.Insert.ThicknessMM, DraftDeg: f.Insert.DraftDeg,
		LandMM: f.Insert.LandMM, OverflowMM: f.Insert.OverflowMM, Vents: t.Vents, VentMM: t.VentMM, WallMM: t.WallMM, FloorMM: t.FloorMM,
		ToleranceMM: t.ToleranceMM, Bolt: t.Bolt, BoltPitchMM: t.BoltPitchMM, Keys: t.Keys, KeyClearance: t.KeyClearance, Label: t.Label,
		BuildVolumeMM: t.BuildVolumeMM, Workers: s.opt.Workers, Casting: flexOf(s.material), Silicone: flexOf(silicone)}
	if silicone.ShrinkagePct != nil {
		o.SiliconeShrinkPct = *silicone.ShrinkagePct
	}
	if d := f.Opening.Direction; len(d) == 3 {
		o.Direction = r3.Vec{X: d[0], Y: d[1], Z: d[2]}
	}
	o.Progress = func(stage string, done float64) { s.opt.stage(stage, 0.1, 0.9)(done) }
	return o
}

// flexOf is what a material says of its stretch; nil for a rigid one, or where the values are not known.
func flexOf(m *material.Material) *opening.Flex {
	if m.Hardness == nil || m.Hardness.Scale != "A" || m.ElongationPct <= 0 {
		return nil
	}
	return &opening.Flex{ElongationPct: m.ElongationPct, ShoreA: m.Hardness.Value}
}

// pick takes some of an insert mould's pieces, in the order named, as a set of their own.
func pick(in *tooling.Insert, names ...string) *tooling.Mould {
	m := *in.Mould
	m.Pieces = nil
	for _, name := range names {
		for _, p := range in.Pieces {
			if p.Name == name {
				m.Pieces = append(m.Pieces, p)
			}
		}
	}
	return &m
}

// writeInsert writes the two sets that stand on the bench, one after the other: cradle and pattern cap
// with the silicone between them, and cradle, insert and casting cap with the casting.
func (s *trying) writeInsert(ctx context.Context, out *results, in *tooling.Insert) error {
	cast := pick(in, tooling.InsertBody, tooling.Cradle, tooling.CastingCap) // as they come apart, from the casting out
	pour := pick(in, tooling.Cradle, tooling.InsertBody, tooling.PatternCap)
	pour.Cast = nil
	if err := writeClosed(out, "mould.3mf", cast); err != nil {
		return err
	}
	if err := writeClosed(out, "silicone-pour.3mf", pour); err != nil {
		return err
	}
	if err := writePrints(out, pick(in, tooling.Cradle, tooling.PatternCap, tooling.CastingCap).Pieces); err != nil {
		return err
	}
	if err := writePictures(ctx, out, cast, s.opt.view); err != nil {
		return err
	}
	lid := pick(in, tooling.PatternCap).Pieces[0]
	img, err := sheet.Picture(ctx, []sheet.Shown{{Name: lid.Name, Mesh: lid.LaidDown(), Colour: pieceColour(3)}}, s.opt.view)
	if err != nil {
		return err
	}
	if err := out.picture("pictures/"+slug(lid.Name)+".png", img); err != nil {
		return err
	}
	if err := writeDrawings(ctx, out, s.file, cast, s.report); err != nil {
		return err
	}
	return out.report(s.report)
}
