package job

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// Print writes the report as text, for a terminal and for report.txt.
func (r *Report) Print(w io.Writer) error {
	p := &printer{w: w}
	p.part(r)
	p.directions(r)
	if r.Refused {
		p.line("\nREFUSED: the part cannot be moulded as asked. No mould files were written.")
		for _, q := range r.Reasons {
			p.line("  - %s: %s", q.What, strings.ReplaceAll(q.Words, "\n", "\n    "))
			if q.Remedy != "" {
				p.line("    %s", q.Remedy)
			}
		}
	}
	if r.Mould != nil {
		p.mould(r.Mould)
	}
	if r.Shot != nil {
		p.shot(r)
	}
	if len(r.Warnings) > 0 {
		p.line("\nMind")
		for _, s := range r.Warnings {
			p.line("  - %s", s)
		}
	}
	if len(r.Files) > 0 {
		p.line("\nFiles, in out/")
		for _, s := range r.Files {
			p.line("  %s", s)
		}
	}
	return p.err
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) Write(b []byte) (int, error) {
	if p.err != nil {
		return 0, p.err
	}
	n, err := p.w.Write(b)
	p.err = err
	return n, err
}

func (p *printer) line(format string, args ...any) { fmt.Fprintf(p, format+"\n", args...) }

// columns lines up tab-separated rows.
func (p *printer) columns(fill func(row func(format string, args ...any))) {
	t := tabwriter.NewWriter(p, 0, 0, 2, ' ', 0)
	fill(func(format string, args ...any) { fmt.Fprintf(t, "  "+format+"\n", args...) })
	_ = t.Flush() // printer keeps the first error
}

func (p *printer) part(r *Report) {
	q := r.Part
	p.line("Part      %s (%s)", q.Name, q.File)
	p.line("          %.2f × %.2f × %.2f mm, %.3f mL, %d facets", q.SizeMM[0], q.SizeMM[1], q.SizeMM[2], q.VolumeMM3/1000, q.Facets)
	if q.ShowCount > 0 {
		p.line("          show faces: %.1f mm² of %.1f mm²", q.ShowMM2, q.AreaMM2)
	}
}

func (p *printer) directions(r *Report) {
	if len(r.Directions) == 0 {
		return
	}
	p.line("\nOpening directions judged")
	for _, d := range r.Directions {
		p.line("  (%+.3f, %+.3f, %+.3f)  %s", d.Direction[0], d.Direction[1], d.Direction[2], strings.ReplaceAll(d.Words, "\n", "\n    "))
		if d.FlatSplit != "" {
			p.line("    %s", strings.ReplaceAll(d.FlatSplit, "\n", "\n    "))
		}
	}
}

func (p *printer) mould(m *MouldReport) {
	p.line("\nMould     %s, block %.1f × %.1f × %.1f mm", m.Family, m.BlockMM[0], m.BlockMM[1], m.BlockMM[2])
	p.line("          cavity %.4f, %.4f, %.4f times the part along its x, y, z, for shrinkage", m.Scale[0], m.Scale[1], m.Scale[2])
	surface := fmt.Sprintf("surface slopes by up to %.1f°", m.SteepestDeg)
	if m.SurfaceFlat {
		surface = "surface flat"
	}
	p.line("          parting line %.1f mm in %s, %.1f mm of it on show faces; %s", m.LineMM, plural(m.LineLoops, "loop"), m.LineOnShowMM, surface)
	p.line("\nPieces")
	p.columns(func(row func(string, ...any)) {
		for _, q := range m.Pieces {
			row("%s\t%.1f × %.1f × %.1f mm\t%.2f mL of print\t%d facets", q.Name, q.SizeMM[0], q.SizeMM[1], q.SizeMM[2], q.VolumeMM3/1000, q.Facets)
		}
	})
	p.line("\nFeatures (mould frame: z up, origin in the middle of the cavity)")
	p.columns(func(row func(string, ...any)) {
		for _, q := range m.Features {
			row("%s\t%s\tx %.1f, y %.1f, z %.1f mm\t%s", q.Name, q.Kind, q.AtMM[0], q.AtMM[1], q.AtMM[2], q.Words)
		}
	})
	p.line("\nWhat fills the block")
	sum := 0.0
	p.columns(func(row func(string, ...any)) {
		for _, q := range m.Ledger {
			kind := "space"
			if q.Solid {
				kind = "print"
			}
			row("%s\t%s\t%.3f mL", q.Name, kind, q.VolumeMM3/1000)
			sum += q.VolumeMM3
		}
		row("sum\t\t%.3f mL\tblock %.3f mL", sum/1000, m.BlockMM[0]*m.BlockMM[1]*m.BlockMM[2]/1000)
	})
	p.line("\nChecks")
	for _, c := range m.Checks {
		mark := "ok  "
		if !c.OK {
			mark = "FAIL"
		}
		p.line("  %s  %s: %s", mark, c.Name, strings.ReplaceAll(c.Words, "\n", "\n        "))
	}
}

func (p *printer) shot(r *Report) {
	s := r.Shot
	p.line("\nOne filling of %s", s.Name)
	p.columns(func(row func(string, ...any)) {
		for _, u := range s.Uses {
			row("%s\t%.2f mL\t%.2f g", u.Name, u.ML, u.G)
		}
		row("mix\t%.2f mL\t%.2f g", s.MixML, s.MixG)
	})
	p.line("  Weigh out, on a scale that reads %g g:", s.ScaleStepG)
	p.columns(func(row func(string, ...any)) {
		for _, c := range s.Components {
			row("  %s\t%.6g g", c.Name, c.G)
		}
		for _, c := range s.Pigments {
			row("  %s\t%.6g g\t(%.3g %% of %s)", c.Name, c.G, c.GotPct, c.Of)
		}
	})
	p.line("  The mixing ratio is off by %.2g %% through rounding (limit %.2g %%); the mixed density is taken as %.3f g/mL ± %.2g %%.",
		s.RatioErrorPct, s.RatioTolerancePct, s.Density.GPerML, s.Density.ErrorPct)
	if s.PotLife != nil {
		p.line("  Pot life %.0f s at %.0f °C.", s.PotLife.Seconds, s.PotLife.AtC)
	}
	for _, c := range s.Warnings {
		p.line("  - %s", c)
	}
	if len(s.Cautions) > 0 {
		p.line("\nTake care")
		for _, c := range s.Cautions {
			p.line("  - %s", c)
		}
	}
}
