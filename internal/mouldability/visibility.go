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
	noise  float32
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
		noise:  float32(noiseRel * r3.Norm(size)),
		order:  alongCurve(m, b),
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
	seen    []point  // vertices: x and y in cells, z in mm along the direction
	facing  []int8   // per facet: +1 up, −1 down, ±2 the same but a wall by its draft, 0 neither
	caught  []bool   // per facet, in the order of visibility
	cell    []uint32 // per facet: the cell of its middle
	samples []sample // middles by cell: all that face up, then all that face down
	start   []uint32 // first sample of each cell, both sides one after the other
	// tile holds per block of cells the least height of a sample: a triangle that stays below
	// catches nothing there, which decides most triangles at once.
	tile   []float32
	nx, ny int // cells
	tx, ty int // blocks
	loMM   float32
	hiMM   float32 // extent along the direction
}

// sample is the middle of a facet that faces up; one that faces down is turned over, its height
// negated, so that "caught" always means that a triangle passes above.
type sample struct {
	u, v, w float32
	facet   int32
}

const (
	cellsPerFacet = 0.5  // tuned on 100,000 facets; flat between 0.3 and 1
	tileShift     = 2    // blocks of 4 x 4 cells
	maxColumns    = 8192 // of cells, so that a needle of a part gets no absurd grid
)

func (v *visibility) newSight() *sight {
	n := len(v.tris)
	return &sight{
		v: v, seen: make([]point, len(v.points)), facing: make([]int8, n), caught: make([]bool, n),
		cell: make([]uint32, n), samples: make([]sample, n),
	}
}

// axes32 is a frame in float32; x and y are scaled to cells and shifted to start at 0.
type axes32 struct {
	x, y, z point
	u0, v0  float32
}

func (a *axes32) see(p point) (u, v, w float32) {
	return a.x.x*p.x + a.x.y*p.y + a.x.z*p.z + a.u0,
		a.y.x*p.x + a.y.y*p.y + a.y.z*p.z + a.v0,
		a.z.x*p.x + a.z.y*p.y + a.z.z*p.z
}

// look answers for direction d (unit); facing, caught, loMM and hiMM hold the answer.
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
	thin := float64(s.v.noise)
	inv := math.Sqrt(cellsPerFacet * float64(len(s.v.tris)) / (4 * max(hu, thin) * max(hv, thin)))
	inv = min(inv, maxColumns/(2*max(hu, hv, thin)))
	s.nx, s.ny = int(2*hu*inv)+2, int(2*hv*inv)+2
	s.tx, s.ty = s.nx>>tileShift+1, s.ny>>tileShift+1
	s.start = zeroed(s.start, 2*s.nx*s.ny+1)
	s.tile = zeroed(s.tile, 2*s.tx*s.ty)
	for i := range s.tile {
		s.tile[i] = float32(math.Inf(1))
	}
	return axes32{
		x: toPoint(r3.Scale(inv, f.X)), y: toPoint(r3.Scale(inv, f.Y)), z: toPoint(f.Z),
		u0: float32(hu*inv) + 0.5, v0: float32(hv*inv) + 0.5,
	}
}

func zeroed[T uint32 | float32](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	s = s[:n]
	clear(s)
	return s
}

func (s *sight) project(a *axes32) {
	lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
	seen := s.seen
	for i, p := range s.v.points {
		u, v, w := a.see(p)
		seen[i] = point{u, v, w, 0}
		lo, hi = min(lo, w), max(hi, w)
	}
	s.loMM, s.hiMM = lo, hi
}

// sortMiddles bins the middles by a counting sort and notes the least height in each block.
func (s *sight) sortMiddles(a *axes32) {
	v, cells := s.v, uint32(s.nx*s.ny)
	facing, cell, start := s.facing[:len(v.normal)], s.cell[:len(v.normal)], s.start
	limit := float32(sinZeroDraft)
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
		c := uint32(y)*uint32(s.nx) + uint32(x) + side
		cell[i] = c
		start[c]++
	}
	sum := uint32(0)
	for c, n := range start {
		start[c] = sum
		sum += n
	}
	for i, m := range v.middle {
		if facing[i] != 1 && facing[i] != -1 {
			continue
		}
		x, y, w := a.see(m)
		block := int(y)>>tileShift*s.tx + int(x)>>tileShift
		if facing[i] < 0 {
			w = -w
			block += s.tx * s.ty
		}
		s.tile[block] = min(s.tile[block], w)
		at := start[cell[i]]
		start[cell[i]]++
		s.samples[at] = sample{x, y, w, int32(i)}
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
	x0, x1 := int(min(a.x, b.x, c.x)), int(max(a.x, b.x, c.x))
	y0, y1 := int(min(a.y, b.y, c.y)), int(max(a.y, b.y, c.y))
	if s.below(tiles, top, x0, x1, y0, y1) {
		return
	}
	if y1-y0 < 4 {
		for y := y0; y <= y1; y++ {
			row := side + y*s.nx
			s.test(a, b, c, top, s.start[row+x0], s.start[row+x1+1])
		}
		return
	}
	s.layRows(a, b, c, top, side, y0, y1)
}

// below says whether all samples in the blocks around the triangle stand above its top.
func (s *sight) below(tiles []float32, top float32, x0, x1, y0, y1 int) bool {
	x0, x1 = x0>>tileShift, x1>>tileShift
	for y := y0 >> tileShift; y <= y1>>tileShift; y++ {
		for _, least := range tiles[y*s.tx+x0 : y*s.tx+x1+1] {
			if least < top {
				return false
			}
		}
	}
	return true
}

// test marks those of the samples from…to that lie under the counter-clockwise triangle a, b, c.
func (s *sight) test(a, b, c point, top float32, from, to uint32) {
	samples := s.samples[from:to]
	for k := range samples {
		q := &samples[k]
		if q.w >= top {
			continue
		}
		e2 := (b.x-a.x)*(q.v-a.y) - (b.y-a.y)*(q.u-a.x)
		if e2 < 0 {
			continue
		}
		e0 := (c.x-b.x)*(q.v-b.y) - (c.y-b.y)*(q.u-b.x)
		if e0 < 0 {
			continue
		}
		e1 := (a.x-c.x)*(q.v-c.y) - (a.y-c.y)*(q.u-c.x)
		if e1 < 0 {
			continue
		}
		if e0*a.z+e1*b.z+e2*c.z > (q.w+s.v.noise)*(e0+e1+e2) {
			s.caught[q.facet] = true
			q.w = float32(math.Inf(1)) // answered: no triangle is above it again
		}
	}
}

// layRows is lay for a tall triangle: it keeps to the cells that the triangle passes in each row.
func (s *sight) layRows(a, b, c point, top float32, side, y0, y1 int) {
	for y := y0; y <= y1; y++ {
		lo, hi := float32(math.Inf(1)), float32(math.Inf(-1))
		p := c
		for _, q := range [3]point{a, b, c} {
			lo, hi = edgeInRow(p, q, float32(y), lo, hi)
			p = q
		}
		if lo > hi {
			continue
		}
		row := side + y*s.nx
		// Crossings are rounded, so a hair's width is added on both sides.
		x0, x1 := max(0, int(lo-1e-3)), min(s.nx-1, int(hi+1e-3))
		s.test(a, b, c, top, s.start[row+x0], s.start[row+x1+1])
	}
}

// edgeInRow widens lo…hi by the edge from p to q within the row y…y+1.
func edgeInRow(p, q point, y, lo, hi float32) (float32, float32) {
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
