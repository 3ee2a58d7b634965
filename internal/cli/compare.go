package cli

import "mouldwright/internal/job"

type compareCmd struct {
	Folder    string `arg:"" help:"The job folder."`
	All       bool   `xor:"builds" help:"Build every way that opens by the estimate, not just down to the first that is proven (minutes)."`
	Estimates bool   `xor:"builds" help:"Build nothing: every verdict is an estimate."`
}

// Help is what the command's own help adds.
func (compareCmd) Help() string {
	return "Judges every way to mould the job's part, whatever family its job.toml names: which opens, the flash it leaves on show faces, what it takes and costs " +
		"for the batch in [compare], and what small change of the part would make a simpler way work. The best way is built and proven; nothing is written."
}

func (c compareCmd) Run(s *session) error {
	opt := job.CompareOptions{}
	switch {
	case c.All:
		opt.Builds = job.BuildAll
	case c.Estimates:
		opt.Builds = job.BuildNone
	}
	report, end := s.progress()
	opt.Progress = report
	got, err := job.Compare(s.ctx, c.Folder, opt)
	end()
	if err != nil {
		return err
	}
	if err := s.printReport(got); err != nil {
		return err
	}
	if got.Best == "" {
		return &refusedError{errNoWay{}}
	}
	return nil
}

// errNoWay is the refusal of a part that no way moulds.
type errNoWay struct{}

func (errNoWay) Error() string { return "no way to mould the part opens" }
func (errNoWay) Refused() bool { return true }
