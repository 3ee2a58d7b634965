package geom

import (
	"context"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"
)

// The build splits a range of triangles in place, top down, at the plane among a few evenly spaced
// ones that makes a random ray cheapest (surface area heuristic in bins: Wald, "On fast Construction
// of SAH-based Bounding Volume Hierarchies", 2007). Time is close to linear in the number of
// triangles, as each level of the tree is one pass.
const (
	binsMany   = 16
	binsFew    = 8
	fewTris    = 64    // below this many triangles the sweep over the bins costs more than it saves
	leafMax    = 8     // a leaf never holds more
	hitCost    = 1.2   // one triangle test against one box test; measured, and not sensitive
	forkAtSize = 16384 // subtrees from here on are built in parallel
	// watchAtSize is the smallest range that looks whether its context has ended: well under a ms of work.
	watchAtSize = 4096
)

// coordMax keeps boxes and their centres within float32.
const coordMax = 1e38

// item is one triangle during the build: its box and facet.
type item struct {
	lo, hi [3]float32
	facet  int32
}

// NewBVH builds the tree for the triangles given by three vertex numbers each. It uses more than
// one core; the tree does not depend on how many.
func NewBVH(verts []r3.Vec, tris [][3]uint32) *BVH {
	b, _ := NewBVHContext(context.Background(), verts, tris) // that context never ends
	return b
}

// NewBVHContext is NewBVH that ends with ctx, and then gives its error.
func NewBVHContext(ctx context.Context, verts []r3.Vec, tris [][3]uint32) (*BVH, error) {
	items := make([]item, 0, len(tris))
	for i, t := range tris {
		if it, ok := newItem(verts[t[0]], verts[t[1]], verts[t[2]]); ok {
			it.facet = int32(i)
			items = append(items, it)
		}
	}
	b := &BVH{tris: make([]r3.Triangle, len(items)), facet: make([]int32, len(items))}
	if len(items) == 0 {
		return b, ctx.Err()
	}
	// A range that splits before item m puts its two children at 2m and 2m+1: no other range
	// splits there, so that goroutines never meet. flatten closes the gaps afterwards.
	bd := builder{ctx: ctx, items: items, nodes: make([]bvhNode, 2*len(items))}
	bd.build(0, 0, len(items), 0)
	bd.wait.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	for i := range items {
		f := items[i].facet
		t := tris[f]
		b.facet[i] = f
		b.tris[i] = r3.Triangle{verts[t[0]], verts[t[1]], verts[t[2]]}
	}
	b.nodes = flatten(bd.nodes)
	return b, nil
}

func newItem(a, b, c r3.Vec) (item, bool) {
	var it item
	pa, pb, pc := components(a), components(b), components(c)
	for k := range 3 {
		lo, hi := min(pa[k], pb[k], pc[k]), max(pa[k], pb[k], pc[k])
		if !(lo >= -coordMax && hi <= coordMax) {
			return it, false
		}
		it.lo[k], it.hi[k] = float32(lo), float32(hi)
		if float64(it.lo[k]) > lo {
			it.lo[k] = math.Nextafter32(it.lo[k], float32(math.Inf(-1)))
		}
		if float64(it.hi[k]) < hi {
			it.hi[k] = math.Nextafter32(it.hi[k], float32(math.Inf(1)))
		}
	}
	return it, true
}

type builder struct {
	ctx   context.Context
	items []item
	nodes []bvhNode
	wait  sync.WaitGroup
}

// build makes nodes[at] the root of items[from:to].
func (bd *builder) build(at, from, to, depth int) {
	items := bd.items[from:to]
	box := emptyBox()
	mid := [3]span{emptySpan, emptySpan, emptySpan}
	for i := range items {
		it := &items[i]
		box.grow(&it.lo, &it.hi)
		for k := range 3 {
			mid[k].grow(it.centre(k))
		}
	}
	n := &bd.nodes[at]
	n.lo, n.hi = box.lo, box.hi
	cut := split{at: len(items) / 2}
	if depth < splitDepth {
		cut = bestSplit(items, &box, &mid)
	}
	// What is left of a tree whose context has ended is thrown away.
	if cut.leaf || len(items) == 1 || len(items) >= watchAtSize && bd.ctx.Err() != nil {
		n.first, n.count = int32(from), int32(len(items))
		return
	}
	if cut.bins > 0 {
		cut.at = partition(items, cut)
	}
	m := from + cut.at
	n.first = int32(2 * m)
	if len(items) >= forkAtSize {
		bd.wait.Go(func() { bd.build(2*m, from, m, depth+1) })
	} else {
		bd.build(2*m, from, m, depth+1)
	}
	bd.build(2*m+1, m, to, depth+1)
}

func (it *item) centre(axis int) float64 {
	return float64(it.lo[axis])/2 + float64(it.hi[axis])/2
}

// span is an interval of centres.
type span struct{ lo, hi float64 }

var emptySpan = span{math.Inf(1), math.Inf(-1)}

func (s *span) grow(x float64) {
	if x < s.lo {
		s.lo = x
	}
	if x > s.hi {
		s.hi = x
	}
}

type box32 struct{ lo, hi [3]float32 }

func emptyBox() box32 {
	inf := float32(math.Inf(1))
	return box32{[3]float32{inf, inf, inf}, [3]float32{-inf, -inf, -inf}}
}

func (b *box32) grow(lo, hi *[3]float32) {
	for k := range 3 {
		if lo[k] < b.lo[k] {
			b.lo[k] = lo[k]
		}
		if hi[k] > b.hi[k] {
			b.hi[k] = hi[k]
		}
	}
}

// halfArea is half the surface of the box, in float64 so that it does not overflow.
func (b *box32) halfArea() float64 {
	x, y, z := float64(b.hi[0])-float64(b.lo[0]), float64(b.hi[1])-float64(b.lo[1]), float64(b.hi[2])-float64(b.lo[2])
	if !(x >= 0) {
		return 0
	}
	return float64(x*y) + float64(y*z) + float64(z*x)
}

// split says how to divide a range: as a leaf; by centre before a bin of an axis (bins > 0); or just
// by number, before item at.
type split struct {
	leaf    bool
	axis    int
	bin, at int
	bins    int
	from    float64 // least centre along the axis
	scale   float64 // bins per unit of length
}

type bin struct {
	box   box32
	count int
}

// binOf is the bin of an item's centre. Counting and dividing both use it, so that the two agree to
// the last item.
func (s *split) binOf(it *item) int {
	return min(int(float64((it.centre(s.axis)-s.from)*s.scale)), s.bins-1)
}

func bestSplit(items []item, box *box32, mid *[3]span) split {
	best := split{leaf: len(items) <= leafMax, at: len(items) / 2}
	bestCost := math.Inf(1)
	if best.leaf {
		bestCost = hitCost * float64(len(items)) * box.halfArea()
	}
	for axis := range 3 {
		s := split{axis: axis, bins: binsMany, from: mid[axis].lo}
		if len(items) < fewTris {
			s.bins = binsFew
		}
		w := mid[axis].hi - mid[axis].lo
		if !(w > 0) {
			continue
		}
		s.scale = float64(s.bins) / w
		var bins [binsMany]bin
		fill(items, &s, &bins)
		if cost, at := sweep(bins[:s.bins], box.halfArea()); cost < bestCost {
			bestCost, best = cost, s
			best.bin = at
		}
	}
	return best
}

func fill(items []item, s *split, bins *[binsMany]bin) {
	for i := range s.bins {
		bins[i].box = emptyBox()
	}
	for i := range items {
		b := &bins[s.binOf(&items[i])]
		b.count++
		b.box.grow(&items[i].lo, &items[i].hi)
	}
}

// sweep finds the cheapest bin to split before, and its cost: one box test and the hits on each
// side, weighted by the chance that a ray which meets the whole meets that side.
func sweep(bins []bin, whole float64) (cost float64, at int) {
	var right [binsMany]float64
	box, n := emptyBox(), 0
	for i := len(bins) - 1; i > 0; i-- {
		box.grow(&bins[i].box.lo, &bins[i].box.hi)
		n += bins[i].count
		right[i] = float64(box.halfArea() * float64(n))
	}
	cost = math.Inf(1)
	box, n = emptyBox(), 0
	for i := 1; i < len(bins); i++ {
		box.grow(&bins[i-1].box.lo, &bins[i-1].box.hi)
		n += bins[i-1].count
		if c := whole + float64(hitCost*(float64(box.halfArea()*float64(n))+right[i])); c < cost {
			cost, at = c, i
		}
	}
	return cost, at
}

// partition moves the items before the cut to the front and returns how many they are; never none or
// all, since the extreme centres lie in the first and the last bin.
func partition(items []item, s split) int {
	i, j := 0, len(items)
	for i < j {
		if s.binOf(&items[i]) < s.bin {
			i++
		} else {
			j--
			items[i], items[j] = items[j], items[i]
		}
	}
	return i
}

// flatten copies the nodes that are in use, depth first, with sibling next to sibling.
func flatten(sparse []bvhNode) []bvhNode {
	used := 1
	for stack := []int32{0}; len(stack) > 0; {
		n := &sparse[stack[len(stack)-1]]
		stack = stack[:len(stack)-1]
		if n.count == 0 {
			used += 2
			stack = append(stack, n.first, n.first+1)
		}
	}
	dense := make([]bvhNode, 1, used)
	dense[0] = sparse[0]
	for stack := []int32{0}; len(stack) > 0; {
		at := stack[len(stack)-1]
		stack = stack[:len(stack)-1]
		if n := &dense[at]; n.count == 0 {
			k := n.first
			n.first = int32(len(dense))
			stack = append(stack, n.first+1, n.first)
			dense = append(dense, sparse[k], sparse[k+1])
		}
	}
	return dense
}
