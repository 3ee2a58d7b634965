package job

import (
	"fmt"
	"io"
	"math"
	"strings"

	"mouldwright/internal/prose"
)

// Print writes the report as text, for a terminal and for report.txt.
func (r *Report) Print(w io.Writer) error {
	p := &printer{prose.Writer{W: w}}
	p.part(r)
	p.directions(r)
	if r.Refused {
		p.refusal(r)
	}
	if r.Mould != nil {
		p.mould(r.Mould)
	}
	for _, q := range r.Pours {
		p.shot("The "+q.Piece+", poured once between "+names(q.In)+",", q.Shot)
	}
	if r.Shot != nil {
		p.shot("One filling", r.Shot)
	}
	if r.Bench != nil {
		p.bench(r.Bench)
	}
	if r.Ballast != nil {
		p.ballast(r.Ballast)
	}
	if r.Shrink != nil {
		p.shrinkage(r.Shrink)
	}
	if r.Fill != nil {
		p.fill(r.Fill)
	}
	if r.Trim != nil {
		p.trim(r.Trim)
	}
	if len(r.Warnings) > 0 {
		p.Line("\nMind")
		for _, s := range r.Warnings {
			p.Item(s)
		}
	}
	if len(r.Files) > 0 {
		p.Line("\nFiles, in out/")
		for _, s := range r.Files {
			p.Line("  %s", s)
		}
	}
	return p.Err
}

func (p *printer) refusal(r *Report) {
	p.Line("\nREFUSED: the part cannot be moulded as asked. No mould files were written.")
	if len(r.Directions) > 0 {
		p.Line("Along the way that comes nearest:")
	}
	for _, q := range r.Reasons {
		p.Item(q.What + ": " + q.Words)
		if q.Remedy != "" {
			p.Line("    What to do: %s.", prose.Wrap(q.Remedy, "    "))
		}
	}
}

// printer prints the sections of a report.
type printer struct{ prose.Writer }

// columns lines up tab-separated rows, indented.
func (p *printer) columns(fill func(row func(format string, args ...any))) {
	p.Table(func(row func(format string, args ...any)) {
		fill(func(format string, args ...any) { row("  "+format, args...) })
	})
}

func (p *printer) part(r *Report) {
	q := r.Part
	p.Line("Part      %s (%s, in %s)", q.Name, q.File, q.Unit)
	p.Line("          %.2f × %.2f × %.2f mm, %.3f mL, %d facets", q.SizeMM[0], q.SizeMM[1], q.SizeMM[2], q.VolumeMM3/1000, q.Facets)
	if q.ShowCount > 0 {
		p.Line("          show faces: %.1f mm² of %.1f mm²", q.ShowMM2, q.AreaMM2)
	}
}

func (p *printer) directions(r *Report) {
	if len(r.Directions) == 0 {
		return
	}
	p.Line("\nOpening directions tried: the way the upper half leaves, in the part's own x, y, z")
	for _, d := range r.Directions {
		p.Line("  %s  %s", directionName(d.Direction), prose.Wrap(d.Words, "    "))
		if d.FlatSplit == "" {
			continue
		}
		for i, line := range strings.Split(d.FlatSplit, "\n") {
			indent := "    "
			if i > 0 {
				indent = "      "
			}
			p.Line("%s%s", indent, prose.Wrap(strings.TrimSpace(line), indent+"  "))
		}
	}
}

// directionName is +z for an axis, else the numbers of a unit vector.
func directionName(d [3]float64) string {
	for i, name := range []string{"x", "y", "z"} {
		if alongAxis(vec(d)) && math.Abs(d[i]) > 0.5 {
			return map[bool]string{true: "+", false: "-"}[d[i] > 0] + name
		}
	}
	return fmt.Sprintf("(%+.3f, %+.3f, %+.3f)", d[0], d[1], d[2])
}

func (p *printer) mould(m *MouldReport) {
	words := m.Family
	if n := m.Castings(); n > 1 {
		words = fmt.Sprintf("%s with %d cavities", words, n)
	}
	p.Line("\nMould     %s, block %.1f × %.1f × %.1f mm", words, m.BlockMM[0], m.BlockMM[1], m.BlockMM[2])
	p.Line("          the cavity is %.4f, %.4f, %.4f times the part along the part's x, y, z, against shrinkage", m.Scale[0], m.Scale[1], m.Scale[2])
	surface := fmt.Sprintf("the parting surface slopes by up to %.1f°", m.SteepestDeg)
	if m.SurfaceFlat {
		surface = "the parting surface is flat"
	}
	p.Line("          parting line %.1f mm in %s, %.1f mm of it on show faces; %s", m.LineMM, plural(m.LineLoops, "loop"), m.LineOnShowMM, surface)
	p.Line("\nPieces")
	p.columns(func(row func(string, ...any)) {
		for _, q := range m.Pieces {
			stuff := "print"
			if q.Poured {
				stuff = "silicone"
			}
			row("%s\t%.1f × %.1f × %.1f mm\t%.2f mL of %s\t%d facets", q.Name, q.SizeMM[0], q.SizeMM[1], q.SizeMM[2], q.VolumeMM3/1000, stuff, q.Facets)
		}
	})
	p.features(m.Features)
	p.Line("\nWhat fills the block")
	sum := 0.0
	soft := map[string]bool{}
	for _, q := range m.Pieces {
		soft[q.Name] = q.Poured
	}
	p.columns(func(row func(string, ...any)) {
		for _, q := range m.Ledger {
			kind := "space"
			switch {
			case soft[q.Name]:
				kind = "silicone"
			case q.Solid:
				kind = "print"
			}
			row("%s\t%s\t%.3f mL", q.Name, kind, q.VolumeMM3/1000)
			sum += q.VolumeMM3
		}
		row("sum\t\t%.3f mL\tblock %.3f mL", sum/1000, m.BlockMM[0]*m.BlockMM[1]*m.BlockMM[2]/1000)
	})
	if len(m.Stages) > 0 {
		p.Line("\nWhat parts from what, in order")
		for _, s := range m.Stages {
			p.Item(s)
		}
	}
	p.Line("\nChecks")
	for _, c := range m.Checks {
		mark := "ok  "
		if !c.OK {
			mark = "FAIL"
		}
		for i, line := range strings.Split(c.Name+": "+c.Words, "\n") {
			if i > 0 {
				mark = "    "
			}
			p.Line("  %s  %s", mark, prose.Wrap(line, "        "))
		}
	}
}

// features lists those made alike together: how they are made once, and the place of each.
func (p *printer) features(all []FeatureReport) {
	if len(all) == 0 {
		return
	}
	p.Line("\nFeatures, at x, y, z mm of the mould: z up, the origin in the middle of the cavity")
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].Kind == all[0].Kind && all[n].Words == all[0].Words {
			n++
		}
		var marks, places []string
		for _, q := range all[:n] {
			marks = append(marks, q.Name)
			at := fmt.Sprintf("(%.1f, %.1f, %.1f)", tenth(q.AtMM[0]), tenth(q.AtMM[1]), tenth(q.AtMM[2]))
			if n > 1 {
				at = q.Name + " " + at
			}
			places = append(places, strings.ReplaceAll(at, " ", unbroken)) // a place stays on one line
		}
		p.Line("  %s  %s", names(marks), prose.Wrap(featureWords(all[0]), "      "))
		p.Line("      at %s", strings.ReplaceAll(prose.Wrap(strings.Join(places, "; "), "      "), unbroken, " "))
		all = all[n:]
	}
}

// unbroken stands for a space at which no line breaks; it is in no text.
const unbroken = "\x00"

// featureWords says what a feature is, unless its words begin with that.
func featureWords(q FeatureReport) string {
	if strings.Contains(q.Words, q.Kind) {
		return q.Words
	}
	return q.Kind + ": " + q.Words
}
