package mouldability

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// facetGrid is a uniform grid over the projection that lists the facets over each cell. A facet is
// entered along scan spans and not over its whole box, so needles stay cheap. Facets stand in
// ascending order in a cell.
type facetGrid struct {
	min    r2.Vec
	inv    float64 // cells per mm
	nx, ny int
	start  []int32
	items  []int32
}

// newFacetGrid enters the facets whose facing is r; cells are about one facet large.
func newFacetGrid(p *projection, r Reach) *facetGrid {
	lo, hi := r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}
	for _, v := range p.verts {
		lo = r2.Vec{X: min(lo.X, v.X), Y: min(lo.Y, v.Y)}
		hi = r2.Vec{X: max(hi.X, v.X), Y: max(hi.Y, v.Y)}
	}
	w, h := max(hi.X-lo.X, p.noise), max(hi.Y-lo.Y, p.noise)
	n := 0
	for _, f := range p.facing {
		if f == r {
			n++
		}
	}
	g := &facetGrid{min: lo, inv: math.Sqrt(float64(n+1) / (w * h))}
	// A long thin part must not make a grid of a million columns by two.
	g.inv = min(g.inv, 4096/max(w, h))
	for ; ; g.inv /= 2 {
		g.nx, g.ny = int(w*g.inv)+1, int(h*g.inv)+1
		g.start = make([]int32, g.nx*g.ny+1)
		entries := 0
		g.each(p, r, func(cell int, f int32) bool {
			g.start[cell+1]++
			entries++
			return entries <= mostEntries*n
		})
		if entries <= mostEntries*n || g.nx*g.ny == 1 {
			break
		}
	}
	for i := range g.nx * g.ny {
		g.start[i+1] += g.start[i]
	}
	g.items = make([]int32, g.start[g.nx*g.ny])
	next := append([]int32(nil), g.start...)
	g.each(p, r, func(cell int, f int32) bool {
		g.items[next[cell]] = f
		next[cell]++
		return true
	})
	return g
}

// mostEntries a facet bound the grid: where many large facets stand over many small ones, cells by the number of
// facets would list each large one a thousand times.
const mostEntries = 12

// each calls visit with every cell that a facet touches, until visit has seen enough.
func (g *facetGrid) each(p *projection, r Reach, visit func(cell int, f int32) bool) {
	more := true
	for f := 0; f < len(p.facing) && more; f++ {
		if p.facing[f] != r {
			continue
		}
		a, b, c := p.facet(f)
		g.spans(xy(a), xy(b), xy(c), func(row, x0, x1 int) {
			for x := x0; x <= x1 && more; x++ {
				more = visit(row*g.nx+x, int32(f))
			}
		})
	}
}

// spans visits, row by row, the cells x0…x1 that the triangle touches.
func (g *facetGrid) spans(a, b, c r2.Vec, visit func(row, x0, x1 int)) {
	t := [3]r2.Vec{g.cellsOf(a), g.cellsOf(b), g.cellsOf(c)}
	y0 := g.clampY(min(t[0].Y, t[1].Y, t[2].Y))
	y1 := g.clampY(max(t[0].Y, t[1].Y, t[2].Y))
	for y := y0; y <= y1; y++ {
		lo, hi := bandRange(t, float64(y), float64(y+1))
		// A hair's width more on both sides pays for the rounding of the crossings.
		if lo <= hi {
			visit(y, g.clampX(lo-1e-9), g.clampX(hi+1e-9))
		}
	}
}

// bandRange is the extent in x of a triangle within y0 ≤ y ≤ y1.
func bandRange(t [3]r2.Vec, y0, y1 float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for k := range 3 {
		p, q := t[k], t[(k+1)%3]
		if p.Y >= y0 && p.Y <= y1 {
			lo, hi = min(lo, p.X), max(hi, p.X)
		}
		for _, y := range [2]float64{y0, y1} {
			if (p.Y < y) != (q.Y < y) {
				x := p.X + (q.X-p.X)*(y-p.Y)/(q.Y-p.Y)
				lo, hi = min(lo, x), max(hi, x)
			}
		}
	}
	return lo, hi
}

func (g *facetGrid) cellsOf(v r2.Vec) r2.Vec { return r2.Scale(g.inv, r2.Sub(v, g.min)) }
func (g *facetGrid) clampX(x float64) int    { return max(0, min(g.nx-1, int(x))) }
func (g *facetGrid) clampY(y float64) int    { return max(0, min(g.ny-1, int(y))) }
