package mesh

import (
	"context"
	"fmt"
	"runtime"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// What the search for crossings may cost. A facet of a good mesh has a few dozen others near it; where
// thousands lie in one place the tests would grow with their square, so they are counted, and every count
// has an end.
const (
	// crossChunk is the facets a worker takes at once, and crossRound the chunks between two looks at
	// what is left: numbers of facets, not of cores, so that the result is the same on every machine.
	crossChunk = 2048
	crossRound = 16
	// crossNear bounds the neighbours of one facet. Counts are then lower bounds, and Untested is reported.
	crossNear = 40_000
	// crossNearAll and crossNearEach bound the neighbours of all facets together: so many, and so many for
	// each facet. A surface that passes this is refused, since nobody knows whether it crosses itself.
	crossNearAll, crossNearEach = 300_000_000, 200
	// crossRefused is the share of that which a surface gets that cannot be used anyhow.
	crossRefused = 30
	// crossMost is how many crossings are enough: the surface is refused, and its places are known.
	crossMost = 10_000
)

// pairs are the contacts found in one chunk.
type pairs struct {
	crossing, between, touching int           // between: crossings of two different shells
	cut                         []int32       // facets with more neighbours than crossNear
	first                       [3][][2]int32 // the first few of each
	near                        int           // neighbours looked at
	spent                       bool          // the chunk's share of neighbours did not suffice
}

func (p *pairs) add(kind int, count *int, a, b int32) {
	*count++
	if len(p.first[kind]) < MaxPlaces {
		p.first[kind] = append(p.first[kind], [2]int32{a, b})
	}
}

// enough says that the crossings found suffice to refuse the surface.
func (p *pairs) enough() bool { return p.crossing+p.between >= crossMost }

// crossSearch tests all facets that come near each other.
type crossSearch struct {
	s       *surface
	tree    *geom.BVH
	flat    []bool
	crossed []atomic.Bool // shells that cross another
	chunks  []pairs
	left    int // neighbours that may still be looked at
}

// crossings tests all facets that come near each other, and says which shells cross another; nil when the
// search was given up before all was tested. Chunks are merged in order, so the result does not depend on
// which worker was faster.
func (in *Intake) crossings(ctx context.Context, s *surface, tree *geom.BVH, progress func(float64)) (crossed []atomic.Bool, err error) {
	x := &crossSearch{s: s, tree: tree, flat: make([]bool, len(s.Tris)), crossed: make([]atomic.Bool, s.count),
		chunks: make([]pairs, (len(s.Tris)+crossChunk-1)/crossChunk), left: crossNearAll + crossNearEach*len(s.Tris)}
	if in.Fatal() != nil {
		x.left /= crossRefused
	}
	flat, err := flatFacets(ctx, s.Mesh)
	if err != nil {
		return nil, err
	}
	for _, f := range flat {
		x.flat[f] = true
	}
	whole := true
	for from := 0; from < len(x.chunks) && whole; from += crossRound {
		to := min(from+crossRound, len(x.chunks))
		if whole, err = x.round(ctx, from, to); err != nil {
			return nil, err
		}
		progress(float64(to) / float64(len(x.chunks)))
	}
	in.reportPairs(x.chunks, whole)
	if !whole {
		return nil, nil
	}
	return x.crossed, nil
}

// round tests the facets of some chunks; whole says that the search should go on.
func (x *crossSearch) round(ctx context.Context, from, to int) (whole bool, err error) {
	share := x.left / (to - from)
	var taken atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), to-from) {
		workers.Go(func() {
			for ctx.Err() == nil {
				i := from + int(taken.Add(1)) - 1
				if i >= to {
					return
				}
				c := crosser{crossSearch: x, ctx: ctx, out: &x.chunks[i], share: share}
				c.run(i*crossChunk, min(len(x.s.Tris), (i+1)*crossChunk))
			}
		})
	}
	workers.Wait()
	if err := ctx.Err(); err != nil {
		return false, err
	}
	found := pairs{}
	for i := range x.chunks[:to] {
		c := &x.chunks[i]
		found.crossing, found.between, found.spent = found.crossing+c.crossing, found.between+c.between, found.spent || c.spent
		if i >= from {
			x.left -= c.near
		}
	}
	return !found.enough() && !found.spent, nil
}

func (in *Intake) reportPairs(chunks []pairs, whole bool) {
	cross := Problem{Kind: Crossing, Severity: Fatal, Remedy: "repair the surface in the model: where it crosses itself, inside and outside are not defined"}
	between := Problem{Kind: ShellsCross, Severity: Fatal, Remedy: "join the bodies into one solid in the model and export again"}
	touch := Problem{Kind: Touching, Severity: Warning, Remedy: "check that the part may touch itself there: it is cast joined; otherwise leave a gap"}
	all := [3]*Problem{&cross, &between, &touch}
	untested := Problem{Kind: Untested, Severity: Warning, Remedy: "check the part in the model where so many facets meet"}
	spent := false
	for i := range chunks {
		c := &chunks[i]
		in.near += c.near
		cross.Count, between.Count, touch.Count = cross.Count+c.crossing, between.Count+c.between, touch.Count+c.touching
		spent = spent || c.spent
		for _, f := range c.cut {
			untested.add(in.at(f))
		}
		for k, p := range all {
			p.AtLeast = p.AtLeast || len(c.cut) > 0 || !whole
			for _, q := range c.first[k] {
				if len(p.Where) < MaxPlaces {
					p.Where = append(p.Where, in.at(q[0], q[1]))
				}
			}
		}
	}
	for k, words := range [3]string{"%s%d pairs of facets of one shell cross", "%s%d pairs of facets of different shells cross: the shells overlap",
		"%s%d pairs of facets touch without being joined"} {
		least := ""
		if all[k].AtLeast {
			least = "at least "
		}
		all[k].Words = fmt.Sprintf(words, least, all[k].Count)
	}
	in.report(between)
	in.report(cross)
	in.report(touch)
	untested.Words = fmt.Sprintf("%d facets have more than %d others around them and were not tested against all of these", untested.Count, crossNear)
	if spent {
		untested.Severity, untested.Count = Fatal, max(1, untested.Count)
		untested.Words = "so many facets lie in one another's way that the search for crossings was given up"
		untested.Remedy = "mesh the part again with fewer and evener facets: no facet of a sound part has thousands of others around it"
	}
	in.report(untested)
}

// crosser tests the facets of one chunk against those after them.
type crosser struct {
	*crossSearch
	ctx    context.Context
	out    *pairs
	share  int  // neighbours that the chunk may look at
	halted bool // enough is known, the share is spent, or the context has ended
}

func (c *crosser) run(from, to int) {
	for f := from; f < to && !c.halted; f++ {
		if f%crossChunk == 0 && c.ctx.Err() != nil {
			return
		}
		c.test(int32(f))
	}
}

func (c *crosser) test(f int32) {
	if c.flat[f] {
		return
	}
	t := c.s.Facet(int(f))
	box := r3.Box{
		Min: r3.Vec{X: min(t[0].X, t[1].X, t[2].X), Y: min(t[0].Y, t[1].Y, t[2].Y), Z: min(t[0].Z, t[1].Z, t[2].Z)},
		Max: r3.Vec{X: max(t[0].X, t[1].X, t[2].X), Y: max(t[0].Y, t[1].Y, t[2].Y), Z: max(t[0].Z, t[1].Z, t[2].Z)},
	}
	near := 0
	c.tree.InBoxWhile(box, func(g int) bool {
		near++
		c.out.near++
		switch {
		case near > crossNear:
			c.out.cut = append(c.out.cut, f)
			return false
		case c.out.near > c.share:
			c.out.spent, c.halted = true, true
		case c.out.near%watchEvery == 0 && c.ctx.Err() != nil:
			c.halted = true
		case g > int(f) && !c.flat[g]:
			c.pair(f, int32(g), &t)
			c.halted = c.out.enough()
		}
		return !c.halted
	})
}

func (c *crosser) pair(f, g int32, t *r3.Triangle) {
	var buf [3][2]int
	shared := buf[:0]
	for i, v := range c.s.Tris[f] {
		for j, w := range c.s.Tris[g] {
			if v == w {
				shared = append(shared, [2]int{i, j})
			}
		}
	}
	if len(shared) == 3 {
		return // reported as a duplicate
	}
	o := c.s.Facet(int(g))
	switch how := meet(t, &o, shared); {
	case how == crosses && c.s.shell[f] == c.s.shell[g]:
		c.out.add(0, &c.out.crossing, f, g)
	case how == crosses:
		c.out.add(1, &c.out.between, f, g)
		c.crossed[c.s.shell[f]].Store(true)
		c.crossed[c.s.shell[g]].Store(true)
	case how == touches:
		c.out.add(2, &c.out.touching, f, g)
	}
}
