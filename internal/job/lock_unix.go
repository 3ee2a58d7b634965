//go:build unix

package job

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lockFolder locks the folder and not job.toml, which editors replace by another file as they save.
func lockFolder(folder string) (unlock func(), err error) {
	d, err := os.Open(folder)
	if err != nil {
		return nil, err
	}
	if err := unix.Flock(int(d.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		d.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, ErrBusy
		}
		return nil, err
	}
	return func() { d.Close() }, nil
}
