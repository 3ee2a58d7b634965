package main

import (
	"context"
	"fmt"
	"runtime"
	"sync"

	"mouldwright/bench/corpus"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// sample says how many pairs of each kind are drawn.
type sample struct {
	halves, cuts, plugs, passing, pieces int
	moulded                              []string // specimens that moulds are built for, opening along z
	lantern                              bool     // and for the lantern's parts
	mostFacets                           int
}

// whole is the sample of 200.
var whole = sample{halves: 54, cuts: 40, plugs: 16, passing: 50, pieces: 40, mostFacets: 4000, lantern: true,
	moulded: []string{"3MF/box.3mf", "X/anim_test.x", "three-rounded-box"}}

// draw makes the pairs of a sample.
func draw(ctx context.Context, pool *solid.Pool, c *corpus.Corpus, s sample) ([]pair, error) {
	usable, err := sound(ctx, c, s.mostFacets)
	if err != nil {
		return nil, err
	}
	built, err := pieces(ctx, pool, newMaker(usable, 5), s.moulded, s.lantern, s.pieces)
	if err != nil {
		return nil, err
	}
	var out []pair
	err = pool.Do(ctx, func(k *solid.Kernel) error {
		for i, kind := range []struct {
			make  func(*solid.Kernel, *maker, int) ([]pair, error)
			count int
		}{{halves, s.halves}, {cutInTwo, s.cuts}, {plugs, s.plugs}} {
			some, err := kind.make(k, newMaker(usable, uint64(i)), kind.count)
			if err != nil {
				return err
			}
			out = append(out, some...)
		}
		return nil
	})
	return append(append(out, passing(newMaker(usable, 4), s.passing)...), built...), err
}

// sound are the specimens that intake lets through, cleaned as a job would have them.
func sound(ctx context.Context, c *corpus.Corpus, most int) (out []corpus.Specimen, err error) {
	for _, s := range c.Specimens {
		if len(s.Mesh.Tris) > most {
			continue
		}
		in, err := mesh.Inspect(ctx, s.Mesh)
		if err != nil {
			return nil, err
		}
		if in.Fatal() == nil {
			s.Mesh = in.Mesh
			out = append(out, s)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no specimen has %d facets or fewer", most)
	}
	return out, nil
}

// judgeAll judges the pairs on all processors; results are in the order of the pairs. told is called once
// for each, from one goroutine at a time.
func judgeAll(ctx context.Context, pool *solid.Pool, pairs []pair, told func(i int, r *result)) ([]*result, error) {
	results := make([]*result, len(pairs))
	var mu sync.Mutex
	var first error
	var wg sync.WaitGroup
	next := 0
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for {
				mu.Lock()
				i := next
				next++
				stop := first != nil || i >= len(pairs)
				mu.Unlock()
				if stop {
					return
				}
				var r *result
				err := pool.Do(ctx, func(k *solid.Kernel) (err error) {
					r, err = judge(ctx, k, pairs[i])
					return err
				})
				mu.Lock()
				if err != nil {
					first = err
				} else {
					results[i] = r
					told(i, r)
				}
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return results, first
}
