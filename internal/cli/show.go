package cli

type showCmd struct {
	Folder string `arg:"" help:"The job folder."`
}

func (c showCmd) Run(s *session) error {
	jobs, err := s.jobs()
	if err != nil {
		return err
	}
	res, err := jobs.Load(c.Folder)
	if err != nil {
		return err
	}
	return s.printReport(res)
}
