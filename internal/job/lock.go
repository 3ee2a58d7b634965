package job

import (
	"errors"
	"fmt"
)

// ErrBusy says that another run works on the same folder.
var ErrBusy = errors.New("another run is at work in this folder; wait for it to end")

// lock keeps two runs of one folder apart. The system drops the lock when the process ends, however it
// ends, so a killed run leaves nothing to clean up by hand. lockFolder is ErrBusy when another has it.
func lock(folder string) (unlock func(), err error) {
	unlock, err = lockFolder(folder)
	switch {
	case errors.Is(err, ErrBusy):
		return nil, fmt.Errorf("%s: %w", folder, ErrBusy)
	case err != nil:
		return nil, fmt.Errorf("lock the job: %w", err)
	}
	return unlock, nil
}
