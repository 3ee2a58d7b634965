package mouldability

import (
	"cmp"
	"container/heap"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// DefaultDepthCells is how many grid cells an undercut is divided into to find its depth.
const DefaultDepthCells = 40000

const (
	// mostCrossings of columns and facets are kept for one undercut, some 200 MB with the layers that come of
	// them; where columns pass more, because much is stacked there, they are laid wider by coarser.
	mostCrossings = 2 << 20
	coarser       = 1.5
	// Where the front does not reach more than missedShare of the undercut's layers, its void is thinner
	// there than the columns: they are laid finer, so often at the most.
	missedShare = 0.02
	finer       = 1.6
	finerTries  = 3
)

// finerThanAsked bounds the cells that a long narrow undercut may take, as a multiple of those asked.
const finerThanAsked = 10

// diver finds the depth of an undercut: it cuts the projection into square cells, lists the layers
// of air in each column, and lets a front run through connected layers from those that are open
// above or below (fast marching: Sethian, PNAS 93 (1996) 1591). Only the columns under the undercut
// and one ring around them are made.
type diver struct {
	p     *projection
	grids [2]*facetGrid
	stamp []int32

	h        float64 // cell size in mm
	low, top float64 // heights between which the undercut lies
	// deep counts how many solids a column is in where it comes to low; shut says whether it passes the
	// part below low and above top. What lies there is not listed: of a stack only one void is of interest.
	deep []int16
	shut []shutters

	cells []cellKey
	first []int32    // first layer of each cell
	sides [][4]int32 // cells to the left, right, below, above; −1 for none
	air   []layer
	cross []crossing

	crowded bool              // columns had to be laid wider
	walls   map[[2]int32]bool // between two layers, as far as asked
}

// cellKey orders cells by row, then column.
type cellKey struct {
	row, col int32
	inside   bool // under the undercut, not only in the ring
}

func (k cellKey) compare(o cellKey) int {
	if k.row != o.row {
		return cmp.Compare(k.row, o.row)
	}
	return cmp.Compare(k.col, o.col)
}

// crossing is where a column passes a facet.
type crossing struct {
	cell, facet int32
	z           float64
	up          bool
}

// shutters say on which sides of the undercut's heights a column passes the part.
type shutters uint8

const (
	shutBelow shutters = 1 << iota
	shutAbove
)

// In place of a facet, floor and roof of a layer say that it is open there, or that the part closes it
// somewhere beyond the undercut's heights.
const (
	openEnd int32 = -1
	farEnd  int32 = -2
)

// layer is one stretch of air in a column, between a floor and a roof.
type layer struct {
	lo, hi      float64
	floor, roof int32
	cell        int32
	at          float64 // mm to the open
	from        Half    // whose material comes in on that way
	done        bool
}

func (l *layer) open() bool { return l.floor == openEnd || l.roof == openEnd }

// dive fills in DepthMM, DepthErrorMM and Holds of u. id is a stamp no other undercut has.
func (d *diver) dive(ctx context.Context, id int32, u *Undercut, want int) {
	plan := u.plan()
	diag := r2.Norm(r2.Sub(plan.Max, plan.Min))
	width := u.FloorMM2 / diag
	// A narrow band needs cells by its width, a compact one by its area.
	d.h = max(min(math.Sqrt(u.FloorMM2/float64(want)), width/10), math.Sqrt(u.FloorMM2/float64(finerThanAsked*want)), diag/1e6)
	d.low, d.top = math.Inf(1), math.Inf(-1)
	for _, f := range u.Facets {
		a, b, c := d.p.facet(int(f))
		d.low, d.top = min(d.low, a.Z, b.Z, c.Z), max(d.top, a.Z, b.Z, c.Z)
	}
	var deepest *layer
	for try := 0; ; try++ {
		if !d.lay(ctx, id, u) {
			return
		}
		var missed float64
		deepest, missed = d.march(ctx, u)
		if missed <= missedShare || try == finerTries || d.crowded {
			if missed > missedShare { // the front came to rest where the void is thinner than a column
				u.DepthErrorMM = diag
			}
			break
		}
		d.h /= finer
	}
	if deepest == nil { // thinner than the cells all over: the box bounds it
		u.DepthMM, u.DepthErrorMM = diag/2, diag/2
		return
	}
	// The open edge lies within half a cell, the far end within half a cell, and the front gains
	// or loses up to half a cell where it bends.
	u.DepthMM, u.DepthErrorMM, u.Holds = deepest.at+d.h/2, u.DepthErrorMM+1.5*d.h, deepest.from
}

// lay makes the columns and their layers, wider than asked where else too many would be; false when ctx has
// ended.
func (d *diver) lay(ctx context.Context, id int32, u *Undercut) bool {
	for d.crowded = false; ; d.h *= coarser {
		d.columns(u.regions)
		d.linkSides()
		if d.pass(ctx, id) {
			break
		}
		d.crowded = true
		clear(d.stamp)
	}
	if ctx.Err() != nil {
		return false
	}
	clear(d.stamp)
	d.layers()
	d.walls = map[[2]int32]bool{}
	return true
}

// columns lists the cells whose middle lies under a piece, and the ring around them.
func (d *diver) columns(regions []region) {
	d.cells = d.cells[:0]
	under := func(poly []r2.Vec) {
		b := boxOf(poly)
		for row := d.cellAt(b.Min.Y); row <= d.cellAt(b.Max.Y); row++ {
			lo, hi := rowRange(poly, d.middle(row))
			for col := int32(math.Ceil(lo/d.h - 0.5)); col <= int32(math.Floor(hi/d.h-0.5)) && lo <= hi; col++ {
				d.cells = append(d.cells, cellKey{row, col, true})
			}
		}
	}
	for i := range regions {
		regions[i].each(under)
	}
	slices.SortFunc(d.cells, cellKey.compare)
	inside := slices.CompactFunc(d.cells, func(a, b cellKey) bool { return a.compare(b) == 0 })
	n := len(inside)
	for _, k := range inside[:n:n] {
		inside = append(inside, cellKey{k.row - 1, k.col, false}, cellKey{k.row + 1, k.col, false},
			cellKey{k.row, k.col - 1, false}, cellKey{k.row, k.col + 1, false})
	}
	slices.SortStableFunc(inside, cellKey.compare) // stable: the mark of being inside comes first
	d.cells = slices.CompactFunc(inside, func(a, b cellKey) bool { return a.compare(b) == 0 })
}

// linkSides finds the cells beside each cell, by one sweep with a second place one row behind.
func (d *diver) linkSides() {
	d.sides = slices.Grow(d.sides[:0], len(d.cells))[:len(d.cells)]
	below := 0
	for i, k := range d.cells {
		d.sides[i] = [4]int32{-1, -1, -1, -1}
		if i > 0 && d.cells[i-1].row == k.row && d.cells[i-1].col == k.col-1 {
			d.sides[i][0], d.sides[i-1][1] = int32(i-1), int32(i)
		}
		want := cellKey{row: k.row - 1, col: k.col}
		for d.cells[below].compare(want) < 0 {
			below++
		}
		if d.cells[below].compare(want) == 0 {
			d.sides[i][2], d.sides[below][3] = int32(below), int32(i)
		}
	}
}

func (d *diver) cellAt(x float64) int32 { return int32(math.Floor(x / d.h)) }
func (d *diver) middle(i int32) float64 { return (float64(i) + 0.5) * d.h }
func (d *diver) find(k cellKey) (int, bool) {
	return slices.BinarySearchFunc(d.cells, k, cellKey.compare)
}

// rowRange is the extent in x of a convex polygon on the line y; lo > hi when they don't meet.
func rowRange(poly []r2.Vec, y float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for k, p := range poly {
		q := poly[(k+1)%len(poly)]
		if (p.Y <= y) != (q.Y <= y) {
			x := crossX(p, q, y)
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	return lo, hi
}

// crossX is where the line y meets the edge; the same for both ways round, to the last bit, so that
// neighbouring facets leave no gap and share no cell.
func crossX(p, q r2.Vec, y float64) float64 {
	if q.Y < p.Y || q.Y == p.Y && q.X < p.X {
		p, q = q, p
	}
	return p.X + (q.X-p.X)*((y-p.Y)/(q.Y-p.Y))
}

// pass finds where each column passes a facet; false when that is too often to be kept.
func (d *diver) pass(ctx context.Context, id int32) (kept bool) {
	d.cross = d.cross[:0]
	d.deep, d.shut = cleared(d.deep, len(d.cells)), cleared(d.shut, len(d.cells))
	for i := 0; i < len(d.cells) && ctx.Err() == nil; {
		if len(d.cross) > mostCrossings {
			return false
		}
		j := i + 1 // a run of neighbouring cells in one row
		for j < len(d.cells) && d.cells[j].row == d.cells[i].row && d.cells[j].col == d.cells[j-1].col+1 {
			j++
		}
		y := d.middle(d.cells[i].row)
		a := r2.Vec{X: d.middle(d.cells[i].col), Y: y}
		b := r2.Vec{X: d.middle(d.cells[j-1].col), Y: y}
		for _, g := range d.grids {
			g.spans(a, b, b, func(row, x0, x1 int) {
				for _, f := range g.items[g.start[row*g.nx+x0]:g.start[row*g.nx+x1+1]] {
					if d.stamp[f] != id {
						d.stamp[f] = id
						d.enter(f)
					}
				}
			})
		}
		i = j
	}
	slices.SortFunc(d.cross, func(a, b crossing) int {
		if a.cell != b.cell {
			return cmp.Compare(a.cell, b.cell)
		}
		return cmp.Or(cmp.Compare(a.z, b.z), cmp.Compare(a.facet, b.facet))
	})
	return true
}

func cleared[T int16 | shutters](s []T, n int) []T {
	s = slices.Grow(s[:0], n)[:n]
	clear(s)
	return s
}

// enter adds the crossings of facet f with all columns.
func (d *diver) enter(f int32) {
	a3, b3, c3 := d.p.facet(int(f))
	tri := []r2.Vec{xy(a3), xy(b3), xy(c3)}
	z := d.p.planeOf(int(f), tri[0])
	zlo, zhi := min(a3.Z, b3.Z, c3.Z), max(a3.Z, b3.Z, c3.Z)
	b := boxOf(tri)
	r0 := max(d.cellAt(b.Min.Y), d.cells[0].row)
	r1 := min(d.cellAt(b.Max.Y), d.cells[len(d.cells)-1].row)
	for row := r0; row <= r1; row++ {
		y := d.middle(row)
		lo, hi := rowRange(tri, y)
		if lo > hi {
			continue
		}
		// Half open: a column on a shared edge passes one of the two facets.
		c0, c1 := int32(math.Ceil(lo/d.h-0.5)), int32(math.Ceil(hi/d.h-0.5))-1
		i, _ := d.find(cellKey{row: row, col: c0})
		for ; i < len(d.cells) && d.cells[i].row == row && d.cells[i].col <= c1; i++ {
			v := r2.Vec{X: d.middle(d.cells[i].col) - tri[0].X, Y: y - tri[0].Y}
			at := min(zhi, max(zlo, z.at(v)))
			switch up := d.p.facing[f] == Up; {
			case at > d.top:
				d.shut[i] |= shutAbove
			case at >= d.low:
				d.cross = append(d.cross, crossing{int32(i), f, at, up})
			case up:
				d.shut[i] |= shutBelow
				d.deep[i]--
			default:
				d.shut[i] |= shutBelow
				d.deep[i]++
			}
		}
	}
}

// layers turns the crossings of each column into stretches of air, by counting how deep inside the
// part the column is: on its way up it enters at a roof, which faces down, and leaves at a floor.
func (d *diver) layers() {
	d.air, d.first = d.air[:0], d.first[:0]
	k := 0
	for i := range d.cells {
		d.first = append(d.first, int32(len(d.air)))
		cur := layer{lo: math.Inf(-1), floor: openEnd, roof: openEnd, cell: int32(i), at: math.Inf(1)}
		if d.shut[i]&shutBelow != 0 {
			cur.floor = farEnd
		}
		depth := int(d.deep[i])
		for ; k < len(d.cross) && d.cross[k].cell == int32(i); k++ {
			x := d.cross[k]
			if x.up {
				if depth--; depth == 0 {
					cur.lo, cur.floor = x.z, x.facet
				}
				continue
			}
			if depth++; depth == 1 {
				cur.hi, cur.roof = x.z, x.facet
				d.air = append(d.air, cur)
				cur.roof = openEnd
			}
		}
		if depth > 0 { // the column leaves the undercut's heights within the part
			continue
		}
		cur.hi = math.Inf(1)
		if d.shut[i]&shutAbove != 0 {
			cur.roof = farEnd
		}
		d.air = append(d.air, cur)
	}
	d.first = append(d.first, int32(len(d.air)))
}

// march runs the front and returns the layer of u that it reaches last, nil when it reaches none, and the
// share of its layers that it does not reach.
func (d *diver) march(ctx context.Context, u *Undercut) (deepest *layer, missed float64) {
	own := func(l *layer) bool {
		return !l.open() && d.cells[l.cell].inside && (isMember(u.Facets, l.floor) || isMember(u.Facets, l.roof))
	}
	q := &front{}
	for i := range d.air {
		if l := &d.air[i]; l.open() {
			l.from = l.side()
			l.at = -d.h / 2 // the edge is half a cell from the first middle on either side
			*q = append(*q, arrival{l.at, int32(i)})
		}
	}
	heap.Init(q)
	for steps := 0; q.Len() > 0; steps++ {
		if steps&4095 == 0 && ctx.Err() != nil {
			return nil, 0
		}
		i := heap.Pop(q).(arrival).layer
		l := &d.air[i]
		if l.done {
			continue
		}
		l.done = true
		if own(l) && (deepest == nil || l.at > deepest.at) {
			deepest = l
		}
		d.neighbours(i, func(n int32, _ int) {
			o := &d.air[n]
			if o.done || o.open() {
				return
			}
			if t := d.arrive(n); t < o.at {
				o.at, o.from = t, l.from
				heap.Push(q, arrival{t, n})
			}
		})
	}
	all, left := 0, 0
	for i := range d.air {
		if own(&d.air[i]) {
			all++
			if !d.air[i].done {
				left++
			}
		}
	}
	return deepest, float64(left) / float64(max(1, all))
}

func (l *layer) side() Half {
	switch {
	case l.floor != openEnd:
		return UpperHalf
	case l.roof != openEnd:
		return LowerHalf
	}
	return BothHalves
}

func isMember(sorted []int32, f int32) bool {
	_, ok := slices.BinarySearch(sorted, f)
	return ok
}

// arrive solves |∇t| = 1 at layer n from the neighbours that the front has passed.
func (d *diver) arrive(n int32) float64 {
	near := [2]float64{math.Inf(1), math.Inf(1)}
	d.neighbours(n, func(o int32, axis int) {
		if d.air[o].done {
			near[axis] = min(near[axis], d.air[o].at)
		}
	})
	a, b := min(near[0], near[1]), max(near[0], near[1])
	if b-a >= d.h {
		return a + d.h
	}
	return (a + b + math.Sqrt(2*d.h*d.h-(b-a)*(b-a))) / 2
}

// neighbours visits the layers in the four cells around that air can pass to from layer i.
func (d *diver) neighbours(i int32, visit func(n int32, axis int)) {
	l := &d.air[i]
	for k, c := range d.sides[l.cell] {
		if c < 0 {
			continue
		}
		axis := k / 2
		for n := d.first[c]; n < d.first[c+1]; n++ {
			o := &d.air[n]
			// In a thin sloping void neighbours need not overlap: the same floor or roof joins them.
			if l.floor >= 0 && l.floor == o.floor || l.roof >= 0 && l.roof == o.roof ||
				min(l.hi, o.hi) > max(l.lo, o.lo) && (l.open() == o.open() || !d.walled(i, n)) {
				visit(n, axis)
			}
		}
	}
}

// walled says whether a wall thinner than a column stands between two layers of neighbouring columns, one of them open:
// without the question the front would leap over it into a void that is closed there.
func (d *diver) walled(i, n int32) bool {
	key := [2]int32{min(i, n), max(i, n)}
	if w, known := d.walls[key]; known {
		return w
	}
	l, o := &d.air[i], &d.air[n]
	lo, hi := max(l.lo, o.lo, d.low-d.h), min(l.hi, o.hi, d.top+d.h)
	a, b := d.cells[l.cell], d.cells[o.cell]
	p, q := r2.Vec{X: d.middle(a.col), Y: d.middle(a.row)}, r2.Vec{X: d.middle(b.col), Y: d.middle(b.row)}
	wall := true
	for _, s := range [3]float64{0.5, 0.15, 0.85} { // of the heights that both have
		free := true
		for _, t := range [3]float64{0.5, 0.25, 0.75} { // of the way from one to the other
			at := r2.Add(p, r2.Scale(t, r2.Sub(q, p)))
			free = free && !d.inside(r3.Vec{X: at.X, Y: at.Y, Z: lo + s*(hi-lo)})
		}
		wall = wall && !free
	}
	d.walls[key] = wall
	return wall
}

// inside says whether a point of the frame is in the part: going up from it, more floors than roofs are passed.
func (d *diver) inside(p r3.Vec) bool {
	depth := 0
	for k, g := range d.grids {
		c := g.cellsOf(xy(p))
		cell := g.clampY(c.Y)*g.nx + g.clampX(c.X)
		for _, f := range g.items[g.start[cell]:g.start[cell+1]] {
			v, w, x := d.p.facet(int(f))
			tri := [3]r2.Vec{xy(v), xy(w), xy(x)}
			// A row through the point meets the facet half open, as columns do, so that neighbours share no point.
			lo, hi := rowRange(tri[:], p.Y)
			if lo > hi || p.X < lo || p.X >= hi {
				continue
			}
			if d.p.planeOf(int(f), tri[0]).at(r2.Sub(xy(p), tri[0])) > p.Z {
				if k == 0 {
					depth++ // a floor: below it is the part
				} else {
					depth--
				}
			}
		}
	}
	return depth > 0
}

// arrival is a layer and when the front may reach it, in mm from the open.
type arrival struct {
	at    float64
	layer int32
}

// front is the heap of arrivals; ties go to the lower layer so that runs repeat.
type front []arrival

func (q front) Len() int { return len(q) }
func (q front) Less(a, b int) bool {
	return q[a].at < q[b].at || q[a].at == q[b].at && q[a].layer < q[b].layer
}
func (q front) Swap(a, b int) { q[a], q[b] = q[b], q[a] }
func (q *front) Push(x any)   { *q = append(*q, x.(arrival)) }
func (q *front) Pop() any {
	x := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return x
}
