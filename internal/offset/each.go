package offset

import (
	"context"
	"runtime"
	"sync"
	"sync/atomic"
)

// chunk is how much of a loop one worker takes at a time: about a millisecond of distance queries, so
// that a cancelled context is noticed soon.
const chunk = 128

// each calls f for 0 to n−1 on several goroutines. f writes only what belongs to its index, so the
// result does not depend on their number.
func each(ctx context.Context, workers, n int, f func(i int)) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next atomic.Int64
	run := func() {
		for ctx.Err() == nil {
			lo := int(next.Add(chunk)) - chunk
			if lo >= n {
				return
			}
			for i := lo; i < min(lo+chunk, n); i++ {
				f(i)
			}
		}
	}
	if n <= chunk || workers == 1 {
		run()
		return ctx.Err()
	}
	var wg sync.WaitGroup
	for range workers {
		wg.Go(run)
	}
	wg.Wait()
	return ctx.Err()
}
