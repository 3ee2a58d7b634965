package cli

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"mouldwright/internal/material"
	"mouldwright/internal/prose"
)

type materialWeighCmd struct {
	libraryFlag
	ID       string   `arg:"" help:"The material's id, from: material list."`
	ML       float64  `arg:"" name:"ml" help:"What one shot fills, mL."`
	Overfill float64  `default:"5" placeholder:"PCT" help:"Extra mix, % of the volume; left out: 5."`
	CupG     float64  `placeholder:"G" help:"Mix that stays in the cup, g."`
	CupPct   float64  `placeholder:"PCT" help:"Mix that stays in the cup, % of all that is mixed."`
	Step     float64  `default:"0.1" placeholder:"G" help:"What the scale reads to, g; left out: 0.1."`
	Pigment  []string `placeholder:"NAME=PCT[@COMPONENT]" sep:"none" help:"A pigment, % by mass of all components or of one. May be given again."`
	Filler   string   `placeholder:"NAME=PCT@DENSITY" help:"A filler, % by mass of the whole mix, and the density of its grains, g/mL."`
	Thinner  string   `placeholder:"NAME=PCT@DENSITY" help:"A thinner, % by mass of the components, and its density, g/mL."`
}

func (c materialWeighCmd) Run(s *session) error {
	m, err := c.find(c.ID)
	if err != nil {
		return err
	}
	opt := material.ShotOptions{OverfillPct: c.Overfill, CupResidueG: c.CupG, CupResiduePct: c.CupPct, ScaleStepG: c.Step}
	for _, p := range c.Pigment {
		pigment, err := parsePigment(p)
		if err != nil {
			return err
		}
		opt.Pigments = append(opt.Pigments, pigment)
	}
	if err := addExtras(&opt, c.Filler, c.Thinner); err != nil {
		return err
	}
	shot, err := m.Shot([]material.Volume{{Name: "what one shot fills", VolumeMM3: c.ML * 1000}}, opt)
	if err != nil {
		return err
	}
	return s.result(shot, func(w io.Writer) { printShot(w, shot) })
}

func parsePigment(s string) (material.Pigment, error) {
	name, rest, ok := strings.Cut(s, "=")
	pct, of, _ := strings.Cut(rest, "@")
	v, err := strconv.ParseFloat(strings.TrimSuffix(pct, "%"), 64)
	if !ok || err != nil || name == "" {
		return material.Pigment{}, fmt.Errorf("--pigment %q: write NAME=PCT or NAME=PCT@COMPONENT, as in black=2@B", s)
	}
	return material.Pigment{Name: name, Pct: v, Of: of}, nil
}

// printShot prints what to weigh first, then where it goes and how sure it is.
func printShot(w io.Writer, s *material.Shot) {
	fmt.Fprintf(w, "Weigh for one shot of %s\n", s.Name)
	table(w, func(w io.Writer) {
		for _, d := range s.Components {
			ml := ""
			if d.ML > 0 {
				ml = fmt.Sprintf("(%.1f mL)", d.ML)
			}
			fmt.Fprintf(w, "  %s\t%s g\t%s\n", d.Name, number(d.G, 4), ml)
		}
		for _, e := range s.Extras {
			fmt.Fprintf(w, "  %s\t%s g\t(%.1f mL, %.2f %% of %s)\n", e.Name, number(e.G, 4), e.ML, e.GotPct, e.Of)
		}
		for _, p := range s.Pigments {
			fmt.Fprintf(w, "  %s\t%s g\t(%.2f %% of %s)\n", p.Name, number(p.G, 4), p.GotPct, p.Of)
		}
		fmt.Fprintf(w, "  together\t%s g\t(%.1f mL ± %s %% without pigment)\n", number(s.TotalG, 4), s.MixML, number(s.Density.ErrorPct, 1))
	})
	fmt.Fprintln(w, "\nWhere it goes")
	table(w, func(w io.Writer) {
		for _, u := range s.Uses {
			fmt.Fprintf(w, "  %s\t%.2f mL\t%.2f g\n", u.Name, u.ML, u.G)
		}
	})
	fmt.Fprintf(w, "\nRounding up to %s g puts the mixing ratio off by %.2f %%; the material allows %s %%.\n", number(s.ScaleStepG, 4), s.RatioErrorPct, number(s.RatioTolerancePct, 2))
	fmt.Fprintf(w, "Pot life: %s.\n", durationWords(s.PotLife))
	printList(w, "Mind", s.Warnings)
	printList(w, "Cautions", s.Cautions)
}

func printList(w io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	for _, l := range lines {
		fmt.Fprintln(w, "  - "+prose.Wrap(l, "    "))
	}
}
