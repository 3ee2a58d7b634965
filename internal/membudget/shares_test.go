package membudget

import (
	"context"
	"errors"
	"testing"
	"time"
)

func TestTake(t *testing.T) {
	b := NewShares(100)
	ctx := context.Background()
	first, err := b.Take(ctx, 60)
	if err != nil {
		t.Fatal(err)
	}
	soon, cancel := context.WithTimeout(ctx, 20*time.Millisecond)
	defer cancel()
	if _, err := b.Take(soon, 60); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
	first()
	first() // a second time gives nothing back
	whole, err := b.Take(ctx, 1000)
	if err != nil {
		t.Fatal(err)
	}
	b.WithLine(1)
	waits := make(chan error, 1)
	go func() { give, err := b.Take(ctx, 1); waits <- err; give() }()
	for b.waiting.Load() == 0 {
		time.Sleep(time.Millisecond)
	}
	if _, err := b.Take(ctx, 1); !errors.Is(err, ErrCrowded) {
		t.Errorf("error %v", err)
	}
	whole()
	if err := <-waits; err != nil {
		t.Error(err)
	}
}
