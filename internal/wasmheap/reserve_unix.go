//go:build unix

package wasmheap

import (
	"github.com/tetratelabs/wazero/experimental"
	"golang.org/x/sys/unix"
)

// reserved is address space of the process; the system gives it memory page by page, as it is touched.
type reserved struct{ space []byte }

func reserve(most uint64) experimental.LinearMemory {
	space, err := unix.Mmap(-1, 0, int(most), unix.PROT_READ|unix.PROT_WRITE, unix.MAP_ANON|unix.MAP_PRIVATE|unix.MAP_NORESERVE)
	if err != nil {
		return nil
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
