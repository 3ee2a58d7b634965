package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// sideFeed is how the mould is filled. From above, sprue and vents stand in the plane between the side
// pieces, half in each, so that both still leave sideways. Else they go up through the whole half, and
// the mould is filled standing on its head: then they are kept with z turned over.
type sideFeed struct {
	below bool
	sprue Sprue
	more  []Sprue // those of the cavities after the first
	vents []Sprue
	open  *HeightField // the facets that lie open to the outside that way, z turned over from below
	show  []bool       // per facet of open
}

// belowSprue is a channel with z turned over.
type belowSprue struct{ Sprue }

func (s belowSprue) opensAt(p r3.Vec) bool {
	return s.Sprue.opensAt(r3.Vec{X: p.X, Y: p.Y, Z: -p.Z})
}

func (f sideFeed) channels() (out []channel) {
	for _, s := range f.all() {
		if f.below {
			out = append(out, belowSprue{s})
		} else {
			out = append(out, s)
		}
	}
	return out
}

// feedTries are what is tried for the sprue, in this order. The last puts it on a show face, which a check
// then refuses with the place.
var feedTries = []struct{ below, astride, onShow bool }{{}, {below: true}, {astride: true}, {onShow: true}, {below: true, onShow: true}}

// planFeed finds sprue and vents a place, in each of several cavities the same.
func (b *sideSplit) planFeed() error {
	if b.row != nil {
		return b.feedRow()
	}
	return b.feedOne()
}

func (b *sideSplit) feedOne() error {
	feeds := map[bool]*sideFeed{false: b.openFeed(false), true: b.openFeed(true)}
	var first error
	for _, q := range feedTries {
		f := feeds[q.below]
		err := b.placeSprue(f, feedRule{q.astride, q.onShow})
		if err != nil {
			first = cmp.Or(first, err)
			continue
		}
		b.placeVents(f)
		b.feed = *f
		b.noteFeed()
		if q.astride {
			b.mould.Notes = append(b.mould.Notes, "the part is narrower than the sprue wherever it could stand: it sits astride an edge, and its mark goes round that edge")
		}
		return nil
	}
	return fmt.Errorf("tooling: %w", first)
}

// feedRule says what a channel may do: sit astride an edge that is narrower than it, touch show faces.
type feedRule struct{ astride, onShow bool }

func (b *sideSplit) noteFeed() {
	m, f := b.mould, b.feed
	if f.below {
		m.Notes = append(m.Notes, "no place on the side split takes a sprue off the show faces: sprue and vents go through the whole half; pour with the mould standing on its head")
	}
	if got := 2 * f.sprue.TopRadius; got < b.opt.SprueMM {
		m.Notes = append(m.Notes, fmt.Sprintf("no place takes a sprue of %.1f mm: this one is %.1f mm across at the outside, with %.0f %% of the asked cross-section, so the mould fills slower",
			b.opt.SprueMM, got, 100*got*got/b.opt.SprueMM/b.opt.SprueMM))
	}
	if n := b.airLeft(); n > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("%d high places of the cavity have neither sprue nor vent: tap and tilt the mould while it fills", n))
	}
}

// airLeft counts the high places of the cavity, as it stands while it is filled, that no channel reaches.
func (b *sideSplit) airLeft() (n int) {
	m := b.mould.Part
	if b.feed.below {
		m = m.Map(overHead)
	}
	start, near := neighbours(m)
	for _, h := range highPoints(m) {
		seen := map[int32]bool{}
		var stack []int32
		for v, at := range m.Verts {
			if at == h.at {
				stack, seen[int32(v)] = append(stack, int32(v)), true
			}
		}
		served := false
		for len(stack) > 0 && !served {
			v := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for _, s := range b.feed.all() {
				served = served || r2.Norm(r2.Sub(s.At, r2.Vec{X: m.Verts[v].X, Y: m.Verts[v].Y})) < VentMoveMM || s.overFacetOf(b.feed.open, m.Verts[v])
			}
			for _, w := range near[start[v]:start[v+1]] {
				if !seen[w] && m.Verts[w].Z >= h.at.Z-pocketMM {
					seen[w] = true
					stack = append(stack, w)
				}
			}
		}
		if !served {
			n++
		}
	}
	return n
}

// overFacetOf says whether the channel starts on a facet with a corner at v.
func (s Sprue) overFacetOf(open *HeightField, v r3.Vec) bool {
	f, _, ok := open.facetAt(s.At)
	if !ok {
		return false
	}
	t := open.m.Facet(int(f))
	return t[0] == v || t[1] == v || t[2] == v
}

func (f sideFeed) all() []Sprue { return slices.Concat([]Sprue{f.sprue}, f.more, f.vents) }

func overHead(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: -v.Z} }

// openFeed collects the facets at which a channel from above, or from below, can start.
func (b *sideSplit) openFeed(below bool) *sideFeed {
	p, sign := b.parting, 1.0
	if below {
		sign = -1
	}
	tree := geom.NewBVH(p.Mesh.Verts, p.Mesh.Tris)
	f, m := &sideFeed{below: below}, &mesh.Mesh{Verts: p.Mesh.Verts}
	for i, t := range p.Mesh.Tris {
		tri := p.Mesh.Facet(i)
		if p.Upper[i] == below || sign*tri.Normal().Z <= 0 || tree.AnyHit(tri.Centroid(), r3.Vec{Z: sign}, skinMM, math.Inf(1)) {
			continue
		}
		m.Tris = append(m.Tris, t)
		f.show = append(f.show, b.opt.Show != nil && b.opt.Show[p.Source[i]])
	}
	if len(m.Tris) == 0 {
		return f
	}
	if below {
		m = m.Map(overHead)
	}
	f.open = NewHeightField(m)
	return f
}

// feedStepMM is how close together places along the side split are tried.
const feedStepMM = 0.5

// spots are the places at which a channel may stand, with the height of the cavity there.
func (b *sideSplit) feedSpots(f *sideFeed) (out []r3.Vec) {
	if f.open == nil {
		return nil
	}
	if f.below {
		m := f.open.m
		for i := 0; i < len(m.Tris); i += max(1, len(m.Tris)/ventTries) {
			out = append(out, m.Facet(i).Centroid())
		}
		box := m.Bounds() // the middle of a large facet may be far off where a sprue stands best
		for x := box.Min.X; x <= box.Max.X; x += max(feedStepMM, (box.Max.X-box.Min.X)/50) {
			for y := box.Min.Y; y <= box.Max.Y; y += max(feedStepMM, (box.Max.Y-box.Min.Y)/50) {
				if z, ok := f.open.At(r2.Vec{X: x, Y: y}); ok {
					out = append(out, r3.Vec{X: x, Y: y, Z: z})
				}
			}
		}
		return out
	}
	box := b.mould.Part.Bounds()
	mid := (box.Min.Y + box.Max.Y) / 2
	for off := 0.0; off <= (box.Max.Y-box.Min.Y)/2; off += feedStepMM {
		for _, y := range []float64{mid + off, mid - off} {
			if z, ok := f.open.At(r2.Vec{X: b.splitX, Y: y}); ok {
				out = append(out, r3.Vec{X: b.splitX, Y: y, Z: z})
			}
		}
	}
	return out
}

// outsideZ is the height at which channels leave the block.
func (b *sideSplit) outsideZ(f *sideFeed) float64 {
	if f.below {
		return -b.mould.Block.Min.Z
	}
	return b.mould.Block.Max.Z
}

// placeSprue takes the highest place, and of equally high ones the one nearest to the middle.
func (b *sideSplit) placeSprue(f *sideFeed, rule feedRule) error {
	box := b.mould.Part.Bounds()
	mid := r2.Vec{X: (box.Min.X + box.Max.X) / 2, Y: (box.Min.Y + box.Max.Y) / 2}
	spots := byScore(b.feedSpots(f), func(p r3.Vec) float64 {
		return ventHeightWeight*math.Floor(p.Z/heightStepMM)*heightStepMM - r2.Norm(r2.Sub(r2.Vec{X: p.X, Y: p.Y}, mid))
	})
	var last error
	for _, d := range sizes(b.opt.SprueMM) {
		for _, p := range spots {
			s, err := b.channelAt(f, p, SprueOptions{TopDiameterMM: d}, rule)
			if err == nil {
				f.sprue = s
				return nil
			}
			last = cmp.Or(last, err)
		}
	}
	return cmp.Or(last, fmt.Errorf("no facet lies open to the outside there: %w", ErrSprue))
}

// placeVents puts vents on the highest places off the show faces, far from the sprue and from each other.
func (b *sideSplit) placeVents(f *sideFeed) {
	spots := b.feedSpots(f)
	for range max(0, b.opt.Vents) {
		s, ok := b.nextVent(f, spots, feedRule{})
		if !ok && !f.below {
			s, ok = b.nextVent(f, spots, feedRule{astride: true})
		}
		if !ok {
			break
		}
		f.vents = append(f.vents, s)
	}
	if n := len(f.vents); n < b.opt.Vents {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%d of the %d vents asked for found a place off the show faces", n, b.opt.Vents))
	}
}

func (b *sideSplit) nextVent(f *sideFeed, spots []r3.Vec, rule feedRule) (Sprue, bool) {
	far := func(p r3.Vec) float64 { return farthest(f.all(), r2.Vec{X: p.X, Y: p.Y}) }
	for _, p := range byScore(spots, func(p r3.Vec) float64 {
		all := 0.0 // of places equally far from the nearest, the one far from the others too
		for _, c := range f.all() {
			all += r2.Norm(r2.Sub(c.At, r2.Vec{X: p.X, Y: p.Y}))
		}
		return ventHeightWeight*math.Floor(p.Z/heightStepMM)*heightStepMM + min(far(p), ventFarMM) + ventOthersWeight*all
	}) {
		if far(p) < b.opt.VentMM+b.opt.LeastWallMM {
			continue
		}
		if s, err := b.channelAt(f, p, SprueOptions{TopDiameterMM: b.opt.VentMM, DraftDeg: VentOptions().DraftDeg}, rule); err == nil {
			return s, true
		}
	}
	return Sprue{}, false
}

// ventOthersWeight decides between places whose nearest channel is about as far away.
const ventOthersWeight = 0.05

// byScore sorts places by falling score; of equal ones the earlier comes first.
func byScore(spots []r3.Vec, score func(r3.Vec) float64) []r3.Vec {
	type scored struct {
		at r3.Vec
		v  float64
	}
	all := make([]scored, len(spots))
	for i, p := range spots {
		all[i] = scored{p, score(p)}
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Compare(b.v, a.v) })
	out := make([]r3.Vec, len(all))
	for i, q := range all {
		out[i] = q.at
	}
	return out
}

// channelAt sets a channel on a place of the cavity, off the show faces unless the rule lets it, and not
// down the side of the part: where its foot would reach more than its own width below the place it stands on
// an edge.
func (b *sideSplit) channelAt(f *sideFeed, p r3.Vec, opt SprueOptions, rule feedRule) (Sprue, error) {
	s, err := b.standing(f, p, opt)
	if err != nil && rule.astride {
		s, err = b.astride(p, opt.withDefaults(), err)
	}
	if err != nil {
		return s, err
	}
	if c := s.AvoidsShow(f.open, f.show); !rule.onShow && !c.OK {
		return s, fmt.Errorf("%s: %w", c.Words, ErrSprue)
	}
	return s, nil
}

// standing is a channel with all of its foot on the part.
func (b *sideSplit) standing(f *sideFeed, p r3.Vec, opt SprueOptions) (Sprue, error) {
	at, r := r2.Vec{X: p.X, Y: p.Y}, opt.TopDiameterMM/2
	for _, q := range []r2.Vec{{X: r}, {X: -r}, {Y: r}, {Y: -r}} { // cheap, and rules out most of a narrow rim
		if z, ok := f.open.At(r2.Add(at, q)); !ok || z < p.Z-4*r {
			return Sprue{}, fmt.Errorf("the place at (%.1f, %.1f) is narrower than %.1f mm: %w", at.X, at.Y, 2*r, ErrSprue)
		}
	}
	s, err := NewSprue(at, b.outsideZ(f), f.open, opt)
	if err != nil {
		return s, err
	}
	if s.BottomZ < p.Z-4*s.BottomRadius {
		return s, fmt.Errorf("the foot at (%.1f, %.1f) hangs over an edge of the part: %w", at.X, at.Y, ErrSprue)
	}
	return s, nil
}

// astride is a channel from above that reaches down both sides of an edge by its own width, so that it opens
// into the cavity over about its own section. It ends over the whole half.
func (b *sideSplit) astride(p r3.Vec, o SprueOptions, why error) (Sprue, error) {
	s := Sprue{At: r2.Vec{X: p.X, Y: p.Y}, TopZ: b.mould.Block.Max.Z, BottomZ: p.Z - o.TopDiameterMM, TopRadius: o.TopDiameterMM / 2, DraftDeg: o.DraftDeg}
	s.BottomRadius = s.radiusAt(s.BottomZ)
	if _, hi, _ := b.field.Range(ring(s.At, s.BottomRadius+b.opt.LeastWallMM, circleSegments(s.BottomRadius))); s.BottomZ < hi+b.opt.LeastWallMM {
		return s, why
	}
	return s, nil
}

// wetTools are the sprue and the vents, and what they hold.
func (b *sideSplit) wetTools(k *solid.Kernel, raw *solid.Solid) (sprue, vents []Tool, held *solid.Solid, err error) {
	f := b.feed
	to, piece := Upper, bothSides
	if f.below {
		to, piece = Lower, WholeHalf
	}
	var rooms []*solid.Solid
	for i, s := range f.all() {
		over := s.radiusAt(s.TopZ + overshootMM)
		if over <= 0 {
			return nil, nil, nil, fmt.Errorf("tooling: %.2f mm across at the outside is too thin: %w", 2*s.TopRadius, ErrSprue)
		}
		foot, axis := r3.Vec{X: s.At.X, Y: s.At.Y, Z: s.BottomZ}, r3.Vec{Z: s.TopZ + overshootMM - s.BottomZ}
		if f.below {
			foot, axis = overHead(foot), overHead(axis)
		}
		cone, err := k.Frustum(foot, axis, s.BottomRadius, over, circleSegments(s.BottomRadius))
		if err != nil {
			return nil, nil, nil, fmt.Errorf("tooling: sprue: %w", err)
		}
		room, err := raw.Intersect(cone)
		if err != nil {
			return nil, nil, nil, fmt.Errorf("tooling: sprue: %w", err)
		}
		holds, err := volumeOf(room, nil)
		if err != nil {
			return nil, nil, nil, err
		}
		rooms = append(rooms, room)
		check := s.AvoidsShow(f.open, f.show)
		q := s.Feature(fmt.Sprintf("S%d", i+1), "sprue", holds)
		if i <= len(f.more) {
			sprue = append(sprue, Tool{Half: to, Solid: cone})
		} else {
			vents = append(vents, Tool{Half: to, Solid: cone})
			q = s.Feature(fmt.Sprintf("V%d", i-len(f.more)), "vent", holds)
			check.Name = "vent off the show faces"
		}
		if q.Piece = piece; f.below {
			q.At.Z = -q.At.Z
		}
		b.mould.Features = append(b.mould.Features, q)
		b.mould.Checks = append(b.mould.Checks, check)
	}
	held, err = k.Union(rooms...)
	if err != nil {
		return nil, nil, nil, fmt.Errorf("tooling: sprue: %w", err)
	}
	return sprue, vents, held, nil
}
