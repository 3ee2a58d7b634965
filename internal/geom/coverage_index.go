package geom

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// boxIndex finds the triangles whose boxes meet a given box. It is a tree packed into levels: the
// boxes sorted along a Morton curve, then the union of every indexFan of them, and so on up. It
// keeps its memory when it is built again.
type boxIndex struct {
	order  []uint64 // Morton code and number of each triangle
	boxes  []r2.Box // level after level, the lowest first
	levels []int32  // where each level starts in boxes; and the end
	clip   r2.Box
	stack  []indexNode
}

type indexNode struct{ level, i int32 }

const indexFan = 4

// build takes the triangles' boxes cut down to clip: parts outside do not matter to the caller, and
// would make long boxes meet needlessly.
func (x *boxIndex) build(tris [][3]r2.Vec, clip r2.Box) {
	x.clip = clip
	x.order, x.boxes, x.levels = x.order[:0], x.boxes[:0], x.levels[:0]
	size := max(clip.Max.X-clip.Min.X, clip.Max.Y-clip.Min.Y)
	for i := range tris {
		b := x.cut(boxOf(tris[i][:]))
		code := morton(b.Min.X/2+b.Max.X/2-clip.Min.X, size)<<1 | morton(b.Min.Y/2+b.Max.Y/2-clip.Min.Y, size)
		x.order = append(x.order, code<<32|uint64(uint32(i)))
	}
	slices.Sort(x.order)
	x.levels = append(x.levels, 0)
	for _, o := range x.order {
		x.boxes = append(x.boxes, x.cut(boxOf(tris[uint32(o)][:])))
	}
	for from, to := 0, len(x.boxes); ; from, to = to, len(x.boxes) {
		x.levels = append(x.levels, int32(to))
		if to-from <= indexFan {
			return
		}
		for i := from; i < to; i += indexFan {
			b := x.boxes[i]
			for _, o := range x.boxes[i+1 : min(i+indexFan, to)] {
				b.Min = r2.Vec{X: min(b.Min.X, o.Min.X), Y: min(b.Min.Y, o.Min.Y)}
				b.Max = r2.Vec{X: max(b.Max.X, o.Max.X), Y: max(b.Max.Y, o.Max.Y)}
			}
			x.boxes = append(x.boxes, b)
		}
	}
}

func (x *boxIndex) cut(b r2.Box) r2.Box {
	return r2.Box{
		Min: r2.Vec{X: max(b.Min.X, x.clip.Min.X), Y: max(b.Min.Y, x.clip.Min.Y)},
		Max: r2.Vec{X: min(b.Max.X, x.clip.Max.X), Y: min(b.Max.Y, x.clip.Max.Y)},
	}
}

// query appends the triangles whose boxes meet b within the clip box, touching included.
func (x *boxIndex) query(b r2.Box, out []int32) []int32 {
	b = x.cut(b)
	top := int32(len(x.levels) - 2)
	x.stack = x.stack[:0]
	for i := x.levels[top]; i < x.levels[top+1]; i++ {
		x.stack = append(x.stack, indexNode{top, i})
	}
	for len(x.stack) > 0 {
		n := x.stack[len(x.stack)-1]
		x.stack = x.stack[:len(x.stack)-1]
		if o := &x.boxes[n.i]; o.Min.X > b.Max.X || o.Max.X < b.Min.X || o.Min.Y > b.Max.Y || o.Max.Y < b.Min.Y {
			continue
		}
		if n.level == 0 {
			out = append(out, int32(uint32(x.order[n.i])))
			continue
		}
		first := x.levels[n.level-1] + (n.i-x.levels[n.level])*indexFan
		for i := first; i < min(first+indexFan, x.levels[n.level]); i++ {
			x.stack = append(x.stack, indexNode{n.level - 1, i})
		}
	}
	return out
}

// morton spreads the top 16 bits of v/size over the even bits of a word.
func morton(v, size float64) uint64 {
	m := uint64(min(max(v/size*math.MaxUint16, 0), math.MaxUint16))
	m = (m | m<<8) & 0x00ff00ff
	m = (m | m<<4) & 0x0f0f0f0f
	m = (m | m<<2) & 0x33333333
	return (m | m<<1) & 0x55555555
}
