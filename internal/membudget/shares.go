package membudget

import (
	"context"
	"errors"
	"sync"
	"sync/atomic"

	"golang.org/x/sync/semaphore"
)

// Shares hands out a number of bytes. Those who wait are served in the order in which they came, so that a
// large need is not passed over for ever by small ones.
type Shares struct {
	bytes   int64
	left    *semaphore.Weighted
	waiting atomic.Int64
	most    int64 // that may wait; 0 is any number
}

// ErrCrowded says that too many wait already.
var ErrCrowded = errors.New("too much memory is asked for at once; try again in a while")

// NewShares makes shares of so many bytes.
func NewShares(bytes int64) *Shares {
	bytes = max(1, bytes)
	return &Shares{bytes: bytes, left: semaphore.NewWeighted(bytes)}
}

// WithLine bounds those who wait: at most so many may, more get ErrCrowded at once.
func (b *Shares) WithLine(most int64) *Shares { b.most = most; return b }

// Take waits for so many bytes and takes them until give is called. A need larger than the whole
// takes the whole: it runs alone.
func (b *Shares) Take(ctx context.Context, bytes int64) (give func(), err error) {
	n := min(max(1, bytes), b.bytes)
	if !b.left.TryAcquire(n) {
		defer b.waiting.Add(-1)
		if w := b.waiting.Add(1); b.most > 0 && w > b.most {
			return nil, ErrCrowded
		}
		if err := b.left.Acquire(ctx, n); err != nil {
			return nil, err
		}
	}
	var once sync.Once
	return func() { once.Do(func() { b.left.Release(n) }) }, nil
}

// Bytes is the budget of the whole process.
func Bytes() int64 { return int64(budget.Load()) }
