package job

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/atomicfile"
)

// OutName is the folder of results inside a job folder.
const OutName = "out"

const (
	buildPrefix = ".out-new-" // a run that is being written
	oldPrefix   = ".out-old-" // the run before, on its way out
)

// swapOut lets write fill a new folder, and puts it in the place of out/ when all of it is on disk. On
// any error out/ stays as it was. A run killed between the two renames of the swap leaves the old
// results under a hidden name; the next run puts them back.
func swapOut(folder string, write func(dir string) error) (err error) {
	if err := recoverOut(folder); err != nil {
		return err
	}
	dir, err := os.MkdirTemp(folder, buildPrefix)
	if err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	if err := os.Chmod(dir, 0o755); err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	if err := write(dir); err != nil {
		return err
	}
	out := filepath.Join(folder, OutName)
	old := filepath.Join(folder, oldPrefix+strings.TrimPrefix(filepath.Base(dir), buildPrefix))
	if err := os.Rename(out, old); err != nil && !errors.Is(err, os.ErrNotExist) {
		return fmt.Errorf("write results: %w", err)
	}
	if err := os.Rename(dir, out); err != nil {
		back := os.Rename(old, out)
		if errors.Is(back, os.ErrNotExist) {
			back = nil
		}
		return errors.Join(fmt.Errorf("write results: %w", err), back)
	}
	if err := (atomicfile.OS{}).SyncDir(folder); err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	if err := os.RemoveAll(old); err != nil {
		return fmt.Errorf("remove the results of the run before: %w", err)
	}
	return nil
}

// recoverOut clears what a killed run left: half-written new results go, old results whose
// replacement never arrived come back.
func recoverOut(folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return fmt.Errorf("read the job folder: %w", err)
	}
	out := filepath.Join(folder, OutName)
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		switch {
		case strings.HasPrefix(e.Name(), oldPrefix):
			if _, err := os.Lstat(out); errors.Is(err, os.ErrNotExist) {
				if err := os.Rename(path, out); err != nil {
					return fmt.Errorf("bring back the results of the run before: %w", err)
				}
				continue
			}
			fallthrough
		case strings.HasPrefix(e.Name(), buildPrefix):
			if err := os.RemoveAll(path); err != nil {
				return fmt.Errorf("clear a half-written run: %w", err)
			}
		}
	}
	return nil
}

// writeRefusal replaces out/ by the report alone: files of an earlier mould must not lie beside it as
// if they were good.
func writeRefusal(folder string, rep *Report) error {
	return swapOut(folder, func(dir string) error { return writeReport(dir, rep) })
}

func writeReport(dir string, rep *Report) error {
	err := atomicfile.Write(filepath.Join(dir, "report.json"), func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(rep)
	})
	if err != nil {
		return err
	}
	return atomicfile.Write(filepath.Join(dir, "report.txt"), rep.Print)
}

// LastReport reads the results of the last run.
func LastReport(folder string) (*Report, error) {
	path := filepath.Join(folder, OutName, "report.json")
	b, err := os.ReadFile(path)
	if err != nil {
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("%s: no results yet; make them with: mouldwright run %s: %w", folder, folder, err)
		}
		return nil, fmt.Errorf("read the results: %w", err)
	}
	r := &Report{}
	if err := json.Unmarshal(b, r); err != nil {
		return nil, fmt.Errorf("%s is damaged (%w); run the job again", path, err)
	}
	if r.Format != ReportFormat {
		return nil, fmt.Errorf("%s has format %d, this program reads %d; run the job again", path, r.Format, ReportFormat)
	}
	return r, nil
}
