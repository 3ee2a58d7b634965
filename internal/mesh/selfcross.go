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

const (
	// crossChunk is the facets a worker takes at once: some ms of work, so that a cancelled context
	// is noticed soon.
	crossChunk = 2048
	// crossTries bounds the neighbours tested for one facet. A facet of a good mesh has a few dozen;
	// a heap of facets in one place would otherwise take quadratic time. Counts are then lower bounds,
	// and Untested is reported.
	crossTries = 20_000
)

// pairs are the contacts found in one chunk.
type pairs struct {
	crossing, between, touching int           // between: crossings of two different shells
	cut                         []int32       // facets with more neighbours than crossTries
	first                       [3][][2]int32 // the first few of each
}

func (p *pairs) add(kind int, count *int, a, b int32) {
	*count++
	if len(p.first[kind]) < MaxPlaces {
		p.first[kind] = append(p.first[kind], [2]int32{a, b})
	}
}

// crossings tests all facets that come near each other, and says which shells cross another. Chunks
// are merged in order, so the result does not depend on which worker was faster.
func (in *Intake) crossings(ctx context.Context, s *surface, tree *geom.BVH, progress func(float64)) (crossed []atomic.Bool, err error) {
	flat := make([]bool, len(s.Tris))
	for _, f := range flatFacets(s.Mesh) {
		flat[f] = true
	}
	crossed = make([]atomic.Bool, s.count)
	chunks := make([]pairs, (len(s.Tris)+crossChunk-1)/crossChunk)
	var taken, done atomic.Int64
	var report sync.Mutex
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(chunks)) {
		workers.Go(func() {
			c := crosser{s: s, tree: tree, flat: flat, crossed: crossed}
			for ctx.Err() == nil {
				i := int(taken.Add(1)) - 1
				if i >= len(chunks) {
					return
				}
				c.out = &chunks[i]
				for f := i * crossChunk; f < min(len(s.Tris), (i+1)*crossChunk); f++ {
					c.test(int32(f))
				}
				report.Lock()
				progress(float64(done.Add(1)) / float64(len(chunks)))
				report.Unlock()
			}
		})
	}
	workers.Wait()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	in.reportPairs(chunks)
	return crossed, nil
}

func (in *Intake) reportPairs(chunks []pairs) {
	cross := Problem{Kind: Crossing, Severity: Fatal, Remedy: "repair the surface in the model: where it crosses itself, inside and outside are not defined"}
	between := Problem{Kind: ShellsCross, Severity: Fatal, Remedy: "join the bodies into one solid in the model and export again"}
	touch := Problem{Kind: Touching, Severity: Warning, Remedy: "check that the part may touch itself there: it is cast joined; otherwise leave a gap"}
	all := [3]*Problem{&cross, &between, &touch}
	untested := Problem{Kind: Untested, Severity: Warning, Remedy: "check the part in the model where so many facets meet"}
	for i := range chunks {
		c := &chunks[i]
		cross.Count, between.Count, touch.Count = cross.Count+c.crossing, between.Count+c.between, touch.Count+c.touching
		for _, f := range c.cut {
			untested.add(in.at(f))
		}
		for k, p := range all {
			p.AtLeast = p.AtLeast || len(c.cut) > 0
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
	untested.Words = fmt.Sprintf("%d facets have more than %d others around them and were not tested against all of these", untested.Count, crossTries)
	in.report(untested)
}

// crosser tests facets against those after them.
type crosser struct {
	s       *surface
	tree    *geom.BVH
	flat    []bool
	crossed []atomic.Bool // by shell
	out     *pairs
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
	tries := 0
	c.tree.InBox(box, func(g int) {
		if g <= int(f) || c.flat[g] {
			return
		}
		if tries++; tries <= crossTries {
			c.pair(f, int32(g), &t)
		}
	})
	if tries > crossTries {
		c.out.cut = append(c.out.cut, f)
	}
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
