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

	"gonum.org/v1/gonum/spatial/r3"
)

// scene is a job's part in memory. The view of a large part is ready well before it is inspected, so
// a maker sees it while that goes on.
type scene struct {
	key    string // of the part: file, unit, object
	opened *job.OpenedPart
	view   *view // of the part as read, or of the inspected one when that is small
	box    r3.Box
	origin r3.Vec // what the view's coordinates are relative to

	ready   chan struct{} // closed when part or failed is set
	stop    context.CancelFunc
	part    *part
	failed  error
	working []int32 // per facet of the view

	bvh sync.Once
	bv  *geom.BVH

	mu       sync.Mutex
	marksKey string
	marks    []bool
	judgedBy string // the task that made judged
	judgeKey string // of the decisions it was made for
	judged   *judgement
}

func newScene(key string, opened *job.OpenedPart) (*scene, error) {
	m := opened.Object.Mesh
	if len(m.Tris) == 0 {
		return nil, errors.New("the part has no facets")
	}
	ctx, stop := context.WithCancel(context.Background())
	sc := &scene{key: key, opened: opened, box: m.Bounds(), ready: make(chan struct{}), stop: stop}
	sc.origin = r3.Scale(0.5, r3.Add(sc.box.Min, sc.box.Max))
	if len(m.Tris) > viewFacets {
		sc.view = thinned(m, viewFacets)
		go sc.inspect(ctx)
		return sc, nil
	}
	// Inspecting joins the corners that a file gives apart, which the view needs for smooth shading.
	sc.inspect(ctx)
	return sc, sc.failed
}

func (sc *scene) inspect(ctx context.Context) {
	defer close(sc.ready)
	defer func() {
		if p := recover(); p != nil {
			sc.failed = fmt.Errorf("internal fault, please report it with the part: %v", p)
		}
	}()
	p, err := inspect(ctx, sc.opened)
	if err != nil {
		sc.failed = err
		return
	}
	if sc.view == nil {
		sc.view = &view{mesh: p.mesh, source: p.intake.Source}
	}
	sc.part, sc.working = p, p.workingFacets(sc.view)
}

// inspected waits for the inspected part.
func (sc *scene) inspected(ctx context.Context) (*part, error) {
	select {
	case <-sc.ready:
		return sc.part, sc.failed
	case <-ctx.Done():
		return nil, ctx.Err()
	}
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
func (s *scenes) of(id, folder string, f *job.File) (*scene, error) {
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
	opened, err := openPart(folder, f)
	if err != nil {
		return nil, err
	}
	sc, err := newScene(key, opened)
	if err != nil {
		return nil, err
	}
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
	if old := s.byID[id]; old != nil {
		old.stop()
	}
	s.byID[id] = sc
	s.touch(id)
	for len(s.order) > scenesKept {
		s.byID[s.order[0]].stop()
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

// show gives the marks of the show rules; the part must be inspected.
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
