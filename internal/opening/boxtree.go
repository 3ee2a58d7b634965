package opening

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// treeFan is the number of children of a node: eight boxes fill four cache lines.
const treeFan = 8

// boxTree finds the boxes near a point or a box in the plane. It is a packed tree over boxes in
// Morton order: level 0 holds the boxes, each next level the bounds of treeFan of the one below.
// It is immutable and safe for concurrent readers.
type boxTree struct {
	items  []int32 // box numbers in tree order
	levels [][]r2.Box
}

func newBoxTree(boxes []r2.Box) *boxTree {
	t := &boxTree{items: make([]int32, len(boxes))}
	if len(boxes) == 0 {
		return t
	}
	all := boxes[0]
	for _, b := range boxes {
		all = joinBoxes(all, b)
	}
	keys := make([]uint64, len(boxes))
	sx, sy := mortonScale(all.Max.X-all.Min.X), mortonScale(all.Max.Y-all.Min.Y)
	for i, b := range boxes {
		x := uint32(((b.Min.X+b.Max.X)/2 - all.Min.X) * sx)
		y := uint32(((b.Min.Y+b.Max.Y)/2 - all.Min.Y) * sy)
		keys[i] = spread(x) | spread(y)<<1
		t.items[i] = int32(i)
	}
	slices.SortFunc(t.items, func(a, b int32) int {
		return cmp.Or(cmp.Compare(keys[a], keys[b]), cmp.Compare(a, b))
	})
	level := make([]r2.Box, len(boxes))
	for i, it := range t.items {
		level[i] = boxes[it]
	}
	t.levels = append(t.levels, level)
	for len(level) > 1 {
		up := make([]r2.Box, 0, len(level)/treeFan+1)
		for i := 0; i < len(level); i += treeFan {
			b := level[i]
			for _, o := range level[i+1 : min(i+treeFan, len(level))] {
				b = joinBoxes(b, o)
			}
			up = append(up, b)
		}
		t.levels = append(t.levels, up)
		level = up
	}
	return t
}

func mortonScale(extent float64) float64 {
	if !(extent > 0) {
		return 0
	}
	return (1<<31 - 1) / extent
}

// spread puts a zero bit after each bit of x.
func spread(x uint32) uint64 {
	v := uint64(x)
	v = (v | v<<16) & 0x0000ffff0000ffff
	v = (v | v<<8) & 0x00ff00ff00ff00ff
	v = (v | v<<4) & 0x0f0f0f0f0f0f0f0f
	v = (v | v<<2) & 0x3333333333333333
	v = (v | v<<1) & 0x5555555555555555
	return v
}

func joinBoxes(a, b r2.Box) r2.Box {
	return r2.Box{
		Min: r2.Vec{X: min(a.Min.X, b.Min.X), Y: min(a.Min.Y, b.Min.Y)},
		Max: r2.Vec{X: max(a.Max.X, b.Max.X), Y: max(a.Max.Y, b.Max.Y)},
	}
}

func growBox(b r2.Box, by float64) r2.Box {
	return r2.Box{
		Min: r2.Vec{X: b.Min.X - by, Y: b.Min.Y - by},
		Max: r2.Vec{X: b.Max.X + by, Y: b.Max.Y + by},
	}
}

func boxesTouch(a, b r2.Box) bool {
	return a.Min.X <= b.Max.X && b.Min.X <= a.Max.X && a.Min.Y <= b.Max.Y && b.Min.Y <= a.Max.Y
}

// visit calls f with the number of every box that touches b, until f returns false.
func (t *boxTree) visit(b r2.Box, f func(i int32) bool) {
	if len(t.levels) > 0 {
		t.visitNode(len(t.levels)-1, 0, b, f)
	}
}

func (t *boxTree) visitNode(level, i int, b r2.Box, f func(i int32) bool) bool {
	if !boxesTouch(t.levels[level][i], b) {
		return true
	}
	if level == 0 {
		return f(t.items[i])
	}
	for j := i * treeFan; j < min((i+1)*treeFan, len(t.levels[level-1])); j++ {
		if !t.visitNode(level-1, j, b, f) {
			return false
		}
	}
	return true
}

// nearest is the item of least dist2 below limit2 and that value, where dist2 is never less than the
// squared distance from p to the item's box; −1 and limit2 if there is none.
func (t *boxTree) nearest(p r2.Vec, limit2 float64, dist2 func(i int32) float64) (item int32, d2 float64) {
	item, d2 = -1, limit2
	if len(t.levels) > 0 {
		t.nearestNode(len(t.levels)-1, 0, p, dist2, &item, &d2)
	}
	return item, d2
}

func (t *boxTree) nearestNode(level, i int, p r2.Vec, dist2 func(i int32) float64, item *int32, best *float64) {
	if level == 0 {
		if d := dist2(t.items[i]); d < *best {
			*item, *best = t.items[i], d
		}
		return
	}
	var order [treeFan]int
	var d [treeFan]float64
	n := 0
	below := t.levels[level-1]
	for j := i * treeFan; j < min((i+1)*treeFan, len(below)); j++ {
		dj := boxDist2(below[j], p)
		k := n
		for ; k > 0 && d[k-1] > dj; k-- {
			d[k], order[k] = d[k-1], order[k-1]
		}
		d[k], order[k] = dj, j
		n++
	}
	for k := range n {
		if d[k] >= *best {
			return
		}
		t.nearestNode(level-1, order[k], p, dist2, item, best)
	}
}

func boxDist2(b r2.Box, p r2.Vec) float64 {
	dx := max(b.Min.X-p.X, 0, p.X-b.Max.X)
	dy := max(b.Min.Y-p.Y, 0, p.Y-b.Max.Y)
	return dx*dx + dy*dy
}
