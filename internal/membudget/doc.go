// Package membudget keeps the process within a budget of memory. Long work is told to stop, with an error that says
// why and what to do, before the system has to kill the process and takes with it whatever else it was doing.
//
//	ctx, end := membudget.Watch(ctx)
//	defer end()
//	err := work(ctx)                  // looks at its context now and then
//	err = membudget.Cause(ctx, err)   // *OverError instead of "context canceled"
//
// What counts is all that the process holds of the machine's memory, the boolean library's included. Work that takes
// more than the budget within a twentieth of a second, between two looks, is not caught.
//
// Work that can say beforehand what it needs takes a share instead, and waits for its turn: a hundred clients with a
// large part each are served one after the other.
//
//	give, err := shares.Take(ctx, need) // the error is the context's
package membudget
