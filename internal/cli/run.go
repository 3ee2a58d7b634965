package cli

type runCmd struct {
	Folder string `arg:"" help:"The job folder."`
}

func (c runCmd) Run(s *session) error {
	jobs, err := s.jobs()
	if err != nil {
		return err
	}
	report, end := s.progress()
	res, err := jobs.Run(s.ctx, c.Folder, report)
	end()
	if err != nil {
		return err
	}
	if err := s.printReport(res); err != nil {
		return err
	}
	s.hint("look at the pictures and drawings in the out folder of %s, then print the pieces", c.Folder)
	return nil
}
