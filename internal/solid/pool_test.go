package solid

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// bytesOf is a mesh bit for bit, in its own order.
func bytesOf(m *mesh.Mesh) []byte {
	var b []byte
	for _, v := range m.Verts {
		for _, x := range []float64{v.X, v.Y, v.Z} {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
		}
	}
	for _, t := range m.Tris {
		for _, i := range t {
			b = binary.LittleEndian.AppendUint32(b, i)
		}
	}
	return b
}

// workload runs most operations and returns every result bit for bit.
func workload(k *Kernel) (out []byte, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%v", r)
		}
	}()
	t := panicker{}
	S := ok[*Solid](t)
	add := func(s *Solid) *Solid {
		out = append(out, bytesOf(ok[*mesh.Mesh](t)(s.Mesh()))...)
		return s
	}
	a := S(k.FromMesh(roughGlobe(5, 24, 24, 10, 0.05)))
	b := S(k.Box(r3.Box{Max: xyz(9, 9, 9)}))
	c := S(k.Cylinder(xyz(3, 3, -20), xyz(0, 0.1, 40), 2, 24))
	d := add(S(a.Subtract(b, c)))
	add(S(a.Intersect(b)))
	u := add(S(k.Union(d, S(b.Translate(xyz(12, 0, 0))), c)))
	add(S(u.Clean()))
	for _, p := range ok[[]*Solid](t)(u.Parts()) {
		add(p)
	}
	add(S(u.TrimByPlane(xyz(1, 2, 3), 0.4)))
	add(S(u.TrimByPlane(xyz(0, 0, 1), 0.4)))
	add(S(u.Hull()))
	add(S(u.Simplify(0.05)))
	add(S(u.Transform(turned(xyz(1, 1, 0), 0.3, xyz(1, 2, 3)))))
	r := ok[*Region](t)(k.Region(ok[[][]r2.Vec](t)(u.Slice(1))))
	r = ok[*Region](t)(r.Offset(0.7, true))
	loops := ok[[][]r2.Vec](t)(r.Loops())
	for _, l := range loops {
		for _, p := range l {
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(p.X))
			out = binary.LittleEndian.AppendUint64(out, math.Float64bits(p.Y))
		}
	}
	add(S(k.Prism(loops, -1, 2.5)))
	return out, nil
}

// panicker lets ok be used off the test's goroutine.
type panicker struct{}

func (panicker) Helper()        {}
func (panicker) Fatal(a ...any) { panic(fmt.Sprint(a...)) }

func newPool(t testing.TB, opt Options) *Pool {
	p := NewPool(opt)
	t.Cleanup(func() {
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	})
	return p
}

func runWorkload(ctx context.Context, p *Pool) (out []byte, err error) {
	err = p.Do(ctx, func(k *Kernel) (err error) {
		out, err = workload(k)
		return err
	})
	return out, err
}

func TestSameBytesWhateverTheKernelDidBefore(t *testing.T) {
	ctx := context.Background()
	fresh := ok[[]byte](t)(runWorkload(ctx, newPool(t, Options{Kernels: 1})))
	used := newPool(t, Options{Kernels: 1})
	history := func(i int) {
		err := used.Do(ctx, func(k *Kernel) error {
			s := ok[*Solid](t)(k.FromMesh(globe(xyz(float64(i)/7, 0, 0), 3, 10+i, 9+i)))
			s = ok[*Solid](t)(s.Subtract(ok[*Solid](t)(k.Sphere(xyz(1, 1, float64(i)/5), 2, 16+i))))
			_ = ok[*Solid](t)(s.Hull())
			ok[*Region](t)(k.Region([][]r2.Vec{rectangle(0, 0, float64(i+1), 1)}))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for i := range 12 {
		history(i)
		if i%4 == 3 {
			if got := ok[[]byte](t)(runWorkload(ctx, used)); !bytes.Equal(got, fresh) {
				t.Fatalf("results differ after %d other uses", i+1)
			}
		}
	}
	if len(used.idle) != 1 {
		t.Errorf("%d idle kernels, want the same one all along", len(used.idle))
	}
	requireNoLeak(t, used.idle[0])
}

func TestConcurrentUse(t *testing.T) {
	p := newPool(t, Options{Kernels: 2})
	want := ok[[]byte](t)(runWorkload(context.Background(), p))
	var wg sync.WaitGroup
	for range 6 {
		wg.Go(func() {
			got, err := runWorkload(context.Background(), p)
			if err != nil {
				t.Error(err)
			} else if !bytes.Equal(got, want) {
				t.Error("results differ")
			}
		})
	}
	wg.Wait()
	if n := len(p.idle); n > 2 {
		t.Errorf("%d kernels were started, at most 2 allowed", n)
	}
	for _, in := range p.idle {
		requireNoLeak(t, in)
	}
}

func TestOneKernelFromSeveralGoroutines(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		a := ok[*Solid](t)(k.Sphere(r3.Vec{}, 2, 32))
		var wg sync.WaitGroup
		for i := range 8 {
			wg.Go(func() {
				b, err := k.Box(r3.Box{Max: xyz(1, 1, float64(i+1))})
				if err == nil {
					_, err = a.Subtract(b)
				}
				if err != nil {
					t.Error(err)
				}
			})
		}
		wg.Wait()
	})
}

func TestErrorsLeakNothing(t *testing.T) {
	p := newPool(t, Options{Kernels: 1})
	boom := errors.New("boom")
	err := p.Do(context.Background(), func(k *Kernel) error {
		a := ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		a.Free()
		a.Free()
		if _, err := a.VolumeMM3(); !errors.Is(err, ErrFreed) {
			t.Errorf("freed solid: %v", err)
		}
		b := ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		for name, err := range map[string]error{
			"freed operand": second(b.Union(a)),
			"nil operand":   second(b.Subtract(nil)),
			"nil solid":     second((*Solid)(nil).Union(b)),
			"nil mesh":      second((*Solid)(nil).Mesh()),
			"nil trim":      second((*Solid)(nil).TrimByPlane(xyz(0, 0, 1), 0)),
			"nil parts":     second((*Solid)(nil).Parts()),
			"nil clean":     second((*Solid)(nil).Clean()),
			"nil slice":     second((*Solid)(nil).Slice(0)),
			"nil region":    second((*Region)(nil).Union()),
			"nil loops":     second((*Region)(nil).Loops()),
		} {
			if !errors.Is(err, ErrFreed) {
				t.Errorf("%s: %v", name, err)
			}
		}
		// The library itself refuses what the checks of this package let pass.
		_, err := k.build("try", func(h *host) (address, error) {
			return h.construct(clsManifold, object{"numProp": 3.0, "triVerts": []uint32{0, 1, 2}, "vertProperties": make([]float32, 9), "tolerance": 0.0}), nil
		})
		if st := StatusError(""); !errors.As(err, &st) {
			t.Errorf("open mesh given to the library: %v", err)
		}
		return boom
	})
	if !errors.Is(err, boom) {
		t.Error(err)
	}
	requireNoLeak(t, p.idle[0])
}

func TestNothingOutlivesDo(t *testing.T) {
	p := newPool(t, Options{Kernels: 2})
	var k1 *Kernel
	var s1 *Solid
	err := p.Do(context.Background(), func(k *Kernel) error {
		k1, s1 = k, ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		return p.Do(context.Background(), func(other *Kernel) error {
			if _, err := ok[*Solid](t)(other.Box(r3.Box{Max: xyz(1, 1, 1)})).Union(s1); !errors.Is(err, ErrForeign) {
				t.Errorf("solid of another kernel: %v", err)
			}
			return nil
		})
	})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s1.VolumeMM3(); !errors.Is(err, ErrFreed) {
		t.Errorf("solid after Do: %v", err)
	}
	if _, err := k1.Box(r3.Box{Max: xyz(1, 1, 1)}); !errors.Is(err, ErrFreed) {
		t.Errorf("kernel after Do: %v", err)
	}
}

// requireSound checks that the pool serves again.
func requireSound(t *testing.T, p *Pool) {
	t.Helper()
	err := p.Do(context.Background(), func(k *Kernel) error {
		near(t, "cube", ok[float64](t)(ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)})).VolumeMM3()), 1, 0, 1)
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

func TestCrashedKernelIsReplaced(t *testing.T) {
	p := newPool(t, Options{Kernels: 1})
	for name, crash := range map[string]func(h *host){
		"trap":           func(h *host) { h.call(tableFunc{"vi", 1 << 30}, 0) }, // no such table entry
		"wild pointer":   func(h *host) { h.method(clsManifold, "volume", address(0xFFFFFFF0)) },
		"bad binding":    func(h *host) { h.function("_noSuchFunction") },
		"host exception": func(*host) { panic(errThrown) },
	} {
		t.Run(name, func(t *testing.T) {
			var in *instance
			err := p.Do(context.Background(), func(k *Kernel) error {
				in = k.in
				err := k.do("crash", func(h *host) error { crash(h); return nil })
				if !errors.Is(err, ErrKernelLost) {
					t.Fatalf("got %v, want ErrKernelLost", err)
				}
				t.Log(err)
				if _, err := k.Box(r3.Box{Max: xyz(1, 1, 1)}); !errors.Is(err, ErrKernelLost) {
					t.Errorf("the lost kernel goes on: %v", err)
				}
				return err
			})
			if !errors.Is(err, ErrKernelLost) {
				t.Error(err)
			}
			if len(p.idle) != 0 || in.dead == nil {
				t.Error("the lost kernel was kept")
			}
			requireSound(t, p)
		})
	}
}

func TestOutOfMemory(t *testing.T) {
	p := newPool(t, Options{Kernels: 1, MaxHeapMB: 24})
	err := p.Do(context.Background(), func(k *Kernel) error {
		_, err := k.Sphere(r3.Vec{}, 1, 2048)
		return err
	})
	if !errors.Is(err, ErrKernelLost) || !strings.Contains(err.Error(), "24 MB") {
		t.Errorf("got %v, want ErrKernelLost that names the limit", err)
	}
	t.Log(err)
	requireSound(t, p)
}

func TestPanicInTheCallersFunction(t *testing.T) {
	p := newPool(t, Options{Kernels: 1})
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the caller's own panic was swallowed")
			}
		}()
		_ = p.Do(context.Background(), func(*Kernel) error { panic("the caller's") })
	}()
	requireSound(t, p)
}

func TestGrownKernelIsDiscarded(t *testing.T) {
	p := newPool(t, Options{Kernels: 1, KeepHeapMB: 32})
	requireSound(t, p)
	if len(p.idle) != 1 {
		t.Fatalf("%d idle kernels, want 1", len(p.idle))
	}
	err := p.Do(context.Background(), func(k *Kernel) error { return second(k.Sphere(r3.Vec{}, 1, 512)) })
	if err != nil {
		t.Fatal(err)
	}
	if len(p.idle) != 0 {
		t.Errorf("a heap of %d MB was kept", p.idle[0].heapBytes()>>20)
	}
	requireSound(t, p)
}

func TestCancel(t *testing.T) {
	p := newPool(t, Options{Kernels: 1})
	requireSound(t, p) // compiled and started

	done, cancel := context.WithCancel(context.Background())
	cancel()
	if err := p.Do(done, func(*Kernel) error { t.Error("ran"); return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled before: %v", err)
	}

	ctx, cancel := context.WithCancel(context.Background())
	err := p.Do(ctx, func(k *Kernel) error {
		s := ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		cancel()
		if _, err := s.Mesh(); !errors.Is(err, context.Canceled) {
			t.Errorf("cancelled between calls: %v", err)
		}
		return ctx.Err()
	})
	if !errors.Is(err, context.Canceled) {
		t.Error(err)
	}
	if len(p.idle) != 1 {
		t.Error("a kernel cancelled between calls was thrown away")
	} else {
		requireNoLeak(t, p.idle[0])
	}

	// In the middle of a call that needs ever more memory.
	ctx, cancel = context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	start := time.Now()
	err = p.Do(ctx, func(k *Kernel) error { return second(k.Sphere(r3.Vec{}, 1, 2048)) })
	if !errors.Is(err, context.DeadlineExceeded) || errors.Is(err, ErrKernelLost) {
		t.Errorf("cancelled under way: %v", err)
	}
	t.Logf("stopped after %v", time.Since(start))
	if len(p.idle) != 0 {
		t.Error("a kernel stopped in the middle was kept")
	}
	requireSound(t, p)
}

func TestWaitForAKernelIsCancellable(t *testing.T) {
	p := newPool(t, Options{Kernels: 1})
	err := p.Do(context.Background(), func(*Kernel) error {
		ctx, cancel := context.WithTimeout(context.Background(), 10*time.Millisecond)
		defer cancel()
		return p.Do(ctx, func(*Kernel) error { t.Error("two kernels at once"); return nil })
	})
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Error(err)
	}
}

func TestClosedPool(t *testing.T) {
	p := NewPool(Options{})
	requireSound(t, p)
	for range 2 {
		if err := p.Close(); err != nil {
			t.Error(err)
		}
	}
	if err := p.Do(context.Background(), func(*Kernel) error { return nil }); !errors.Is(err, ErrPoolClosed) {
		t.Error(err)
	}
}

func TestCacheOnDisk(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "new", "cache")
	requireSound(t, newPool(t, Options{CacheDir: dir}))
	var files []string
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() {
			files = append(files, path)
		}
		return err
	})
	if err != nil || len(files) == 0 {
		t.Fatalf("no cache files: %v, %v", files, err)
	}
	// A damaged cache costs time, not the job.
	for _, f := range files {
		if err := os.WriteFile(f, []byte("damaged"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	requireSound(t, newPool(t, Options{CacheDir: dir}))
	// So does a place that is no directory.
	blocked := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(blocked, nil, 0o600); err != nil {
		t.Fatal(err)
	}
	requireSound(t, newPool(t, Options{CacheDir: blocked}))
}
