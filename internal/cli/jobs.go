package cli

import (
	"context"
	"io"
)

// Jobs is what the job commands need of package job.
type Jobs interface {
	// Create makes a job folder for a part.
	Create(folder, part string, opt JobOptions) error
	// Run does the work. A part that cannot be moulded as asked is an error with Refused() true, and
	// comes with the report that says why; with any other error the report is nil.
	Run(ctx context.Context, folder string, progress func(stage string, done float64)) (JobReport, error)
	// Load reads the results of the last run.
	Load(folder string) (JobReport, error)
}

// JobOptions are the first decisions of a new job; all may be changed in its job.toml later.
type JobOptions struct {
	Name, Unit, Object, Material string
	ShowColours                  []string
}

// JobReport is the outcome of a run. Its JSON encoding is what --json prints.
type JobReport interface {
	// Print writes the report as text: aligned, with units.
	Print(w io.Writer) error
}

// noJobs is the error where no Jobs were wired in, which only a test does.
type noJobs struct{}

func (noJobs) Error() string { return "this build has no jobs" }

func (s *session) jobs() (Jobs, error) {
	if s.env.Jobs == nil {
		return nil, &internalError{noJobs{}}
	}
	return s.env.Jobs, nil
}

// printReport prints a report as JSON or text.
func (s *session) printReport(r JobReport) error {
	var err error
	if e := s.result(r, func(w io.Writer) { err = r.Print(w) }); e != nil {
		return e
	}
	return err
}
