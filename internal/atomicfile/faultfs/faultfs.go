// Package faultfs is a file system that fails where a test wants it to: at the n-th operation, or
// once n bytes have been written. A test runs an operation again and again, failing one point later
// each time, until it gets through.
package faultfs

import (
	"io/fs"
	"sync"
	"syscall"

	"mouldwright/internal/atomicfile"
)

// FS passes everything on to Under until a fault is due.
type FS struct {
	Under atomicfile.FS
	// FailAt is the operation, counted from 1, that fails with Err; 0 for none. Every write of a
	// file is an operation, as are Create, Mode, Resolve, Chmod, Sync, Close, Rename and SyncDir.
	// Remove never fails on purpose: it is how a failure is cleaned up.
	FailAt int
	// BytesLeft is how many bytes may be written before the disk is full, −1 for no end. The write
	// that passes it writes what fits, as a real one does.
	BytesLeft int64
	Err       error // what fails; ENOSPC when nil

	mu    sync.Mutex
	ops   int
	Fired bool // a fault has happened
}

// New is an FS without faults.
func New(under atomicfile.FS) *FS { return &FS{Under: under, BytesLeft: -1} }

// Ops is the number of operations so far.
func (f *FS) Ops() int {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.ops
}

func (f *FS) err() error {
	if f.Err != nil {
		return f.Err
	}
	return syscall.ENOSPC
}

func (f *FS) step(op, path string) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.ops++
	if f.ops == f.FailAt {
		f.Fired = true
		return &fs.PathError{Op: op, Path: path, Err: f.err()}
	}
	return nil
}

// Create implements atomicfile.FS.
func (f *FS) Create(name string, perm fs.FileMode) (atomicfile.File, error) {
	if err := f.step("create", name); err != nil {
		return nil, err
	}
	under, err := f.Under.Create(name, perm)
	if err != nil {
		return nil, err
	}
	return &file{File: under, fs: f, name: name}, nil
}

// Mode implements atomicfile.FS.
func (f *FS) Mode(name string) (fs.FileMode, error) {
	if err := f.step("stat", name); err != nil {
		return 0, err
	}
	return f.Under.Mode(name)
}

// Resolve implements atomicfile.FS.
func (f *FS) Resolve(name string) (string, error) {
	if err := f.step("readlink", name); err != nil {
		return "", err
	}
	return f.Under.Resolve(name)
}

// Rename implements atomicfile.FS.
func (f *FS) Rename(from, to string) error {
	if err := f.step("rename", to); err != nil {
		return err
	}
	return f.Under.Rename(from, to)
}

// Remove implements atomicfile.FS.
func (f *FS) Remove(name string) error { return f.Under.Remove(name) }

// SyncDir implements atomicfile.FS.
func (f *FS) SyncDir(dir string) error {
	if err := f.step("sync folder", dir); err != nil {
		return err
	}
	return f.Under.SyncDir(dir)
}

type file struct {
	atomicfile.File
	fs   *FS
	name string
}

func (f *file) Write(p []byte) (int, error) {
	if err := f.fs.step("write", f.name); err != nil {
		return 0, err
	}
	f.fs.mu.Lock()
	defer f.fs.mu.Unlock()
	fits := p
	if f.fs.BytesLeft >= 0 && int64(len(p)) > f.fs.BytesLeft {
		fits = p[:f.fs.BytesLeft]
	}
	n, err := f.File.Write(fits)
	if f.fs.BytesLeft >= 0 {
		f.fs.BytesLeft -= int64(n)
	}
	if err == nil && n < len(p) {
		f.fs.Fired = true
		err = &fs.PathError{Op: "write", Path: f.name, Err: f.fs.err()}
	}
	return n, err
}

func (f *file) Chmod(perm fs.FileMode) error {
	if err := f.fs.step("chmod", f.name); err != nil {
		return err
	}
	return f.File.Chmod(perm)
}

func (f *file) Sync() error {
	if err := f.fs.step("sync", f.name); err != nil {
		return err
	}
	return f.File.Sync()
}

// Close closes the file in any case, as the system does.
func (f *file) Close() error {
	fault := f.fs.step("close", f.name)
	if err := f.File.Close(); err != nil {
		return err
	}
	return fault
}
