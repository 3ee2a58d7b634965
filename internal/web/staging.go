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

	"mouldwright/internal/membudget"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/tempdir"
)

// staging holds parts that were uploaded but are not jobs yet: first a maker may have to say which
// object, and in which unit. An upload is known by a number that only its sender learns, and stays until a
// job is made of it or its time is over.
type staging struct {
	dir       string
	maxBytes  int64
	maxFacets int
	memory    *membudget.Shares
	mu        sync.Mutex
	parts     map[string]*staged
	bytes     int64 // of all parts
}

type staged struct {
	path, file string
	bytes      int64
	view       uploadView
	users      int         // jobs being made of it
	over       bool        // goes when nobody uses it any more
	end        *time.Timer // of its time
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
	// stagedAtMost and stagedBytes bound what waits to become jobs. More is refused: whoever sent a part
	// keeps it, whatever others send.
	stagedAtMost = 256
	stagedBytes  = 8 << 30
	// stagedFor is how long an upload waits to become a job.
	stagedFor = time.Hour
)

var errStagingFull = errors.New("too many uploaded parts wait to become jobs; make jobs of them, or try again in a while")

var errTooLarge = errors.New("the file is larger than this server takes")

func newStaging(opt Options, memory *membudget.Shares) (*staging, error) {
	dir, err := tempdir.Make("uploads")
	if err != nil {
		return nil, fmt.Errorf("make a folder for uploads: %w", err)
	}
	return &staging{dir: dir, maxBytes: opt.MaxUploadBytes, maxFacets: opt.MaxFacets, memory: memory, parts: map[string]*staged{}}, nil
}

func (s *staging) close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for id, p := range s.parts {
		p.end.Stop()
		delete(s.parts, id)
	}
	return os.RemoveAll(s.dir)
}

// receive stores an upload and looks into it.
func (s *staging) receive(ctx context.Context, name string, body io.Reader) (v uploadView, err error) {
	name, err = partName(name)
	if err != nil {
		return v, err
	}
	id := randomHex(12)
	if err := s.reserve(id); err != nil {
		return v, err
	}
	dir := filepath.Join(s.dir, id)
	defer func() {
		if err != nil {
			s.forget(id)
			err = errors.Join(err, os.RemoveAll(dir))
		}
	}()
	if err := os.Mkdir(dir, 0o700); err != nil {
		return v, fmt.Errorf("store the upload: %w", err)
	}
	path := filepath.Join(dir, name)
	size, err := s.store(path, body)
	if err != nil {
		return v, err
	}
	give, err := takeFor(ctx, s.memory, path, s.maxFacets)
	if err != nil {
		return v, err
	}
	defer give()
	model, err := meshfile.OpenContext(ctx, path, mesh.Limits{Facets: s.maxFacets, Bytes: 4 * s.maxBytes})
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
	s.keep(id, &staged{path: path, file: name, bytes: size, view: v})
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

func (s *staging) store(path string, body io.Reader) (bytes int64, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return 0, fmt.Errorf("store the upload: %w", err)
	}
	n, err := io.Copy(f, io.LimitReader(body, s.maxBytes+1))
	if err = errors.Join(err, f.Close()); err != nil {
		return 0, fmt.Errorf("store the upload: %w", err)
	}
	switch {
	case n > s.maxBytes:
		return 0, fmt.Errorf("%w (%d MB)", errTooLarge, s.maxBytes>>20)
	case n == 0:
		return 0, errors.New("the file is empty")
	}
	return n, nil
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

// reserve makes room for one more upload under an id.
func (s *staging) reserve(id string) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if len(s.parts) >= stagedAtMost || s.bytes > stagedBytes {
		return errStagingFull
	}
	s.parts[id] = &staged{over: true} // not to be had before it is whole
	return nil
}

// keep makes an upload known until its time is over.
func (s *staging) keep(id string, p *staged) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.parts[id] = p
	s.bytes += p.bytes
	p.end = time.AfterFunc(stagedFor, func() { s.release(id, true) })
}

// forget gives back the room of an upload that came to nothing.
func (s *staging) forget(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.parts, id)
}

// take gives an upload to make a job of; release gives it back.
func (s *staging) take(id string) (*staged, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p, ok := s.parts[id]
	if !ok || p.over {
		return nil, false
	}
	p.users++
	return p, true
}

// release ends a use, or the time of an upload when over; what is over goes with its last use.
func (s *staging) release(id string, over bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	p := s.parts[id]
	if p == nil {
		return
	}
	p.over = p.over || over
	if p.users > 0 || !p.over {
		return
	}
	p.end.Stop()
	_ = os.RemoveAll(filepath.Dir(p.path)) // the folder goes with the server at the latest
	delete(s.parts, id)
	s.bytes -= p.bytes
}

// done ends a use; made says that a job was made, so that the upload is over.
func (s *staging) done(id string, made bool) {
	s.mu.Lock()
	if p := s.parts[id]; p != nil {
		p.users--
	}
	s.mu.Unlock()
	s.release(id, made)
}
