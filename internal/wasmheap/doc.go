// Package wasmheap lends WebAssembly modules a heap that grows in place. Address space for all that the
// module may ever need is set aside at once, and pages of it cost memory only when the module touches
// them. The runtime's own way, a Go slice, copies the whole heap at each step of growth, which cost a
// fifth of the time of a large boolean. Nothing here is seen by the garbage collector.
//
//	ctx = experimental.WithMemoryAllocator(ctx, experimental.MemoryAllocatorFunc(wasmheap.Reserve))
package wasmheap
