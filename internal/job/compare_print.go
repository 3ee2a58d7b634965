package job

import (
	"fmt"
	"io"
	"strings"

	"mouldwright/internal/choice"
	"mouldwright/internal/prose"
)

// Print writes the comparison as text.
func (c *Comparison) Print(w io.Writer) error {
	p := &printer{prose.Writer{W: w}}
	p.part(&Report{Part: c.Part})
	p.Line("\n%s", prose.Wrap(c.Why, ""))
	if best := c.Family(c.Best); best != "" {
		p.Line("%s", prose.Wrap(fmt.Sprintf("To mould it so, put family = %q under [mould] in job.toml.", best), ""))
	}
	switch {
	case c.Change != nil:
		p.Line("\n%s", prose.Wrap("Smallest change that makes a simpler way work: "+c.Change.Words, "  "))
	case c.NoChange != "":
		p.Line("\n%s", prose.Wrap("Smallest change that makes a simpler way work: "+c.NoChange+".", "  "))
	}
	p.ways(c.Table)
	p.Line("\nWhy")
	for i := range c.Rows {
		r := &c.Rows[i]
		p.Line("%d. %s along %s: %s", r.Rank, r.Name, directionName(array(r.Direction)), r.Verdict)
		for _, s := range r.Reasons {
			p.Item(s)
		}
		p.Item(fmt.Sprintf("%s in %s, one each %.1f h; a mould lasts about %d (typical)", plural(r.Shots, "filling"), plural(r.Moulds, "mould"), r.CycleH, r.TypicalShots))
		p.Item(amounts("to print", r.Printed))
		if len(r.Silicone) > 0 {
			p.Item(amounts(fmt.Sprintf("silicone, in %s", plural(r.Pours, "pour")), r.Silicone))
		}
	}
	if c.Prices.Typical {
		p.Line("\n%s", prose.Wrap("Prices and times that [compare] in job.toml does not give are typical values, not quotes.", ""))
	}
	if len(c.Warnings) > 0 {
		p.Line("\nMind")
		for _, s := range c.Warnings {
			p.Item(s)
		}
	}
	return p.Err
}

// ways prints the table; ± is the error of the columns before it.
func (p *printer) ways(t *choice.Table) {
	p.Line("\nThe ways, best first. Flash is that of one casting, the cost that of a batch of %d.", t.Batch)
	p.columns(func(row func(string, ...any)) {
		row("\t\t\tflash\ton show\tprint\tsilicone\t±\tcost\t±\ta part")
		row("\t\t\tmm\tmm\tmL\tmL\t%%\t%s\t%%", t.Prices.Currency)
		for i := range t.Rows {
			r := &t.Rows[i]
			silicone := "–"
			if r.SiliconeML > 0 {
				silicone = fmt.Sprintf("%.0f", r.SiliconeML)
			}
			row("%d\t%s\t%s\t%.0f\t%.0f\t%.0f\t%s\t%.0f\t%.0f\t%.0f\t%.2f", r.Rank, r.Name, shortVerdict(r), r.FlashMM, r.ShowFlashMM,
				r.PrintML, silicone, r.ErrorPct, r.Cost.Total, r.Cost.ErrorPct, r.Cost.PerPart)
		}
	})
}

// shortVerdict is the verdict in a few letters; the reasons below the table say more.
func shortVerdict(r *choice.Row) string {
	switch {
	case r.Basis == choice.Tried:
		return "no sound mould, tried"
	case r.Opens:
		return "opens, " + r.Basis
	case r.Locks():
		return "locks, " + r.Basis
	}
	return "does not suit"
}

func amounts(what string, list []choice.Amount) string {
	parts := make([]string, len(list))
	for i, a := range list {
		parts[i] = fmt.Sprintf("%s %.0f mL", a.Name, a.ML)
	}
	return what + ": " + strings.Join(parts, ", ")
}
