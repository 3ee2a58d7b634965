package web

import (
	"net/http"
	"sync/atomic"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humachi"
)

// turnstile stands before answers that cost processor time or memory: a few are made at once, some wait,
// more are sent away. Without it, a page that asks for a hundred sheets would fill the memory.
type turnstile struct {
	each    *perClient // nil: not limited by client
	places  chan struct{}
	waiting atomic.Int32
	most    int32         // that wait
	wait    time.Duration // at most
}

const (
	// Plans, sheets and exports take 1 to 300 ms each. A page asks for two or three at a time.
	costlyPerSecond, costlyBurst = 4, 30
	costlyAtOnce                 = 4
	costlyWait                   = 30 * time.Second
	// costlyWaiting leaves slots for requests that cost little.
	costlyWaiting = 256
	// Closing a lid and planning a batch use every core for seconds to minutes.
	longAtOnce, longWaiting = 1, 8
)

func newCostly() *turnstile {
	return &turnstile{each: newPerClient(costlyPerSecond, costlyBurst), places: make(chan struct{}, costlyAtOnce), most: costlyWaiting, wait: costlyWait}
}

func newLong() *turnstile {
	return &turnstile{places: make(chan struct{}, longAtOnce), most: longWaiting, wait: answerTimeout}
}

// pass is the middleware of the operations behind the turnstile.
func (t *turnstile) pass(c huma.Context, next func(huma.Context)) {
	r, w := humachi.Unwrap(c)
	if t.each != nil && !t.each.allow(r) {
		w.Header().Set("Retry-After", "5")
		refuse(w, http.StatusTooManyRequests, "too many plans, sheets or exports at once; wait a few seconds")
		return
	}
	if !t.enter(r) {
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, "much is being worked out already; try again in a while")
		return
	}
	defer func() { <-t.places }()
	next(c)
}

func (t *turnstile) enter(r *http.Request) bool {
	select {
	case t.places <- struct{}{}:
		return true
	default:
	}
	defer t.waiting.Add(-1)
	if t.waiting.Add(1) > t.most {
		return false
	}
	late := time.NewTimer(t.wait)
	defer late.Stop()
	select {
	case t.places <- struct{}{}:
		return true
	case <-late.C:
	case <-r.Context().Done():
	}
	return false
}

// behind gives an operation's list of middlewares.
func behind(t *turnstile) huma.Middlewares { return huma.Middlewares{t.pass} }
