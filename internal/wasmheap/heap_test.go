package wasmheap

import (
	"testing"

	"github.com/tetratelabs/wazero/experimental"
)

// A heap keeps what was written through growth, is zero where it is new, and refuses to pass its bound.
func TestHeap(t *testing.T) {
	const page = 65536
	for name, h := range map[string]experimental.LinearMemory{
		"lent":   Reserve(page, 1<<30),
		"copied": &grown{},
	} {
		t.Run(name, func(t *testing.T) {
			defer h.Free()
			b := h.Reallocate(page)
			if len(b) != page {
				t.Fatalf("%d bytes", len(b))
			}
			b[0], b[page-1] = 1, 2
			b = h.Reallocate(100 * page)
			if len(b) != 100*page || b[0] != 1 || b[page-1] != 2 || b[page] != 0 || b[len(b)-1] != 0 {
				t.Error("growth lost what was written, or new pages are not zero")
			}
		})
	}
	h := Reserve(page, 16*page)
	defer h.Free()
	if _, lent := h.(*grown); !lent && h.Reallocate(17*page) != nil {
		t.Error("grown past its bound")
	}
}
