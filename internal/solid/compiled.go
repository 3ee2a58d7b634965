package solid

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"

	"github.com/tetratelabs/wazero"
)

// compiled keeps the library's machine code for all kernels of a pool, on disk where it can.
type compiled struct {
	dir string

	mu     sync.Mutex
	cache  wazero.CompilationCache
	holder wazero.Runtime
}

// start starts a kernel, compiling the library first if need be.
func (c *compiled) start(maxHeap uint64) (*instance, error) {
	cache, err := c.open()
	if err != nil {
		return nil, err
	}
	return startInstance(cache, maxHeap)
}

func (c *compiled) open() (wazero.CompilationCache, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cache != nil {
		return c.cache, nil
	}
	if cache := diskCache(c.dir); cache != nil {
		// A damaged or full cache shows only now.
		if c.hold(cache) == nil {
			return c.cache, nil
		}
		_ = cache.Close(context.Background())
	}
	if err := c.hold(wazero.NewCompilationCache()); err != nil {
		return nil, err
	}
	return c.cache, nil
}

// hold compiles the library into the cache and keeps one runtime open on it: the cache forgets what
// its last user closes.
func (c *compiled) hold(cache wazero.CompilationCache) error {
	ctx := context.Background()
	rt := wazero.NewRuntimeWithConfig(ctx, runtimeConfig(cache))
	if _, err := rt.CompileModule(ctx, manifoldWasm); err != nil {
		return errors.Join(err, rt.Close(ctx))
	}
	c.cache, c.holder = cache, rt
	return nil
}

// diskCache opens the cache in dir; nil when the place cannot be used.
func diskCache(dir string) wazero.CompilationCache {
	if dir == "" {
		user, err := os.UserCacheDir()
		if err != nil {
			return nil
		}
		dir = filepath.Join(user, "mouldwright")
	}
	// Only the user may write machine code that the user's processes will run.
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil
	}
	cache, err := wazero.NewCompilationCacheWithDir(dir)
	if err != nil {
		return nil
	}
	return cache
}

func (c *compiled) close() error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.cache == nil {
		return nil
	}
	ctx := context.Background()
	err := errors.Join(c.holder.Close(ctx), c.cache.Close(ctx))
	c.cache, c.holder = nil, nil
	return err
}
