package membudget

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"
)

// Work that fills memory is stopped within a fraction of a second, and the error names both figures.
func TestWorkIsStopped(t *testing.T) {
	defer func() { _ = Set(0) }()
	if err := Set(Least); err != nil {
		t.Fatal(err)
	}
	ctx, end := Watch(t.Context())
	defer end()
	var hold [][]byte
	for ctx.Err() == nil && len(hold) < 512 {
		b := make([]byte, 2<<20)
		for i := 0; i < len(b); i += 4096 {
			b[i] = 1 // so that the system really gives it
		}
		hold = append(hold, b)
		time.Sleep(2 * time.Millisecond)
	}
	err := Cause(ctx, fmt.Errorf("work: %w", ctx.Err()))
	var over *OverError
	if !errors.As(err, &over) || over.UsedBytes <= over.BudgetBytes || over.BudgetBytes != Least {
		t.Fatalf("after %d blocks of 2 MiB: %v", len(hold), err)
	}
}

func TestCauseLeavesOthersAlone(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	watched, end := Watch(ctx)
	defer end()
	cancel()
	if err := Cause(watched, watched.Err()); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped by hand: %v", err)
	}
	if err := Cause(watched, nil); err != nil {
		t.Errorf("done: %v", err)
	}
	if err := Set(1); err == nil {
		t.Error("a budget of one byte was taken")
	}
}
