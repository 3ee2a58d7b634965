package solid

import (
	"context"
	"errors"
	"fmt"
	"runtime"
	"sync"
)

// Options configure a Pool; the zero value is the default.
type Options struct {
	// Kernels is how many kernels may run at once; 0 means one per usable processor, at most 2, for
	// each may need hundreds of MB.
	Kernels int
	// KeepHeapMB is the heap up to which a kernel is kept for the next Do; one that has grown beyond
	// is discarded, for a WebAssembly heap cannot shrink. 0 means 512.
	KeepHeapMB int
	// MaxHeapMB limits one kernel's heap; an operation that needs more fails with ErrKernelLost. 0
	// means 4095, the most that the library can address.
	MaxHeapMB int
	// CacheDir is where the compiled library is kept between runs. Empty means "mouldwright" in the
	// user's cache directory. If it cannot be written, the library is compiled anew in each process
	// (about a second).
	CacheDir string
}

const (
	defaultKernels    = 2
	defaultKeepHeapMB = 512
	maxHeapMB         = wasmLimit >> 20
)

// Pool starts kernels when they are first needed and lends each to one caller at a time. It is safe
// for concurrent use.
type Pool struct {
	opt   Options
	slots chan struct{} // holds a token per Do under way
	cache compiled

	mu     sync.Mutex
	idle   []*instance
	closed bool
	users  sync.WaitGroup
}

// NewPool makes a pool. Nothing is started or read from disk before the first Do.
func NewPool(opt Options) *Pool {
	if opt.Kernels <= 0 {
		opt.Kernels = min(defaultKernels, runtime.GOMAXPROCS(0))
	}
	if opt.KeepHeapMB <= 0 {
		opt.KeepHeapMB = defaultKeepHeapMB
	}
	if opt.MaxHeapMB <= 0 || opt.MaxHeapMB > maxHeapMB {
		opt.MaxHeapMB = maxHeapMB
	}
	return &Pool{opt: opt, slots: make(chan struct{}, opt.Kernels), cache: compiled{dir: opt.CacheDir}}
}

// Do lends a kernel to f, waiting for one if all are busy, and frees everything made with it when f
// returns. A cancelled ctx ends the wait, refuses the kernel's next operation, and stops one under way
// when it needs more memory, each with an error that wraps ctx.Err(). f must not call Do of the same pool: with all kernels lent that would wait for ever.
func (p *Pool) Do(ctx context.Context, f func(k *Kernel) error) error {
	if err := p.enter(); err != nil {
		return err
	}
	defer p.users.Done()
	select {
	case p.slots <- struct{}{}:
		defer func() { <-p.slots }()
	case <-ctx.Done():
		return fmt.Errorf("solid: wait for a kernel: %w", ctx.Err())
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("solid: wait for a kernel: %w", err)
	}
	in, err := p.take()
	if err != nil {
		return err
	}
	k := &Kernel{ctx: ctx, in: in}
	finished := false
	defer func() {
		k.end()
		p.giveBack(in, finished)
	}()
	err = f(k)
	finished = true
	return err
}

func (p *Pool) enter() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed {
		return ErrPoolClosed
	}
	p.users.Add(1)
	return nil
}

// take returns an idle kernel, or starts one.
func (p *Pool) take() (*instance, error) {
	p.mu.Lock()
	if n := len(p.idle); n > 0 {
		in := p.idle[n-1]
		p.idle = p.idle[:n-1]
		p.mu.Unlock()
		return in, nil
	}
	p.mu.Unlock()
	return p.cache.start(uint64(p.opt.MaxHeapMB) << 20)
}

// giveBack keeps a kernel that is sound and small for the next caller. ok is false when f panicked.
func (p *Pool) giveBack(in *instance, ok bool) {
	if !ok || in.dead != nil || in.heapBytes() > uint64(p.opt.KeepHeapMB)<<20 {
		_ = in.close() // its memory is dropped either way
		return
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.idle = append(p.idle, in)
}

// Close waits for every Do under way, then frees all kernels. Further calls of Do fail with
// ErrPoolClosed. It is safe to call twice.
func (p *Pool) Close() error {
	p.mu.Lock()
	p.closed = true
	p.mu.Unlock()
	p.users.Wait()
	p.mu.Lock()
	idle := p.idle
	p.idle = nil
	p.mu.Unlock()
	var errs []error
	for _, in := range idle {
		errs = append(errs, in.close())
	}
	return errors.Join(append(errs, p.cache.close())...)
}
