package cli

import "mouldwright/internal/job"

type lidCmd struct {
	Folder    string    `arg:"" help:"The job folder, after a run."`
	Liquid    float64   `placeholder:"ML" help:"Poured into the lower half first, mL; left out: the cavity with both tolerances, or what the half holds."`
	Hinge     []string  `placeholder:"SIDE" help:"Side of the block to lower the lid about: left, right, front or back; may be given again; left out: all four."`
	Angle     []float64 `placeholder:"DEG" help:"Angle to lower it from, degrees; may be given again; left out: 0 (flat), 5, 10, 20 and 30."`
	PourTol   float64   `default:"2" placeholder:"PCT" help:"How far the poured amount may be off, each way, % of it."`
	CavityTol float64   `default:"1" placeholder:"PCT" help:"How far the printed cavity may be off, each way, % of it."`
	Gutter    float64   `placeholder:"MM2" help:"Section of the gutter that the mould has, mm²; left out: the least that holds what comes out."`
}

// Help is what the command's own help adds.
func (lidCmd) Help() string {
	return "Lowers the upper half of the last run's mould over its lower half, poured first: which edge to hinge it about, from which angle, " +
		"how much air it traps, what comes out and how large a gutter takes it. Writes the chart to out/pictures/lid.svg."
}

func (c lidCmd) Run(s *session) error {
	report, end := s.progress()
	r, err := job.CloseLid(s.ctx, c.Folder, job.LidOptions{LiquidML: c.Liquid, Hinges: c.Hinge, Angles: c.Angle, PourPct: c.PourTol, CavityPct: c.CavityTol, GutterMM2: c.Gutter,
		Progress: func(done float64) { report("closing the lid", done) }})
	end()
	if err != nil {
		return err
	}
	return s.printReport(r)
}
