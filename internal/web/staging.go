package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// staging holds parts that were uploaded but are not jobs yet: first a maker may have to say which
// object, and in which unit.
type staging struct {
	dir       string
	maxBytes  int64
	maxFacets int
	mu        sync.Mutex
	parts     map[string]*staged
	order     []string
}

type staged struct {
	path, file string
	at         time.Time
	view       uploadView
}

// uploadView is what a client learns of an uploaded part.
type uploadView struct {
	Upload    string       `json:"upload" doc:"Names the upload when the job is made"`
	File      string       `json:"file"`
	Unit      string       `json:"unit" doc:"Of the file's numbers"`
	UnitKnown bool         `json:"unit_known" doc:"Whether the file says so; otherwise mm is assumed"`
	Objects   []objectView `json:"objects"`
	Notes     []string     `json:"notes" doc:"What the reader left out or assumed"`
}

type objectView struct {
	Name    string     `json:"name"`
	Facets  int        `json:"facets"`
	Size    [3]float64 `json:"size" doc:"In the file's own unit"`
	Colours []string   `json:"colours" doc:"Colours in the file, as #rrggbb"`
}

const (
	stagedAtMost = 8
	stagedFor    = time.Hour
)

var errTooLarge = errors.New("the file is larger than this server takes")

func newStaging(opt Options) (*staging, error) {
	dir, err := os.MkdirTemp("", "mouldwright-uploads-")
	if err != nil {
		return nil, fmt.Errorf("make a folder for uploads: %w", err)
	}
	return &staging{dir: dir, maxBytes: opt.MaxUploadBytes, maxFacets: opt.MaxFacets, parts: map[string]*staged{}}, nil
}

func (s *staging) close() error { return os.RemoveAll(s.dir) }

// receive stores an upload and looks into it.
func (s *staging) receive(ctx context.Context, name string, body io.Reader) (v uploadView, err error) {
	name, err = partName(name)
	if err != nil {
		return v, err
	}
	id := randomHex(12)
	dir := filepath.Join(s.dir, id)
	if err := os.Mkdir(dir, 0o700); err != nil {
		return v, fmt.Errorf("store the upload: %w", err)
	}
	defer func() {
		if err != nil {
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	path := filepath.Join(dir, name)
	if err := s.store(path, body); err != nil {
		return v, err
	}
	if err := ctx.Err(); err != nil {
		return v, err
	}
	model, err := meshfile.Open(path, mesh.Limits{Facets: s.maxFacets, Bytes: 4 * s.maxBytes})
	if err != nil {
		return v, err
	}
	v = uploadView{Upload: id, File: name, Unit: model.Unit.Name(), UnitKnown: model.UnitKnown, Notes: append([]string{}, model.Notes...)}
	for i, o := range model.Objects {
		q := objectView{Name: objectName(model.Objects, i), Facets: len(o.Mesh.Tris), Size: array(o.Mesh.Bounds().Size()), Colours: []string{}}
		for _, c := range o.Colours {
			if h := fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B); !slices.Contains(q.Colours, h) {
				q.Colours = append(q.Colours, h)
			}
		}
		v.Objects = append(v.Objects, q)
	}
	s.keep(id, &staged{path: path, file: name, at: time.Now(), view: v})
	return v, nil
}

// objectName is how job.toml can name object i: by its name, or as #2 when that is no use.
func objectName(objects []mesh.Object, i int) string {
	name := objects[i].Name
	for k, o := range objects {
		if k != i && o.Name == name || name == "" {
			return fmt.Sprintf("#%d", i+1)
		}
	}
	return name
}

func (s *staging) store(path string, body io.Reader) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return fmt.Errorf("store the upload: %w", err)
	}
	n, err := io.Copy(f, io.LimitReader(body, s.maxBytes+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return fmt.Errorf("store the upload: %w", err)
	}
	switch {
	case n > s.maxBytes:
		return fmt.Errorf("%w (%d MB)", errTooLarge, s.maxBytes>>20)
	case n == 0:
		return errors.New("the file is empty")
	}
	return nil
}

// partName makes a plain file name of what the client calls the part, and refuses what is no part.
func partName(name string) (string, error) {
	name = filepath.Base(filepath.Clean("/" + strings.ReplaceAll(name, "\\", "/")))
	ext := strings.ToLower(filepath.Ext(name))
	if !slices.Contains(meshfile.Extensions(), ext) {
		return "", fmt.Errorf("%q is not a part that can be read; drop an STL, 3MF, OBJ or PLY file", printable(name))
	}
	return slug(strings.TrimSuffix(name, filepath.Ext(name))) + ext, nil
}

func (s *staging) keep(id string, p *staged) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.parts[id] = p
	s.order = append(s.order, id)
	for len(s.order) > 0 && (len(s.order) > stagedAtMost || time.Since(s.parts[s.order[0]].at) > stagedFor) {
		s.drop(s.order[0])
	}
}

func (s *staging) drop(id string) {
	if p := s.parts[id]; p != nil {
		_ = os.RemoveAll(filepath.Dir(p.path)) // the folder goes with the server at the latest
		delete(s.parts, id)
	}
	s.order = slices.DeleteFunc(s.order, func(o string) bool { return o == id })
}

func (s *staging) get(id string) (*staged, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p, ok := s.parts[id]
	return p, ok
}

func (s *staging) done(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.drop(id)
}
