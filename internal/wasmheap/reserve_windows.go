package wasmheap

import (
	"unsafe"

	"github.com/tetratelabs/wazero/experimental"
	"golang.org/x/sys/windows"
)

// reserved is address space of the process. Windows counts memory against its page file when it is
// committed, so only what the module has grown to is committed, and the rest stays reserved.
type reserved struct {
	base      uintptr
	most      uint64
	committed uint64
}

func reserve(most uint64) experimental.LinearMemory {
	base, err := windows.VirtualAlloc(0, uintptr(most), windows.MEM_RESERVE, windows.PAGE_NOACCESS)
	if err != nil {
		return nil
	}
	return &reserved{base: base, most: most}
}

// Reallocate implements experimental.LinearMemory.
func (r *reserved) Reallocate(size uint64) []byte {
	if size > r.most {
		return nil
	}
	if size > r.committed {
		more := uintptr(size - r.committed)
		if _, err := windows.VirtualAlloc(r.base+uintptr(r.committed), more, windows.MEM_COMMIT, windows.PAGE_READWRITE); err != nil {
			return nil // the module is told that there is no more memory
		}
		r.committed = size
	}
	// The address is no Go pointer: the collector neither moves nor frees what lies there.
	first := *(*unsafe.Pointer)(unsafe.Pointer(&r.base))
	return unsafe.Slice((*byte)(first), r.most)[:size]
}

// Free implements experimental.LinearMemory.
func (r *reserved) Free() {
	if r.base != 0 {
		_ = windows.VirtualFree(r.base, 0, windows.MEM_RELEASE) // nothing can be done, and nothing uses it any more
		r.base = 0
	}
}
