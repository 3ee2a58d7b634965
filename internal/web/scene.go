package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"

	"mouldwright/internal/geom"
	"mouldwright/internal/job"
)

// scene is a job's part in memory, for the view.
type scene struct {
	key  string // of the part: file, unit, object
	part *part
	view *view

	bvh sync.Once
	bv  *geom.BVH

	mu       sync.Mutex
	marksKey string
	marks    []bool
	judgeKey string
	judged   *judgement
}

// scenes keeps the last few, so that a click on a part does not read its file again.
type scenes struct {
	mu      sync.Mutex
	order   []string // ids, the last used at the end
	byID    map[string]*scene
	loading map[string]*sync.Mutex
}

// scenesKept bounds memory: a part of a million facets takes about 150 MB with its analysis.
const scenesKept = 4

func newScenes() *scenes {
	return &scenes{byID: map[string]*scene{}, loading: map[string]*sync.Mutex{}}
}

// of gives the scene of a job as its decisions say now.
func (s *scenes) of(ctx context.Context, id, folder string, f *job.File) (*scene, error) {
	info, err := os.Stat(filepath.Join(folder, f.Part.File))
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return nil, fmt.Errorf("read the part %s: %w", f.Part.File, err)
	}
	key := fmt.Sprintf("%q %q %q %d %d", f.Part.File, f.Part.Unit, f.Part.Object, info.Size(), info.ModTime().UnixNano())
	s.mu.Lock()
	gate := s.loading[id]
	if gate == nil {
		gate = &sync.Mutex{}
		s.loading[id] = gate
	}
	s.mu.Unlock()
	gate.Lock() // one reader a job; others wait for what it reads
	defer gate.Unlock()
	if sc := s.kept(id); sc != nil && sc.key == key {
		return sc, nil
	}
	p, err := readPart(ctx, folder, f)
	if err != nil {
		return nil, err
	}
	sc := &scene{key: key, part: p, view: thinned(p.mesh, viewFacets)}
	s.keep(id, sc)
	return sc, nil
}

func (s *scenes) kept(id string) *scene {
	s.mu.Lock()
	defer s.mu.Unlock()
	sc := s.byID[id]
	if sc != nil {
		s.touch(id)
	}
	return sc
}

func (s *scenes) keep(id string, sc *scene) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.byID[id] = sc
	s.touch(id)
	for len(s.order) > scenesKept {
		delete(s.byID, s.order[0])
		s.order = s.order[1:]
	}
}

func (s *scenes) touch(id string) {
	for i, o := range s.order {
		if o == id {
			s.order = append(s.order[:i], s.order[i+1:]...)
			break
		}
	}
	s.order = append(s.order, id)
}

func (sc *scene) tree() *geom.BVH {
	sc.bvh.Do(func() { sc.bv = geom.NewBVH(sc.part.mesh.Verts, sc.part.mesh.Tris) })
	return sc.bv
}

// show gives the marks of the show rules.
func (sc *scene) show(rules job.ShowRules) ([]bool, error) {
	key := keyOf(rules)
	sc.mu.Lock()
	defer sc.mu.Unlock()
	if sc.marksKey == key {
		return sc.marks, nil
	}
	marks, err := sc.part.showMarks(rules)
	if err != nil {
		return nil, err
	}
	sc.marksKey, sc.marks = key, marks
	return marks, nil
}

// judgementKey changes with every decision that the judgement depends on.
func judgementKey(f *job.File) string { return keyOf([]any{f.Show, f.Opening, f.Parting}) }

func keyOf(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprintf("%#v", v) // not a number somewhere; the checks refuse it before it gets here
	}
	return string(b)
}

func (sc *scene) setJudgement(key string, j *judgement) {
	sc.mu.Lock()
	defer sc.mu.Unlock()
	sc.judgeKey, sc.judged = key, j
}

// judgement is the last one made, and whether it still fits the decisions.
func (sc *scene) judgement(f *job.File) (j *judgement, fresh bool) {
	sc.mu.Lock()
	defer sc.mu.Unlock()
	return sc.judged, sc.judged != nil && sc.judgeKey == judgementKey(f)
}
