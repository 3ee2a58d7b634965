package cli

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/batch"
	"mouldwright/internal/job"
)

type batchNewCmd struct {
	Folder string   `arg:"" help:"The folder to make."`
	Jobs   []string `arg:"" name:"job" help:"The job folders whose moulds cast the parts."`
	Start  string   `placeholder:"DATE" help:"The first day, such as 2026-03-02; left out: today."`
}

func (c batchNewCmd) Run(s *session) error {
	start := time.Now()
	if c.Start != "" {
		var err error
		if start, err = time.Parse(time.DateOnly, c.Start); err != nil {
			return fmt.Errorf("--start %q: write a day such as 2026-03-02", c.Start)
		}
	}
	from, err := filepath.Abs(c.Folder)
	if err != nil {
		return err
	}
	var jobs []batch.StarterJob
	for _, folder := range c.Jobs {
		j := batch.StarterJob{}
		if j.Report, err = job.LastReport(folder); err != nil {
			return err
		}
		f, err := job.Load(folder)
		if err != nil {
			return err
		}
		j.Rule = f.Compare
		to, err := filepath.Abs(folder)
		if err != nil {
			return err
		}
		way, err := filepath.Rel(from, to)
		if err != nil {
			return fmt.Errorf("the way from the batch to the job: %w", err)
		}
		j.Folder = filepath.ToSlash(way)
		jobs = append(jobs, j)
	}
	text, err := batch.Starter(jobs, start)
	if err != nil {
		return err
	}
	path := filepath.Join(c.Folder, batch.FileName)
	if _, err := os.Lstat(path); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is there already; nothing was changed", path)
	}
	if err := os.MkdirAll(c.Folder, 0o755); err != nil {
		return fmt.Errorf("make the batch's folder: %w", err)
	}
	if err := atomicfile.Write(path, func(w io.Writer) error { _, err := w.Write(text); return err }); err != nil {
		return err
	}
	err = s.result(struct {
		File string `json:"file"`
	}{path}, func(w io.Writer) { fmt.Fprintf(w, "Made %s.\n", path) })
	if err == nil {
		s.hint("put your own times and prices into it, then: mouldwright batch plan %s", c.Folder)
	}
	return err
}
