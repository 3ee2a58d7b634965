package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// facetTries bounds how many facets' middles are tried for the sprue and for each vent.
	facetTries = 4000
	// gridTries is how many places are tried along the longer side of the part: large facets have only
	// one middle.
	gridTries = 64
	// climbs is how many of the roomiest places are moved to where there is most room about them.
	climbs = 48
	// climbEndMM is where such a move ends; nobody sees less.
	climbEndMM = 0.01
)

// uprightFeed chooses where the liquid goes in and where the air goes out: the sprue first, then the
// vents, all straight up through the upper half. The sprue stands where it is farthest from the part's
// outline, off the show faces, and of equal places on the lowest, so that air rises away from it.
func (b *twoHalves) uprightFeed() (feed, error) {
	p := b.placesOnTop()
	if len(p.tries) == 0 {
		return feed{}, fmt.Errorf("every upper face is a show face: %w; turn the part over, or free a face for the sprue", ErrSprue)
	}
	var firstErr error
	for _, d := range sizes(b.opt.SprueMM) {
		opt := SprueOptions{TopDiameterMM: d}
		s, err := p.sprue(opt)
		if err != nil && p.climb() {
			s, err = p.sprue(opt)
		}
		if err == nil {
			return feed{sprue: s, vents: p.vents([]Sprue{s})}, nil
		}
		firstErr = cmp.Or(firstErr, err)
	}
	return feed{}, firstErr
}

// places are the places on the part's upper surface that a sprue or a vent may take.
type places struct {
	b       *twoHalves
	z1      float64
	show    []bool
	edges   [][2]r2.Vec // the part's outline and the borders of show faces, in plan
	pitch   float64     // of the grid
	tries   []topPlace
	climbed bool
}

// topPlace is one of them.
type topPlace struct {
	at   r2.Vec
	z    float64
	room float64 // to the part's outline, or a show face, in plan
}

// placesOnTop are the middles of upper facets that are no show faces, and a grid over them.
func (b *twoHalves) placesOnTop() *places {
	p := &places{b: b, z1: b.z1, show: b.showOnTop()}
	p.edges = b.edgesOnTop(p.show)
	// Distances to a long outline cost most here: fewer places are tried on it.
	const most = 3e7
	budget := int(min(facetTries, most/float64(1+len(p.edges))))
	n := len(b.top.m.Tris)
	for f := 0; f < n; f += 1 + n/max(1, budget) {
		if p.show == nil || !p.show[f] {
			c := b.top.m.Facet(f).Centroid()
			p.add(r2.Vec{X: c.X, Y: c.Y})
		}
	}
	box, _ := b.shadow.Bounds()
	size := r2.Sub(box.Max, box.Min)
	p.pitch = max(size.X, size.Y) / float64(min(gridTries, int(math.Sqrt(float64(budget)))))
	for y := box.Min.Y + p.pitch/2; y < box.Max.Y; y += p.pitch {
		for x := box.Min.X + p.pitch/2; x < box.Max.X; x += p.pitch {
			p.add(r2.Vec{X: x, Y: y})
		}
	}
	return p
}

// edgesOnTop are the edges of the upper surface that no sprue may cross.
func (b *twoHalves) edgesOnTop(show []bool) (out [][2]r2.Vec) {
	for _, loop := range b.shadow {
		for i, a := range loop {
			out = append(out, [2]r2.Vec{a, loop[(i+1)%len(loop)]})
		}
	}
	if show == nil {
		return out
	}
	m := b.top.m
	for f, near := range m.Adjacency() {
		for k, g := range near {
			if int(g) >= 0 && int(g) < len(show) && show[f] && !show[g] {
				p, q := m.Verts[m.Tris[f][k]], m.Verts[m.Tris[f][(k+1)%3]]
				out = append(out, [2]r2.Vec{{X: p.X, Y: p.Y}, {X: q.X, Y: q.Y}})
			}
		}
	}
	return out
}

// add tries a place: heights are rounded to a hundredth of a millimetre, so that noise on a level face
// does not decide.
func (p *places) add(at r2.Vec) bool {
	t, ok := p.placeAt(at)
	if ok {
		p.tries = append(p.tries, t)
	}
	return ok
}

// placeAt is the place at a point of the plan, unless none of the upper faces or a show face lies there.
func (p *places) placeAt(at r2.Vec) (topPlace, bool) {
	f, z, ok := p.b.top.facetAt(at)
	if !ok || (p.show != nil && p.show[f]) {
		return topPlace{}, false
	}
	const step = 100
	return topPlace{at: at, z: math.Floor(z*step) / step, room: p.roomAt(at)}, true
}

func (p *places) roomAt(at r2.Vec) float64 {
	d := math.Inf(1)
	for _, e := range p.edges {
		d = min(d, pointSegment(at, e[0], e[1]))
	}
	return d
}

// climb adds, for the roomiest places, the place near each that has the most room about it: on a narrow
// part only its middle line may do, which no grid hits. It reports whether there is anything new.
func (p *places) climb() bool {
	if p.climbed {
		return false
	}
	p.climbed = true
	from := slices.Clone(p.tries)
	slices.SortStableFunc(from, func(a, b topPlace) int { return cmp.Compare(b.room, a.room) })
	var done []r2.Vec
	for _, t := range from {
		if len(done) == climbs {
			break
		}
		if slices.ContainsFunc(done, func(q r2.Vec) bool { return r2.Norm(r2.Sub(q, t.at)) < 2*p.pitch }) {
			continue
		}
		done = append(done, t.at)
		p.add(p.roomiest(t))
	}
	return true
}

// roomiest walks from a place to more room, in steps that halve.
func (p *places) roomiest(t topPlace) r2.Vec {
	at, room := t.at, t.room
	for step := p.pitch; step > climbEndMM; {
		best := at
		for i := range 8 {
			s, c := math.Sincos(float64(i) * math.Pi / 4)
			q := r2.Add(at, r2.Scale(step, r2.Vec{X: c, Y: s}))
			if _, _, over := p.b.top.facetAt(q); !over {
				continue
			}
			if r := p.roomAt(q); r > room {
				best, room = q, r
			}
		}
		if best == at {
			step /= 2
		}
		at = best
	}
	return at
}

// sprue finds the best place for a sprue of a size.
func (p *places) sprue(opt SprueOptions) (Sprue, error) {
	// Beyond the foot's own width more room is no better: then the lowest wins.
	enough := 2 * opt.TopDiameterMM
	slices.SortStableFunc(p.tries, func(a, b topPlace) int {
		return cmp.Or(cmp.Compare(min(b.room, enough), min(a.room, enough)), cmp.Compare(a.z, b.z), cmp.Compare(b.room, a.room))
	})
	return p.firstThatFits(p.tries, opt, nil)
}

// firstThatFits tries places in order. Those too near to a sprue already there are passed over.
func (p *places) firstThatFits(tries []topPlace, opt SprueOptions, have []Sprue) (Sprue, error) {
	opt = opt.withDefaults()
	var last error
	widest, crowded := topPlace{room: -1}, false
	for _, t := range tries {
		if t.room > widest.room {
			widest = t
		}
		if t.room < p.footAt(t, opt)+opt.LeastSpacingMM-footSlackMM {
			continue
		}
		if len(have) > 0 && farFrom(have, t.at) < p.footAt(t, opt)+p.b.opt.LeastWallMM-footSlackMM {
			crowded = true
			continue // its foot is no narrower: spare the dearer questions
		}
		s, err := NewSprue(t.at, p.z1, p.b.top, opt)
		if err != nil {
			last = err
			continue
		}
		if len(have) > 0 && farFrom(have, s.At) < s.BottomRadius+p.b.opt.LeastWallMM {
			crowded = true
			continue
		}
		if p.b.suits != nil {
			if err := p.b.suits(s); err != nil {
				last = err
				continue
			}
		}
		if s.AvoidsShow(p.b.top, p.show).OK {
			return s, nil
		}
	}
	switch {
	case last != nil:
		return Sprue{}, last
	case crowded:
		return Sprue{}, fmt.Errorf("where one of %.1f mm has room it is too near to another: %w", opt.TopDiameterMM, ErrSprue)
	}
	return Sprue{}, fmt.Errorf("no place on the upper faces for a sprue of %.1f mm: the roomiest one, at (%.1f, %.1f), takes a foot %.2f mm across, "+
		"%.2f mm is wanted there, with its draft down from the top of the block: %w", opt.TopDiameterMM, widest.at.X, widest.at.Y,
		2*max(0, widest.room-opt.LeastSpacingMM), 2*p.footAt(widest, opt), ErrSprue)
}

// footSlackMM: a polygon drawn in the foot's circle fits where the circle just does not.
const footSlackMM = 0.02

// footAt is the least radius of a sprue's foot at a place.
func (p *places) footAt(t topPlace, opt SprueOptions) float64 {
	return opt.TopDiameterMM/2 + (p.z1-t.z)*math.Tan(opt.DraftDeg*math.Pi/180)
}

// vents finds places for the vents, clear of the sprues that the part has: first those asked for by place; then one on every high
// point where air would stay, the deepest pocket first; then on the highest places left, as far as possible from all before.
func (p *places) vents(have []Sprue) (out []channel) {
	vent := VentOptions()
	vent.TopDiameterMM = p.b.opt.VentMM
	var last error
	put := func(tries []topPlace) bool {
		v, err := p.firstThatFits(tries, vent, have)
		if err != nil {
			last = err
			return false
		}
		have, out = append(have, v), append(out, v)
		return true
	}
	asked := max(0, p.b.opt.Vents)
	for _, at := range p.b.opt.VentsAt {
		if p.vented(have, at) {
			continue
		}
		if len(out) == asked {
			p.b.note("no vent at (%.1f, %.1f, %.1f): the mould has its %d already", at.X, at.Y, at.Z, asked)
			continue
		}
		if tries := p.within(at, VentMoveMM); len(tries) == 0 || !put(tries) {
			p.b.note("no vent within %.0f mm of (%.1f, %.1f, %.1f) of the mould: no free upper face there has room for one of %.1f mm", VentMoveMM, at.X, at.Y, at.Z, vent.TopDiameterMM)
		}
	}
	without := 0
	for _, h := range highPoints(p.b.mould.Part) {
		if p.vented(have, h.at) {
			continue
		}
		if len(out) == asked || !put(p.near(h)) {
			without++
		}
	}
	for len(out) < asked {
		slices.SortStableFunc(p.tries, func(a, b topPlace) int {
			return cmp.Or(cmp.Compare(b.z, a.z), cmp.Compare(farFrom(have, b.at), farFrom(have, a.at)))
		})
		if !put(p.tries) {
			break
		}
	}
	p.b.noteVents(len(out), last)
	if without > 0 {
		p.b.note("high points of the part without a vent: %d, each more than %.1f mm above what surrounds it; air stays there unless the mould is tilted, or vacuum or pressure is used", without, pocketMM)
	}
	return out
}

// vented says whether a sprue or a vent stands right on a place.
func (p *places) vented(have []Sprue, at r3.Vec) bool {
	flat := r2.Vec{X: at.X, Y: at.Y}
	return slices.ContainsFunc(have, func(s Sprue) bool { return r2.Norm(r2.Sub(s.At, flat)) <= s.BottomRadius })
}

// within lists places at most far from one, the nearest first: rings about it, and what there is.
func (p *places) within(at r3.Vec, far float64) []topPlace {
	const rings, spokes = 12, 16
	flat := r2.Vec{X: at.X, Y: at.Y}
	all := slices.Clone(p.tries)
	look := func(q r2.Vec) {
		if t, ok := p.placeAt(q); ok {
			all = append(all, t)
		}
	}
	look(flat)
	for i := 1; i <= rings; i++ {
		for k := range spokes {
			s, c := math.Sincos(2 * math.Pi * float64(k) / spokes)
			look(r2.Add(flat, r2.Scale(far*float64(i)/rings, r2.Vec{X: c, Y: s})))
		}
	}
	off := func(t topPlace) float64 { return r3.Norm(r3.Sub(r3.Vec{X: t.at.X, Y: t.at.Y, Z: t.z}, at)) }
	// The heights of places are rounded.
	all = slices.DeleteFunc(all, func(t topPlace) bool { return !(off(t) <= far+climbEndMM) })
	slices.SortStableFunc(all, func(a, b topPlace) int { return cmp.Compare(off(a), off(b)) })
	return all
}

// near lists the places that drain the air of a high point, the nearest first.
func (p *places) near(h highPoint) []topPlace {
	at := r2.Vec{X: h.at.X, Y: h.at.Y}
	p.add(at)
	var out []topPlace
	for _, t := range p.tries {
		if t.z >= h.at.Z-min(h.rise, pocketMM) {
			out = append(out, t)
		}
	}
	slices.SortStableFunc(out, func(a, b topPlace) int {
		return cmp.Compare(r2.Norm2(r2.Sub(a.at, at)), r2.Norm2(r2.Sub(b.at, at)))
	})
	return out
}

// farFrom is the clear distance to the nearest of some sprues.
func farFrom(have []Sprue, p r2.Vec) float64 {
	d := math.Inf(1)
	for _, s := range have {
		d = min(d, r2.Norm(r2.Sub(p, s.At))-s.BottomRadius)
	}
	return d
}
