package job

import (
	"cmp"
	"context"
	"strings"

	"mouldwright/internal/material"
	"mouldwright/internal/opening"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// familyTwoHalves is the family of a job that names none. It is not among families: it tries directions
// until one gives a mould, and its filling is worked out.
const familyTwoHalves = "two-halves"

// family is a way to mould that job.toml may name: a row of data, built by package tooling.
type family struct {
	name  string // in job.toml
	words string // what it makes, for messages
	build func(context.Context, *trying, *material.Material) (*tooling.Set, error)
}

// families are the ways beside two halves.
var families = []family{
	{"insert", "cradle, silicone insert, pattern cap and casting cap", buildInsert},
	{"silicone-block", "two blocks of silicone, poured one on the other round a printed master", buildSiliconeBlock},
	{"cut-block", "one block of silicone poured round a printed master and cut open", buildCutBlock},
	{"skin", "two silicone skins, each in a printed shell, poured round a plate that carries the master", buildSkin},
	{"side-split", "a whole half and two side pieces that leave sideways", buildSideSplit},
	{familyTray, "a tray poured open to the brim, with or without a carrier over-moulded in it", buildTray},
}

// findFamily looks a family up by the name that job.toml gives it.
func findFamily(name string) *family {
	for i := range families {
		if families[i].name == name {
			return &families[i]
		}
	}
	return nil
}

// familyNames are all that job.toml may name, in quotes.
func familyNames() string {
	all := []string{`"` + familyTwoHalves + `"`}
	for _, f := range families {
		all = append(all, `"`+f.name+`"`)
	}
	return strings.Join(all, ", ")
}

// defaultSilicone is what a mould's soft bodies are poured of when the job names nothing.
const defaultSilicone = "silicone-platinum"

func findSilicone(folder string, f *File) (*material.Material, error) {
	m, err := materialNamed(folder, f, "mould.silicone", cmp.Or(f.Mould.Silicone, defaultSilicone))
	if err != nil {
		return nil, err
	}
	if m.Family != material.PlatinumSilicone && m.Family != material.TinSilicone {
		return nil, f.wrong("mould.silicone", "%q is no silicone but %s, to which castings would stick: take one of a silicone family; mouldwright material list names them", m.ID, m.Family)
	}
	return m, nil
}

// whole runs a job of a family that is built in one go: it writes the mould, or refuses with the checks
// that failed.
func (s *trying) whole(ctx context.Context, out *results, fam *family) (*Report, error) {
	silicone, err := findSilicone(s.folder, s.file)
	if err != nil {
		return nil, err
	}
	set, err := s.buildSet(ctx, fam, silicone)
	if err != nil {
		return nil, err
	}
	if set == nil {
		if err := s.refuse(ctx, out); err != nil {
			return nil, err
		}
		return s.report, &Refusal{s.report}
	}
	rep := s.report
	rep.Mould = setReport(set)
	rep.Warnings = append(rep.Warnings, set.Notes...)
	soft := silicone
	if len(set.Pours) == 0 {
		soft = nil
	}
	if err := s.amounts(set.Mould, soft); err != nil {
		return nil, err
	}
	if rep.Pours, err = pourReports(s.file, silicone, set); err != nil {
		return nil, err
	}
	if err := s.trim(ctx, out, set.Mould); err != nil {
		return nil, err
	}
	s.opt.stage("drawing and writing", 0.9, 1)(0)
	return rep, s.writeSet(ctx, out, set)
}

// buildSet returns nil, with the reasons kept for refuse, when no sound mould comes of the part.
func (s *trying) buildSet(ctx context.Context, fam *family, silicone *material.Material) (*tooling.Set, error) {
	var err error
	if s.font, err = labelFont(s.folder, s.file); err != nil {
		return nil, err
	}
	set, err := fam.build(ctx, s, silicone)
	if err != nil {
		s.reasons, err = layoutReasons(err)
		return nil, err
	}
	if s.reasons = checkReasons(set.Failed()); s.reasons != nil {
		return nil, nil
	}
	return set, nil
}

// asked is the opening direction that the job gives; zero leaves it to the builder.
func (f *File) asked() r3.Vec { return vecOf(f.Opening.Direction) }

// building is the progress of a builder.
func (s *trying) building(stage string, done float64) { s.opt.stage(stage, 0.1, 0.9)(done) }

// shrinkPct is the linear shrinkage of a silicone; 0 where its maker states none.
func shrinkPct(m *material.Material) float64 {
	if m.ShrinkagePct == nil {
		return 0
	}
	return *m.ShrinkagePct
}

// flexOf is what a material says of its stretch; nil for a rigid one, or where the values are not known.
func (f *File) flexOf(m *material.Material) *opening.Flex {
	if m.Hardness == nil || m.Hardness.Scale != "A" || m.ElongationPct <= 0 {
		return nil
	}
	return &opening.Flex{ElongationPct: m.ElongationPct, ShoreA: m.Hardness.Value, PullN: f.Opening.PullN}
}

func buildInsert(ctx context.Context, s *trying, silicone *material.Material) (*tooling.Set, error) {
	t, f := mouldOptions(s.part, s.file, s.material, s.font), s.file
	in, err := tooling.BuildInsert(ctx, s.opt.Pool, s.part.mesh, tooling.InsertOptions{Direction: f.asked(), Show: t.Show, ShrinkPct: t.ShrinkPct,
		SiliconeShrinkPct: shrinkPct(silicone), Cavities: f.Mould.Cavities, CavityGapMM: f.Mould.CavityGapMM, InsertMM: f.Insert.ThicknessMM, DraftDeg: f.Insert.DraftDeg, LandMM: f.Insert.LandMM, OverflowMM: f.Insert.OverflowMM,
		Vents: t.Vents, VentMM: t.VentMM, WallMM: t.WallMM, FloorMM: t.FloorMM, ToleranceMM: t.ToleranceMM, Bolt: t.Bolt, BoltPitchMM: t.BoltPitchMM,
		Keys: t.Keys, KeyClearance: t.KeyClearance, Label: t.Label, BuildVolumeMM: t.BuildVolumeMM, Workers: s.opt.Workers,
		Casting: f.flexOf(s.material), Silicone: f.flexOf(silicone), Progress: s.building})
	if err != nil {
		return nil, err
	}
	return in.Set, nil
}
