package atomicfile

import (
	"errors"
	"syscall"
	"time"

	"golang.org/x/sys/windows"
)

// syncDir flushes a folder's list of names. That takes a handle with the right to write, which opening
// a folder as a file does not give. Network drives and some file systems refuse it; NTFS then still
// writes names in order through its journal, and there is nothing more to be done.
func syncDir(dir string) error {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return err
	}
	const share = windows.FILE_SHARE_READ | windows.FILE_SHARE_WRITE | windows.FILE_SHARE_DELETE
	h, err := windows.CreateFile(name, windows.GENERIC_WRITE, share, nil, windows.OPEN_EXISTING,
		windows.FILE_FLAG_BACKUP_SEMANTICS, 0)
	if err == nil {
		err = errors.Join(windows.FlushFileBuffers(h), windows.CloseHandle(h))
	}
	for _, cannot := range []error{windows.ERROR_ACCESS_DENIED, windows.ERROR_INVALID_FUNCTION, windows.ERROR_NOT_SUPPORTED,
		windows.ERROR_INVALID_HANDLE, windows.ERROR_INVALID_PARAMETER} {
		if errors.Is(err, cannot) {
			return nil
		}
	}
	return err
}

// heldFor is how long a file that another program has open is waited for. Scanners and indexers let go
// within a fraction of a second (common practice, no source).
const heldFor = 2 * time.Second

// patiently runs do until it succeeds, fails for another reason than that a file is held open, or heldFor
// has passed.
func patiently(do func() error) error {
	end := time.Now().Add(heldFor)
	for wait := time.Millisecond; ; wait = min(2*wait, 100*time.Millisecond) {
		err := do()
		held := errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_ACCESS_DENIED) ||
			errors.Is(err, windows.ERROR_DIR_NOT_EMPTY) || errors.Is(err, windows.ERROR_LOCK_VIOLATION)
		if !held || time.Now().After(end) {
			return err
		}
		time.Sleep(wait)
	}
}

// same lists the system's numbers that mean what the advice calls by another.
var same = map[syscall.Errno]syscall.Errno{
	windows.ERROR_DISK_FULL:            syscall.ENOSPC,
	windows.ERROR_HANDLE_DISK_FULL:     syscall.ENOSPC,
	windows.ERROR_DISK_QUOTA_EXCEEDED:  syscall.EDQUOT,
	windows.ERROR_WRITE_PROTECT:        syscall.EROFS,
	windows.ERROR_DIRECTORY:            syscall.ENOTDIR,
	windows.ERROR_FILENAME_EXCED_RANGE: syscall.ENAMETOOLONG,
	windows.ERROR_BUFFER_OVERFLOW:      syscall.ENAMETOOLONG,
}

// Portable is err, with the number that other systems have for the same fault beside the system's own.
func Portable(err error) error {
	if number := syscall.Errno(0); errors.As(err, &number) {
		if other, ok := same[number]; ok {
			return &translated{err, other}
		}
	}
	return err
}

type translated struct {
	error
	as syscall.Errno
}

func (t *translated) Unwrap() []error { return []error{t.error, t.as} }
