package solid

import (
	"context"
	"errors"
	"fmt"

	"github.com/tetratelabs/wazero"
	"github.com/tetratelabs/wazero/api"
	"github.com/tetratelabs/wazero/experimental"

	"mouldwright/internal/wasmheap"
)

// instance is one running copy of the library with its own heap. It serves one goroutine at a time.
type instance struct {
	rt   wazero.Runtime
	h    *host
	warp uint32             // table index of the callback thunk
	onWp func(verts []byte) // the callback of the warp under way
	dead error              // why the instance must not be used again
}

// runtimeConfig leaves out the runtime's own way to cancel code that is running
// (WithCloseOnContextDone): its checks in every loop make booleans four times slower. host.resize
// checks instead, and every operation at its start.
func runtimeConfig(cache wazero.CompilationCache) wazero.RuntimeConfig {
	return wazero.NewRuntimeConfig().WithCompilationCache(cache)
}

// startInstance compiles (or takes from the cache) and starts the library.
func startInstance(cache wazero.CompilationCache, maxHeap uint64) (in *instance, err error) {
	// A start takes well under a second once compiled, so nothing need cancel it.
	ctx := experimental.WithMemoryAllocator(context.Background(), experimental.MemoryAllocatorFunc(wasmheap.Reserve))
	in = &instance{rt: wazero.NewRuntimeWithConfig(ctx, runtimeConfig(cache)), h: newHost(maxHeap)}
	defer func() {
		if r := recover(); r != nil {
			err = recovered(r)
		}
		if err != nil {
			err = errors.Join(fmt.Errorf("solid: start the boolean kernel: %w", err), in.close())
			in = nil
		}
	}()
	if _, err = in.h.imports(in.rt).Instantiate(ctx); err != nil {
		return in, err
	}
	manual := wazero.NewModuleConfig().WithStartFunctions()
	mod, err := in.rt.InstantiateWithConfig(ctx, manifoldWasm, manual.WithName("manifold"))
	if err != nil {
		return in, err
	}
	in.h.mod = mod
	if _, err = mod.ExportedFunction(exportInit).Call(ctx); err != nil {
		return in, err
	}
	return in, in.installCallback(ctx, mod, manual.WithName("callback"))
}

func (in *instance) installCallback(ctx context.Context, mod api.Module, cfg wazero.ModuleConfig) error {
	onWarp := func(_ context.Context, p, n uint32) {
		if in.onWp != nil {
			in.onWp(bytesAt(mod.Memory(), p, sizeVec3*n))
		}
	}
	b := in.rt.NewHostModuleBuilder("host").NewFunctionBuilder().WithFunc(onWarp).Export("warp")
	if _, err := b.Instantiate(ctx); err != nil {
		return err
	}
	cb, err := in.rt.InstantiateWithConfig(ctx, callbackModule(), cfg)
	if err != nil {
		return err
	}
	idx, err := cb.ExportedFunction("install").Call(ctx)
	if err != nil {
		return err
	}
	in.warp = uint32(idx[0])
	in.h.mod = mod
	return nil
}

func (in *instance) close() error { return in.rt.Close(context.Background()) }

func (in *instance) heapBytes() uint64 { return uint64(in.h.mod.Memory().Size()) }

// run calls f, which may panic, under ctx. A crash or a cancelled operation leaves the library's
// memory in an unknown state, so the instance is dead from then on.
func (in *instance) run(ctx context.Context, op string, f func(h *host)) (err error) {
	if in.dead != nil {
		return in.dead
	}
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("solid: %s: %w", op, err)
	}
	defer func() {
		in.h.ctx = context.Background()
		r := recover()
		if r == nil {
			return
		}
		in.dead = in.failure(ctx, op, recovered(r))
		err = in.dead
	}()
	in.h.ctx = ctx
	f(in.h)
	return nil
}

// failure says why an operation was unwound.
func (in *instance) failure(ctx context.Context, op string, cause error) error {
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("solid: %s stopped: %w", op, err)
	}
	if in.h.starved {
		cause = fmt.Errorf("it needs more than the %d MB of memory it may have; reduce the mesh: %w", in.h.maxHeap>>20, cause)
	}
	return &crash{op, cause}
}

func recovered(r any) error {
	if e, ok := r.(error); ok {
		return e
	}
	return fmt.Errorf("%v", r)
}

// warped replaces all vertices of a body; f gets them as triples of doubles, to change in place.
func (in *instance) warped(h *host, a address, f func(verts []byte)) address {
	in.onWp = f
	defer func() { in.onWp = nil }()
	return h.method(clsManifold, "_WarpBatch", a, float64(in.warp)).(address)
}
