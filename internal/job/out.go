package job

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"mouldwright/internal/atomicfile"
)

// OutName is the folder of results inside a job folder.
const OutName = "out"

const (
	buildPrefix = ".out-new-" // a run that is being written, or the run before it after the exchange
	oldPrefix   = ".out-old-" // the run before, where the system cannot exchange
)

// results are a run's files on their way into out/: they grow in a hidden folder beside it.
type results struct {
	disk        disk
	folder, dir string
	files       []string // what was added, by name under out/
	done        bool     // in place, or thrown away
}

// begin makes the hidden folder. It comes before the long work, so that a folder that cannot be written
// is found out at once.
func begin(d disk, folder string) (*results, error) {
	if err := recoverOut(d, folder); err != nil {
		return nil, err
	}
	out := filepath.Join(folder, OutName)
	if info, err := os.Lstat(out); err == nil && !info.IsDir() {
		return nil, fmt.Errorf("%s is not a folder, and the results would take its place; move it away", out)
	}
	dir, err := d.tempFolder(folder, buildPrefix)
	if err != nil {
		return nil, fmt.Errorf("write results: %w", err)
	}
	return &results{disk: d, folder: folder, dir: dir}, nil
}

// add writes one file of the results.
func (r *results) add(name string, content func(io.Writer) error) error {
	path := filepath.Join(r.dir, filepath.FromSlash(name))
	if parent := filepath.Dir(path); parent != r.dir {
		if err := r.disk.makeFolder(parent); err != nil {
			return fmt.Errorf("write results: %w", err)
		}
	}
	r.files = append(r.files, name)
	return atomicfile.WriteFS(r.disk.fs(), path, content)
}

// discard throws away results that did not get into place; out/ is as it was.
func (r *results) discard() error {
	if r.done {
		return nil
	}
	r.done = true
	if err := os.RemoveAll(r.dir); err != nil {
		return fmt.Errorf("clear a half-written run: %w", err)
	}
	return nil
}

// publish puts the results in the place of out/ in one step, and removes those of the run before.
func (r *results) publish() error {
	out := filepath.Join(r.folder, OutName)
	old, err := r.swap(out)
	if err != nil {
		return fmt.Errorf("write results: %w", err)
	}
	r.done = true
	if err := r.disk.sync(r.folder); err != nil {
		return fmt.Errorf("write results: they are whole in %s, but: %w: %w", out, atomicfile.ErrNotDurable, err)
	}
	if old == "" {
		return nil
	}
	if err := r.disk.removeAll(old); err != nil {
		return fmt.Errorf("the results are whole in %s, but those of the run before, in %s, could not be removed: %w", out, old, err)
	}
	return nil
}

// swap brings the new folder to out and says where the old one is now, "" when there was none. On an
// error out is as it was.
func (r *results) swap(out string) (old string, err error) {
	if _, err := os.Lstat(out); errors.Is(err, os.ErrNotExist) {
		return "", r.disk.rename(r.dir, out)
	}
	err = r.disk.exchange(r.dir, out)
	if !errors.Is(err, errors.ErrUnsupported) {
		return r.dir, err
	}
	// Two steps. A run killed between them leaves the old results under a hidden name, and the next one
	// brings them back.
	old = filepath.Join(r.folder, oldPrefix+strings.TrimPrefix(filepath.Base(r.dir), buildPrefix))
	if err := r.disk.rename(out, old); err != nil {
		return "", err
	}
	if err := r.disk.rename(r.dir, out); err != nil {
		return "", errors.Join(err, os.Rename(old, out))
	}
	return old, nil
}

// recoverOut clears what a killed run left: half-written new results go, old results whose replacement
// never arrived come back.
func recoverOut(d disk, folder string) error {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return fmt.Errorf("read the job folder: %w", err)
	}
	out := filepath.Join(folder, OutName)
	for _, e := range entries {
		path := filepath.Join(folder, e.Name())
		if !e.IsDir() {
			continue // not made by a run
		}
		if strings.HasPrefix(e.Name(), oldPrefix) {
			if _, err := os.Lstat(out); errors.Is(err, os.ErrNotExist) {
				if err := d.rename(path, out); err != nil {
					return fmt.Errorf("bring back the results of the run before: %w", err)
				}
				continue
			}
		}
		if strings.HasPrefix(e.Name(), oldPrefix) || strings.HasPrefix(e.Name(), buildPrefix) {
			if err := d.removeAll(path); err != nil {
				return fmt.Errorf("clear a half-written run: %w", err)
			}
		}
	}
	return nil
}

// report adds the report, which lists every file, and puts all in place.
func (r *results) report(rep *Report) error {
	rep.Files = append(slices.Clone(r.files), "report.txt", "report.json")
	if err := r.add("report.txt", rep.Print); err != nil {
		return err
	}
	err := r.add("report.json", func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetEscapeHTML(false)
		e.SetIndent("", "  ")
		return e.Encode(rep)
	})
	if err != nil {
		return err
	}
	return r.publish()
}

// LastReport reads the results of the last run.
func LastReport(folder string) (*Report, error) {
	path := filepath.Join(folder, OutName, "report.json")
	b, err := readResult(folder, "report.json")
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

// readResult reads a result of a job. A link that leads out of the job folder is not followed.
func readResult(folder, name string) ([]byte, error) {
	f, err := openResult(folder, name)
	if err != nil {
		return nil, err
	}
	b, err := io.ReadAll(f)
	return b, errors.Join(err, f.Close())
}

func openResult(folder, name string) (*os.File, error) {
	return os.OpenInRoot(folder, OutName+"/"+name)
}

// resultPath is the path of a result that is there and lies in the job folder.
func resultPath(folder, name string) (string, error) {
	f, err := openResult(folder, name)
	if err != nil {
		return "", err
	}
	return filepath.Join(folder, OutName, name), f.Close()
}
