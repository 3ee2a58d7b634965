package job

import (
	"fmt"
	"math"

	"mouldwright/internal/material"
)

func (p *printer) shot(title string, s *material.Shot) {
	p.Line("\n%s of %s", title, s.Name)
	p.columns(func(row func(string, ...any)) {
		for _, u := range s.Uses {
			row("%s\t%.2f mL\t%.2f g", u.Name, u.ML, u.G)
		}
		row("mix\t%.2f mL\t%.2f g", s.MixML, s.MixG)
	})
	p.Line("  Weigh out, on a scale that reads %g g:", s.ScaleStepG)
	p.columns(func(row func(string, ...any)) {
		for _, c := range s.Components {
			ml := ""
			if c.ML > 0 {
				ml = fmt.Sprintf("%.2f mL", c.ML)
			}
			row("  %s\t%.6g g\t%s", c.Name, c.G, ml)
		}
		for _, c := range s.Extras {
			row("  %s\t%.6g g\t%.2f mL, %.3g %% of %s", c.Name, c.G, c.ML, c.GotPct, c.Of)
		}
		for _, c := range s.Pigments {
			row("  %s\t%.6g g\t%.3g %% of %s", c.Name, c.G, c.GotPct, c.Of)
		}
		row("  together\t%.6g g", s.TotalG)
	})
	p.Line("  Rounding to the scale puts the mixing ratio off by %.2g %% (the material allows %.2g %%).\n  The mixed density is taken as %.3f g/mL ± %.2g %%.",
		s.RatioErrorPct, s.RatioTolerancePct, s.Density.GPerML, s.Density.ErrorPct)
	if s.PotLife != nil {
		p.Line("  Pot life %.3g min at %.0f °C: mix and pour within it.", s.PotLife.Seconds/60, s.PotLife.AtC)
	}
	for _, c := range s.Warnings {
		p.Item(c)
	}
	if len(s.Cautions) > 0 {
		p.Line("\nTake care")
		for _, c := range s.Cautions {
			p.Item(c)
		}
	}
}

// shrinkage is the chain from the drawn mould to the casting.
func (p *printer) shrinkage(r *ShrinkReport) {
	p.Line("\nShrinkage, along the part's %s, %.2f mm", r.Axis, r.LengthMM)
	p.columns(func(row func(string, ...any)) {
		for _, l := range r.Chain.Links {
			row("%s\t%.3g %% ± %.2g %%", l.Name, l.ShrinkPct, l.ErrorPct)
		}
	})
	p.Item(fmt.Sprintf("all links together: %.5f times the part (%.5f to %.5f); the casting's length may be off by ± %.2f mm", r.Chain.Factor, r.Chain.Low, r.Chain.High, r.Chain.ErrorMM))
	if r.PrintScale != 1 {
		p.Item(fmt.Sprintf("the files count all but the print's own shrinkage: print every piece at %.3f %%", 100*r.PrintScale))
	}
}

// bench is the time budget.
func (p *printer) bench(r *BenchReport) {
	p.Line("\nTime and cups, at %g °C, %s in a session", r.ShopC, plural(r.Fillings, "filling"))
	if r.Problem != "" {
		p.Item("it cannot be done: " + r.Problem)
	}
	if b := r.Batch; b != nil {
		p.Item(fmt.Sprintf("pot life %s (%s to %s): %s", seconds(b.PotLife.Seconds), seconds(b.PotLife.LowS), seconds(b.PotLife.HighS), b.PotLife.Basis))
		cup := fmt.Sprintf("a cup of %g mL", r.CupML)
		if !r.CupGiven {
			cup = fmt.Sprintf("the smallest usual cup that does, %g mL,", r.CupML)
		}
		p.Item(fmt.Sprintf("%s takes %.1f mL of mix%s", cup, b.MaxCupML, foamWords(b.FoamRise)))
		for i := 0; i < len(b.Mixes); {
			x, first := b.Mixes[i], i
			for i < len(b.Mixes) && b.Mixes[i] == x {
				i++
			}
			which := fmt.Sprintf("mix %d of %d", i, len(b.Mixes))
			if i > first+1 {
				which = fmt.Sprintf("mixes %d to %d of %d, each", first+1, i, len(b.Mixes))
			}
			p.Item(fmt.Sprintf("%s: %s, %.1f mL (%.1f g) in %s of %.1f mL; stirring%s, pouring and closing take %s, %s of the pot life's low estimate are left; headroom in the cup %.0f mL",
				which, plural(x.Shots, "filling"), x.ML, x.G, plural(x.Cups, "cup"), x.CupML, degasWords(b.FoamRise), seconds(x.UsedS), seconds(x.SpareS), x.HeadML))
		}
		for _, w := range b.Warnings {
			p.Item(w)
		}
	}
	if d := r.Demould; d != nil {
		p.Item(fmt.Sprintf("cured at %g °C it can be opened after %s (%s to %s): %s", r.CureC, seconds(d.Seconds), seconds(d.LowS), seconds(d.HighS), d.Basis))
	}
	if r.HottestC > 0 {
		p.Item(fmt.Sprintf("were all its heat kept in, the mix would reach %.0f °C; a casting stays below, a full cup comes near: never leave the rest of a mix in a deep cup", r.HottestC))
	}
	if r.Warm != nil {
		p.Item("warm cure: " + r.Warm.Words)
	}
}

func foamWords(rise float64) string {
	if rise > 1 {
		return fmt.Sprintf(", since it rises to %g times its volume under vacuum", rise)
	}
	return ""
}

func degasWords(rise float64) string {
	if rise > 1 {
		return ", degassing"
	}
	return ""
}

// seconds prints a time in the unit that reads best.
func seconds(s float64) string {
	switch a := math.Abs(s); {
	case a < 120:
		return fmt.Sprintf("%.0f s", s)
	case a < 3*3600:
		return fmt.Sprintf("%.1f min", s/60)
	}
	return fmt.Sprintf("%.1f h", s/3600)
}

// ballast is what weights the casting.
func (p *printer) ballast(r *BallastReport) {
	p.Line("\nBallast")
	for _, w := range r.Words {
		p.Item(w)
	}
	if r.Backfill != nil {
		p.shot("The backfill between the balls,", r.Backfill)
	}
}
