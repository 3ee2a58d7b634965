package tooling

import (
	"errors"
	"fmt"
	"math"
	"sort"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// LayoutOptions says what must find room in plan around the part, and how far apart. Radii are those of
// all that a feature cuts (Bolt.RadiusMM; a key's base plus its clearance).
type LayoutOptions struct {
	BoltRadiusMM   float64 // 0: no bolts
	MaxPitchMM     float64 // between bolts along a side; default 80
	Keys           int     // default 4, at least 2; −1 for none
	KeyRadiusMM    float64 // default 4.5
	OddKeyRadiusMM float64 // of the one key that differs; default 6
	Pry            PryOptions
	Gutter         *GutterOptions // nil: none
	LabelWidthMM   float64        // least clear width of a side for the label; 0: no label
	WallMM         float64        // least wall between cavity and outside; default 10
	CavityMM       float64        // least distance from a bolt or key to the cavity; default 4
	ApartMM        float64        // least distance between any two features; default 2
	EdgeMM         float64        // least distance from a bolt or key to the outside; default 3
	MostMM         r2.Vec         // the printer's room; zero: no limit
	KeepOff        [][]r2.Vec     // convex counter-clockwise loops in plan that are taken already, as by a side sprue
}

func (o LayoutOptions) withDefaults() LayoutOptions {
	setDefault(&o.MaxPitchMM, 80)
	setDefault(&o.KeyRadiusMM, 4.5)
	setDefault(&o.OddKeyRadiusMM, max(6, o.KeyRadiusMM+1.5))
	setDefault(&o.WallMM, 10)
	setDefault(&o.CavityMM, 4)
	setDefault(&o.ApartMM, 2)
	setDefault(&o.EdgeMM, 3)
	setDefault(&o.MostMM.X, math.Inf(1))
	setDefault(&o.MostMM.Y, math.Inf(1))
	if o.Keys == 0 {
		o.Keys = 4
	}
	o.Pry = o.Pry.withDefaults()
	if o.Gutter != nil {
		g := o.Gutter.withDefaults()
		o.Gutter = &g
	}
	return o
}

// clearMM is how far features stay from the part: off the cavity, and off the gutter if there is one.
func (o LayoutOptions) clearMM() float64 {
	if o.Gutter == nil {
		return o.CavityMM
	}
	return max(o.CavityMM, o.Gutter.LandMM+o.Gutter.WidthMM+o.ApartMM)
}

// Layout is where everything goes, in plan.
type Layout struct {
	Footprint r2.Box // as asked, or grown about its middle until all fits
	GrownMM   r2.Vec // how much was added in x and in y, both sides together
	Bolts     []r2.Vec
	Keys      []KeySpot
	Pry       []PrySpot
	Label     *LabelSpot // nil when none was asked
	Words     string
}

// KeySpot is the place of one key.
type KeySpot struct {
	At  r2.Vec
	Odd bool // the larger one, which makes the halves close one way only
}

// PrySpot is the place of one pry slot on the outside.
type PrySpot struct{ At, Inward r2.Vec }

// LabelSpot is the clear stretch of one side that can carry the label.
type LabelSpot struct {
	At       r2.Vec // middle, on the side
	Outward  r2.Vec
	WidthMM  float64
	BehindMM float64 // to the cavity, the gutter or the next feature behind it
}

// ErrLayout is the cause when the features do not fit even a block of the largest size allowed.
var ErrLayout = errors.New("the features do not fit")

const (
	growMM  = 1.0  // one step of growth: finer than anyone cares for a block's size
	growBy  = 0.01 // or this share of the block, when that is more
	mostMM  = 5000 // no mould is larger; growth that gets here will never end
	slideMM = 1.0  // raster of places tried along a side
	// oddShiftMM moves the larger key off the middle of its span, so that no mirror of the block maps
	// the keys onto themselves either.
	oddShiftMM = 4.0
	spareMM    = 1e-9 // rounding of distances: a place found at exactly the limit counts as found
)

// PlaceFeatures finds places for all that is asked, in a fixed order: bolts at the corners and then
// along the sides, keys between them, pry slots, the label. Places depend on the input alone. When a
// feature finds no room the footprint grows, in the direction that makes room for it, and all are
// placed anew; so the result is the first block that serves along that way, not the smallest possible. The error names the feature that did not fit.
func PlaceFeatures(foot r2.Box, shadow Outline, opt LayoutOptions) (*Layout, error) {
	o := opt.withDefaults()
	if err := o.check(); err != nil {
		return nil, err
	}
	box, ok := shadow.Bounds()
	if !ok || shadow.AreaMM2() <= 0 {
		return nil, fmt.Errorf("layout: the part's outline is empty or runs clockwise: %w", ErrLayout)
	}
	room := foot
	wall := o.WallMM
	if o.Gutter != nil {
		wall = max(wall, o.Gutter.LandMM+o.Gutter.WidthMM+o.Gutter.EdgeMM)
	}
	foot = r2.Box{
		Min: r2.Vec{X: min(foot.Min.X, box.Min.X-wall), Y: min(foot.Min.Y, box.Min.Y-wall)},
		Max: r2.Vec{X: max(foot.Max.X, box.Max.X+wall), Y: max(foot.Max.Y, box.Max.Y+wall)},
	}
	why := noRoom{what: "the part with its walls"}
	for {
		size := r2.Sub(foot.Max, foot.Min)
		if size.X > min(o.MostMM.X, mostMM)+spareMM || size.Y > min(o.MostMM.Y, mostMM)+spareMM {
			return nil, fmt.Errorf("layout: %s needs a block of %.0f × %.0f mm or more, the limit is %.0f × %.0f mm: "+
				"use smaller or fewer features, or a larger printer: %w", why.what, size.X, size.Y, min(o.MostMM.X, mostMM), min(o.MostMM.Y, mostMM), ErrLayout)
		}
		p := &placer{o: o, foot: foot, shadow: shadow, box: box}
		l, fail := p.place()
		if fail == nil {
			l.GrownMM = r2.Sub(size, r2.Sub(room.Max, room.Min))
			l.Words = o.words(l, why)
			return l, nil
		}
		why = *fail
		half := r2.Scale(max(growMM, growBy*max(size.X, size.Y))/2, why.grow)
		foot.Min, foot.Max = r2.Sub(foot.Min, half), r2.Add(foot.Max, half)
	}
}

func (o LayoutOptions) check() error {
	if err := finite("layout", map[string]float64{"bolt radius": o.BoltRadiusMM, "bolt pitch": o.MaxPitchMM, "key radius": o.KeyRadiusMM,
		"odd key radius": o.OddKeyRadiusMM, "label width": o.LabelWidthMM, "wall": o.WallMM, "distance to the cavity": o.CavityMM,
		"distance between features": o.ApartMM, "edge distance": o.EdgeMM}); err != nil {
		return err
	}
	if o.Keys == 1 || o.Keys > 16 || o.Pry.PerBlock > 16 {
		return fmt.Errorf("layout: %d keys and %d pry slots: use 2 to 16 keys (−1 for none) and up to 16 pry slots: %w", o.Keys, o.Pry.PerBlock, ErrLayout)
	}
	if o.MaxPitchMM < 2*o.BoltRadiusMM+o.ApartMM {
		return fmt.Errorf("layout: bolts %.1f mm across cannot stand every %.1f mm: use a larger pitch: %w", 2*o.BoltRadiusMM, o.MaxPitchMM, ErrLayout)
	}
	return nil
}

func (o LayoutOptions) words(l *Layout, why noRoom) string {
	s := r2.Sub(l.Footprint.Max, l.Footprint.Min)
	w := fmt.Sprintf("block %.1f × %.1f mm with %d bolts, %d keys, %d pry slots", s.X, s.Y, len(l.Bolts), len(l.Keys), len(l.Pry))
	if l.GrownMM.X > 0 || l.GrownMM.Y > 0 {
		w += fmt.Sprintf("; grown by %.1f × %.1f mm to make room for %s", l.GrownMM.X, l.GrownMM.Y, why.what)
	}
	return w
}

// noRoom says which feature failed and which way growth helps (0 or 1 for x and y).
type noRoom struct {
	what string
	grow r2.Vec
}

// side is one side of the footprint, walked counter-clockwise.
type side struct {
	from, along, inward r2.Vec
	length              float64
	name                string
}

func (s side) at(t, in float64) r2.Vec {
	return r2.Add(s.from, r2.Add(r2.Scale(t, s.along), r2.Scale(in, s.inward)))
}

// deepen and lengthen are the growths that move a side away from the part, and that make it longer.
func (s side) deepen() r2.Vec   { return r2.Vec{X: math.Abs(s.inward.X), Y: math.Abs(s.inward.Y)} }
func (s side) lengthen() r2.Vec { return r2.Vec{X: math.Abs(s.along.X), Y: math.Abs(s.along.Y)} }

// placer places everything on one footprint.
type placer struct {
	o      LayoutOptions
	foot   r2.Box
	shadow Outline
	box    r2.Box // of the shadow
	taken  []shape
	out    Layout
}

// sides lists front, back, right, left.
func (p *placer) sides() [4]side {
	lo, hi := p.foot.Min, p.foot.Max
	w, d := hi.X-lo.X, hi.Y-lo.Y
	return [4]side{
		{lo, r2.Vec{X: 1}, r2.Vec{Y: 1}, w, "front"},
		{hi, r2.Vec{X: -1}, r2.Vec{Y: -1}, w, "back"},
		{r2.Vec{X: hi.X, Y: lo.Y}, r2.Vec{Y: 1}, r2.Vec{X: -1}, d, "right"},
		{r2.Vec{X: lo.X, Y: hi.Y}, r2.Vec{Y: -1}, r2.Vec{X: 1}, d, "left"},
	}
}

// longFirst orders the sides so that opposite ones follow each other, the longer pair first.
func (p *placer) longFirst() [4]side {
	s := p.sides()
	if s[2].length > s[0].length {
		s[0], s[1], s[2], s[3] = s[2], s[3], s[0], s[1]
	}
	return s
}

func (p *placer) place() (*Layout, *noRoom) {
	p.out.Footprint = p.foot
	for _, loop := range p.o.KeepOff {
		p.taken = append(p.taken, shape{core: loop})
	}
	for _, step := range []func() *noRoom{p.bolts, p.keys, p.pry, p.label} {
		if fail := step(); fail != nil {
			return nil, fail
		}
	}
	return &p.out, nil
}

// clearOfPart checks a shape's distance to the part, cheaply where the part's box is far enough.
func (p *placer) clearOfPart(s shape, want float64) bool {
	lo, hi := planBox(s.core)
	dx := max(p.box.Min.X-hi.X, lo.X-p.box.Max.X, 0)
	dy := max(p.box.Min.Y-hi.Y, lo.Y-p.box.Max.Y, 0)
	return math.Hypot(dx, dy)-s.radius >= want-spareMM || gapToOutline(s, p.shadow) >= want-spareMM
}

func (p *placer) clearOfOthers(s shape) bool {
	for _, t := range p.taken {
		if gap(s, t) < p.o.ApartMM-spareMM {
			return false
		}
	}
	return true
}

// spans is how many equal spans the bolts divide a side's rail into.
func (p *placer) spans(s side) int {
	rail := s.length - 2*(p.o.EdgeMM+p.o.BoltRadiusMM)
	return max(1, int(math.Ceil(rail/p.o.MaxPitchMM-spareMM)))
}

func (p *placer) bolts() *noRoom {
	if p.o.BoltRadiusMM == 0 {
		return nil
	}
	in := p.o.EdgeMM + p.o.BoltRadiusMM
	put := func(at r2.Vec, fail noRoom) *noRoom {
		d := disc(at, p.o.BoltRadiusMM)
		if !p.clearOfOthers(d) || !p.clearOfPart(d, p.o.clearMM()) {
			return &fail
		}
		p.taken = append(p.taken, d)
		p.out.Bolts = append(p.out.Bolts, at)
		return nil
	}
	for _, s := range p.walk() {
		if fail := put(s.at(in, in), noRoom{"the bolt at the corner where the " + s.name + " begins", r2.Vec{X: 1, Y: 1}}); fail != nil {
			return fail
		}
	}
	for _, s := range p.walk() {
		if fail := p.boltsAlong(s, in); fail != nil {
			return fail
		}
	}
	return nil
}

// boltsAlong fills a side between its corner bolts, evenly where nothing is in the way: each bolt stands
// at an even share of what is left, or as near to that as it can within the pitch.
func (p *placer) boltsAlong(s side, in float64) *noRoom {
	for prev, end, i := in, s.length-in, 1; end-prev > p.o.MaxPitchMM+spareMM; i++ {
		want := prev + (end-prev)/math.Ceil((end-prev)/p.o.MaxPitchMM-spareMM)
		t, ok := p.nearestBolt(s, in, prev, want)
		if !ok {
			grow := r2.Add(s.deepen(), s.lengthen())
			alone := *p
			alone.taken = nil
			if _, free := alone.nearestBolt(s, in, prev, want); !free {
				grow = s.deepen() // it is the part that is in the way
			}
			return &noRoom{fmt.Sprintf("bolt %d along the %s", i, s.name), grow}
		}
		p.taken = append(p.taken, disc(s.at(t, in), p.o.BoltRadiusMM))
		p.out.Bolts = append(p.out.Bolts, s.at(t, in))
		prev = t
	}
	return nil
}

// nearestBolt is the free place nearest to want that keeps the pitch to the bolt before.
func (p *placer) nearestBolt(s side, in, prev, want float64) (float64, bool) {
	for off := 0.0; off < p.o.MaxPitchMM; off += slideMM {
		for _, t := range []float64{want - off, want + off} {
			d := disc(s.at(t, in), p.o.BoltRadiusMM)
			if t > prev && t-prev <= p.o.MaxPitchMM+spareMM && p.clearOfOthers(d) && p.clearOfPart(d, p.o.clearMM()) {
				return t, true
			}
		}
	}
	return 0, false
}

// walk lists the sides in counter-clockwise order, each beginning at a different corner.
func (p *placer) walk() [4]side {
	s := p.sides()
	return [4]side{s[0], s[2], s[1], s[3]}
}

// along finds the first free place on a side for what shapeAt makes of a position: positions nearest to
// the middle of a span between bolts come first, those of the middle spans before the outer ones.
func (p *placer) along(s side, margin, clear float64, shapeAt func(t float64) shape) (float64, shape, bool) {
	type try struct{ t, off, mid float64 }
	var tries []try
	in := p.o.EdgeMM + p.o.BoltRadiusMM
	n := p.spans(s)
	span := (s.length - 2*in) / float64(n)
	steps := int((s.length/2 - margin) / slideMM)
	for i := -steps; i <= steps; i++ {
		t := s.length/2 + float64(i)*slideMM
		// Distance to the middle of the span that t is in.
		c := in + (math.Floor((t-in)/span)+0.5)*span
		tries = append(tries, try{t, math.Round(math.Abs(t-c) / slideMM), math.Abs(t - s.length/2)})
	}
	sort.SliceStable(tries, func(a, b int) bool {
		if tries[a].off != tries[b].off {
			return tries[a].off < tries[b].off
		}
		return tries[a].mid < tries[b].mid
	})
	for _, c := range tries {
		if sh := shapeAt(c.t); p.clearOfOthers(sh) && p.clearOfPart(sh, clear) {
			return c.t, sh, true
		}
	}
	return 0, shape{}, false
}

// grow says which way a side must grow for a shape that found no place on it: away from the part when
// the part is in the way even alone, longer otherwise.
func (p *placer) grow(s side, margin, clear float64, shapeAt func(t float64) shape) r2.Vec {
	if 2*margin > s.length {
		return s.lengthen()
	}
	alone := *p
	alone.taken = nil
	if _, _, ok := alone.along(s, margin, clear, shapeAt); !ok {
		return s.deepen()
	}
	return s.lengthen()
}

func (p *placer) keys() *noRoom {
	if p.o.Keys < 0 {
		return nil
	}
	full := [4]bool{}
	for len(p.out.Keys) < p.o.Keys {
		placed := false
		var fail *noRoom
		for i, s := range p.longFirst() {
			if full[i] || len(p.out.Keys) == p.o.Keys {
				continue
			}
			odd := len(p.out.Keys) == 0
			r := p.o.KeyRadiusMM
			if odd {
				r = p.o.OddKeyRadiusMM
			}
			in := p.o.EdgeMM + r
			shift := 0.0
			if odd {
				shift = oddShiftMM
			}
			at := func(t float64) shape { return disc(s.at(t-shift, in), r) }
			t, sh, ok := p.along(s, in+shift, p.o.clearMM(), at)
			if !ok {
				full[i] = true
				if fail == nil {
					fail = &noRoom{fmt.Sprintf("key %d on the %s", len(p.out.Keys)+1, s.name), p.grow(s, in+shift, p.o.clearMM(), at)}
				}
				if odd {
					return fail
				}
				continue
			}
			placed = true
			p.taken = append(p.taken, sh)
			p.out.Keys = append(p.out.Keys, KeySpot{At: s.at(t-shift, in), Odd: odd})
		}
		if !placed {
			return p.crowded(fail)
		}
	}
	return p.oneWay()
}

// crowded makes sure that a failure tells which way to grow when every side was already full.
func (p *placer) crowded(fail *noRoom) *noRoom {
	if fail != nil {
		return fail
	}
	s := p.longFirst()[0]
	return &noRoom{fmt.Sprintf("key %d on the %s", len(p.out.Keys)+1, s.name), s.lengthen()}
}

// oneWay asks the proof about the keys as placed; the base radii stand in for the keys.
func (p *placer) oneWay() *noRoom {
	keys := make([]Key, len(p.out.Keys))
	for i, k := range p.out.Keys {
		keys[i] = Key{At: k.At, BaseRadius: p.o.KeyRadiusMM}
		if k.Odd {
			keys[i].BaseRadius = p.o.OddKeyRadiusMM
		}
	}
	// half the difference of radii: what two keys of different size can promise whatever their places.
	if c := KeysCloseOneWay(keys, true, (p.o.OddKeyRadiusMM-p.o.KeyRadiusMM)/2); !c.OK {
		return &noRoom{"a set of keys that closes one way only (" + c.Words + ")", p.longFirst()[0].lengthen()}
	}
	return nil
}

func (p *placer) pry() *noRoom {
	o := p.o.Pry
	full := [4]bool{}
	for len(p.out.Pry) < o.PerBlock {
		var fail *noRoom
		placed := false
		for i, s := range p.longFirst() {
			if full[i] || len(p.out.Pry) == o.PerBlock {
				continue
			}
			margin := o.WidthMM/2 + p.o.EdgeMM
			clear := max(o.KeepMM, p.o.clearMM())
			at := func(t float64) shape { return shape{core: strip(s.at(t, 0), s.inward, o.DepthMM, o.WidthMM)} }
			t, sh, ok := p.along(s, margin, clear, at)
			if !ok {
				full[i] = true
				if fail == nil {
					fail = &noRoom{fmt.Sprintf("pry slot %d on the %s", len(p.out.Pry)+1, s.name), p.grow(s, margin, clear, at)}
				}
				continue
			}
			placed = true
			p.taken = append(p.taken, sh)
			p.out.Pry = append(p.out.Pry, PrySpot{At: s.at(t, 0), Inward: s.inward})
		}
		if !placed {
			if fail == nil {
				fail = &noRoom{fmt.Sprintf("pry slot %d", len(p.out.Pry)+1), p.longFirst()[0].lengthen()}
			}
			return fail
		}
	}
	return nil
}

// label takes the widest stretch of a side between pry slots; of equal ones the front's, then the
// others' in the order of sides.
func (p *placer) label() *noRoom {
	if p.o.LabelWidthMM == 0 {
		return nil
	}
	best := 0.0
	for _, s := range p.sides() {
		cuts := []float64{p.o.EdgeMM}
		for _, opening := range p.openings(s) {
			cuts = append(cuts, opening[0]-p.o.ApartMM, opening[1]+p.o.ApartMM)
		}
		cuts = append(cuts, s.length-p.o.EdgeMM)
		for i := 0; i+1 < len(cuts); i += 2 {
			if w := cuts[i+1] - cuts[i]; w > best+spareMM {
				best = w
				p.out.Label = p.labelSpot(s, cuts[i], cuts[i+1])
			}
		}
	}
	if best < p.o.LabelWidthMM-spareMM {
		p.out.Label = nil
		return &noRoom{"the label", p.longFirst()[0].lengthen()}
	}
	return nil
}

// openings are the stretches of a side that something already opens, in order, joined where they meet.
func (p *placer) openings(s side) [][2]float64 {
	whole := shape{core: []r2.Vec{s.from, s.at(s.length, 0)}}
	var out [][2]float64
	for _, t := range p.taken {
		if gap(whole, t) > spareMM {
			continue
		}
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, v := range t.core {
			x := r2.Dot(r2.Sub(v, s.from), s.along)
			lo, hi = min(lo, x-t.radius), max(hi, x+t.radius)
		}
		out = append(out, [2]float64{lo, hi})
	}
	sort.Slice(out, func(a, b int) bool { return out[a][0] < out[b][0] || (out[a][0] == out[b][0] && out[a][1] < out[b][1]) })
	joined := out[:0]
	for _, o := range out {
		if n := len(joined); n > 0 && o[0] <= joined[n-1][1]+2*p.o.ApartMM {
			joined[n-1][1] = max(joined[n-1][1], o[1])
			continue
		}
		joined = append(joined, o)
	}
	return joined
}

func (p *placer) labelSpot(s side, t0, t1 float64) *LabelSpot {
	line := shape{core: []r2.Vec{s.at(t0, 0), s.at(t1, 0)}}
	behind := gapToOutline(line, p.shadow)
	if g := p.o.Gutter; g != nil {
		behind -= g.LandMM + g.WidthMM
	}
	for _, t := range p.taken {
		// What opens the side itself lies beside the text, not behind it.
		if gap(shape{core: []r2.Vec{s.from, s.at(s.length, 0)}}, t) > spareMM {
			behind = min(behind, gap(line, t))
		}
	}
	return &LabelSpot{At: s.at((t0+t1)/2, 0), Outward: r2.Scale(-1, s.inward), WidthMM: t1 - t0, BehindMM: behind}
}

// Face is the room for the label on one half's side: between the block's outer face and the parting
// surface where that comes nearest.
func (l LabelSpot) Face(h Half, block r3.Box, surface *HeightField) (LabelFace, error) {
	const skinMM = 0.5 // look under a thin strip along the side
	along := r2.Vec{X: -l.Outward.Y, Y: l.Outward.X}
	// Half of the strip lies outside the block, where there is no surface.
	lo, hi, _ := surface.Range(strip(r2.Sub(l.At, r2.Scale(l.WidthMM/2, along)), along, l.WidthMM, 2*skinMM))
	if lo > hi {
		return LabelFace{}, fmt.Errorf("label: the parting surface does not reach the side at (%.1f, %.1f): %w", l.At.X, l.At.Y, ErrLabel)
	}
	z0, z1 := block.Min.Z, lo
	if h == Upper {
		z0, z1 = hi, block.Max.Z
	}
	return LabelFace{Centre: r3.Vec{X: l.At.X, Y: l.At.Y, Z: (z0 + z1) / 2}, Normal: r3.Vec{X: l.Outward.X, Y: l.Outward.Y},
		WidthMM: l.WidthMM, HeightMM: z1 - z0, BehindMM: l.BehindMM}, nil
}
