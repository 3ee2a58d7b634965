package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

const (
	// sideStepMM is the raster of places tried along a side for a sprue; a part smaller than some tens
	// of steps is tried more finely.
	sideStepMM    = 1.0
	sideLeastStep = 40
	// sideClearMM is kept between the trough and any of the part but the place it runs to.
	sideClearMM = 2.0
	// sideCoverMM is the mould kept over the trough.
	sideCoverMM = 3.0
	// gateMM is how far a trough runs over the part, so that it opens even where the part's top is level
	// with the parting line.
	gateMM = 1.5
	// leastGateMM is the least such run on a small part.
	leastGateMM = 0.3
	// sideFarMM is beyond any block: what stays clear of a trough stays clear of it out to there.
	sideFarMM = 2 * mostMM
)

// sideChannel is a sprue or a vent along the parting surface, from one side of the block.
type sideChannel struct {
	SideSprue
	options SideSprueOptions
	side    side    // of the part's box; the block's lies behind it
	at      float64 // along the side
	first   float64 // from the side to where the trough first meets the part
	spread  float64 // how far apart its two sides meet the part
	b       *twoHalves
}

// sideOptions is the trough with the cross-section of a round sprue of diameter d, or a little over.
func sideOptions(d float64) SideSprueOptions {
	return SideSprueOptions{WidthMM: 1.2 * d, HeightMM: 0.8 * d, OverlapMM: gateMM}
}

// sideFeed finds a sprue that runs in along the parting surface, and vents beside it. The mould is then
// filled standing on the opposite side, so the best place is where the outline is nearest to the side:
// no air stays above it. Vents go to the next such places.
func (b *twoHalves) sideFeed() (feed, error) {
	var firstErr error
	for _, d := range sizes(b.opt.SprueMM) {
		o := sideOptions(d)
		tries, err := b.sideTries(o, b.boxSides())
		if err == nil {
			s := tries[0]
			if d < b.opt.SprueMM {
				b.note("no side of the block takes a sprue of %.1f × %.1f mm: this one is %.1f × %.1f mm, and the mould fills slower",
					1.2*b.opt.SprueMM, 0.8*b.opt.SprueMM, o.WidthMM, o.HeightMM)
			}
			if err := b.chooseHeight(o.HeightMM + sideCoverMM); err != nil {
				return feed{}, err
			}
			return b.sideVents(s), nil
		}
		firstErr = cmp.Or(firstErr, err)
	}
	return feed{}, firstErr
}

// boxSides are the sides of the part's own box in plan.
func (b *twoHalves) boxSides() []side {
	box, _ := b.shadow.Bounds()
	p := placer{foot: box}
	s := p.sides()
	return s[:]
}

// sideTries lists the places for a trough, best first. Where the trough meets the line at a slant it
// would leave a long mark, so of equal places the straightest counts.
func (b *twoHalves) sideTries(o SideSprueOptions, sides []side) ([]*sideChannel, error) {
	var out []*sideChannel
	var middle error // of the middle of the first side: what a maker would look at
	for _, s := range sides {
		n := max(sideLeastStep, int(s.length/sideStepMM)) | 1
		for i := range n {
			c, err := b.sideFits(s, s.length*(float64(i)+0.5)/float64(n), o)
			if err == nil {
				out = append(out, c)
			} else if i == n/2 {
				middle = cmp.Or(middle, err)
			}
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("no side takes a trough of %.1f × %.1f mm (in the middle: %w)", o.WidthMM, o.HeightMM, middle)
	}
	const near = 2.0 // mm: of places so much alike the straightest is the best
	slices.SortStableFunc(out, func(p, q *sideChannel) int {
		return cmp.Or(cmp.Compare(math.Floor(p.first/near), math.Floor(q.first/near)), cmp.Compare(math.Floor(p.spread/0.1), math.Floor(q.spread/0.1)),
			cmp.Compare(math.Abs(p.at-p.side.length/2), math.Abs(q.at-q.side.length/2)))
	})
	return out, nil
}

// sideFits tries a place with the full gate, and with the least one where that runs too far.
func (b *twoHalves) sideFits(s side, t float64, o SideSprueOptions) (*sideChannel, error) {
	c, err := b.sideAt(s, t, o)
	if err != nil {
		o.OverlapMM = leastGateMM
		c, err = b.sideAt(s, t, o)
	}
	return c, err
}

// sideAt fits a trough to one place on a side of the part's box, from just outside it.
func (b *twoHalves) sideAt(s side, t float64, o SideSprueOptions) (*sideChannel, error) {
	outer := b.shadow.Outer()
	out := sideClearMM + o.WidthMM
	run := func(o SideSprueOptions) (SideSprue, error) { return NewSideSprue(s.at(t, -out), s.inward, outer, o) }
	box, _ := outer.Bounds()
	o.OverlapMM = max(leastGateMM, min(o.OverlapMM, 0.2*min(box.Max.X-box.Min.X, box.Max.Y-box.Min.Y)))
	sp, err := run(o)
	if err != nil {
		return nil, err
	}
	c := &sideChannel{SideSprue: sp, options: o, side: s, at: t, b: b}
	gate := r2.Norm(r2.Sub(sp.gate[1], sp.gate[0]))
	c.spread = gate - 2*o.OverlapMM
	c.first = sp.LengthMM - gate + o.OverlapMM - out
	// Before the gate the trough passes nothing of the part; behind it, it reaches no hole.
	run0 := c.first + out - sideClearMM
	if run0 > 0 && short(gapToOutline(shape{core: strip(sp.From, sp.Dir, run0, o.WidthMM)}, outer), min(sideClearMM, 0.7*sideClearMM)) {
		return nil, fmt.Errorf("side sprue from (%.1f, %.1f): it passes another part of the outline within %.1f mm: %w", sp.From.X, sp.From.Y, 0.7*sideClearMM, ErrSprue)
	}
	for _, loop := range b.shadow {
		if loopArea(loop) < 0 && loopDistance(sp.gate, loop) < leastGateMM {
			return nil, fmt.Errorf("side sprue from (%.1f, %.1f): its gate runs into a through-hole: %w", sp.From.X, sp.From.Y, ErrSprue)
		}
	}
	if check := c.offShow(b); !check.OK {
		return nil, fmt.Errorf("%s: %w", check.Words, ErrSprue)
	}
	return c, nil
}

// sideVents adds vents beside a side sprue, on the same side, nearest to it first.
func (b *twoHalves) sideVents(s *sideChannel) feed {
	out := feed{sprue: s}
	have := []*sideChannel{s}
	o := sideOptions(b.opt.VentMM)
	tries, last := b.sideTries(o, []side{s.side})
	apart := func(c *sideChannel) float64 {
		d := math.Inf(1)
		for _, h := range have {
			d = min(d, math.Abs(c.at-h.at)-(c.options.WidthMM+h.options.WidthMM)/2)
		}
		return d
	}
	for len(out.vents) < max(0, b.opt.Vents) {
		slices.SortStableFunc(tries, func(p, q *sideChannel) int {
			return cmp.Or(cmp.Compare(math.Floor(p.first), math.Floor(q.first)), cmp.Compare(apart(q), apart(p)))
		})
		i := slices.IndexFunc(tries, func(c *sideChannel) bool { return apart(c) >= 2*sideClearMM })
		if i < 0 {
			break
		}
		have, out.vents = append(have, tries[i]), append(out.vents, tries[i])
	}
	b.noteVents(len(out.vents), last)
	return out
}

// sidePlans are the strips in plan that troughs take, out to beyond any block.
func (b *twoHalves) sidePlans() (out [][]r2.Vec) {
	for _, c := range b.feed.all() {
		if s, ok := c.(*sideChannel); ok {
			out = append(out, strip(r2.Sub(s.From, r2.Scale(sideFarMM, s.Dir)), s.Dir, sideFarMM+s.LengthMM, s.options.WidthMM))
		}
	}
	return out
}

// sideRoom is what the gutter leaves to the troughs: it must not drain them.
func (b *twoHalves) sideRoom() (out [][]r2.Vec) {
	if b.cavities != nil && !b.cavities.apart() {
		out = b.cavities.runner.rooms()
	}
	for _, c := range b.feed.all() {
		if s, ok := c.(*sideChannel); ok {
			o := s.options
			out = append(out, strip(r2.Sub(s.From, s.Dir), s.Dir, s.LengthMM+2, o.WidthMM+2*sideClearMM))
		}
	}
	return out
}

// endAtSides makes the troughs end at the sides of the block as it has become.
func (b *twoHalves) endAtSides() error {
	p := placer{foot: b.layout.Footprint}
	for _, c := range b.feed.all() {
		s, ok := c.(*sideChannel)
		if !ok {
			continue
		}
		for _, wall := range p.sides() {
			if wall.name != s.side.name {
				continue
			}
			from := r2.Sub(s.From, r2.Scale(r2.Dot(s.Dir, r2.Sub(s.From, wall.from)), s.Dir))
			longer, err := NewSideSprue(from, s.Dir, b.shadow.Outer(), s.options)
			if err != nil {
				return fmt.Errorf("tooling: %w", err)
			}
			s.SideSprue = longer
		}
	}
	return nil
}

func (s *sideChannel) cutter(k *solid.Kernel, aprons RawHalves) (Tool, error) {
	facing := aprons.Lower
	if s.Options.Below {
		facing = aprons.Upper
	}
	trough, err := s.Tools(k, facing)
	if err != nil {
		return Tool{}, err
	}
	lo, hi := s.lineAtGate()
	lo, hi = lo-overshootMM, hi+s.options.HeightMM
	if s.Options.Below {
		lo, hi = lo+overshootMM-s.options.HeightMM, hi-s.options.HeightMM+overshootMM
	}
	wider := 0.0
	if s.Options.Closed { // as wide as the trough at the line: else an upright wall stays beside it
		low, high, _ := s.b.field.Range(s.gate)
		wider = (high - lo) * math.Tan(s.Options.DraftDeg*math.Pi/180)
		if s.Options.Below {
			wider = (hi - low) * math.Tan(s.Options.DraftDeg*math.Pi/180)
		}
	}
	gate, err := s.GateTool(k, lo, hi, wider)
	if err != nil {
		return Tool{}, err
	}
	both, err := trough[0].Solid.Union(gate.Solid)
	return Tool{Half: gate.Half, Solid: both}, err
}

// lineAtGate is the least and greatest height that the gate's cutter must reach: the parting line's, and
// down to the part's top there, or up to its bottom where the gate is in the lower half.
func (s *sideChannel) lineAtGate() (lo, hi float64) {
	lo, hi, _ = s.b.field.Range(s.gate)
	if s.Options.Below {
		low, _ := s.b.bottom()
		if _, high, _ := low.Range(s.gate); high > hi {
			hi = high
		}
		return lo, hi
	}
	if low, _, _ := s.b.top.Range(s.gate); low < lo {
		lo = low
	}
	return lo, hi
}

func (s *sideChannel) feature(name, kind string, held float64) Feature {
	z, _ := s.b.field.At(r2.Add(s.From, r2.Scale(spareMM, s.Dir)))
	f := s.SideSprue.Feature(name, z, held)
	f.Kind = "side " + kind
	f.Words = fmt.Sprintf("side %s from the %s along the parting surface, %.1f × %.1f mm, holds %.2f mL", kind, s.side.name, s.options.WidthMM, s.options.HeightMM, held/1000)
	return f
}

// offShow looks at the facets of both halves that the gate touches: its mark is trimmed on either side of
// the line. A face that only lies over or under the gate, out of its reach, keeps its skin.
func (s *sideChannel) offShow(b *twoHalves) Check {
	c := Check{Name: "sprue off the show faces", OK: true, Unit: "facets",
		Words: fmt.Sprintf("side channel from (%.1f, %.1f) touches no show face", s.From.X, s.From.Y)}
	if b.opt.Show == nil {
		return c
	}
	low, lowSource := b.bottom()
	roof, floor := b.parting.MaxZ+s.options.HeightMM, b.parting.MinZ
	if s.Options.Below {
		roof, floor = b.parting.MaxZ, b.parting.MinZ-s.options.HeightMM
	}
	for _, h := range []struct {
		field *HeightField
		show  []bool
	}{{b.top, b.showOnTop()}, {low, b.showOn(lowSource)}} {
		h.field.over(s.gate, func(f int32, part []r3.Vec) {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range part {
				lo, hi = min(lo, v.Z), max(hi, v.Z)
			}
			if h.show[f] && lo < roof-limitSlackMM && hi > floor-limitSlackMM {
				c.OK = false
				c.Value++
			}
		})
	}
	if !c.OK {
		c.Words = fmt.Sprintf("side channel from (%.1f, %.1f) touches %.0f show facets: move it", s.From.X, s.From.Y, c.Value)
	}
	return c
}

// bottom is the part's surface in the lower half, made when first asked for.
func (b *twoHalves) bottom() (*HeightField, []int32) {
	if b.low == nil {
		b.low, b.lowSource = facetsAs(b.parting, Lower)
	}
	return b.low, b.lowSource
}

func (s *sideChannel) opensAt(p r3.Vec) bool {
	rel := r2.Sub(r2.Vec{X: p.X, Y: p.Y}, s.From)
	along, across := r2.Dot(rel, s.Dir), r2.Cross(s.Dir, rel)
	if along < -holeSlackMM || along > s.LengthMM+holeSlackMM || math.Abs(across) > s.options.WidthMM/2+holeSlackMM {
		return false
	}
	lo, hi, _ := s.b.field.Range(s.Plan())
	if s.Options.Below {
		return p.Z >= lo-s.options.HeightMM-holeSlackMM
	}
	return p.Z <= hi+s.options.HeightMM+holeSlackMM
}
