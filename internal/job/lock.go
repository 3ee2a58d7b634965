package job

import (
	"errors"
	"fmt"
	"os"

	"golang.org/x/sys/unix"
)

// ErrBusy says that another run works on the same folder.
var ErrBusy = errors.New("another run is at work in this folder; wait for it to end")

// lock keeps two runs of one folder apart. The kernel drops the lock when the process ends, however it
// ends, so a killed run leaves nothing to clean up by hand.
func lock(folder string) (unlock func(), err error) {
	// The folder is locked and not job.toml, which editors replace by another file as they save.
	d, err := os.Open(folder)
	if err != nil {
		return nil, fmt.Errorf("lock the job: %w", err)
	}
	if err := unix.Flock(int(d.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		d.Close()
		if errors.Is(err, unix.EWOULDBLOCK) {
			return nil, fmt.Errorf("%s: %w", folder, ErrBusy)
		}
		return nil, fmt.Errorf("lock the job: %w", err)
	}
	return func() { d.Close() }, nil
}
