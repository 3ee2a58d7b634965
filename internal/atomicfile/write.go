package atomicfile

import (
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path/filepath"
	"syscall"
)

// ErrNotDurable is in the error when the new file is whole and in place, but the disk would not
// confirm it: a loss of power may still bring the old one back.
var ErrNotDurable = errors.New("written, but the disk has not confirmed it")

// Write makes path hold what content writes. An existing file keeps its permissions, and a symbolic
// link stays one. content's own error comes back wrapped.
func Write(path string, content func(io.Writer) error) error {
	return WriteFS(OS{}, path, content)
}

// WriteFS is Write on another file system.
func WriteFS(fsys FS, path string, content func(io.Writer) error) error {
	target, err := fsys.Resolve(path)
	if err != nil {
		return explain(path, err)
	}
	perm := fs.FileMode(0o666) // less the umask
	old, err := fsys.Mode(target)
	exists := err == nil
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return explain(path, err)
	}
	temp, file, err := create(fsys, target, perm)
	if err != nil {
		return explain(path, err)
	}
	if err := fillFile(file, content, exists, old); err != nil {
		return explain(path, errors.Join(err, cleanUp(fsys, temp)))
	}
	if err := fsys.Rename(temp, target); err != nil {
		return explain(path, errors.Join(err, cleanUp(fsys, temp)))
	}
	if err := fsys.SyncDir(filepath.Dir(target)); err != nil {
		return explain(path, fmt.Errorf("%w: %w", ErrNotDurable, err))
	}
	return nil
}

// create makes a new file beside target, so that the rename stays within one file system.
func create(fsys FS, target string, perm fs.FileMode) (name string, file File, err error) {
	const tries = 100
	for range tries {
		name = filepath.Join(filepath.Dir(target), "."+filepath.Base(target)+"."+rand.Text()[:8]+".tmp")
		if file, err = fsys.Create(name, perm); !errors.Is(err, fs.ErrExist) {
			break
		}
	}
	return name, file, err
}

// fillFile writes, flushes and closes.
func fillFile(file File, content func(io.Writer) error, keep bool, perm fs.FileMode) (err error) {
	defer func() { err = errors.Join(err, file.Close()) }()
	if err := content(file); err != nil {
		return err
	}
	if keep {
		if err := file.Chmod(perm); err != nil {
			return err
		}
	}
	return file.Sync()
}

// cleanUp removes the temporary file; if that fails, the message names it.
func cleanUp(fsys FS, temp string) error {
	if err := fsys.Remove(temp); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("delete %s by hand: %w", temp, err)
	}
	return nil
}

// advice says what to do about the errors that a user can do something about.
var advice = []struct {
	err error
	do  string
}{
	{syscall.ENOSPC, "the disk is full; free some space and try again"},
	{syscall.EDQUOT, "your share of the disk is used up; free some space and try again"},
	{syscall.EROFS, "the disk can only be read; write to another folder"},
	{fs.ErrPermission, "you may not write there; write to another folder or change its permissions"},
	{syscall.ENOTDIR, "part of that path is not a folder; correct it"},
	{fs.ErrNotExist, "that folder does not exist; create it first"},
	{syscall.ENAMETOOLONG, "the name is too long; choose a shorter one"},
}

func explain(path string, err error) error {
	if err == nil {
		return nil
	}
	err = Portable(err)
	for _, a := range advice {
		if errors.Is(err, a.err) {
			return fmt.Errorf("write %s: %w; %s", path, err, a.do)
		}
	}
	return fmt.Errorf("write %s: %w", path, err)
}
