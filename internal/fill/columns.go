package fill

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// grid is a square grid of columns that stand along gravity. Column (i, j) has its centre at
// x0 + i·pitch, y0 + j·pitch in the frame.
type grid struct {
	frame  geom.Frame // takes up to +z
	pitch  float64
	x0, y0 float64
	nx, ny int
}

// columns is the space inside a mesh, cut by a grid: along each column's centre line, the exact
// heights between which it is open.
type columns struct {
	grid
	first  []int32 // runs of column k are first[k]:first[k+1], from the bottom up
	column []int32 // of each run
	lo, hi []float64
}

// maxColumns bounds a grid: about 40 bytes a run.
const maxColumns = 1 << 26

// gridOver lays a grid over a box in the frame. Centres are moved off by an odd share of the pitch,
// so that faces at round coordinates do not fall on them.
func gridOver(frame geom.Frame, b r3.Box, pitch float64) (grid, error) {
	const off = 0.4871 // of a pitch: near the middle, not on it
	g := grid{frame: frame, pitch: pitch, x0: b.Min.X + off*pitch, y0: b.Min.Y + off*pitch}
	nx, ny := math.Ceil((b.Max.X-b.Min.X)/pitch), math.Ceil((b.Max.Y-b.Min.Y)/pitch)
	if nx*ny > maxColumns {
		return g, &TooFineError{pitch, pitch * math.Sqrt(nx*ny/maxColumns), nx * ny}
	}
	g.nx, g.ny = max(1, int(nx)), max(1, int(ny))
	return g, nil
}

// cell is the column whose square holds the frame point (x, y); clamped to the grid.
func (g *grid) cell(x, y float64) (i, j int) {
	i = int(math.Floor((x-g.x0)/g.pitch + 0.5))
	j = int(math.Floor((y-g.y0)/g.pitch + 0.5))
	return min(max(i, 0), g.nx-1), min(max(j, 0), g.ny-1)
}

// pierce is a place where a column's centre line passes the surface. The key is twice the column's
// number, plus 1 where going up leads in.
type pierce struct {
	key uint32
	z   float64
}

func (p pierce) col() int32  { return int32(p.key >> 1) }
func (p pierce) enter() bool { return p.key&1 != 0 }

// bandRows is how many grid rows one goroutine takes at a time.
const bandRows = 16

// cutColumns finds the open runs of every column.
//
// A row of column centres is a plane. It cuts the mesh along closed chains: where a mesh edge crosses
// the plane is worked out from the edge alone, lower vertex number first, so the two facets at it
// agree to the last bit, and along the row every column meets each chain a balanced number of times.
// No column ever leaks, whatever the rounding.
func cutColumns(ctx context.Context, g grid, m *mesh.Mesh, workers int) (*columns, error) {
	verts := make([]r3.Vec, len(m.Verts))
	for i, v := range m.Verts {
		verts[i] = g.frame.Apply(v)
	}
	bands := (g.ny + bandRows - 1) / bandRows
	byBand := g.facetsByBand(verts, m.Tris, bands)
	found := make([][]pierce, bands)
	var nextBand atomic.Int64
	var wg sync.WaitGroup
	for range min(workers, bands) {
		wg.Go(func() {
			for {
				b := int(nextBand.Add(1)) - 1
				if b >= bands || ctx.Err() != nil {
					return
				}
				found[b] = g.band(verts, m.Tris, byBand(b), b)
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("cut the cavity into columns: %w", err)
	}
	return g.runs(found), nil
}

// rows is the range of grid rows whose planes a facet crosses.
func (g *grid) rows(a, b, c r3.Vec) (lo, hi int) {
	low, high := min(a.Y, b.Y, c.Y), max(a.Y, b.Y, c.Y)
	lo = max(0, int(math.Ceil((low-g.y0)/g.pitch-1e-9)))
	hi = min(g.ny-1, int(math.Floor((high-g.y0)/g.pitch+1e-9)))
	return lo, hi
}

// facetsByBand lists for every band the facets that reach into it, by number.
func (g *grid) facetsByBand(verts []r3.Vec, tris [][3]uint32, bands int) func(band int) []int32 {
	first := make([]int32, bands+1)
	each := func(visit func(f int32, band int)) {
		for f, t := range tris {
			lo, hi := g.rows(verts[t[0]], verts[t[1]], verts[t[2]])
			if lo > hi {
				continue
			}
			for b := lo / bandRows; b <= hi/bandRows; b++ {
				visit(int32(f), b)
			}
		}
	}
	each(func(_ int32, b int) { first[b+1]++ })
	for b := range bands {
		first[b+1] += first[b]
	}
	list := make([]int32, first[bands])
	at := slices.Clone(first)
	each(func(f int32, b int) { list[at[b]] = f; at[b]++ })
	return func(b int) []int32 { return list[first[b]:first[b+1]] }
}

// band pierces the facets along the rows of one band, and sorts what it finds by column and height.
func (g *grid) band(verts []r3.Vec, tris [][3]uint32, facets []int32, band int) []pierce {
	out := make([]pierce, 0, 2*bandRows*g.nx) // one run a column to begin with
	from, to := band*bandRows, min((band+1)*bandRows, g.ny)-1
	for _, f := range facets {
		t := tris[f]
		lo, hi := g.rows(verts[t[0]], verts[t[1]], verts[t[2]])
		for j := max(lo, from); j <= min(hi, to); j++ {
			out = g.row(verts, t, j, out)
		}
	}
	slices.SortFunc(out, func(a, b pierce) int {
		if a.col() != b.col() {
			return cmp.Compare(a.col(), b.col())
		}
		return cmp.Compare(a.z, b.z)
	})
	return out
}

// row pierces one facet along one row.
func (g *grid) row(verts []r3.Vec, t [3]uint32, j int, out []pierce) []pierce {
	y := g.y0 + float64(j)*g.pitch
	var in, at [2]float64 // x and z where the boundary passes the row: [0] going up in y, [1] down
	seen := 0
	for k := range 3 {
		u, v := t[k], t[(k+1)%3]
		a, b := verts[u], verts[v]
		if (a.Y <= y) == (b.Y <= y) {
			continue
		}
		way := 0
		if b.Y <= y {
			way = 1
		}
		if u > v {
			a, b = b, a
		}
		s := (y - a.Y) / (b.Y - a.Y)
		in[way], at[way] = a.X+s*(b.X-a.X), a.Z+s*(b.Z-a.Z)
		seen++
	}
	if seen != 2 || in[0] == in[1] {
		return out
	}
	// Seen from above, a facet that faces up runs anticlockwise: up on the right, down on the left.
	left, right, enter := in[1], in[0], uint32(0)
	zl, zr := at[1], at[0]
	if left > right {
		left, right, enter = right, left, 1
		zl, zr = zr, zl
	}
	i := max(0, int(math.Ceil((left-g.x0)/g.pitch-1e-9)))
	for ; i < g.nx; i++ {
		x := g.x0 + float64(i)*g.pitch
		if x < left {
			continue
		}
		if x >= right {
			break
		}
		z := zl + (x-left)/(right-left)*(zr-zl)
		out = append(out, pierce{2*uint32(j*g.nx+i) + enter, min(max(z, min(zl, zr)), max(zl, zr))})
	}
	return out
}

// runs pairs the piercings of each column.
func (g *grid) runs(found [][]pierce) *columns {
	c := &columns{grid: *g, first: make([]int32, g.nx*g.ny+1)}
	n := 0
	for _, f := range found {
		n += len(f)
	}
	c.column = make([]int32, 0, n/2)
	c.lo, c.hi = make([]float64, 0, n/2), make([]float64, 0, n/2)
	for _, f := range found {
		for i := 0; i < len(f); {
			k := i
			depth, from := 0, 0.0
			for ; i < len(f) && f[i].col() == f[k].col(); i++ {
				if f[i].enter() {
					if depth++; depth == 1 {
						from = f[i].z
					}
					continue
				}
				if depth--; depth == 0 && f[i].z > from {
					c.column = append(c.column, f[k].col())
					c.lo, c.hi = append(c.lo, from), append(c.hi, f[i].z)
				}
			}
		}
	}
	for _, k := range c.column {
		c.first[k+1]++
	}
	for k := range c.first[1:] {
		c.first[k+1] += c.first[k]
	}
	return c
}

// eight are the steps to the columns around one, in turn, so that neighbours in the list touch.
var eight = [8][2]int{{1, 0}, {1, 1}, {0, 1}, {-1, 1}, {-1, 0}, {-1, -1}, {0, -1}, {1, -1}}

// near calls visit for every run that has an open window to run r: the two are next to each other,
// corners included, and their heights overlap.
func (c *columns) near(r int32, visit func(s int32)) {
	k := int(c.column[r])
	i, j := k%c.nx, k/c.nx
	lo, hi := c.lo[r], c.hi[r]
	for _, d := range eight {
		x, y := i+d[0], j+d[1]
		if x < 0 || y < 0 || x >= c.nx || y >= c.ny {
			continue
		}
		q := y*c.nx + x
		for s := c.first[q]; s < c.first[q+1]; s++ {
			if c.lo[s] < hi && lo < c.hi[s] {
				visit(s)
			}
		}
	}
}

// at is the run of a frame point: that of its column, or of a column around it, whose heights come
// nearest to z.
func (c *columns) at(p r3.Vec) (run int32, ok bool) {
	best, off := int32(-1), math.Inf(1)
	for reach := 0; reach <= 2 && best < 0; reach++ {
		c.close(p, reach, func(s int32) {
			if d := max(0, c.lo[s]-p.Z, p.Z-c.hi[s]); d < off {
				best, off = s, d
			}
		})
	}
	return best, best >= 0
}

// close calls visit for the runs of all columns at most reach columns from a frame point.
func (c *columns) close(p r3.Vec, reach int, visit func(s int32)) {
	i, j := c.cell(p.X, p.Y)
	for y := max(0, j-reach); y <= min(c.ny-1, j+reach); y++ {
		for x := max(0, i-reach); x <= min(c.nx-1, i+reach); x++ {
			q := y*c.nx + x
			for s := c.first[q]; s < c.first[q+1]; s++ {
				visit(s)
			}
		}
	}
}

// inBulk is like at, but stays out of crumbs: where the cavity thins out to less than a column, say
// toward a tip, the grid cuts it into pieces of a few runs that hang on to nothing. bulk tells which
// runs are in larger pieces.
func (c *columns) inBulk(p r3.Vec, bulk []bool) (run int32, ok bool) {
	run, ok = c.at(p)
	if !ok || bulk[run] {
		return run, ok
	}
	best, off := run, math.Inf(1)
	c.close(p, crumbReach, func(s int32) {
		if d := r3.Norm(r3.Sub(c.point(s, min(max(p.Z, c.lo[s]), c.hi[s])), p)); bulk[s] && d < off {
			best, off = s, d
		}
	})
	return best, true
}

const (
	// crumbShare of the columns' volume: a piece smaller than this is a crumb.
	crumbShare = 1e-3
	// crumbReach is how many columns away from the point larger pieces are looked for.
	crumbReach = 8
)

// bulk marks the runs that hang together in pieces larger than crumbs.
func (c *columns) bulk() []bool {
	out := make([]bool, len(c.lo))
	seen := make([]bool, len(c.lo))
	least := crumbShare * c.volume()
	var piece []int32
	for r := range seen {
		if seen[r] {
			continue
		}
		seen[r] = true
		piece = append(piece[:0], int32(r))
		v := 0.0
		for at := 0; at < len(piece); at++ {
			v += (c.hi[piece[at]] - c.lo[piece[at]]) * c.pitch * c.pitch
			c.near(piece[at], func(s int32) {
				if !seen[s] {
					seen[s] = true
					piece = append(piece, s)
				}
			})
		}
		for _, s := range piece {
			out[s] = v >= least
		}
	}
	return out
}

// centre of a run's column in the frame, at height z.
func (c *columns) point(r int32, z float64) r3.Vec {
	k := int(c.column[r])
	return r3.Vec{X: c.x0 + float64(k%c.nx)*c.pitch, Y: c.y0 + float64(k/c.nx)*c.pitch, Z: z}
}

// volume of all runs, mm³.
func (c *columns) volume() float64 {
	sum := 0.0
	for r := range c.lo {
		sum += c.hi[r] - c.lo[r]
	}
	return sum * c.pitch * c.pitch
}
