package wasmheap

import "github.com/tetratelabs/wazero/experimental"

// Reserve is the allocator to start a module with: the heap has room for capacity bytes at first and at
// most for most. Where the system refuses the address space, the heap grows by copying.
func Reserve(capacity, most uint64) experimental.LinearMemory {
	if h := reserve(most); h != nil {
		return h
	}
	return &grown{buf: make([]byte, 0, capacity)}
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
