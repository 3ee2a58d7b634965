package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"mouldwright/internal/geom"
	"mouldwright/internal/job"
	"mouldwright/internal/membudget"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// scene is a job's part in memory. The view of a large part is ready well before it is looked over, so
// a maker sees it while that goes on. Reading and looking over are one task a part, shared by all who ask,
// and ended when nobody has wanted it for a while.
type scene struct {
	key  string // of the part: file, unit, object
	stop context.CancelFunc

	// Set before seen is closed.
	seen   chan struct{}
	opened *job.OpenedPart
	view   *view // of the part as read, or of the inspected one when that is small
	box    r3.Box
	origin r3.Vec // what the view's coordinates are relative to
	unread error  // why there is nothing to see

	// Set before ready is closed, which is not before seen.
	ready   chan struct{}
	part    *part
	failed  error
	working []int32 // per facet of the view

	wants   int         // requests that wait; guarded by scenes.mu
	forsake *time.Timer // runs while nobody waits

	bvh sync.Once
	bv  *geom.BVH

	mu       sync.Mutex
	marksKey string
	marks    []bool
	judgedBy string // the task that made judged
	judgeKey string // of the decisions it was made for
	judged   *judgement
}

// load reads the part and looks it over.
func (sc *scene) load(ctx context.Context, memory *membudget.Shares, folder string, f *job.File) {
	defer func() {
		if p := recover(); p != nil {
			sc.failed = fmt.Errorf("internal fault, please report it with the part: %v", p)
		}
		select {
		case <-sc.seen:
		default:
			sc.unread = sc.failed
			close(sc.seen)
		}
		close(sc.ready)
	}()
	ctx, end := membudget.Watch(ctx)
	defer end()
	sc.failed = membudget.Cause(ctx, sc.look(ctx, memory, folder, f))
}

func (sc *scene) look(ctx context.Context, memory *membudget.Shares, folder string, f *job.File) error {
	give, err := takeFor(ctx, memory, filepath.Join(folder, f.Part.File), mesh.DefaultFacets)
	if err != nil {
		return err
	}
	defer give()
	if sc.opened, err = openPart(ctx, folder, f); err != nil {
		return err
	}
	m := sc.opened.Object.Mesh
	if len(m.Tris) == 0 {
		return errors.New("the part has no facets")
	}
	sc.box = m.Bounds()
	sc.origin = r3.Scale(0.5, r3.Add(sc.box.Min, sc.box.Max))
	if len(m.Tris) > viewFacets {
		sc.view = thinned(m, viewFacets)
		close(sc.seen)
	}
	p, err := inspect(ctx, sc.opened)
	if err != nil {
		return err
	}
	small := sc.view == nil
	if small { // looking over joins the corners that a file gives apart, which the view needs for smooth shading
		sc.view = &view{mesh: p.mesh, source: p.intake.Source}
	}
	sc.part, sc.working = p, p.workingFacets(sc.view)
	if small {
		close(sc.seen)
	}
	return nil
}

// scenes keeps the last few, so that a click on a part does not read its file again.
type scenes struct {
	memory *membudget.Shares
	mu     sync.Mutex
	order  []string // ids, the last used at the end
	byID   map[string]*scene
	wants  int // requests that wait for any
	ended  bool
	tasks  sync.WaitGroup
}

const (
	// scenesKept bounds memory: a part of a million facets takes about 150 MB with its analysis.
	scenesKept = 4
	// sceneWants bounds the requests that wait for parts.
	sceneWants = 128
	// forsakenAfter is how long a look goes on that nobody waits for: a page asks for one thing after another.
	forsakenAfter = 2 * time.Second
)

func newScenes(memory *membudget.Shares) *scenes {
	return &scenes{memory: memory, byID: map[string]*scene{}}
}

// sceneKey changes when a job's part does.
func sceneKey(folder string, f *job.File) (string, error) {
	info, err := os.Stat(filepath.Join(folder, f.Part.File))
	if err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			err = pe.Err
		}
		return "", fmt.Errorf("read the part %s: %w", f.Part.File, err)
	}
	return fmt.Sprintf("%q %q %q %d %d", f.Part.File, f.Part.Unit, f.Part.Object, info.Size(), info.ModTime().UnixNano()), nil
}

// of gives the scene of a job as its decisions say now, once there is something to see.
func (s *scenes) of(ctx context.Context, id, folder string, f *job.File) (*scene, error) {
	sc, err := s.wanted(ctx, id, folder, f, func(sc *scene) chan struct{} { return sc.seen })
	if err != nil {
		return nil, err
	}
	return sc, sc.unread
}

// inspected is of with the part looked over.
func (s *scenes) inspected(ctx context.Context, id, folder string, f *job.File) (*scene, error) {
	sc, err := s.wanted(ctx, id, folder, f, func(sc *scene) chan struct{} { return sc.ready })
	if err != nil {
		return nil, err
	}
	return sc, sc.failed
}

// wanted waits until a scene has come so far.
func (s *scenes) wanted(ctx context.Context, id, folder string, f *job.File, far func(*scene) chan struct{}) (*scene, error) {
	key, err := sceneKey(folder, f)
	if err != nil {
		return nil, err
	}
	sc, err := s.join(id, key, folder, f)
	if err != nil {
		return nil, err
	}
	defer s.leave(sc)
	select {
	case <-far(sc):
		return sc, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// join begins the task of a job's part, or joins those who wait for it.
func (s *scenes) join(id, key, folder string, f *job.File) (*scene, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.ended {
		return nil, context.Canceled
	}
	if s.wants >= sceneWants {
		return nil, problem(http.StatusServiceUnavailable, "too many requests wait for parts to be read; try again in a while")
	}
	sc := s.byID[id]
	if sc == nil || sc.key != key {
		ctx, stop := context.WithCancel(context.Background())
		sc = &scene{key: key, stop: stop, seen: make(chan struct{}), ready: make(chan struct{})}
		s.keep(id, sc)
		s.tasks.Go(func() {
			defer stop()
			sc.load(ctx, s.memory, folder, f)
			if sc.failed != nil { // the next to ask tries again
				s.drop(id, sc)
			}
		})
	}
	s.touch(id)
	s.wants++
	sc.wants++
	if sc.forsake != nil {
		sc.forsake.Stop()
		sc.forsake = nil
	}
	return sc, nil
}

// leave ends a wait. The last to leave ends the task, unless somebody comes soon.
func (s *scenes) leave(sc *scene) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wants--
	if sc.wants--; sc.wants > 0 {
		return
	}
	select {
	case <-sc.ready:
	default:
		sc.forsake = time.AfterFunc(forsakenAfter, sc.stop)
	}
}

func (s *scenes) keep(id string, sc *scene) {
	if old := s.byID[id]; old != nil {
		old.stop()
	}
	s.byID[id] = sc
	s.touch(id)
	for len(s.order) > scenesKept {
		// One that is waited for stays as long: those who wait are counted, and so is its memory.
		at := slices.IndexFunc(s.order, func(o string) bool { return o != id && s.byID[o].wants == 0 })
		if at < 0 {
			break
		}
		s.byID[s.order[at]].stop()
		delete(s.byID, s.order[at])
		s.order = slices.Delete(s.order, at, at+1)
	}
}

// drop forgets a scene unless another has taken its place.
func (s *scenes) drop(id string, sc *scene) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.byID[id] == sc {
		delete(s.byID, id)
		s.order = slices.DeleteFunc(s.order, func(o string) bool { return o == id })
	}
}

func (s *scenes) touch(id string) {
	s.order = append(slices.DeleteFunc(s.order, func(o string) bool { return o == id }), id)
}

// close ends every task and waits for it.
func (s *scenes) close() {
	s.mu.Lock()
	s.ended = true
	for _, sc := range s.byID {
		sc.stop()
	}
	s.mu.Unlock()
	s.tasks.Wait()
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
