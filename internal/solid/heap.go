package solid

import (
	"encoding/binary"
	"math"

	"github.com/tetratelabs/wazero/api"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func u32(m api.Memory, p uint32) uint32 {
	v, ok := m.ReadUint32Le(p)
	if !ok {
		fail("address %#x out of range", p)
	}
	return v
}

// bytesAt is a window on the heap, valid until the module runs again.
func bytesAt(m api.Memory, p, n uint32) []byte {
	b, ok := m.Read(p, n)
	if !ok {
		fail("range %#x+%d out of range", p, n)
	}
	return b
}

func cString(m api.Memory, p uint32) string {
	var b []byte
	for {
		c, ok := m.ReadByte(p)
		if !ok {
			fail("address %#x out of range", p)
		}
		if c == 0 {
			return string(b)
		}
		b = append(b, c)
		p++
	}
}

func words(m api.Memory, n, p uint32) []uint32 {
	out := make([]uint32, n)
	for i := range out {
		out[i] = u32(m, p+4*uint32(i))
	}
	return out
}

func le32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }

func float(b []byte) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b)) }

func putFloat(b []byte, x float64) { binary.LittleEndian.PutUint64(b, math.Float64bits(x)) }

// Sizes in bytes of the library's structs of doubles and of a std::vector (begin, end, capacity).
const (
	sizeVec2   = 16
	sizeVec3   = 24
	sizeIVec3  = 12
	sizeVector = 12
)

func getVec3(b []byte) r3.Vec {
	return r3.Vec{X: float(b), Y: float(b[8:]), Z: float(b[16:])}
}

func putVec3(b []byte, v r3.Vec) {
	putFloat(b, v.X)
	putFloat(b[8:], v.Y)
	putFloat(b[16:], v.Z)
}

func getVec2(b []byte) r2.Vec { return r2.Vec{X: float(b), Y: float(b[8:])} }

func putVec2(b []byte, v r2.Vec) {
	putFloat(b, v.X)
	putFloat(b[8:], v.Y)
}

// vectorBytes is the content of the std::vector at p.
func vectorBytes(m api.Memory, p uint32) []byte {
	begin, end := u32(m, p), u32(m, p+4)
	return bytesAt(m, begin, end-begin)
}

const (
	wasmPage = 65536
	// wasmLimit is the largest heap that 32-bit addresses allow, less one page as emscripten does.
	wasmLimit = 1<<32 - wasmPage
)

// resize answers the module's request for a heap of want bytes: it grows by a fifth where it can, so
// that growth is seldom, else by what is asked; 1 is success. A large operation comes here many
// times, so a cancelled context stops it here.
func (h *host) resize(m api.Memory, want uint64) uint64 {
	if err := h.ctx.Err(); err != nil {
		panic(err)
	}
	if want > h.maxHeap {
		h.starved = true
		return 0
	}
	old := uint64(m.Size())
	for _, size := range []uint64{max(want, old+old/5), want} {
		size = min(size, h.maxHeap)
		if _, ok := m.Grow(uint32((size - old + wasmPage - 1) / wasmPage)); ok {
			return 1
		}
	}
	h.starved = true
	return 0
}
