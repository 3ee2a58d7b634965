package cli

import (
	"fmt"
	"io"
	"path/filepath"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/material"
	"mouldwright/internal/sheet"
	"mouldwright/internal/shopsheet"
	"mouldwright/internal/steps"
)

// benchFlags describe the bench that steps are planned for.
type benchFlags struct {
	Shots    int     `placeholder:"N" help:"Fillings to pour; left out: the job's."`
	Temp     float64 `placeholder:"C" help:"Temperature of shop and components, °C; left out: the job's."`
	Cure     float64 `placeholder:"C" help:"Cure temperature, °C; left out: the job's, else the shop's."`
	Cup      float64 `placeholder:"ML" help:"A cup's brim volume, mL; left out: the job's, else the sheet says how large a cup it takes."`
	Vacuum   bool    `help:"Degas the mix under vacuum."`
	Pot      bool    `help:"Cure in a pressure pot."`
	PotRated float64 `placeholder:"KPA" help:"What the pot's plate allows over the air's pressure, kPa."`
	Torque   float64 `placeholder:"NM" help:"Torque of the bolts, N·m; left out: none is given."`
	Printed  string  `enum:"resin,filament,job" default:"job" help:"What the pieces are printed in: resin or filament; left out: what the job says."`
	Finest   int     `placeholder:"GRIT" help:"The last abrasive paper, 120 to 2000; left out: 400."`
	Blast    bool    `help:"Blast the cavity faces, for an even matt surface."`
	Grain    int     `placeholder:"N" help:"Mist coats for a grained surface."`
	Again    bool    `help:"The mould was used before: leave out what is done once."`
	Silicone string  `placeholder:"ID" help:"The silicone that soft pieces are poured of; left out: the job's."`
}

func (f benchFlags) bench(lib *material.Library) (steps.Bench, error) {
	b := steps.Bench{TempC: f.Temp, CureC: f.Cure, Shots: f.Shots, CupML: f.Cup, Vacuum: f.Vacuum, Pot: f.Pot || f.PotRated > 0, PotRatedKPa: f.PotRated,
		TorqueNM: f.Torque, FinestGrit: f.Finest, Blast: f.Blast, GrainCoats: f.Grain, Again: f.Again}
	if f.Printed != "job" {
		b.Printed = material.Surface("printed-" + f.Printed)
	}
	if f.Silicone != "" {
		m, err := lib.Find(f.Silicone)
		if err != nil {
			return b, err
		}
		b.Silicone = m
	}
	return b, nil
}

// plan makes the steps of a job's last good run on this bench.
func (f benchFlags) plan(folder string) (*steps.Job, *steps.Plan, error) {
	j, err := steps.ReadJob(folder)
	if err != nil {
		return nil, nil, err
	}
	bench, err := f.bench(j.Library)
	if err != nil {
		return nil, nil, err
	}
	plan, err := j.Plan(bench)
	return j, plan, err
}

type sheetCmd struct {
	Folder string `arg:"" help:"The job folder."`
	benchFlags
	Paper string `enum:"A4,Letter" default:"A4" help:"Paper: A4 or Letter."`
	Link  string `placeholder:"URL" help:"Where the bench page of this job is; it becomes a QR code."`
	Date  string `placeholder:"DATE" help:"The date to print on it; left out: a line to write it on."`
	Out   string `short:"o" placeholder:"FILE" help:"The PDF to write; left out: shop-sheet.pdf in the job folder."`
}

func (c sheetCmd) Run(s *session) error {
	j, plan, err := c.plan(c.Folder)
	if err != nil {
		return err
	}
	pages, err := shopsheet.Pages(shopsheet.Content{Report: j.Report, Plan: plan, Link: c.Link, Date: c.Date}, shopsheet.Options{Paper: c.Paper})
	if err != nil {
		return err
	}
	if c.Out == "" {
		c.Out = filepath.Join(c.Folder, "shop-sheet.pdf")
	}
	if err := atomicfile.Write(c.Out, func(w io.Writer) error { return sheet.WritePDF(w, pages...) }); err != nil {
		return err
	}
	v := struct {
		File  string      `json:"file"`
		Pages int         `json:"pages"`
		Plan  *steps.Plan `json:"plan"`
	}{c.Out, len(pages), plan}
	return s.result(v, func(w io.Writer) {
		fmt.Fprintf(w, "%s: %d pages, %d steps, %d of them hard stops\n", c.Out, len(pages), len(plan.Steps), hardStops(plan))
		printList(w, "Mind", plan.Warnings)
	})
}

func hardStops(p *steps.Plan) (n int) {
	for _, s := range p.Steps {
		if s.Hard {
			n++
		}
	}
	return n
}
