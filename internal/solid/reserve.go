package solid

import (
	"github.com/tetratelabs/wazero/experimental"
	"golang.org/x/sys/unix"
)

// reserved is a WebAssembly heap that grows in place: address space for all that it may ever need is
// set aside at once, and pages of it cost memory only when the library touches them. The runtime's own
// way, a Go slice, copies the whole heap at each step of growth, which cost a fifth of the time of a
// large boolean. Nothing here is seen by the garbage collector.
type reserved struct{ space []byte }

// reserve is the allocator to start a module with. Where the system refuses the address space, the heap
// grows by copying.
func reserve(capacity, most uint64) experimental.LinearMemory {
	space, err := unix.Mmap(-1, 0, int(most), unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE|unix.MAP_NORESERVE)
	if err != nil {
		return &grown{buf: make([]byte, 0, capacity)}
	}
	return &reserved{space}
}

// Reallocate implements experimental.LinearMemory.
func (r *reserved) Reallocate(size uint64) []byte {
	if size > uint64(len(r.space)) {
		return nil
	}
	return r.space[:size:len(r.space)]
}

// Free implements experimental.LinearMemory.
func (r *reserved) Free() {
	if r.space != nil {
		_ = unix.Munmap(r.space) // nothing can be done, and nothing uses it any more
		r.space = nil
	}
}

// grown is a heap on a Go slice, for systems that do not lend out address space.
type grown struct{ buf []byte }

// Reallocate implements experimental.LinearMemory.
func (g *grown) Reallocate(size uint64) []byte {
	if n := uint64(cap(g.buf)); size > n {
		next := make([]byte, len(g.buf), max(size, n+n/2))
		copy(next, g.buf)
		g.buf = next
	}
	g.buf = g.buf[:size]
	return g.buf
}

// Free implements experimental.LinearMemory.
func (g *grown) Free() { g.buf = nil }
