package cli

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"mouldwright/internal/batch"
	"mouldwright/internal/record"
)

type batchCmd struct {
	New  batchNewCmd  `cmd:"" help:"Make a batch folder for a job's mould, with typical times and prices to change."`
	Plan batchPlanCmd `cmd:"" help:"Plan a batch: which mix fills which moulds when, what to buy, what a part costs."`
}

type batchPlanCmd struct {
	Folder    string        `arg:"" help:"The folder with batch.toml; happened.toml beside it, or the records, plan anew from what was done."`
	Records   string        `placeholder:"PLACE" help:"Take wear and what was done from the records: an SQLite file, or postgres://USER@HOST/DATABASE. Left out: $MOULDWRIGHT_RECORDS or records.db, if batch.toml has mould_ids."`
	Now       string        `placeholder:"TIME" help:"With records: plan anew from this moment, such as \"2026-03-31 14:05\"; left out: now."`
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
	if opt.Before, err = c.history(s, b, out); err != nil {
		return err
	}
	report, end := s.progress()
	opt.Progress = func(done float64) { report("try schedules", done) }
	plan, err := batch.Make(s.ctx, b, opt)
	end()
	if err != nil {
		return err
	}
	r, err := b.NewReport(s.ctx, plan, opt.Before)
	if err != nil {
		return err
	}
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
	note := "note what happened in " + filepath.Join(c.Folder, batch.HappenedFile)
	if b.HasRecords() {
		note = "put down the castings (mouldwright record shot)"
	}
	s.hint("look at %s and print %s; as the days go by, %s and plan again", filepath.Join(out, "board.svg"), filepath.Join(out, "day-lists.pdf"), note)
	return nil
}

// defaultRecords is where the record commands look too.
const defaultRecords = "records.db"

// history reads what happened of the last plan: from the records, or from the note beside the batch.
func (c batchPlanCmd) history(s *session, b *batch.Bench, out string) (*batch.History, error) {
	path := filepath.Join(c.Folder, batch.HappenedFile)
	_, err := os.Stat(path)
	noted := !errors.Is(err, os.ErrNotExist)
	switch fromRecords := c.Records != "" || b.HasRecords(); {
	case c.Records != "" && !b.HasRecords():
		return nil, fmt.Errorf("%s: no [[tool]] has mould_ids; give the ids that \"mouldwright record mould\" lists, or leave --records out", filepath.Join(c.Folder, batch.FileName))
	case fromRecords && noted:
		return nil, fmt.Errorf("%s and the records both say what happened; take away the file, or --records and the mould_ids in %s", path, batch.FileName)
	case fromRecords:
		return c.recorded(s, b, out)
	case c.Now != "":
		return nil, fmt.Errorf("--now goes with records; %s has its own", batch.HappenedFile)
	case !noted:
		return nil, nil
	}
	last, err := batch.ReadReport(filepath.Join(out, batch.PlanFile))
	if err != nil {
		return nil, err
	}
	return batch.LoadHistory(path, b, last.Plan)
}

// recorded reads what happened from the records.
func (c batchPlanCmd) recorded(s *session, b *batch.Bench, out string) (h *batch.History, err error) {
	now, err := moment("now", c.Now)
	if err != nil {
		return nil, err
	}
	var last *batch.Plan
	switch r, err := batch.ReadReport(filepath.Join(out, batch.PlanFile)); {
	case err == nil:
		last = r.Plan
	case !errors.Is(err, os.ErrNotExist):
		return nil, err
	}
	place := cmp.Or(c.Records, os.Getenv("MOULDWRIGHT_RECORDS"), defaultRecords)
	err = recordsFlag{Records: place}.read(s, func(r *record.Reader, _ *record.Store) error {
		h, err = batch.FromRecords(r, b, last, now)
		return err
	})
	return h, err
}
