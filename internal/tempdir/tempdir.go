package tempdir

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/gofrs/flock"
)

const (
	pattern  = "mouldwright-process-*"
	lockName = "lock"
	// youngFor keeps a folder whose lock is not there yet: its process may be making it just now.
	youngFor = time.Hour
)

// own is the folder of this process; made when it is first needed.
var own struct {
	sync.Mutex
	dir  string
	lock *flock.Flock
}

// Make makes a folder for something, readable by this user alone. Whoever made it removes it.
func Make(kind string) (string, error) {
	dir, err := process()
	if err != nil {
		return "", err
	}
	return os.MkdirTemp(dir, kind+"-")
}

// File makes a file for something, as Make does a folder.
func File(kind string) (*os.File, error) {
	dir, err := process()
	if err != nil {
		return nil, err
	}
	return os.CreateTemp(dir, kind+"-")
}

func process() (string, error) {
	own.Lock()
	defer own.Unlock()
	if own.dir != "" {
		return own.dir, nil
	}
	if err := clearDead(os.TempDir()); err != nil {
		return "", err
	}
	dir, err := os.MkdirTemp("", pattern)
	if err != nil {
		return "", fmt.Errorf("make a folder for temporary files: %w", err)
	}
	lock := flock.New(filepath.Join(dir, lockName))
	if ok, err := lock.TryLock(); err != nil || !ok {
		return "", errors.Join(fmt.Errorf("lock the folder for temporary files %s", dir), err, os.RemoveAll(dir))
	}
	own.dir, own.lock = dir, lock
	return dir, nil
}

// Close removes this process's folder with all that is in it. Another one is made when it is needed again.
func Close() error {
	own.Lock()
	defer own.Unlock()
	if own.dir == "" {
		return nil
	}
	err := errors.Join(own.lock.Unlock(), os.RemoveAll(own.dir))
	own.dir, own.lock = "", nil
	if err != nil {
		return fmt.Errorf("remove the temporary files: %w", err)
	}
	return nil
}

// clearDead removes the folders of processes that are no more. Those of other users cannot be opened and
// are left alone, as is what only has such a name.
func clearDead(parent string) error {
	found, err := filepath.Glob(filepath.Join(parent, pattern))
	if err != nil {
		return fmt.Errorf("look for old temporary files: %w", err)
	}
	for _, dir := range found {
		if info, err := os.Lstat(dir); err != nil || !info.IsDir() { // a link is not followed
			continue
		} else if _, err := os.Lstat(filepath.Join(dir, lockName)); errors.Is(err, fs.ErrNotExist) {
			if time.Since(info.ModTime()) > youngFor {
				_ = os.RemoveAll(dir) // tried again at the next start
			}
			continue
		}
		lock := flock.New(filepath.Join(dir, lockName))
		if ok, err := lock.TryLock(); err == nil && ok {
			_ = os.RemoveAll(dir) // tried again at the next start
			_ = lock.Unlock()
		}
	}
	return nil
}
