package mouldability

import (
	"context"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// caught is what of one facet is in the way of its own leaving.
type caught struct {
	facet  int32
	m      moments // over the caught part of the projection, about the facet's first corner
	bounds r3.Box  // world
	region region  // of a floor; of a roof, which lies over it, nothing
	links  []int32 // facets across the void: the first ones met
}

// region is a set of convex polygons in the projection, kept small: a part with many facets has many. Each
// stands in flat as its number of corners and their coordinates about at.
type region struct {
	at   r2.Vec
	flat []float32
}

func (r *region) add(poly []r2.Vec) {
	r.flat = append(r.flat, float32(len(poly)))
	for _, v := range poly {
		r.flat = append(r.flat, float32(v.X), float32(v.Y))
	}
}

// each calls visit with every polygon, which holds only during the call.
func (r *region) each(visit func(poly []r2.Vec)) {
	var poly []r2.Vec
	for i := 0; i < len(r.flat); {
		n := int(r.flat[i])
		poly = poly[:0]
		for i++; n > 0; n, i = n-1, i+2 {
			poly = append(poly, r2.Vec{X: r.at.X + float64(r.flat[i]), Y: r.at.Y + float64(r.flat[i+1])})
		}
		visit(poly)
	}
}

// areaMM2 is the caught area on the surface itself.
func (c *caught) areaMM2(p *projection) float64 {
	nz := p.nz[c.facet]
	if nz < 0 {
		nz = -nz
	}
	return c.m.A / nz
}

// heightIntegral is ∫z over the caught part of the projection.
func (c *caught) heightIntegral(p *projection) float64 {
	origin := xy(p.verts[p.m.Tris[c.facet][0]])
	z := p.planeOf(int(c.facet), origin)
	return z.C*c.m.A + z.X*c.m.X + z.Y*c.m.Y
}

// roundingShare of the noise is still far above what clipping in float64 gets wrong; narrower
// overlaps are made of rounding. Those between that and the noise count for areas, so that floors
// and roofs stay equal, but mark no facet as caught.
const roundingShare = 1e-4

// isBand says whether the caught part is wider than a sliver of noise.
func (c *caught) isBand(p *projection) bool {
	v, w, x := p.facet(int(c.facet))
	l := max(r2.Norm(xy(r3.Sub(v, w))), r2.Norm(xy(r3.Sub(w, x))), r2.Norm(xy(r3.Sub(x, v))))
	return c.m.A > l*p.noise
}

// findCaught answers for every facet. Facets are independent, so chunks of them go to the workers
// and the answers are joined in facet order.
func findCaught(ctx context.Context, p *projection, workers int, progress func(float64)) ([]caught, error) {
	up, down := newFacetGrid(p, Up), newFacetGrid(p, Down)
	const chunk = 256
	chunks := (len(p.facing) + chunk - 1) / chunk
	out := make([][]caught, chunks)
	err := inParallel(ctx, workers, chunks, func() func(int) {
		w := newCatcher(p)
		w.cov.ended = func() bool { return ctx.Err() != nil }
		return func(i int) {
			for f := i * chunk; f < min((i+1)*chunk, len(p.facing)) && !w.cov.over; f++ {
				switch p.facing[f] {
				case Up:
					w.facet(f, down, 1)
				case Down:
					w.facet(f, up, -1)
				}
			}
			out[i], w.out = w.out, nil
		}
	}, progress)
	if err != nil {
		return nil, err
	}
	var all []caught
	for _, c := range out {
		all = append(all, c...)
	}
	return all, nil
}

// inParallel calls the function that start makes for each worker with 0…n-1, each once.
func inParallel(ctx context.Context, workers, n int, start func() func(int), progress func(float64)) error {
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	var next, done atomic.Int64
	var wg sync.WaitGroup
	var report sync.Mutex
	last := 0
	for range min(workers, n) {
		wg.Go(func() {
			work := start()
			for ctx.Err() == nil {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				work(i)
				d := int(done.Add(1))
				if progress == nil || d*100/n == (d-1)*100/n {
					continue
				}
				report.Lock()
				if d > last { // never step back
					last = d
					progress(float64(d) / float64(n))
				}
				report.Unlock()
			}
		})
	}
	wg.Wait()
	return ctx.Err()
}

// catcher is one worker's scratch.
type catcher struct {
	p       *projection
	stamp   []int32 // last facet that a candidate was met for, plus one
	linked  []int32 // last facet that a link was noted for, plus one
	cov     coverer
	patches []patch
	cur     caught
	flat    []float32 // region and links of the current facet, before they are kept
	links   []int32
	out     []caught
}

func newCatcher(p *projection) *catcher {
	w := &catcher{p: p, stamp: make([]int32, len(p.facing)), linked: make([]int32, len(p.facing))}
	w.cov.found = w.found
	return w
}

// facet finds what of facet f is caught under (sense +1) or over (−1) the facets of g.
func (w *catcher) facet(f int, g *facetGrid, sense float64) {
	p := w.p
	a3, b3, c3 := p.facet(f)
	a, b, c := xy(a3), xy(b3), xy(c3)
	w.cov.store.reset()
	w.patches, w.flat, w.links = w.patches[:0], w.flat[:0], w.links[:0]
	tri := [3]r2.Vec{a, b, c}
	if sense < 0 {
		tri[1], tri[2] = tri[2], tri[1]
	}
	for k := range tri {
		tri[k] = r2.Sub(tri[k], a)
	}
	own := plane{}
	ready := false
	least := min(sense*a3.Z, sense*b3.Z, sense*c3.Z)
	lo := r2.Vec{X: min(a.X, b.X, c.X), Y: min(a.Y, b.Y, c.Y)}
	hi := r2.Vec{X: max(a.X, b.X, c.X), Y: max(a.Y, b.Y, c.Y)}
	g.spans(a, b, c, func(row, x0, x1 int) {
		for _, o := range g.items[g.start[row*g.nx+x0]:g.start[row*g.nx+x1+1]] {
			if w.stamp[o] == int32(f)+1 {
				continue
			}
			w.stamp[o] = int32(f) + 1
			oa, ob, oc := p.facet(int(o))
			if max(sense*oa.Z, sense*ob.Z, sense*oc.Z) <= least+p.noise {
				continue
			}
			if max(oa.X, ob.X, oc.X) <= lo.X || min(oa.X, ob.X, oc.X) >= hi.X ||
				max(oa.Y, ob.Y, oc.Y) <= lo.Y || min(oa.Y, ob.Y, oc.Y) >= hi.Y {
				continue
			}
			if !ready {
				own, ready = p.planeOf(f, a), true
			}
			w.meet(tri, own, o, a, sense)
		}
	})
	if len(w.patches) == 0 {
		return
	}
	w.cur = caught{facet: int32(f), region: region{at: a}}
	// Rounding leaves slivers of about 1e-16·size²; a patch as narrow as the noise is far above.
	w.cov.tiny = 1e-3 * roundingShare * p.noise * p.noise
	w.cov.cover(tri[:], w.patches)
	if w.cur.m.A > 0 {
		w.keep(tri[:])
	}
}

// wholeShare of a facet's projection: a facet of which as much is caught is caught whole.
const wholeShare = 1 - 1e-9

// keep stores what was found of the current facet, as small as it goes.
func (w *catcher) keep(tri []r2.Vec) {
	c := &w.cur
	if w.p.facing[c.facet] == Up {
		if c.m.A >= wholeShare*momentsOf(tri).A {
			w.flat = w.flat[:0]
			whole := region{flat: w.flat}
			whole.add(tri)
			w.flat = whole.flat
		}
		c.region.flat = slices.Clone(w.flat)
	}
	c.links = slices.Clone(w.links)
	w.out = append(w.out, *c)
}

// meet clips the projection of facet o to tri (whose origin is at) and to where o is beyond it.
func (w *catcher) meet(tri [3]r2.Vec, own plane, o int32, at r2.Vec, sense float64) {
	p := w.p
	oa, ob, oc := p.facet(int(o))
	other := [3]r2.Vec{r2.Sub(xy(oa), at), r2.Sub(xy(ob), at), r2.Sub(xy(oc), at)}
	if sense > 0 { // o faces down, so its corners run clockwise in the projection
		other[1], other[2] = other[2], other[1]
	}
	store := &w.cov.store
	base := len(store.pts)
	poly := tri[:]
	// A side that keeps everything stands in until the gap is known.
	sides := [4]side{leftOf(other[0], other[1]), leftOf(other[1], other[2]), leftOf(other[2], other[0]), {c: 1}}
	for k := 0; k < 3; k++ {
		if poly = store.clip(poly, sides[k]); poly == nil {
			store.pts = store.pts[:base]
			return
		}
	}
	z := p.planeOf(int(o), at)
	gap := plane{X: sense * (z.X - own.X), Y: sense * (z.Y - own.Y), C: sense * (z.C - own.C)}
	high := 0.0
	for _, v := range poly {
		high = max(high, gap.at(v))
	}
	if high > p.noise {
		sides[3] = side{r2.Vec{X: gap.X, Y: gap.Y}, gap.C}
		poly = store.clip(poly, sides[3])
	}
	if high <= p.noise || poly == nil || narrowness(poly) < roundingShare*p.noise {
		store.pts = store.pts[:base]
		return
	}
	cut := patch{poly: poly, gap: gap, by: o, sides: sides}
	cut.measure()
	w.patches = append(w.patches, cut)
}

// found takes one piece of the caught part of the current facet.
func (w *catcher) found(piece []r2.Vec, m moments, nearest int32) {
	p, c := w.p, &w.cur
	at := xy(p.verts[p.m.Tris[c.facet][0]])
	z := p.planeOf(int(c.facet), at)
	for k, v := range piece {
		q := p.world(r3.Vec{X: at.X + v.X, Y: at.Y + v.Y, Z: z.at(v)})
		if c.m.A == 0 && k == 0 {
			c.bounds = r3.Box{Min: q, Max: q}
		}
		c.bounds = grow(c.bounds, q)
	}
	c.m.add(m)
	if p.facing[c.facet] == Up { // the floor of a void is enough to find its depth
		now := region{flat: w.flat}
		now.add(piece)
		w.flat = now.flat
	}
	// A link must be wider than the noise, or rounding would join voids that only touch.
	if w.linked[nearest] != c.facet+1 && narrowness(piece) > p.noise {
		w.linked[nearest] = c.facet + 1
		w.links = append(w.links, nearest)
	}
}

func grow(b r3.Box, q r3.Vec) r3.Box {
	return r3.Box{
		Min: r3.Vec{X: min(b.Min.X, q.X), Y: min(b.Min.Y, q.Y), Z: min(b.Min.Z, q.Z)},
		Max: r3.Vec{X: max(b.Max.X, q.X), Y: max(b.Max.Y, q.Y), Z: max(b.Max.Z, q.Z)},
	}
}
