package job

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
)

// A run may be done elsewhere: Inputs says what to take there, Adopt brings back what came of it.

// Inputs names the files that a run of a job folder reads, job.toml first, slash-separated.
func Inputs(folder string) ([]string, error) {
	f, err := Load(folder)
	if err != nil {
		return nil, err
	}
	names := []string{FileName}
	for _, n := range f.fileSettings() {
		if n.name == "" {
			continue
		}
		if _, err := f.inside(folder, n.key, n.name); err != nil {
			return nil, err
		}
		names = append(names, filepath.ToSlash(filepath.Clean(n.name)))
	}
	return names, nil
}

// fileSetting is a setting that names a file in the job folder.
type fileSetting struct{ key, name string }

// fileSettings are all of them.
func (f *File) fileSettings() []fileSetting {
	return []fileSetting{{"part.file", f.Part.File}, {"material.library", f.Material.Library}, {"mould.label_font", f.Mould.LabelFont},
		{"tray.carrier", f.Tray.Carrier}, {"ballast.file", f.Ballast.File}}
}

// CheckFiles makes sure that every file that the decisions name lies in the job folder. One that is not there
// yet may come.
func (f *File) CheckFiles(folder string) error {
	for _, n := range f.fileSettings() {
		if n.name == "" {
			continue
		}
		if _, err := f.inside(folder, n.key, n.name); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
	}
	return nil
}

// Adopt puts the results of a run that was done elsewhere in the place of out/, in one step, as Run does
// with its own. names are all files under out/; it takes those alone, and only with a report among them.
// Adopting the same again changes nothing.
func Adopt(ctx context.Context, folder string, from fs.FS, names []string) (err error) {
	unlock, err := lock(folder)
	if err != nil {
		return err
	}
	defer unlock()
	if err := checkReport(from); err != nil {
		return err
	}
	out, err := begin(disk{}, folder)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.discard()) }()
	for _, name := range names {
		if err := ctx.Err(); err != nil {
			return err
		}
		if !fs.ValidPath(name) || name == "." {
			return fmt.Errorf("results made elsewhere: %q is no name of a result", name)
		}
		if err := out.copy(name, from); err != nil {
			return err
		}
	}
	return out.publish()
}

// checkReport makes sure that results are those of a run that this program can read.
func checkReport(from fs.FS) error {
	b, err := fs.ReadFile(from, "report.json")
	if err != nil {
		return fmt.Errorf("results made elsewhere: %w", err)
	}
	var r struct{ Format int }
	if err := json.Unmarshal(b, &r); err != nil || r.Format != ReportFormat {
		return errors.Join(fmt.Errorf("results made elsewhere: their report has format %d, this program reads %d", r.Format, ReportFormat), err)
	}
	return nil
}

func (r *results) copy(name string, from fs.FS) error {
	f, err := from.Open(name)
	if err != nil {
		return fmt.Errorf("results made elsewhere: %w", err)
	}
	defer f.Close()
	return r.add(name, func(w io.Writer) error { _, err := io.Copy(w, f); return err })
}
