package job

import (
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/sheet"
	"mouldwright/internal/tooling"
)

// TrimRule asks for a trimming jig.
type TrimRule struct {
	Jig         bool    `toml:"jig"`
	BladeGapMM  float64 `toml:"blade_gap_mm"` // from the flash to each guide
	ClearanceMM float64 `toml:"clearance_mm"` // round the casting
	GuideMM     float64 `toml:"guide_mm"`     // width of the guides outside the parting line
}

// untrimmed are the families whose castings carry no flash along a parting line that a guide could follow.
var untrimmed = map[string]string{familyTray: "a tray is poured open, and its castings carry no flash", "cut-block": "the cut of a block of silicone leaves no line to guide a blade along",
	"silicone-block": "soft blocks leave hardly any flash"}

func (r TrimRule) check(f *File) error {
	if why := untrimmed[f.Mould.Family]; r.Jig && why != "" {
		return f.wrong("trim.jig", "%s: put jig = false", why)
	}
	if r.Jig && f.Mould.Cavities > 1 {
		return f.wrong("trim.jig", "a trimming jig holds one casting, and %d cavities are asked for: take 1 for the jig, then set the cavities", f.Mould.Cavities)
	}
	return nil
}

func (r TrimRule) ranges() []settingRange {
	return []settingRange{{"trim.blade_gap_mm", r.BladeGapMM, 0, 1.5, "mm"}, {"trim.clearance_mm", r.ClearanceMM, 0, 5, "mm"}, {"trim.guide_mm", r.GuideMM, 0, 50, "mm"}}
}

// TrimReport is the trimming jig, printed beside the mould.
type TrimReport struct {
	Pieces   []PieceReport  `json:"pieces"`
	GuidedMM float64        `json:"guided_mm"`  // of the parting line
	HandMM   float64        `json:"by_hand_mm"` // in holes, where no blade gets in from the side
	StandMM  float64        `json:"stand_back_mm"`
	Ledger   []LedgerReport `json:"ledger"`
	Checks   []CheckReport  `json:"checks"`
	Stages   []string       `json:"stages"`
	Notes    []string       `json:"notes"`
}

// trim builds the jig and writes its pieces, where the job asks for it. A jig that cannot be had is no
// reason to refuse the mould: a warning says why.
func (s *trying) trim(ctx context.Context, out *results, m *tooling.Mould) error {
	r := s.file.Trim
	if !r.Jig {
		return nil
	}
	j, err := tooling.NewTrimJig(ctx, s.opt.Pool, m, tooling.TrimOptions{Show: s.part.show, BladeGapMM: r.BladeGapMM, ClearanceMM: r.ClearanceMM, GuideMM: r.GuideMM,
		ToleranceMM: s.file.Opening.ToleranceMM, BuildVolumeMM: mouldOptions(s.part, s.file, s.material, s.font).BuildVolumeMM, Workers: s.opt.Workers})
	if errors.Is(err, tooling.ErrTrim) {
		s.report.Warnings = append(s.report.Warnings, "no trimming jig: "+err.Error())
		return nil
	}
	if err != nil {
		return err
	}
	for _, c := range j.Failed() {
		s.report.Warnings = append(s.report.Warnings, fmt.Sprintf("no trimming jig: %s: %s", c.Name, failedWords(c)))
	}
	if len(j.Failed()) > 0 {
		return nil
	}
	s.report.Trim = trimReport(j)
	return s.writeJig(ctx, out, j)
}

// trimReport takes from a jig what the report says of it, as of a mould.
func trimReport(j *tooling.TrimJig) *TrimReport {
	m := mouldReport(&tooling.Mould{Pieces: j.Pieces, Ledger: j.Ledger, Checks: j.Checks, Block: j.Block})
	r := &TrimReport{Pieces: m.Pieces, Ledger: m.Ledger, Checks: m.Checks, GuidedMM: j.GuidedMM, HandMM: j.HandMM, StandMM: j.StandMM, Notes: j.Notes}
	for _, st := range j.Stages {
		r.Stages = append(r.Stages, st.Words())
	}
	return r
}

func (s *trying) writeJig(ctx context.Context, out *results, j *tooling.TrimJig) error {
	if err := writePrints(out, j.Pieces); err != nil {
		return err
	}
	leaving := []sheet.Leaving{{Name: "casting", Mesh: j.Casting, Colour: sheet.Palette[2]}}
	for i, p := range j.Pieces {
		leaving = append(leaving, sheet.Leaving{Name: p.Name, Mesh: p.Mesh, Exit: p.Exit, Colour: pieceColour(i)})
	}
	img, err := sheet.Picture(ctx, sheet.Exploded(leaving, 15), s.opt.view)
	if err != nil {
		return err
	}
	return out.picture("pictures/trim-jig.png", img)
}

// trim says what the jig is and how it is used.
func (p *printer) trim(t *TrimReport) {
	p.Line("\nTrimming jig")
	p.columns(func(row func(string, ...any)) {
		for _, q := range t.Pieces {
			row("%s\t%.1f × %.1f × %.1f mm\t%.2f mL of print\t%d facets", q.Name, q.SizeMM[0], q.SizeMM[1], q.SizeMM[2], q.VolumeMM3/1000, q.Facets)
		}
	})
	p.Line("  guides along %.0f mm of parting line, at most %.1f mm from it", t.GuidedMM, t.StandMM)
	for _, s := range t.Notes {
		p.Item(s)
	}
}
