package cli

import (
	"fmt"
	"os"
	"path/filepath"
)

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
	if res == nil || err != nil && !isRefusal(err) {
		return err
	}
	if e := s.printReport(res); e != nil {
		return e
	}
	if err != nil {
		words := fmt.Sprintf("change the part, or the decisions in job.toml in %s, and run again; mouldwright compare %s says which ways to mould it open", c.Folder, c.Folder)
		picture := filepath.Join(c.Folder, "out", "pictures", "where-it-locks.png")
		if _, err := os.Stat(picture); err == nil {
			words += "; " + picture + " shows where it locks"
		}
		s.hint("%s", words)
		return &refusedError{err}
	}
	s.hint("look at the pictures and drawings in the out folder of %s, then print the pieces", c.Folder)
	return nil
}

// refusedError follows a report that has said why, and does not say it again.
type refusedError struct{ cause error }

func (e *refusedError) Error() string {
	return "refused: the part cannot be moulded as asked; the report says why"
}
func (e *refusedError) Unwrap() error { return e.cause }
