package atomicfile

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

// resolve follows the symbolic links of name, so that the file behind a link is replaced and not the
// link. The file need not exist yet, even behind a link.
func resolve(name string) (string, error) {
	const links = 40 // as many as Linux follows
	for range links {
		target, err := os.Readlink(name)
		if errors.Is(err, fs.ErrPermission) {
			return "", err
		}
		if err != nil {
			return name, nil // not a link; what else is wrong shows when it is opened
		}
		if !filepath.IsAbs(target) {
			target = filepath.Join(filepath.Dir(name), target)
		}
		name = target
	}
	return "", &fs.PathError{Op: "write", Path: name, Err: errors.New("symbolic links lead in a circle")}
}
