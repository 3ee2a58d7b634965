package job

import (
	"errors"
	"fmt"
	"io/fs"

	"golang.org/x/sys/unix"
)

// exchange lets two names trade places in one step, so that a kill finds one or the other, never none.
func exchange(a, b string) error {
	err := unix.RenamexNp(a, b, unix.RENAME_SWAP)
	switch {
	case err == nil:
		return nil
	case errors.Is(err, unix.ENOTSUP), errors.Is(err, unix.EINVAL): // a file system that cannot
		return fmt.Errorf("exchange %s: %w", b, errors.ErrUnsupported)
	}
	return &fs.PathError{Op: "exchange", Path: b, Err: err}
}
