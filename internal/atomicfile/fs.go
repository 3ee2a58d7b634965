package atomicfile

import (
	"errors"
	"io"
	"io/fs"
	"os"
)

// FS is what Write needs of a file system.
type FS interface {
	// Create makes a new file for writing; it fails with fs.ErrExist if there is one.
	Create(name string, perm fs.FileMode) (File, error)
	// Mode is the permissions of an existing file.
	Mode(name string) (fs.FileMode, error)
	// Resolve follows symbolic links.
	Resolve(name string) (string, error)
	Rename(from, to string) error
	Remove(name string) error
	// SyncDir flushes a folder's list of names to the disk.
	SyncDir(dir string) error
}

// File is an open file of an FS.
type File interface {
	io.Writer
	Chmod(fs.FileMode) error
	Sync() error
	Close() error
}

// OS is the real file system.
type OS struct{}

// Create implements FS.
func (OS) Create(name string, perm fs.FileMode) (File, error) {
	return os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, perm)
}

// Mode implements FS.
func (OS) Mode(name string) (fs.FileMode, error) {
	info, err := os.Stat(name)
	if err != nil {
		return 0, err
	}
	if !info.Mode().IsRegular() {
		return 0, &fs.PathError{Op: "write", Path: name, Err: errors.New("exists and is not a plain file")}
	}
	return info.Mode().Perm(), nil
}

// Resolve implements FS.
func (OS) Resolve(name string) (string, error) { return resolve(name) }

// Rename implements FS.
func (OS) Rename(from, to string) error {
	return patiently(func() error { return os.Rename(from, to) })
}

// Remove implements FS.
func (OS) Remove(name string) error { return os.Remove(name) }

// SyncDir implements FS. Some file systems cannot flush a folder and say so; there is then nothing
// more to be done.
func (OS) SyncDir(dir string) error { return syncDir(dir) }

// RemoveAll removes a file, or a folder and all in it. Where another program may hold a file open for a
// moment (a virus scanner, a viewer), it tries again for a while.
func RemoveAll(path string) error {
	return patiently(func() error { return os.RemoveAll(path) })
}
