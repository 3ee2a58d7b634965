package job

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"syscall"

	"mouldwright/internal/atomicfile"
)

// disk is all that a run does to the file system. The zero value is the real one; tests make its steps
// fail, one after the other.
type disk struct {
	files atomicfile.FS                     // nil: the real one
	fault func(op, path string) error       // nil: no step on a folder fails
	swap  func(from, to string) (err error) // nil: exchange
}

func (d disk) fs() atomicfile.FS {
	if d.files == nil {
		return atomicfile.OS{}
	}
	return d.files
}

// step runs one step on a folder, and says what a maker can do about the error.
func (d disk) step(op, path string, do func() error) error {
	if d.fault != nil {
		if err := d.fault(op, path); err != nil {
			return advised(err)
		}
	}
	return advised(do())
}

func (d disk) makeFolder(path string) error {
	return d.step("mkdir", path, func() error { return os.MkdirAll(path, 0o755) })
}

func (d disk) tempFolder(parent, prefix string) (dir string, err error) {
	err = d.step("mkdir", parent, func() error {
		if dir, err = os.MkdirTemp(parent, prefix); err != nil {
			return err
		}
		if err := os.Chmod(dir, 0o755); err != nil {
			return errors.Join(err, os.Remove(dir))
		}
		return nil
	})
	return dir, err
}

func (d disk) rename(from, to string) error {
	return d.step("rename", to, func() error { return d.fs().Rename(from, to) })
}

// exchange lets two folders trade names in one step. Where the system has no such step the error is
// errors.ErrUnsupported.
func (d disk) exchange(a, b string) error {
	swap := d.swap
	if swap == nil {
		swap = exchange
	}
	return d.step("exchange", b, func() error { return swap(a, b) })
}

func (d disk) sync(folder string) error {
	return d.step("sync", folder, func() error { return d.fs().SyncDir(folder) })
}

func (d disk) removeAll(path string) error {
	return d.step("remove", path, func() error { return atomicfile.RemoveAll(path) })
}

// advice says what to do about the faults of folders that a maker can do something about.
var advice = []struct {
	err error
	do  string
}{
	{syscall.ENOSPC, "the disk is full; free some space and run again"},
	{syscall.EDQUOT, "your share of the disk is used up; free some space and run again"},
	{syscall.EROFS, "the job folder is on a disk that cannot be written; copy the folder to one that can"},
	{fs.ErrPermission, "you may not write in the job folder; change its permissions, or copy it to a folder of yours"},
}

func advised(err error) error {
	err = atomicfile.Portable(err)
	for _, a := range advice {
		if errors.Is(err, a.err) {
			return fmt.Errorf("%w; %s", err, a.do)
		}
	}
	return err
}
