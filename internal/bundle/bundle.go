package bundle

import (
	"archive/tar"
	"compress/gzip"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"slices"
)

// Limits of what Read takes; zero values are the defaults.
type Limits struct {
	Bytes int64 // of all files together; 0 is DefaultBytes
	Files int   // 0 is DefaultFiles
}

const (
	// DefaultBytes holds the results of a part of some millions of facets.
	DefaultBytes = 4 << 30
	// DefaultFiles is twenty times what a run writes.
	DefaultFiles = 2000
)

var (
	// ErrTooLarge says that a bundle holds more than its reader takes.
	ErrTooLarge = errors.New("the bundle is too large")
	// ErrStrange says that a bundle holds what no bundle should.
	ErrStrange = errors.New("this is not a bundle of plain files")
)

// Write writes the named files of a folder.
func Write(w io.Writer, from fs.FS, names []string) error {
	// The fastest level: results are mostly archives and pictures already.
	z, err := gzip.NewWriterLevel(w, gzip.BestSpeed)
	if err != nil {
		return err
	}
	t := tar.NewWriter(z)
	names = slices.Clone(names)
	slices.Sort(names)
	for _, name := range slices.Compact(names) {
		if err := add(t, from, name); err != nil {
			return fmt.Errorf("bundle %s: %w", name, err)
		}
	}
	if err := errors.Join(t.Close(), z.Close()); err != nil {
		return fmt.Errorf("bundle files: %w", err)
	}
	return nil
}

func add(t *tar.Writer, from fs.FS, name string) error {
	f, err := from.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return err
	}
	if !info.Mode().IsRegular() {
		return ErrStrange
	}
	if err := t.WriteHeader(&tar.Header{Format: tar.FormatPAX, Typeflag: tar.TypeReg, Name: name, Size: info.Size(), Mode: 0o644}); err != nil {
		return err
	}
	_, err = io.Copy(t, f) // the archive refuses more or less than was announced, should the file change now
	return err
}

// Files names all plain files below a folder, in order.
func Files(from fs.FS) ([]string, error) {
	var names []string
	err := fs.WalkDir(from, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && d.Type().IsRegular() {
			names = append(names, name)
		}
		return err
	})
	return names, err
}

// Read unpacks a bundle below dir, which it does not leave, and names its files in order.
func Read(r io.Reader, dir string, lim Limits) (names []string, err error) {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, fmt.Errorf("unpack a bundle: %w", err)
	}
	defer root.Close()
	left, files := lim.Bytes, lim.Files
	if left == 0 {
		left = DefaultBytes
	}
	if files == 0 {
		files = DefaultFiles
	}
	z, err := gzip.NewReader(r)
	if err != nil {
		return nil, fmt.Errorf("unpack a bundle: %w: %w", ErrStrange, err)
	}
	for t := tar.NewReader(z); ; {
		h, err := t.Next()
		if errors.Is(err, io.EOF) {
			return names, nil
		}
		if err != nil {
			return nil, fmt.Errorf("unpack a bundle: %w: %w", ErrStrange, err)
		}
		if h.Typeflag != tar.TypeReg || !fs.ValidPath(h.Name) || h.Name == "." {
			return nil, fmt.Errorf("unpack a bundle: %q: %w", h.Name, ErrStrange)
		}
		if left -= h.Size; left < 0 || len(names) == files {
			return nil, fmt.Errorf("unpack a bundle: %w", ErrTooLarge)
		}
		if err := put(root, h.Name, t); err != nil {
			return nil, fmt.Errorf("unpack a bundle: %w", err)
		}
		names = append(names, h.Name)
	}
}

func put(root *os.Root, name string, r io.Reader) error {
	if dir := path.Dir(name); dir != "." {
		if err := root.MkdirAll(dir, 0o755); err != nil {
			return err
		}
	}
	f, err := root.OpenFile(name, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, r)
	return errors.Join(err, f.Close())
}
