package cli

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
)

// share is NAME=PCT@DENSITY on the command line.
type share struct {
	name        string
	pct, gPerML float64
}

func parseShare(flag, s string) (share, error) {
	name, rest, _ := strings.Cut(s, "=")
	pct, density, _ := strings.Cut(rest, "@")
	p, err1 := strconv.ParseFloat(strings.TrimSuffix(pct, "%"), 64)
	d, err2 := strconv.ParseFloat(density, 64)
	if name == "" || err1 != nil || err2 != nil {
		return share{}, fmt.Errorf("--%s %q: write NAME=PCT@DENSITY with the density in g/mL, as in chalk=20@2.7", flag, s)
	}
	return share{name, p, d}, nil
}

// addExtras puts filler and thinner into the options of a shot; "" is none.
func addExtras(o *material.ShotOptions, filler, thinner string) error {
	if filler != "" {
		f, err := parseShare("filler", filler)
		if err != nil {
			return err
		}
		o.Filler = &material.FillerShare{Filler: material.Filler{Name: f.name, DensityGPerML: f.gPerML}, Pct: f.pct}
	}
	if thinner != "" {
		t, err := parseShare("thinner", thinner)
		if err != nil {
			return err
		}
		o.Thinner = &material.ThinnerShare{Name: t.name, DensityGPerML: t.gPerML, Pct: t.pct}
	}
	return nil
}

type materialChainCmd struct {
	Length float64  `arg:"" name:"mm" help:"The part's length, mm."`
	Link   []string `arg:"" help:"A shrinkage, % of the length before it, and what it may be off by, as in resin=0.3/0.1."`
}

func (c materialChainCmd) Run(s *session) error {
	var links []material.Shrink
	for _, l := range c.Link {
		name, rest, _ := strings.Cut(l, "=")
		pct, off, given := strings.Cut(rest, "/")
		p, err := strconv.ParseFloat(pct, 64)
		e := 0.0
		if given && err == nil {
			e, err = strconv.ParseFloat(off, 64)
		}
		if name == "" || err != nil {
			return fmt.Errorf("link %q: write NAME=PCT or NAME=PCT/ERROR, as in resin=0.3/0.1", l)
		}
		links = append(links, material.Shrink{Name: name, ShrinkPct: p, ErrorPct: e})
	}
	chain, err := material.Chain(c.Length, links...)
	return orResult(s, err, chain, func(w io.Writer) {
		fmt.Fprintf(w, "Draw it %.5f times as large (%.5f to %.5f): %.3f mm for a part of %s mm, which may be off by ± %.3f mm.\n", chain.Factor, chain.Low, chain.High, c.Length*chain.Factor, number(c.Length, 3), chain.ErrorMM)
	})
}

type materialWarmCmd struct {
	libraryFlag
	ID     string  `arg:"" help:"The casting material's id."`
	Length float64 `arg:"" name:"mm" help:"A length of the part, mm."`
	Cure   float64 `required:"" placeholder:"C" help:"Cure temperature, °C."`
	Shop   float64 `default:"23" placeholder:"C" help:"The shop's temperature, °C; left out: 23."`
	Mould  float64 `placeholder:"PER_K" help:"The mould's linear expansion, 1/K; left out: 9e-5, typical of a printed photopolymer."`
}

func (c materialWarmCmd) Run(s *session) error {
	m, err := c.find(c.ID)
	if err != nil {
		return err
	}
	if m.ExpansionPerK == 0 {
		return fmt.Errorf("the expansion of %s is not known; put expansion_per_k of its data sheet in a material file", m.ID)
	}
	if c.Mould == 0 {
		c.Mould = job.PrintPerK
	}
	v, err := material.WarmCureError(c.Length, c.Mould, m.ExpansionPerK, c.Cure, c.Shop)
	return orResult(s, err, v, func(w io.Writer) { fmt.Fprintln(w, v.Words) })
}

type materialBallsCmd struct {
	libraryFlag
	ID      string  `arg:"" help:"The backfill's id."`
	ML      float64 `arg:"" name:"ml" help:"The hollow, mL."`
	Ball    float64 `required:"" placeholder:"MM" help:"The balls' diameter, mm."`
	Density float64 `default:"7.85" placeholder:"G_PER_ML" help:"The balls' density, g/mL; left out: 7.85, steel."`
	Width   float64 `required:"" placeholder:"MM" help:"The hollow's least width, mm."`
}

func (c materialBallsCmd) Run(s *session) error {
	m, err := c.find(c.ID)
	if err != nil {
		return err
	}
	r, err := material.BallFill(c.ML*1000, c.Density, c.Ball, c.Width, m.MixedDensity().GPerML)
	return orResult(s, err, r, func(w io.Writer) {
		table(w, func(w io.Writer) {
			fmt.Fprintln(w, "\tBALLS\tRESIN\tTOGETHER\tDENSITY")
			for _, q := range []struct {
				name string
				b    material.Ballast
			}{{"poured in", r.Loose}, {"shaken down", r.Close}} {
				fmt.Fprintf(w, "%s, %.2f of the space\t%.1f g\t%.2f mL, %.1f g\t%.1f g\t%.2f g/mL\n", q.name, q.b.Packing, q.b.BallsG, q.b.ResinML, q.b.ResinG, q.b.MassG, q.b.DensityGML)
			}
		})
		fmt.Fprintf(w, "\nMix %.2f mL of resin, and its margin: enough for the loose filling.\n", r.ResinML)
		printList(w, "Mind", r.Warnings)
	})
}
