package opening

import (
	"context"
	"sync"
)

// inChunks runs f over [0, n) in pieces of size on several workers and returns the results in
// order, so that the number of workers never shows in them. progress, if set, gets the share done.
func inChunks[T any](ctx context.Context, n, size, workers int, progress func(float64), f func(lo, hi int) T) ([]T, error) {
	count := (n + size - 1) / size
	out := make([]T, count)
	var mu sync.Mutex
	next, done := 0, 0
	take := func() int {
		mu.Lock()
		defer mu.Unlock()
		if next >= count || ctx.Err() != nil {
			return -1
		}
		next++
		return next - 1
	}
	finish := func() {
		mu.Lock()
		defer mu.Unlock()
		done++
		if progress != nil {
			progress(float64(done) / float64(count))
		}
	}
	var wg sync.WaitGroup
	for range max(1, min(workers, count)) {
		wg.Go(func() {
			for c := take(); c >= 0; c = take() {
				out[c] = f(c*size, min((c+1)*size, n))
				finish()
			}
		})
	}
	wg.Wait()
	return out, ctx.Err()
}

// share maps the progress of one stage into [from, to] of the whole.
func share(progress func(float64), from, to float64) func(float64) {
	if progress == nil {
		return nil
	}
	return func(x float64) { progress(from + x*(to-from)) }
}
