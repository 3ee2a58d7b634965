package batch

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteText writes what a maker wants to know first, then loads, purchases and costs.
func (b *Bench) WriteText(w io.Writer, r *Report) error {
	t := &textWriter{w: w}
	p, c := r.Plan, r.Costs
	t.line("%s", b.Name)
	t.line("Done %s. %s", b.Clock(p.EndS), b.boundWords(p))
	t.line("%d shots cure overnight. Every constraint was checked again after planning.", p.Overnight)
	for _, l := range p.Late {
		t.line("LATE: %s", l.Words)
	}
	for _, words := range r.Warnings {
		t.line("Warning: %s", words)
	}
	if r.Changes != nil {
		for _, words := range b.changeWords(r.Changes) {
			t.line("%s", words)
		}
	}
	t.line("")
	t.table("Version\tParts\tShots\tReady", func(tw io.Writer) {
		for _, d := range p.Versions {
			fmt.Fprintf(tw, "%s\t%d\t%d\t%s\n", d.Version, d.Parts, d.Shots, b.Clock(d.ReadyS))
		}
	})
	for _, o := range p.Orders {
		late := ""
		if o.LateS > 0 {
			late = ", " + spell(o.LateS) + " late"
		}
		t.line("Order %s: all ready %s%s.", o.Order, b.Clock(o.ReadyS), late)
	}
	for _, words := range learnedWords(r.Learned) {
		t.line("%s", words)
	}
	t.table("Load\tMix\tVersion\tMass\tMixed\tMoulds", func(tw io.Writer) {
		for _, l := range p.Loads {
			for _, m := range l.Mixes {
				fmt.Fprintf(tw, "%s\t%s\t%s\t%.1f g\t%s\t%s\n", l.Name, m.Name, m.Version, m.MassG, b.Clock(p.mixStart(m.Name)), shortList(m.Moulds))
			}
		}
	})
	if r.Stock != nil {
		for _, words := range b.stockWords(r.Stock) {
			t.line("%s", words)
		}
	}
	t.table("Buy\tSize\tNumber\tPrice each\t", func(tw io.Writer) {
		for _, pu := range c.Purchases {
			for _, k := range pu.Kits {
				fmt.Fprintf(tw, "%s\t%.0f g\t%d\t%.2f %s\t\n", pu.Material, k.MassG, k.Count, k.Price, c.Currency)
			}
		}
	})
	for _, pu := range c.Purchases {
		t.line("%s: %.0f g needed with waste; %s.", pu.Material, pu.NeedG, pu.Words)
	}
	t.line("")
	t.table("Cost\tAmount\tShare\tRests on", func(tw io.Writer) {
		for _, l := range c.Lines {
			fmt.Fprintf(tw, "%s\t%.2f %s\t%.0f %%\t%s\n", l.Name, l.Amount, c.Currency, 100*l.Share, l.RestOn)
		}
		fmt.Fprintf(tw, "all\t%.2f %s\t\t%d parts: %.2f %s each\n", c.Total, c.Currency, c.Parts, c.PerPart, c.Currency)
	})
	t.table("Version\tCost\tAmount\tA part", func(tw io.Writer) {
		for _, v := range c.Versions {
			for _, l := range v.Lines {
				fmt.Fprintf(tw, "%s\t%s\t%.2f %s\t%.2f\n", v.Version, l.Name, l.Amount, c.Currency, l.Amount/float64(max(1, v.Parts)))
			}
			fmt.Fprintf(tw, "%s\tall\t%.2f %s\t%.2f, priced %.2f\n", v.Version, v.Total, c.Currency, v.PerPart, v.PricePart)
		}
	})
	t.line("Price for a margin of %.4g %%: %.2f %s a part. The largest share is %s, %.0f %%.", c.MarginPct, c.PricePart, c.Currency, c.Lines[0].Name, 100*c.Lines[0].Share)
	if len(r.Helps) > 0 {
		t.line("")
		t.line("What would help most, each by itself and planned anew:")
		for k, h := range r.Helps {
			t.line("%d. %s", k+1, h.Words)
		}
	}
	if len(r.BreakEven) > 0 {
		t.line("")
		t.table("Batch\tCheapest way of tooling", func(tw io.Writer) {
			for _, e := range r.BreakEven {
				fmt.Fprintf(tw, "%d to %d\t%s\n", e.From, e.To, e.Way)
			}
		})
	}
	return t.err
}

type textWriter struct {
	w   io.Writer
	err error
}

func (t *textWriter) line(format string, args ...any) {
	if t.err == nil {
		_, t.err = fmt.Fprintf(t.w, format+"\n", args...)
	}
}

func (t *textWriter) table(head string, fill func(io.Writer)) {
	var s strings.Builder
	tw := tabwriter.NewWriter(&s, 0, 0, 2, ' ', 0)
	fmt.Fprintln(tw, head)
	fill(tw)
	if err := tw.Flush(); err != nil && t.err == nil {
		t.err = err
	}
	t.line("%s", s.String())
}
