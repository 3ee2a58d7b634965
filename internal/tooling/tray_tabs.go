package tooling

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// tab hangs a carrier on the tray's rim: a bar over the brim and the moat, with a foot at its outer end
// that sits in the rim. Its inner end grows out of the carrier's side, or of a leg on the carrier's top. A
// score line leaves a neck where the tab is snapped off.
type tab struct {
	from, out r2.Vec  // the carrier's middle; unit, the way the tab runs
	wide      float64 // across
	root, end float64 // from the middle, where the bar starts and ends
	barZ      float64 // its underside
	profile   []r2.Vec
	// neck is where the score line has its bottom: along the tab and up. A leg's neck is measured along
	// the tab, a bar's upright.
	neck    r2.Vec
	leg     bool
	neckMM  float64
	legPlan []r2.Vec // what a leg takes of the carrier's top, in plan
}

// ErrTabs is the cause when no tab can hold the carrier.
var ErrTabs = errors.New("no place for tabs")

const (
	// tabRootMM is how far a tab is let into the carrier.
	tabRootMM = 0.6
	// tabLevelMM is how uneven the carrier's top may be where a leg stands.
	tabLevelMM = 1.0
	// legHighMM is how thick a leg is along the tab.
	legHighMM = 3.0
	// scoreMM is the width of a score line at a bar.
	scoreMM = 1.6
	// tabTurns is how many ways round are tried for the first tab, and tabStray how many of them another
	// may stray from its even share of the circle.
	tabTurns, tabStray = 72, 8
)

// seat is what a tab's foot takes of the rim, in plan, grown by g.
func (t tab) seat(g float64) []r2.Vec {
	return strip(r2.Add(t.from, r2.Scale(t.end-t.wide-g, t.out)), t.out, t.wide+2*g, t.wide+2*g)
}

// seatAt is the middle of the seat.
func (t tab) seatAt() r2.Vec { return r2.Add(t.from, r2.Scale(t.end-t.wide/2, t.out)) }

// plan is the tab seen from above.
func (t tab) plan() []r2.Vec {
	return strip(r2.Add(t.from, r2.Scale(t.root, t.out)), t.out, t.end-t.root, t.wide)
}

// at takes a place of the tab's own plane (along it, up, across) to the mould frame.
func (t tab) at(v r3.Vec) r3.Vec {
	return r3.Vec{X: t.from.X + v.X*t.out.X + v.Z*t.out.Y, Y: t.from.Y + v.X*t.out.Y - v.Z*t.out.X, Z: v.Y}
}

// solid is the tab as printed.
func (t tab) solid(k *solid.Kernel) (*solid.Solid, error) {
	p, err := k.Prism([][]r2.Vec{t.profile}, -t.wide/2, t.wide/2)
	if err != nil {
		return nil, err
	}
	m, err := p.Mesh()
	if err != nil {
		return nil, err
	}
	return k.FromMesh(m.Map(t.at))
}

// placeTabs finds ways round the carrier for the tabs: evenly spread, the shortest bars.
func (b *trayMould) placeTabs() error {
	tree := geom.NewBVH(b.carrier.Verts, b.carrier.Tris)
	box := b.carrier.Bounds()
	middle := r2.Vec{X: (box.Min.X + box.Max.X) / 2, Y: (box.Min.Y + box.Max.Y) / 2}
	var can [tabTurns]*tab
	var why error
	for i := range can {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / tabTurns)
		t, err := b.tabToward(tree, middle, r2.Vec{X: cos, Y: sin})
		if err != nil {
			why = err
			continue
		}
		can[i] = t
	}
	best, least := []int(nil), math.Inf(1)
	for first := range tabTurns {
		pick, cost := b.spread(can[:], first)
		if pick != nil && cost < least-1e-6 {
			best, least = pick, cost
		}
	}
	if best == nil {
		return fmt.Errorf("tooling: carrier: %w: %d tabs spread round it find no hold (%w); leave part of its top or its side level and free, or give it tabs of its own that end over the brim", ErrTabs, b.opt.Tabs, why)
	}
	for i, at := range best {
		t := *can[at]
		b.tabs = append(b.tabs, t)
		s := t.seatAt()
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("T%d", i+1), Kind: "tab", Piece: CarrierPiece, At: r3.Vec{X: s.X, Y: s.Y, Z: b.level - b.opt.SeatMM},
			SizesMM: []Size{{"width", t.wide}, {"thickness", b.opt.TabHighMM}, {"neck", t.neckMM}, {"seat depth", b.opt.SeatMM}}, Words: t.words(b.opt), Outline: [][]r2.Vec{t.plan()}})
	}
	return nil
}

func (t tab) words(o TrayOptions) string {
	root := "side"
	if t.leg {
		root = "top"
	}
	return fmt.Sprintf("tab on the carrier's %s, %.1f × %.1f mm; the score line leaves a neck of %.1f × %.1f mm; its foot sits %.1f mm deep in the rim", root, t.wide, o.TabHighMM, t.wide, t.neckMM, o.SeatMM)
}

// spread picks the tabs round the circle from a first one: each at its even share, or as near to it as
// there is one.
func (b *trayMould) spread(can []*tab, first int) (pick []int, cost float64) {
	const strayMM = 2 // what a step off the even share costs, in mm of bar
	for i := range b.opt.Tabs {
		even := first + i*tabTurns/b.opt.Tabs
		at, least := -1, math.Inf(1)
		for d := -tabStray; d <= tabStray; d++ {
			k := (even + d + tabTurns) % tabTurns
			if can[k] == nil || i == 0 && d != 0 {
				continue
			}
			if c := can[k].end - can[k].root + strayMM*math.Abs(float64(d)); c < least {
				at, least = k, c
			}
		}
		if at < 0 {
			return nil, 0
		}
		pick, cost = append(pick, at), cost+least
	}
	return pick, cost
}

// tabToward fits a tab to one way round the carrier.
func (b *trayMould) tabToward(tree *geom.BVH, from, out r2.Vec) (*tab, error) {
	o := b.opt
	t := &tab{from: from, out: out, wide: o.TabMM}
	const step, walls = 0.25, 2 // mm; the wall between moat and seat, in least walls
	clear := b.moatOutMM + float64(walls)*o.LeastWallMM
	reach := 0.0
	for _, loop := range b.outline {
		for _, p := range loop {
			reach = max(reach, r2.Norm(r2.Sub(p, from)))
		}
	}
	for t.end = reach + clear + t.wide + 2*o.ClearanceMM; t.end > t.wide; t.end -= step {
		t.end -= step
		free := !short(gapToOutline(shape{core: t.seat(o.ClearanceMM)}, b.outline), clear)
		t.end += step
		if !free {
			break
		}
	}
	if err := b.sideRoot(tree, t); err == nil {
		return t, nil
	}
	return t, b.legRoot(tree, t)
}

// sideRoot lets the bar into the carrier's side, if that stands higher than the bar's neck. A side that runs
// askew to the bar, by 45° at most, takes it as well where it is solid behind.
func (b *trayMould) sideRoot(tree *geom.BVH, t *tab) error {
	o := b.opt
	t.barZ = b.level + o.TabGapMM
	var in, through []float64 // along the tab, where each ray enters and leaves the carrier
	for _, side := range []float64{-0.5, 0, 0.5} {
		for _, z := range []float64{t.barZ, t.barZ + o.NeckMM} {
			const outside = 1e4 // beyond any carrier
			p, d := t.at(r3.Vec{X: outside, Y: z, Z: side * t.wide}), r3.Vec{X: -t.out.X, Y: -t.out.Y}
			hit, ok := tree.FirstHit(p, d, 0, outside)
			if !ok {
				return fmt.Errorf("its side does not reach over the brim: %w", ErrTabs)
			}
			in = append(in, outside-hit.T)
			if hit, ok = tree.FirstHit(p, d, hit.T+skinMM, math.Inf(1)); ok {
				through = append(through, outside-hit.T)
			}
		}
	}
	near, far := slices.Min(in), slices.Max(in)
	inner := t.end - t.wide // of the foot
	t.root = near - tabRootMM
	if far-near > t.wide || far+scoreMM > inner || t.root < 0 || len(through) < len(in) || slices.Max(through) > t.root {
		return fmt.Errorf("its side is uneven, thin or too near to the rim: %w", ErrTabs)
	}
	z0, z1 := t.barZ, t.barZ+o.TabHighMM
	mid := far + scoreMM/2
	t.neck, t.neckMM = r2.Vec{X: mid, Y: z0}, o.NeckMM
	t.profile = []r2.Vec{{X: t.root, Y: z0}, {X: inner, Y: z0}, {X: inner, Y: b.level - o.SeatMM}, {X: t.end, Y: b.level - o.SeatMM}, {X: t.end, Y: z1},
		{X: mid + scoreMM/2, Y: z1}, {X: mid, Y: z0 + o.NeckMM}, {X: mid - scoreMM/2, Y: z1}, {X: t.root, Y: z1}}
	return nil
}

// legRoot stands a leg on the carrier's top, as near to the rim as it finds a level place. Its neck is at
// the poured face, or over the carrier's top where that is higher, there or on the way to the rim.
func (b *trayMould) legRoot(tree *geom.BVH, t *tab) error {
	o := b.opt
	const step, beside = 0.5, 1.0 // mm; beside: what is left of the carrier round a leg
	inner := t.end - t.wide
	for s := inner - legHighMM/2; s > legHighMM/2; s -= step {
		low, high, ok := b.topUnder(tree, t, s, beside)
		if !ok || high-low > tabLevelMM {
			continue
		}
		notch := (legHighMM - o.NeckMM) / 2
		// Between leg and rim the bar passes over whatever stands there, and so does the neck, to be reached.
		neckZ := max(b.level, max(high, b.highestUnder(tree, t, s, inner))+notch)
		t.barZ = max(b.level+o.TabGapMM, neckZ+notch)
		t.leg, t.neck, t.neckMM = true, r2.Vec{X: s, Y: neckZ}, o.NeckMM
		h, n := legHighMM/2, o.NeckMM/2
		z0, z1 := t.barZ, t.barZ+o.TabHighMM
		t.root = s - h
		t.legPlan = strip(r2.Add(t.from, r2.Scale(s-h, t.out)), t.out, legHighMM, t.wide)
		t.profile = []r2.Vec{{X: s - h, Y: low - tabRootMM}, {X: s + h, Y: low - tabRootMM}, {X: s + h, Y: neckZ - notch}, {X: s + n, Y: neckZ}}
		if z0-neckZ-notch > 1e-6 {
			t.profile = append(t.profile, r2.Vec{X: s + h, Y: neckZ + notch})
		}
		t.profile = append(t.profile, r2.Vec{X: s + h, Y: z0}, r2.Vec{X: inner, Y: z0}, r2.Vec{X: inner, Y: b.level - o.SeatMM},
			r2.Vec{X: t.end, Y: b.level - o.SeatMM}, r2.Vec{X: t.end, Y: z1}, r2.Vec{X: s - h, Y: z1}, r2.Vec{X: s - h, Y: neckZ + notch}, r2.Vec{X: s - n, Y: neckZ},
			r2.Vec{X: s - h, Y: neckZ - notch})
		return nil
	}
	return fmt.Errorf("its top has no level place for a leg: %w", ErrTabs)
}

// topUnder is how high the carrier's top lies under a leg and a margin round it; ok says that it does all
// over, and looks up.
func (b *trayMould) topUnder(tree *geom.BVH, t *tab, s, margin float64) (low, high float64, ok bool) {
	low, high = math.Inf(1), math.Inf(-1)
	top := b.carrier.Bounds().Max.Z + 1
	h, w := legHighMM/2+margin, t.wide/2+margin
	for i := range 5 {
		for j := range 5 {
			p := t.at(r3.Vec{X: s + h*(float64(i)/2-1), Y: top, Z: w * (float64(j)/2 - 1)})
			hit, found := tree.FirstHit(p, r3.Vec{Z: -1}, 0, math.Inf(1))
			if !found || r3.Unit(b.carrier.Facet(hit.Facet).Normal()).Z < 0.9 {
				return low, high, false
			}
			low, high = min(low, top-hit.T), max(high, top-hit.T)
		}
	}
	return low, high, true
}

// highestUnder is the highest place of the carrier under a bar from a leg to its foot; −Inf for none.
func (b *trayMould) highestUnder(tree *geom.BVH, t *tab, from, to float64) float64 {
	const step = 0.25 // mm: under the width of any printed wall
	high, top := math.Inf(-1), b.carrier.Bounds().Max.Z+1
	for s := from; s <= to; s += step {
		for _, side := range []float64{-0.5, -0.25, 0, 0.25, 0.5} {
			if hit, ok := tree.FirstHit(t.at(r3.Vec{X: s, Y: top, Z: side * t.wide}), r3.Vec{Z: -1}, 0, math.Inf(1)); ok {
				high = max(high, top-hit.T)
			}
		}
	}
	return high
}

// seats cuts the tabs' seats into the rim.
func (b *trayMould) seats() (share, error) {
	s := share{name: "clearance round the tabs"}
	for _, t := range b.tabs {
		p, err := b.k.Prism([][]r2.Vec{t.seat(b.opt.ClearanceMM)}, b.level-b.opt.SeatMM, b.level+overshootMM)
		if err != nil {
			return s, fmt.Errorf("tooling: tab's seat: %w", err)
		}
		s.tools = append(s.tools, Tool{Half: Lower, Solid: p})
	}
	return s, nil
}
