package membudget

import (
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"sync/atomic"
	"time"

	"github.com/pbnjay/memory"
)

const (
	// shareOfMachine is what a process takes at the most when nothing is said: the rest is for the system, the browser
	// and the slicer beside it.
	shareOfMachine = 2.0 / 3
	// fallback is the budget on a machine that does not say how much memory it has.
	fallback = 4 << 30
	// Least is the smallest budget: the program, the boolean library and a small part need a good half of it.
	Least = 256 << 20
	// collectShare of the budget: from there on the garbage collector works harder before anything is stopped.
	collectShare = 0.8
	every        = 50 * time.Millisecond
)

var budget atomic.Uint64

func init() { budget.Store(Default()) }

// Default is the budget when nothing is said: two thirds of the machine's memory.
func Default() uint64 {
	total := memory.TotalMemory()
	if total == 0 {
		return fallback
	}
	return max(Least, uint64(shareOfMachine*float64(total)))
}

// Set gives the whole process a budget, in bytes; 0 gives it the default. Less than Least is an error.
func Set(bytes uint64) error {
	if bytes == 0 {
		bytes = Default()
	}
	if bytes < Least {
		return fmt.Errorf("a memory budget of %s: give %s or more", gib(bytes), gib(Least))
	}
	budget.Store(bytes)
	debug.SetMemoryLimit(int64(collectShare * float64(bytes)))
	return nil
}

// OverError says that work was stopped because it took more memory than the process may have.
type OverError struct{ UsedBytes, BudgetBytes uint64 }

func (e *OverError) Error() string {
	return fmt.Sprintf("stopped: it needs more memory than the budget of %s (%s were in use). Give more with --memory, "+
		"close other programs, or make the part's mesh coarser", gib(e.BudgetBytes), gib(e.UsedBytes))
}

func gib(bytes uint64) string { return fmt.Sprintf("%.1f GiB", float64(bytes)/(1<<30)) }

// Watch gives a context that ends with an *OverError as its cause when the process takes more than its budget. end must
// be called when the work is over.
func Watch(ctx context.Context) (watched context.Context, end func()) {
	watched, stop := context.WithCancelCause(ctx)
	done := make(chan struct{})
	go func() {
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-done:
				return
			case <-watched.Done():
				return
			case <-tick.C:
			}
			if most := budget.Load(); inUse() > most {
				debug.FreeOSMemory() // what is garbage is given back before anyone is stopped
				if used := inUse(); used > most {
					stop(&OverError{used, most})
					return
				}
			}
		}
	}()
	return watched, func() { close(done); stop(nil) }
}

// Cause is err, or the *OverError that ended the context and with it the work.
func Cause(ctx context.Context, err error) error {
	var over *OverError
	if err != nil && ctx.Err() != nil && errors.As(context.Cause(ctx), &over) {
		return over
	}
	return err
}
