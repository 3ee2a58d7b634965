package main

import (
	"errors"
	"testing"
	"time"
)

// Nearest rank: of 1 to 100, the half is 50 and the 99th hundredth is 99.
func TestQuantile(t *testing.T) {
	var d []time.Duration
	for i := range 100 {
		d = append(d, time.Duration(i+1))
	}
	for q, want := range map[float64]time.Duration{0: 1, 0.5: 50, 0.99: 99, 0.991: 100, 1: 100} {
		if got := quantile(d, q); got != want {
			t.Errorf("%g: %d, want %d", q, got, want)
		}
	}
	if got := quantile(d[:1], 0.99); got != 1 {
		t.Errorf("of one: %d", got)
	}
}

func TestTallyFindsChanges(t *testing.T) {
	a := newTally()
	for _, q := range []struct {
		sum byte
		ok  bool
	}{{1, true}, {1, true}, {2, false}, {1, true}} {
		if a.same("/x", [32]byte{q.sum}) != q.ok {
			t.Errorf("an answer %d where the first was 1: %v", q.sum, !q.ok)
		}
	}
	if err := a.err(); err != nil {
		t.Error(err)
	}
	a.fault("x", errors.New("y"))
	if a.err() == nil {
		t.Error("a fault passes")
	}
}
