package web

import (
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"sort"
	"strings"
	"sync"
	"time"

	"mouldwright/internal/job"
)

// workspace is the folder of job folders. A job's id is its folder's name; nothing that a client sends
// is ever joined to a path before it has been matched against what lies in the folder.
type workspace struct {
	dir  string
	root *os.Root // for reading results: follows no link out of the folder
	mu   sync.Mutex
}

var errNoJob = errors.New("no such job")

func openWorkspace(dir string) (*workspace, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("make the folder of jobs: %w", err)
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("open the folder of jobs: %w", err)
	}
	root, err := os.OpenRoot(abs)
	if err != nil {
		return nil, fmt.Errorf("open the folder of jobs: %w", err)
	}
	return &workspace{dir: abs, root: root}, nil
}

// goodID is what a folder must be called to be served. Other folders are left alone.
var goodID = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9 ._-]{0,79}$`)

// folder is the path of a job that exists.
func (w *workspace) folder(id string) (string, error) {
	if !w.holds(id, job.FileName) {
		return "", errNoJob
	}
	if err := w.ownResults(id + "/" + job.OutName); err != nil {
		return "", err
	}
	return filepath.Join(w.dir, id), nil
}

// holds says whether there is a folder of an id that may be served, with a file of a name in it.
func (w *workspace) holds(id, file string) bool {
	if !goodID.MatchString(id) {
		return false
	}
	info, err := w.root.Lstat(id)
	if err != nil || !info.IsDir() { // a link is not a directory to Lstat, so it is not followed
		return false
	}
	info, err = w.root.Lstat(id + "/" + file)
	return err == nil && info.Mode().IsRegular()
}

// ownResults refuses a folder of results that is a link: it would be read and written wherever it leads.
func (w *workspace) ownResults(name string) error {
	if info, err := w.root.Lstat(name); err == nil && !info.IsDir() {
		return problem(http.StatusConflict, "%s is not a folder but a link or a file, which the server does not follow; put a folder in its place", name)
	}
	return nil
}

// ids lists the jobs, the last changed first.
func (w *workspace) ids() ([]string, error) {
	entries, err := fs.ReadDir(w.root.FS(), ".")
	if err != nil {
		return nil, fmt.Errorf("read the folder of jobs: %w", err)
	}
	type dated struct {
		id string
		at time.Time
	}
	var found []dated
	for _, e := range entries {
		if _, err := w.folder(e.Name()); err != nil {
			continue
		}
		info, err := w.root.Stat(e.Name() + "/" + job.FileName)
		if err != nil {
			continue
		}
		found = append(found, dated{e.Name(), info.ModTime()})
	}
	sort.SliceStable(found, func(i, j int) bool {
		if !found[i].at.Equal(found[j].at) {
			return found[i].at.After(found[j].at)
		}
		return found[i].id < found[j].id
	})
	ids := make([]string, len(found))
	for i, f := range found {
		ids[i] = f.id
	}
	return ids, nil
}

// create makes a job folder called after name.
func (w *workspace) create(name, partPath string, opt job.CreateOptions) (id string, err error) {
	return w.makeFolder(name, func(folder string) error { return job.Create(folder, partPath, opt) })
}

// makeFolder makes a folder called after name, numbered when that is taken, and fills it.
func (w *workspace) makeFolder(name string, fill func(folder string) error) (id string, err error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	stem := slug(name)
	for n := 1; n < 1000; n++ {
		id = stem
		if n > 1 {
			id = fmt.Sprintf("%s-%d", stem, n)
		}
		folder := filepath.Join(w.dir, id)
		if err := os.Mkdir(folder, 0o755); errors.Is(err, fs.ErrExist) {
			continue
		} else if err != nil {
			return "", fmt.Errorf("make the folder: %w", err)
		}
		if err := fill(folder); err != nil {
			// The folder is ours and new, so nothing of the maker's goes with it.
			return "", errors.Join(err, os.RemoveAll(folder))
		}
		return id, nil
	}
	return "", fmt.Errorf("there are a thousand folders called %q; choose another name", stem)
}

var notSlug = regexp.MustCompile(`[^a-z0-9]+`)

// slug makes a folder name of what the maker calls the part.
func slug(name string) string {
	s := strings.Trim(notSlug.ReplaceAllString(strings.ToLower(name), "-"), "-")
	if len(s) > 60 {
		s = strings.TrimRight(s[:60], "-")
	}
	if s == "" {
		s = "part"
	}
	return s
}

// outFile opens a result. name is slash-separated, below out/.
func (w *workspace) outFile(id, name string) (*os.File, error) {
	if _, err := w.folder(id); err != nil {
		return nil, err
	}
	return w.openBelow(id+"/"+job.OutName, name)
}

// openBelow opens a plain file below a folder of the workspace that is known to be there.
func (w *workspace) openBelow(folder, name string) (*os.File, error) {
	if !fs.ValidPath(name) || name == "." || strings.ContainsAny(name, "\\\x00") {
		return nil, fs.ErrNotExist
	}
	f, err := w.root.Open(folder + "/" + name)
	if err != nil {
		return nil, fs.ErrNotExist
	}
	info, err := f.Stat()
	if err != nil || !info.Mode().IsRegular() {
		f.Close()
		return nil, fs.ErrNotExist
	}
	return f, nil
}
