//go:build !windows

package atomicfile

import (
	"errors"
	"os"
	"syscall"
)

func syncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	defer d.Close()
	if err := d.Sync(); err != nil && !errors.Is(err, syscall.EINVAL) && !errors.Is(err, syscall.ENOTSUP) {
		return err
	}
	return nil
}

// patiently runs do once: here a file that someone has open can be renamed and removed.
func patiently(do func() error) error { return do() }

// Portable is err as it is: the system's own numbers are those that the advice goes by.
func Portable(err error) error { return err }
