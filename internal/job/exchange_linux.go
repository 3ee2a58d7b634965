package job

import (
	"errors"
	"fmt"
	"io/fs"

	"golang.org/x/sys/unix"
)

// exchange lets two names trade places in one step, so that a kill finds one or the other, never none.
func exchange(a, b string) error {
	err := unix.Renameat2(unix.AT_FDCWD, a, unix.AT_FDCWD, b, unix.RENAME_EXCHANGE)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.ENOSYS), errors.Is(err, unix.EINVAL): // an old kernel; a file system that cannot
		return fmt.Errorf("exchange %s: %w", b, errors.ErrUnsupported)
	}
	return &fs.PathError{Op: "exchange", Path: b, Err: err}
}
