package mouldability

import (
	"cmp"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// visibility answers, for one direction after another, which facets are caught at their middle:
// a ray from there along the facet's way out meets the part again. The answer is that of a ray, up
// to float32 rounding, but no ray is cast. The middles are sorted into a grid over the projection,
// once those facing up and once those facing down, and each triangle is laid over the grid and
// tested against the middles under it that face the other way. A middle found caught is dropped.
//
// A visibility is built once a part and never changes; each worker brings its own sight.
type visibility struct {
	points []point     // vertices about the centre of the part, in the order facets use them
	tris   [][3]uint32 // facets along a space-filling curve, so that neighbours share cache lines
	middle []point
	normal []point // unit; zero for a facet without area
	order  []int32 // facet here → facet of the mesh
	half   r3.Vec  // half the extents of the box around the part
	steps  float64 // of height a mm
	noise  int32   // in steps
	centre r3.Vec
}

// point is padded to a quarter of a cache line, so that none straddles two.
type point struct{ x, y, z, _ float32 }

func toPoint(v r3.Vec) point { return point{x: float32(v.X), y: float32(v.Y), z: float32(v.Z)} }

func newVisibility(m *mesh.Mesh) *visibility {
	b := m.Bounds()
	size := r3.Sub(b.Max, b.Min)
	s := &visibility{
		half:   r3.Scale(0.5, size),
		centre: r3.Scale(0.5, r3.Add(b.Min, b.Max)),
		// Heights stay within half the diagonal; a factor of two keeps their differences whole.
		steps: (1 << 29) / r3.Norm(size),
		noise: int32(math.Round(noiseRel * (1 << 29))),
		order: alongCurve(m, b),
	}
	place := make([]int32, len(m.Verts))
	for _, f := range s.order {
		var t [3]uint32
		for k, v := range m.Tris[f] {
			if place[v] == 0 {
				s.points = append(s.points, toPoint(r3.Sub(m.Verts[v], s.centre)))
				place[v] = int32(len(s.points))
			}
			t[k] = uint32(place[v] - 1)
		}
		s.tris = append(s.tris, t)
		c := m.Facet(int(f))
		for k := range c {
			c[k] = r3.Sub(c[k], s.centre)
		}
		n := r3.Cross(r3.Sub(c[1], c[0]), r3.Sub(c[2], c[0]))
		area2 := r3.Norm(n)
		if area2 > 0 {
			n = r3.Scale(1/area2, n)
		}
		s.middle = append(s.middle, toPoint(r3.Scale(1.0/3, r3.Add(c[0], r3.Add(c[1], c[2])))))
		s.normal = append(s.normal, toPoint(n))
	}
	return s
}

// alongCurve orders facets along a Morton curve through their middles.
func alongCurve(m *mesh.Mesh, b r3.Box) []int32 {
	type keyed struct {
		key   uint64
		facet int32
	}
	size := r3.Sub(b.Max, b.Min)
	scale := float64(1<<16-1) / max(size.X, size.Y, size.Z, math.SmallestNonzeroFloat64)
	ks := make([]keyed, len(m.Tris))
	for f := range m.Tris {
		c := r3.Scale(scale, r3.Sub(m.Facet(f).Centroid(), b.Min))
		ks[f] = keyed{spread(c.X) | spread(c.Y)<<1 | spread(c.Z)<<2, int32(f)}
	}
	slices.SortFunc(ks, func(a, b keyed) int {
		return cmp.Or(cmp.Compare(a.key, b.key), cmp.Compare(a.facet, b.facet))
	})
	order := make([]int32, len(ks))
	for i, k := range ks {
		order[i] = k.facet
	}
	return order
}

// spread puts two zero bits behind each of the low 16 bits of x.
func spread(x float64) uint64 {
	v := uint64(max(0, x)) & 0xffff
	v = (v | v<<16) & 0x0000ff0000ff
	v = (v | v<<8) & 0x00f00f00f00f
	v = (v | v<<4) & 0x0c30c30c30c3
	v = (v | v<<2) & 0x249249249249
	return v
}

// sight is one worker's scratch; nothing is allocated from one direction to the next.
type sight struct {
	v       *visibility
	seen    []spot   // vertices
	facing  []int8   // per facet: +1 up, −1 down, ±2 the same but a wall by its draft, 0 neither
	caught  []bool   // per facet, in the order of visibility
	cell    []uint32 // per facet: the cell of its middle
	samples []sample // middles by cell: all that face up, then all that face down
	start   []uint32 // first sample of each cell, both sides one after the other
	// tile holds per block of cells the least height of a sample: a triangle that stays below
	// catches nothing there, which decides most triangles at once.
	tile     []int32
	nx, ny   int     // cells
	tx, ty   int     // blocks
	heightMM float64 // extent along the direction
}

// sample is the middle of a facet that faces up; one that faces down is turned over, its height
// negated, so that "caught" always means that a triangle passes above.
type sample struct {
	x, y  float32
	z     int32
	facet int32
}

// spot is a vertex in the projection: x and y in cells, the cell it lies in, and its height. Heights
// are whole steps of the part's diagonal / 2²⁹, finer than float32, and quicker to compare: the least
// of integers takes no branch.
type spot struct {
	x, y   float32
	z      int32
	cx, cy uint16
}

const (
	cellsPerFacet = 0.5  // tuned on 100,000 facets; flat between 0.3 and 1
	tileShift     = 2    // blocks of 4 x 4 cells
	maxColumns    = 8192 // of cells, so that a needle of a part gets no absurd grid
)

func (v *visibility) newSight() *sight {
	n := len(v.tris)
	return &sight{
		v: v, seen: make([]spot, len(v.points)), facing: make([]int8, n), caught: make([]bool, n),
		cell: make([]uint32, n), samples: make([]sample, n),
	}
}

// axes32 is a frame in float32; x and y are scaled to cells and shifted to start at 0, z to steps.
type axes32 struct {
	x, y, z point
	x0, y0  float32
}

func (a *axes32) see(p point) (x, y float32, z int32) {
	return a.x.x*p.x + a.x.y*p.y + a.x.z*p.z + a.x0,
		a.y.x*p.x + a.y.y*p.y + a.y.z*p.z + a.y0,
		int32(a.z.x*p.x + a.z.y*p.y + a.z.z*p.z)
}

// never is the height of a sample that has been caught: no triangle passes above it again.
const never = math.MaxInt32

// look answers for direction d (unit); facing, caught and heightMM hold the answer.
func (s *sight) look(d r3.Vec) {
	a := s.layGrid(geom.FrameTo(d))
	s.project(&a)
	s.sortMiddles(&a)
	for i := range s.v.tris {
		if s.facing[i] != 0 {
			s.lay(i)
		}
	}
}

// layGrid sizes the grid to the shadow of the box around the part.
func (s *sight) layGrid(f geom.Frame) axes32 {
	h := s.v.half
	reach := func(x r3.Vec) float64 {
		return math.Abs(x.X)*h.X + math.Abs(x.Y)*h.Y + math.Abs(x.Z)*h.Z
	}
	hu, hv := reach(f.X), reach(f.Y)
	thin := float64(s.v.noise) / s.v.steps
	inv := math.Sqrt(cellsPerFacet * float64(len(s.v.tris)) / (4 * max(hu, thin) * max(hv, thin)))
	inv = min(inv, maxColumns/(2*max(hu, hv, thin)))
	s.nx, s.ny = int(2*hu*inv)+2, int(2*hv*inv)+2
	s.tx, s.ty = s.nx>>tileShift+1, s.ny>>tileShift+1
	s.start = zeroed(s.start, 2*s.nx*s.ny+1)
	s.tile = zeroed(s.tile, 2*s.tx*s.ty)
	for i := range s.tile {
		s.tile[i] = never
	}
	return axes32{
		x: toPoint(r3.Scale(inv, f.X)), y: toPoint(r3.Scale(inv, f.Y)), z: toPoint(r3.Scale(s.v.steps, f.Z)),
		x0: float32(hu*inv) + 0.5, y0: float32(hv*inv) + 0.5,
	}
}

func zeroed[T uint32 | int32](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

func (s *sight) project(a *axes32) {
	lo, hi := int32(math.MaxInt32), int32(math.MinInt32)
	seen := s.seen[:len(s.v.points)]
	for i, p := range s.v.points {
		x, y, z := a.see(p)
		seen[i] = spot{x, y, z, uint16(int32(x)), uint16(int32(y))}
		lo, hi = min(lo, z), max(hi, z)
	}
	s.heightMM = (float64(hi) - float64(lo)) / s.v.steps
}

// sortMiddles bins the middles by a counting sort and notes the least height in each block.
func (s *sight) sortMiddles(a *axes32) {
	v, nx, cells := s.v, uint32(s.nx), uint32(s.nx*s.ny)
	facing, cell, start := s.facing[:len(v.normal)], s.cell[:len(v.normal)], s.start
	// Normals are unit, the axis is in steps.
	limit := float32(sinZeroDraft * s.v.steps)
	for i, n := range v.normal {
		s.caught[i] = false
		side := uint32(0)
		switch nz := a.z.x*n.x + a.z.y*n.y + a.z.z*n.z; {
		case nz > limit:
			facing[i] = 1
		case nz < -limit:
			facing[i], side = -1, cells
		case nz > 0: // walls aren't asked whether they are caught, but may catch others
			facing[i] = 2
			continue
		case nz < 0:
			facing[i] = -2
			continue
		default:
			facing[i] = 0
			continue
		}
		x, y, _ := a.see(v.middle[i])
		c := uint32(int32(y))*nx + uint32(int32(x)) + side
		cell[i] = c
		start[c]++
	}
	sum := uint32(0)
	for c, n := range start {
		start[c] = sum
		sum += n
	}
	tile, tx, down := s.tile, int32(s.tx), int32(s.tx*s.ty)
	for i, m := range v.middle {
		if facing[i] != 1 && facing[i] != -1 {
			continue
		}
		x, y, z := a.see(m)
		block := int32(y)>>tileShift*tx + int32(x)>>tileShift
		if facing[i] < 0 {
			z = -z
			block += down
		}
		tile[block] = min(tile[block], z)
		at := start[cell[i]]
		start[cell[i]]++
		s.samples[at] = sample{x, y, z, int32(i)}
	}
	// Each start has moved on to the next cell's; move them back.
	copy(start[1:], start)
	start[0] = 0
}

// lay tests triangle i against the middles under it.
func (s *sight) lay(i int) {
	t := &s.v.tris[i]
	a, b, c := s.seen[t[0]], s.seen[t[1]], s.seen[t[2]]
	side, tiles := 0, s.tile
	if s.facing[i] > 0 { // a floor: it catches what faces down, seen turned over
		side = s.nx * s.ny
		tiles = tiles[s.tx*s.ty:]
		a.z, b.z, c.z = -a.z, -b.z, -c.z
	} else { // a roof runs clockwise
		b, c = c, b
	}
	top := max(a.z, b.z, c.z) - s.v.noise
	x0, x1 := int(min(a.cx, b.cx, c.cx)), int(max(a.cx, b.cx, c.cx))
	y0, y1 := int(min(a.cy, b.cy, c.cy)), int(max(a.cy, b.cy, c.cy))
	if below(tiles, s.tx, top, x0, x1, y0, y1) {
		return
	}
	r := newLain(&a, &b, &c, top, s.v.noise)
	if y1-y0 < 4 {
		start := s.start[side+y0*s.nx:]
		for y := y0; y <= y1; y++ {
			if from, to := start[x0], start[x1+1]; from < to {
				r.test(s.samples[from:to], s.caught)
			}
			start = start[s.nx:]
		}
		return
	}
	s.layRows(&r, [3]spot{a, b, c}, side, y0, y1)
}

// below says whether all samples in the blocks around the triangle stand above its top.
func below(tiles []int32, tx int, top int32, x0, x1, y0, y1 int) bool {
	x0, x1 = x0>>tileShift, x1>>tileShift
	for y := y0 >> tileShift; y <= y1>>tileShift; y++ {
		for _, least := range tiles[y*tx+x0 : y*tx+x1+1] {
			if least < top {
				return false
			}
		}
	}
	return true
}

// lain is a counter-clockwise triangle ready to be tested: corner a, the edges from it, twice its
// area, and its height as a slope along each edge.
type lain struct {
	ax, ay, bx, by, cx, cy float32
	area                   float32
	az, bz, cz             float32 // heights, the edges' less that of a, all times the area but az
	top                    int32
}

func newLain(a, b, c *spot, top, noise int32) lain {
	r := lain{ax: a.x, ay: a.y, bx: b.x - a.x, by: b.y - a.y, cx: c.x - a.x, cy: c.y - a.y, top: top}
	r.area = r.bx*r.cy - r.by*r.cx
	r.az = float32(a.z - noise)
	r.bz, r.cz = float32(b.z-a.z), float32(c.z-a.z)
	return r
}

// test marks the facets of those samples that lie under the triangle.
func (r *lain) test(samples []sample, caught []bool) {
	for k := range samples {
		q := &samples[k]
		if q.z >= r.top {
			continue
		}
		x, y := q.x-r.ax, q.y-r.ay
		toC := r.bx*y - r.by*x // the weight of c times the area
		if toC < 0 {
			continue
		}
		toB := x*r.cy - y*r.cx
		if toB < 0 || toB+toC > r.area {
			continue
		}
		if toB*r.bz+toC*r.cz > (float32(q.z)-r.az)*r.area {
			caught[q.facet] = true
			q.z = never
		}
	}
}

// layRows is lay for a tall triangle: it keeps to the cells that the triangle passes in each row.
func (s *sight) layRows(r *lain, t [3]spot, side, y0, y1 int) {
	for y := y0; y <= y1; y++ {
		lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
		p := t[2]
		for _, q := range t {
			lo, hi = edgeInRow(p, q, float32(y), lo, hi)
			p = q
		}
		if lo > hi {
			continue
		}
		row := side + y*s.nx
		// Crossings are rounded, so a hair's width is added on both sides.
		x0, x1 := max(0, int(lo-1e-3)), min(s.nx-1, int(hi+1e-3))
		r.test(s.samples[s.start[row+x0]:s.start[row+x1+1]], s.caught)
	}
}

// edgeInRow widens lo…hi by the edge from p to q within the row y…y+1.
func edgeInRow(p, q spot, y, lo, hi float32) (float32, float32) {
	if p.y > q.y {
		p, q = q, p
	}
	if q.y < y || p.y > y+1 {
		return lo, hi
	}
	slope := float32(0)
	if q.y > p.y {
		slope = (q.x - p.x) / (q.y - p.y)
	}
	x, z := p.x, q.x
	if p.y < y {
		x = p.x + slope*(y-p.y)
	}
	if q.y > y+1 {
		z = p.x + slope*(y+1-p.y)
	}
	return min(lo, x, z), max(hi, x, z)
}
