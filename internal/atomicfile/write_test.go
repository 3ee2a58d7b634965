package atomicfile_test

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/atomicfile/faultfs"
)

const oldText, newText = "the old content", "the new content, which is longer than the old"

// writeNew writes newText in small pieces, so that there are many points at which to fail.
func writeNew(w io.Writer) error {
	for i := 0; i < len(newText); i += 4 {
		if _, err := io.WriteString(w, newText[i:min(i+4, len(newText))]); err != nil {
			return err
		}
	}
	return nil
}

// checkWhole says that path holds the old content or the new, and nothing else lies beside it.
func checkWhole(t *testing.T, path string, exists bool) (content string) {
	t.Helper()
	data, err := os.ReadFile(path)
	switch {
	case errors.Is(err, fs.ErrNotExist) && !exists:
	case err != nil:
		t.Fatal(err)
	case string(data) != newText && (!exists || string(data) != oldText):
		t.Fatalf("half-written: %q", data)
	}
	list, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range list {
		if e.Name() != filepath.Base(path) {
			t.Fatalf("left behind: %s", e.Name())
		}
	}
	return string(data)
}

// The loops over every point of failure: each operation, then each byte.
func TestEveryFailure(t *testing.T) {
	for _, exists := range []bool{false, true} {
		for _, fault := range []error{syscall.ENOSPC, syscall.EIO, fs.ErrPermission} {
			for _, byBytes := range []bool{false, true} {
				t.Run(fmt.Sprintf("exists=%v/%v/bytes=%v", exists, fault, byBytes), func(t *testing.T) {
					failEverywhere(t, exists, fault, byBytes)
				})
			}
		}
	}
}

func failEverywhere(t *testing.T, exists bool, fault error, byBytes bool) {
	for n := 0; ; n++ {
		if n > 1000 {
			t.Fatal("never got through")
		}
		path := filepath.Join(t.TempDir(), "part.stl")
		if exists {
			if err := os.WriteFile(path, []byte(oldText), 0o600); err != nil {
				t.Fatal(err)
			}
		}
		fsys := faultfs.New(atomicfile.OS{})
		fsys.Err = fault
		if byBytes {
			fsys.BytesLeft = int64(n)
		} else {
			fsys.FailAt = n + 1
		}
		err := atomicfile.WriteFS(fsys, path, writeNew)
		got := checkWhole(t, path, exists)
		if (err != nil) != fsys.Fired {
			t.Fatalf("point %d: fault %v, error %v", n, fsys.Fired, err)
		}
		if err == nil {
			if got != newText {
				t.Fatalf("no error, but the file holds %q", got)
			}
			if n < len(newText)/4 {
				t.Fatalf("only %d points of failure", n)
			}
			return
		}
		if !errors.Is(err, fault) || !strings.Contains(err.Error(), path) {
			t.Fatalf("point %d: %v", n, err)
		}
		if (got == newText) != errors.Is(err, atomicfile.ErrNotDurable) {
			t.Fatalf("point %d: file holds %q, error %v", n, got, err)
		}
	}
}

func TestContentFails(t *testing.T) {
	path := filepath.Join(t.TempDir(), "x")
	if err := os.WriteFile(path, []byte(oldText), 0o600); err != nil {
		t.Fatal(err)
	}
	mine := errors.New("cannot mesh")
	err := atomicfile.Write(path, func(w io.Writer) error {
		_, _ = io.WriteString(w, "half") // the error below is the one under test
		return mine
	})
	if !errors.Is(err, mine) || checkWhole(t, path, true) != oldText {
		t.Errorf("error %v", err)
	}
}

func TestPermissionsAndLinksStay(t *testing.T) {
	dir := t.TempDir()
	path, link := filepath.Join(dir, "real"), filepath.Join(dir, "link")
	if err := os.WriteFile(path, []byte(oldText), 0o640); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("real", link); err != nil {
		t.Fatal(err)
	}
	if err := atomicfile.Write(link, writeNew); err != nil {
		t.Fatal(err)
	}
	info, err := os.Lstat(link)
	if err != nil || info.Mode()&fs.ModeSymlink == 0 {
		t.Errorf("the link is gone: %v %v", info, err)
	}
	info, err = os.Stat(path)
	if err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("permissions %v %v", info.Mode(), err)
	}
	loop := filepath.Join(dir, "loop")
	if err := os.Symlink("loop", loop); err != nil {
		t.Fatal(err)
	}
	if err := atomicfile.Write(loop, writeNew); err == nil || !strings.Contains(err.Error(), "circle") {
		t.Errorf("error %v", err)
	}
}

func TestClearErrors(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "file"), nil, 0o600); err != nil {
		t.Fatal(err)
	}
	for path, want := range map[string]string{
		"missing/x":              "does not exist; create it first",
		"file/x":                 "not a folder",
		".":                      "not a plain file",
		strings.Repeat("x", 300): "too long",
	} {
		err := atomicfile.Write(filepath.Join(dir, path), writeNew)
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.20s: error %v, want one with %q", path, err, want)
		}
	}
}

func TestReadOnlyFolder(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "x")
	if err := os.WriteFile(path, []byte(oldText), 0o600); err != nil {
		t.Fatal(err)
	}
	readOnly(t, dir)
	err := atomicfile.Write(path, writeNew)
	if err == nil || !strings.Contains(err.Error(), "write to another folder") {
		t.Errorf("error %v", err)
	}
	checkWhole(t, path, true)
}

// readOnly takes the right to write from a folder: by its permissions or, since the superuser may
// write all the same, by mounting it read-only.
func readOnly(t *testing.T, dir string) {
	t.Helper()
	if os.Geteuid() != 0 {
		if err := os.Chmod(dir, 0o555); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = os.Chmod(dir, 0o755) }) // only so that the folder can be deleted
		return
	}
	if err := syscall.Mount(dir, dir, "", syscall.MS_BIND, ""); err != nil {
		t.Skipf("cannot mount here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	if err := syscall.Mount("", dir, "", syscall.MS_BIND|syscall.MS_REMOUNT|syscall.MS_RDONLY, ""); err != nil {
		t.Skipf("cannot mount read-only here: %v", err)
	}
}

// A disk of 64 kB that is really full.
func TestFullDisk(t *testing.T) {
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		t.Skipf("cannot mount a small disk here: %v", err)
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, syscall.MNT_DETACH) })
	path := filepath.Join(dir, "x")
	if err := os.WriteFile(path, []byte(oldText), 0o600); err != nil {
		t.Fatal(err)
	}
	err := atomicfile.Write(path, func(w io.Writer) error {
		_, err := w.Write(make([]byte, 1<<20))
		return err
	})
	if !errors.Is(err, syscall.ENOSPC) || !strings.Contains(err.Error(), "disk is full; free some space") {
		t.Errorf("error %v", err)
	}
	if checkWhole(t, path, true) != oldText {
		t.Error("the old file is lost")
	}
}
