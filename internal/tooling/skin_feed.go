package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// collarMM is the wall round a fill port outside the shell.
const collarMM = 2.5

// placeFeed finds places for all that goes through the shells: the resin's sprue and vents through the
// upper one, each in a sleeve of silicone, and for each side's silicone a fill port and vents.
func (b *skinMould) placeFeed() error {
	if err := b.placeSprues(); err != nil {
		return err
	}
	for _, s := range b.sides {
		if err := b.placePorts(s); err != nil {
			return err
		}
	}
	return nil
}

// placeSprues puts sprue and vents on the part's upper side, where their sleeves break through the shell
// too: those of one cavity, at the same places of all.
func (b *skinMould) placeSprues() error {
	o, s := b.opt, b.sides[Upper]
	alone := b.many.alone(b.parting)
	open, source := openUpward(alone)
	if open == nil {
		return fmt.Errorf("tooling: no face of the part's upper side is open upward: %w; choose another direction", ErrSprue)
	}
	roof := s.roof()
	end := b.collarEnd(Upper)
	sleeve := func(c Sprue) (Sprue, error) {
		at := b.grown(r3.Vec{X: c.At.X, Y: c.At.Y})
		return NewSprue(r2.Vec{X: at.X, Y: at.Y}, end, roof, SprueOptions{TopDiameterMM: 2 * (c.TopRadius*b.grow + o.SleeveMM), DraftDeg: c.DraftDeg})
	}
	t := &twoHalves{mould: &Mould{Part: b.many.one(b.mould.Part)}, top: open, topSource: source, shadow: b.many.shadow(b.mould.Shadow), z1: b.cured(r3.Vec{Z: end}).Z,
		opt: TwoHalfOptions{Show: o.Show, SprueMM: o.SprueMM, VentMM: o.VentMM, VentsAt: b.many.backInto(o.VentsAt), LeastWallMM: 2*o.SleeveMM + collarMM}}
	t.suits = func(c Sprue) error {
		for _, c := range b.many.into([]Sprue{c}) {
			if _, err := sleeve(c); err != nil {
				return err
			}
		}
		return nil
	}
	p := t.placesOnTop()
	if len(p.tries) == 0 {
		return fmt.Errorf("tooling: every upper face is a show face: %w; turn the part over, or free a face for the sprue", ErrSprue)
	}
	sprue, err := p.high(o.SprueMM, 2*o.SprueMM)
	if err != nil {
		return fmt.Errorf("tooling: sprue: %w", err)
	}
	b.sprues = b.many.into([]Sprue{sprue})
	if got := 2 * sprue.TopRadius; got < o.SprueMM {
		t.note("no place on the upper faces takes a sprue of %.1f mm: this one is %.1f mm across at the top, so the mould fills slower", o.SprueMM, got)
	}
	t.opt.Vents = p.enoughVents(o.Vents, 1, mostVents, []Sprue{sprue})
	for _, v := range p.vents([]Sprue{sprue}) {
		b.vents = append(b.vents, v.(Sprue))
	}
	b.vents = b.many.into(b.vents)
	b.mould.Notes = append(b.mould.Notes, t.mould.Notes...)
	for _, c := range b.feed() {
		l, err := sleeve(c)
		if err != nil {
			return fmt.Errorf("tooling: sleeve of the sprue: %w", err)
		}
		s.sleeves = append(s.sleeves, l)
	}
	return nil
}

// feed are the sprues and, after them, the vents.
func (b *skinMould) feed() []Sprue { return slices.Concat(b.sprues, b.vents) }

// high finds the highest place for a sprue of a diameter, or of a smaller one where it finds none, among
// those with so much room about them, or the roomiest.
func (p *places) high(diameterMM, enoughMM float64) (Sprue, error) {
	var first error
	for _, d := range sizes(diameterMM) {
		opt := SprueOptions{TopDiameterMM: d}
		try := func() (Sprue, error) {
			slices.SortStableFunc(p.tries, func(a, b topPlace) int {
				return cmp.Or(cmp.Compare(min(b.room, enoughMM), min(a.room, enoughMM)), cmp.Compare(b.z, a.z), cmp.Compare(b.room, a.room))
			})
			return p.firstThatFits(p.tries, opt, nil)
		}
		s, err := try()
		if err != nil && p.climb() {
			s, err = try()
		}
		if err == nil {
			return s, nil
		}
		first = cmp.Or(first, err)
	}
	return Sprue{}, first
}

// mostVents is how many vents are made for a cavity where none are asked for by number.
const mostVents = 4

// enoughVents is how many vents to look for: as many as are asked for or, without that, one for each high
// point that the channels there are leave without a way out for the air.
func (p *places) enoughVents(asked, least, most int, have []Sprue) int {
	if asked != 0 {
		return asked
	}
	n := len(p.b.opt.VentsAt)
	for _, h := range highPoints(p.b.mould.Part) {
		if !p.vented(have, h.at) {
			n++
		}
	}
	if n = max(least, min(n, most)); n == 0 {
		return -1
	}
	return n
}

// roof is the skin's outer face with the side standing: the highest it can be filled to.
func (s *skinSide) roof() *HeightField {
	return NewHeightField(s.inner.Mesh().Map(turnedOver))
}

// placePorts puts a side's fill port on the highest place of its roof that is left, and vents on the other
// places where air would gather. The sleeves let air out too.
func (b *skinMould) placePorts(s *skinSide) error {
	o := b.opt
	closed := overSheet(s.inner).Map(turnedOver)
	rim := make(Outline, len(s.inner.Loops))
	for i, l := range s.inner.Loops {
		for _, p := range l {
			rim[i] = append(rim[i], r2.Vec{X: p.X, Y: -p.Y})
		}
		slices.Reverse(rim[i])
	}
	apart := collarMM
	t := &twoHalves{mould: &Mould{Part: closed}, top: s.roof(), shadow: rim, z1: b.collarEnd(s.half),
		opt: TwoHalfOptions{SprueMM: o.PortMM, VentMM: o.PortVentMM, LeastWallMM: apart}}
	p := t.placesOnTop()
	near := func(c topPlace) bool {
		return farFrom(s.sleeves, c.at) < p.footAt(c, SprueOptions{TopDiameterMM: o.PortVentMM, DraftDeg: VentOptions().DraftDeg})+apart
	}
	p.tries = slices.DeleteFunc(p.tries, near)
	t.suits = func(c Sprue) error {
		if farFrom(s.sleeves, c.At) < c.BottomRadius+apart {
			return fmt.Errorf("the sleeve of the sprue is in the way: %w", ErrSprue)
		}
		return nil
	}
	port, err := p.high(o.PortMM, 0)
	if err != nil {
		return fmt.Errorf("tooling: %s: no place for the silicone's fill port: %w", s.shell, err)
	}
	s.ports = []Sprue{port}
	have, least := append([]Sprue{port}, s.sleeves...), 0
	if len(s.sleeves) == 0 {
		least = 1
	}
	t.opt.Vents = p.enoughVents(o.PortVents*b.many.n(), least, mostVents*b.many.n(), have)
	for _, v := range p.vents(have) {
		s.ports = append(s.ports, v.(Sprue))
	}
	b.placePegs(s, p.tries)
	if got := 2 * port.TopRadius; got < o.PortMM {
		t.note("its fill port is only %.1f mm across", got)
	}
	for _, n := range t.mould.Notes {
		b.mould.Notes = append(b.mould.Notes, s.skin+", while its silicone is poured: "+strings.ReplaceAll(n, "of the part", "of its outer face"))
	}
	return nil
}

// channels are all that goes through a side's shell, standing.
func (s *skinSide) channels() []Sprue { return append(slices.Clone(s.sleeves), s.ports...) }

// placePegs spreads pegs over a skin's outer face, each as far as can be from the others and from what goes
// through the shell, which holds the skin in place too.
func (b *skinMould) placePegs(s *skinSide, spots []topPlace) {
	sheet := NewHeightField(s.inner.Mesh())
	var can []skinPeg
	for i := 0; i < len(spots); i += 1 + len(spots)/pegTries {
		if p, ok := b.peg(s, sheet, r2.Vec{X: spots[i].at.X, Y: -spots[i].at.Y}); ok {
			can = append(can, p)
		}
	}
	for len(s.pegs) < max(0, b.opt.SoftKeys) {
		best, most := -1, 0.0
		for i, p := range can {
			if d := b.aside(s, p); d > most {
				best, most = i, d
			}
		}
		if best < 0 {
			break
		}
		s.pegs = append(s.pegs, can[best])
	}
	if n := len(s.pegs); n < b.opt.SoftKeys {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%s: %d of %d pegs found a place; its own shape and what stands in its %d ports and sleeves hold it in its shell", s.skin, n, b.opt.SoftKeys, len(s.channels())))
	}
}

// pegTries bounds the places tried for pegs.
const pegTries = 500

// peg is a peg at a place in plan, hanging, where the skin is not too steep.
func (b *skinMould) peg(s *skinSide, sheet *HeightField, at r2.Vec) (skinPeg, bool) {
	foot := pegTipMM + pegMM*math.Tan(pegDraftDeg*math.Pi/180)
	p := skinPeg{tip: r3.Vec{X: at.X, Y: at.Y}, top: s.inner.TopMM + overshootMM, radius: pegTipMM}
	if b.aside(s, p) <= 0 {
		return p, false
	}
	lo, hi, whole := sheet.Range(ring(at, foot, circleSegments(foot)))
	p.tip.Z = lo - pegMM
	return p, whole && hi-lo <= pegMM
}

// aside is how far a peg, with its boss, is from the others and from what goes through the shell.
func (b *skinMould) aside(s *skinSide, p skinPeg) float64 {
	at := r2.Vec{X: p.tip.X, Y: p.tip.Y}
	// Channels stand: in plan they lie across.
	d := farFrom(s.channels(), r2.Vec{X: at.X, Y: -at.Y}) - collarMM
	for _, q := range s.pegs {
		d = min(d, r2.Norm(r2.Sub(at, r2.Vec{X: q.tip.X, Y: q.tip.Y}))-q.radius)
	}
	return d - p.radius - b.opt.ShellMM
}
