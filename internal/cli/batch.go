package cli

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"time"

	"mouldwright/internal/batch"
)

type batchCmd struct {
	Plan batchPlanCmd `cmd:"" help:"Plan a batch: which mix fills which moulds when, what to buy, what a part costs."`
}

type batchPlanCmd struct {
	Folder    string        `arg:"" help:"The folder with batch.toml; happened.toml beside it plans anew from what was done."`
	Out       string        `placeholder:"FOLDER" help:"Where the results go; default: the folder out inside."`
	Seed      uint64        `help:"Start of the random numbers; the same seed gives the same plan."`
	Tries     int           `placeholder:"N" help:"Schedules to try; default: by the size of the batch."`
	TimeLimit time.Duration `placeholder:"TIME" help:"Stop trying after this time, such as 10s. Without it the plan depends on the files and the seed alone."`
}

func (c batchPlanCmd) Run(s *session) error {
	b, err := batch.Load(filepath.Join(c.Folder, batch.FileName))
	if err != nil {
		return err
	}
	out := c.Out
	if out == "" {
		out = filepath.Join(c.Folder, "out")
	}
	opt := batch.Options{Seed: c.Seed, Iterations: c.Tries, TimeLimit: c.TimeLimit}
	if opt.Before, err = c.history(b, out); err != nil {
		return err
	}
	report, end := s.progress()
	opt.Progress = func(done float64) { report("try schedules", done) }
	plan, err := batch.Make(s.ctx, b, opt)
	end()
	if err != nil {
		return err
	}
	r := b.NewReport(plan)
	paths, err := batch.WriteFiles(out, b, r)
	if err != nil {
		return err
	}
	v := struct {
		*batch.Report
		Files []string `json:"files"`
	}{r, paths}
	var werr error
	if err := s.result(v, func(w io.Writer) { werr = b.WriteText(w, r) }); err != nil {
		return err
	}
	if werr != nil {
		return werr
	}
	s.hint("look at %s and print %s; as the days go by, note what happened in %s and plan again",
		filepath.Join(out, "board.svg"), filepath.Join(out, "day-lists.pdf"), filepath.Join(c.Folder, batch.HappenedFile))
	return nil
}

// history reads what happened of the last plan, if there is a note of it.
func (c batchPlanCmd) history(b *batch.Bench, out string) (*batch.History, error) {
	path := filepath.Join(c.Folder, batch.HappenedFile)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	last, err := batch.ReadReport(filepath.Join(out, batch.PlanFile))
	if err != nil {
		return nil, err
	}
	return batch.LoadHistory(path, b, last.Plan)
}
