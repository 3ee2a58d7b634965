package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"sync"
	"text/tabwriter"
	"time"
)

// tally counts answers by what was asked.
type tally struct {
	mu     sync.Mutex
	took   map[string][]time.Duration
	bytes  int64
	faults int
	first  []error // the first few
	lasted time.Duration
	bodies map[string][32]byte // of answers that do not change
}

// faultsShown are enough to see what goes wrong.
const faultsShown = 10

func newTally() *tally {
	return &tally{took: map[string][]time.Duration{}, bodies: map[string][32]byte{}}
}

func (t *tally) answer(what string, took time.Duration, bytes int) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.took[what] = append(t.took[what], took)
	t.bytes += int64(bytes)
}

func (t *tally) fault(what string, err error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if t.faults++; len(t.first) < faultsShown {
		t.first = append(t.first, fmt.Errorf("%s: %w", what, err))
	}
}

// same says whether an answer is the one that came the first time.
func (t *tally) same(path string, sum [32]byte) bool {
	t.mu.Lock()
	defer t.mu.Unlock()
	was, ok := t.bodies[path]
	if !ok {
		t.bodies[path] = sum
	}
	return !ok || was == sum
}

func (t *tally) err() error {
	if t.faults == 0 {
		return nil
	}
	return errors.Join(append([]error{fmt.Errorf("%d errors, of which the first are", t.faults)}, t.first...)...)
}

// quantile is the smallest value that at least the share q does not exceed (nearest rank); sorted is not
// empty.
func quantile(sorted []time.Duration, q float64) time.Duration {
	return sorted[max(0, int(math.Ceil(q*float64(len(sorted))))-1)]
}

func (t *tally) print(out io.Writer) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(w, "\tanswers\thalf, ms\t99 %, ms\tslowest, ms\t")
	var all []time.Duration
	row := func(what string, d []time.Duration) {
		slices.Sort(d)
		ms := func(d time.Duration) float64 { return d.Seconds() * 1000 }
		fmt.Fprintf(w, "%s\t%d\t%.0f\t%.0f\t%.0f\t\n", what, len(d), ms(quantile(d, 0.5)), ms(quantile(d, 0.99)), ms(d[len(d)-1]))
	}
	for _, what := range slices.Sorted(maps.Keys(t.took)) {
		row(what, t.took[what])
		all = append(all, t.took[what]...)
	}
	if len(all) > 0 {
		row("all", all)
	}
	_ = w.Flush() // to the terminal
	fmt.Fprintf(out, "%d answers in %.1f s, %.0f a second, %.1f MB/s; errors: %d\n", len(all), t.lasted.Seconds(), float64(len(all))/t.lasted.Seconds(), float64(t.bytes)/1e6/t.lasted.Seconds(), t.faults)
}
