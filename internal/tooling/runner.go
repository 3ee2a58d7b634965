package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Runner is the tree of channels in the lower half that leads from one sprue into several cavities. It
// follows the parting surface. Its gates are made so wide that every cavity takes the same flow.
type Runner struct {
	WidthMM, DepthMM, DraftDeg float64
	Runs                       []RunnerRun
	Gates                      []RunnerGate // of the cavities, in their order
	// SpreadPct is how far the largest and the smallest flow into a cavity lie apart, % of the mean, as drawn.
	SpreadPct float64
	// OffPct is by how much a cavity's flow changes, %, when its gate alone is printed printOffMM too wide.
	OffPct float64
	// Resistance of the whole tree below the sprue, 1/mm³: the pressure lost is viscosity · flow · this.
	Resistance float64
	root       *flowNode
	wellRadius float64 // under the sprue, at the parting surface
}

// RunnerRun is a straight stretch of the runner, from where it is fed.
type RunnerRun struct {
	From, To r2.Vec
	Cavities int // fed through it
}

// LengthMM is its length between the middles of what it joins.
func (r RunnerRun) LengthMM() float64 { return r2.Norm(r2.Sub(r.To, r.From)) }

// RunnerGate is the narrow last stretch into a cavity.
type RunnerGate struct {
	Start, Dir r2.Vec // where it leaves the runner's side; unit direction
	Upper      bool   // in the upper half: a show face lies below
	LengthMM   float64
	WidthMM    float64
	DepthMM    float64
	SharePct   float64 // of the flow
	PathMM     float64 // from the sprue to the cavity, along the runner
	from       r2.Vec  // inside the runner
	overlapMM  float64
}

const (
	// runnerDraftDeg leans the sides of runner and gates.
	runnerDraftDeg = 10
	// runnerLandMM is kept between the runner and a cavity: as wide as a gutter's land, so that the closed
	// halves seal there. Common practice, no source.
	runnerLandMM = 3.0
	// leastGateWidthMM is two lines of a 0.4 mm nozzle: narrower, a gate prints closed. Common practice, no
	// source.
	leastGateWidthMM = 0.8
	// gateWidthShare and gateDepthShare are a gate's width and depth over the runner's: it tears off first.
	gateWidthShare, gateDepthShare = 0.75, 0.6
	// spreadLimitPct is how unequal the flows into the cavities may be as drawn: what printing does to a gate is
	// more.
	spreadLimitPct = 2.0
	// printOffMM is how far a printed gate's width may be off. Common practice, no source.
	printOffMM = 0.05
	// wellDeeperMM is how much deeper than the runner the hollow under the sprue is: it takes the first,
	// coldest or airy, drop. Common practice, no source.
	wellDeeperMM = 0.5
	// wellWiderMM is how much wider it is than the runner on each side, at least: walls that just touch
	// would leave slivers between them.
	wellWiderMM = 0.5
)

// runnerSize is a runner with the section of a round one of diameter d, or a little over.
func runnerSize(d float64) Runner {
	return Runner{WidthMM: 1.2 * d, DepthMM: 0.8 * d, DraftDeg: runnerDraftDeg}
}

// channelMM is the width that the runner and the sprue's foot need between two rows of cavities.
func (r *Runner) channelMM() float64 { return 2 * (max(r.WidthMM/2, r.wellRadius) + runnerLandMM) }

// entry is a gate's place, in the frame of a cavity that stands alone.
type entry struct {
	at, dir   r2.Vec // where the gate's middle meets the outline; the way in
	below     bool
	overlapMM float64
}

// entryFrom finds the best place for a gate on the side of the cavity that a channel lies on. The lower
// half comes first, where the runner is; the upper one serves where a show face lies below.
func (b *twoHalves) entryFrom(dir r2.Vec, r *Runner) (entry, error) {
	var firstErr error
	for _, below := range []bool{true, false} {
		o := SideSprueOptions{WidthMM: gateWidthShare * r.WidthMM, HeightMM: gateDepthShare * r.DepthMM, DraftDeg: r.DraftDeg, OverlapMM: gateMM, Below: below}
		for _, s := range b.boxSides() {
			if r2.Dot(s.inward, dir) < 0.5 {
				continue
			}
			tries, err := b.sideTries(o, []side{s})
			if err != nil {
				firstErr = cmp.Or(firstErr, err)
				continue
			}
			c := tries[0]
			t, ok := firstCrossing(c.From, c.Dir, b.shadow.Outer())
			if !ok {
				return entry{}, fmt.Errorf("gate from (%.1f, %.1f): it runs past the part: %w", c.From.X, c.From.Y, ErrSprue)
			}
			return entry{at: r2.Add(c.From, r2.Scale(t, c.Dir)), dir: c.Dir, below: below, overlapMM: c.options.OverlapMM}, nil
		}
	}
	return entry{}, firstErr
}

// planRunner lays the runner of a packing and balances it. b is the cavity that stands alone.
func (b *twoHalves) planRunner(p Packing, size Runner) (*Runner, error) {
	r := size
	r.Gates = make([]RunnerGate, len(p.Places))
	known := map[r2.Vec]entry{}
	entries := make([]entry, len(p.Places))
	for _, c := range p.Channels {
		for i, k := range c.Cavities {
			place := p.Places[k]
			dir := quarterTurn(c.Inward[i], -place.Quarters)
			e, ok := known[dir]
			if !ok {
				var err error
				if e, err = b.entryFrom(dir, &r); err != nil {
					return nil, fmt.Errorf("tooling: gate into cavity %d: %w", k+1, err)
				}
				known[dir] = e
			}
			e.at, e.dir = place.Into(e.at), quarterTurn(e.dir, place.Quarters)
			entries[k] = e
		}
	}
	whole := placedOutline(b.shadow.Outer(), p.Places)
	l := runnerLayer{r: &r, entries: entries, whole: whole, duct: ductMM4(r.WidthMM, r.DepthMM, r.DraftDeg), gates: make([]*flowGate, len(entries))}
	l.lay(p.Channels)
	r.root.balance(max(leastGateWidthMM, gateNarrowest*r.DepthMM*gateDepthShare))
	r.settle(l.gates)
	return &r, nil
}

// gateNarrowest is the least width of a gate over its depth: with its draft it would close.
var gateNarrowest = 2.6 * math.Tan(runnerDraftDeg*math.Pi/180)

// placedOutline is the outline in all its places.
func placedOutline(o Outline, places []CavityPlace) (out Outline) {
	for _, c := range places {
		for _, l := range o {
			t := quarterTurned(l, c.Quarters)
			for i := range t {
				t[i] = r2.Add(t[i], c.At)
			}
			out = append(out, t)
		}
	}
	return out
}

// runnerLayer puts the stretches together, outward from the sprue at the origin.
type runnerLayer struct {
	r       *Runner
	entries []entry
	whole   Outline // of all cavities
	duct    float64 // of the runner, mm⁴
	gates   []*flowGate
}

func (l *runnerLayer) run(from, to r2.Vec, cavities int) float64 {
	n := RunnerRun{from, to, cavities}
	if n.LengthMM() < joinedMM {
		return 0
	}
	l.r.Runs = append(l.r.Runs, n)
	return n.LengthMM() / l.duct
}

// leastBranchMM is the least length of a branch beside the runner that is worth having.
const leastBranchMM = 1.0

// joinedMM: forks nearer than this are one.
const joinedMM = 0.05

// stop is a place along a line at which something hangs.
type stop struct {
	along float64
	hang  func(at r2.Vec, before float64) *flowNode
	feeds int
}

// line hangs stops on a straight line through from, on both sides of it: each fed through those before.
func (l *runnerLayer) line(from, dir r2.Vec, before float64, stops []stop) []*flowNode {
	slices.SortStableFunc(stops, func(a, b stop) int { return cmp.Compare(math.Abs(a.along), math.Abs(b.along)) })
	var out []*flowNode
	for _, sign := range []float64{1, -1} {
		var mine []stop
		left := 0
		for _, s := range stops {
			if near := math.Abs(s.along) < joinedMM; (near && sign > 0) || (!near && s.along*sign > 0) {
				mine, left = append(mine, s), left+s.feeds
			}
		}
		into := &out
		at, path := from, before
		for _, s := range mine {
			to := r2.Add(from, r2.Scale(s.along, dir))
			if math.Abs(s.along) < joinedMM {
				to = from
			}
			path += r2.Norm(r2.Sub(to, at))
			if r := l.run(at, to, left); r > 0 {
				n := &flowNode{run: r}
				*into = append(*into, n)
				into = &n.kids
				at = to
			}
			*into = append(*into, s.hang(to, path))
			left -= s.feeds
		}
	}
	return out
}

func (l *runnerLayer) lay(channels []Channel) {
	trunk := r2.Vec{Y: 1}
	for _, c := range channels {
		if n := r2.Norm(c.Mid); n > joinedMM {
			trunk = r2.Scale(1/n, c.Mid)
		} else if len(channels) == 1 {
			trunk = c.Inward[0]
		}
	}
	var stops []stop
	for _, c := range channels {
		stops = append(stops, stop{along: r2.Dot(c.Mid, trunk), feeds: len(c.Cavities), hang: func(at r2.Vec, before float64) *flowNode { return l.channel(c, at, before) }})
	}
	l.r.root = &flowNode{kids: l.line(r2.Vec{}, trunk, 0, stops)}
}

// channel hangs the gates of a channel on the line along it.
func (l *runnerLayer) channel(c Channel, at r2.Vec, before float64) *flowNode {
	along := quarterTurn(c.Inward[0], 3)
	var stops []stop
	for _, k := range c.Cavities {
		e := l.entries[k]
		stops = append(stops, stop{along: r2.Dot(r2.Sub(e.at, at), along), feeds: 1, hang: func(at r2.Vec, before float64) *flowNode { return l.gate(k, at, before) }})
	}
	return &flowNode{kids: l.line(at, along, before, stops)}
}

// gate is the way from the line into a cavity: a branch as wide as the runner where the cavity lies far
// back, then the gate.
func (l *runnerLayer) gate(k int, at r2.Vec, before float64) *flowNode {
	e, r := l.entries[k], l.r
	far := r2.Dot(r2.Sub(e.at, at), e.dir)
	edge := r.WidthMM / 2 // how far the runner reaches from its middle
	if at == (r2.Vec{}) {
		edge = max(edge, r.wellRadius)
	}
	branch := far - runnerLandMM
	for branch > edge+leastBranchMM && gapToOutline(shape{core: strip(at, e.dir, branch, r.WidthMM)}, l.whole) < 0.9*runnerLandMM {
		branch -= 0.5
	}
	g := &flowGate{depthMM: gateDepthShare * r.DepthMM, draftDeg: r.DraftDeg, widthMM: gateWidthShare * r.WidthMM}
	gate := &r.Gates[k]
	gate.Dir, gate.Upper, gate.from, gate.overlapMM, gate.DepthMM = e.dir, !e.below, at, e.overlapMM, g.depthMM
	if branch > edge+leastBranchMM {
		g.branch = l.run(at, r2.Add(at, r2.Scale(branch, e.dir)), 1)
		edge = branch
		gate.from = r2.Add(at, r2.Scale(branch-min(branch, r.WidthMM/2), e.dir))
	}
	gate.Start = r2.Add(at, r2.Scale(edge, e.dir))
	g.lengthMM = max(far-edge, joinedMM)
	gate.LengthMM, gate.PathMM = g.lengthMM, before+far
	l.gates[k] = g
	return &flowNode{gate: g}
}

// settle puts the balanced gates and their shares into the runner.
func (r *Runner) settle(gates []*flowGate) {
	q := map[*flowGate]float64{}
	r.root.flows(1, q)
	sum := 0.0
	for _, g := range gates {
		sum += q[g]
	}
	for k, g := range gates {
		r.Gates[k].WidthMM, r.Gates[k].SharePct = g.widthMM, 100*q[g]/sum
	}
	r.SpreadPct, r.Resistance = r.root.spreadPct(), 1/r.root.conductance()
	for _, g := range gates {
		was := q[g]
		g.widthMM += printOffMM
		off := map[*flowGate]float64{}
		r.root.flows(1, off)
		r.OffPct = max(r.OffPct, 100*(off[g]/was-1))
		g.widthMM -= printOffMM
	}
}

// check says whether the cavities fill equally.
func (r *Runner) check() Check {
	short, long := math.Inf(1), 0.0
	for _, g := range r.Gates {
		short, long = min(short, g.PathMM), max(long, g.PathMM)
	}
	return Check{Name: "cavities fill equally", OK: r.SpreadPct <= spreadLimitPct, Value: r.SpreadPct, Limit: spreadLimitPct, Unit: "%",
		Words: fmt.Sprintf("the flows into the cavities are %.2f %% apart as drawn; ways from the sprue of %.1f to %.1f mm are evened out by the widths of the gates; a gate printed %.2f mm too wide gives its cavity %.1f %% more",
			r.SpreadPct, short, long, printOffMM, r.OffPct)}
}

// Plan are the outlines of the runner's stretches and gates and of the well under the sprue, in plan.
func (r *Runner) Plan() [][]r2.Vec { return r.plans() }

// plans are the strips in plan that the runner and its gates take, with the well under the sprue.
func (r *Runner) plans() (out [][]r2.Vec) {
	out = append(out, ring(r2.Vec{}, r.wellRadius, circleSegments(r.wellRadius)))
	for _, t := range r.trenches() {
		out = append(out, t.plan())
	}
	for _, g := range r.Gates {
		out = append(out, strip(g.from, g.Dir, r2.Dot(r2.Sub(g.Start, g.from), g.Dir)+g.LengthMM+g.overlapMM, g.WidthMM))
	}
	return out
}

// rooms are the strips that a gutter leaves to the runner.
func (r *Runner) rooms() (out [][]r2.Vec) {
	out = append(out, ring(r2.Vec{}, r.wellRadius+sideClearMM, circleSegments(r.wellRadius)))
	for _, t := range r.trenches() {
		out = append(out, strip(r2.Sub(t.from, r2.Scale(sideClearMM, t.dir)), t.dir, t.lengthMM+2*sideClearMM, t.widthMM+2*sideClearMM))
	}
	for _, g := range r.Gates {
		out = append(out, strip(g.from, g.Dir, r2.Dot(r2.Sub(g.Start, g.from), g.Dir)+g.LengthMM+g.overlapMM, g.WidthMM+2*sideClearMM))
	}
	return out
}

// trenches are the stretches as cut: those in one line are one, and each runs on past its ends by half its
// width, so that corners are whole; but a branch ends where its gate starts.
func (r *Runner) trenches() (out []trench) {
	for _, s := range r.lines() {
		dir := r2.Unit(r2.Sub(s.To, s.From))
		from, length := r2.Sub(s.From, r2.Scale(r.WidthMM/2, dir)), s.LengthMM()+r.WidthMM
		if r.endsAtGate(s.To) {
			length -= r.WidthMM / 2
		}
		out = append(out, trench{from: from, dir: dir, lengthMM: length, widthMM: r.WidthMM, heightMM: r.DepthMM, draftDeg: r.DraftDeg, closedStart: true, closedEnd: true})
	}
	return out
}

// lines are the stretches with those joined that meet end to end in one line. Two trenches in one line
// would share their side walls, but for rounding.
func (r *Runner) lines() (out []RunnerRun) {
	for _, s := range r.Runs {
		if r.endsAtGate(s.To) {
			out = append(out, s)
			continue
		}
		joined := false
		for i, o := range out {
			dir := r2.Unit(r2.Sub(o.To, o.From))
			if r.endsAtGate(o.To) || math.Abs(r2.Cross(dir, r2.Unit(r2.Sub(s.To, s.From)))) > 1e-9 {
				continue
			}
			switch {
			case r2.Norm(r2.Sub(s.From, o.To)) < joinedMM && r2.Dot(dir, r2.Sub(s.To, s.From)) > 0:
				out[i].To, joined = s.To, true
			case r2.Norm(r2.Sub(s.From, o.From)) < joinedMM && r2.Dot(dir, r2.Sub(s.To, s.From)) < 0:
				out[i].From, joined = s.To, true
			}
			if joined {
				break
			}
		}
		if !joined {
			out = append(out, s)
		}
	}
	return out
}

// endsAtGate: a branch ends where its gate starts.
func (r *Runner) endsAtGate(p r2.Vec) bool {
	return slices.ContainsFunc(r.Gates, func(g RunnerGate) bool { return r2.Norm(r2.Sub(g.Start, p)) < joinedMM/2 })
}

// runnerChannel cuts the runner, but for its gates, with the well under the sprue.
type runnerChannel struct {
	*Runner
	b *twoHalves
}

func (r *runnerChannel) cutter(k *solid.Kernel, aprons RawHalves) (Tool, error) {
	lo, hi, _ := r.b.field.Range(ring(r2.Vec{}, r.wellRadius, circleSegments(r.wellRadius)))
	slope := math.Tan(r.DraftDeg * math.Pi / 180)
	depth, top := r.DepthMM+wellDeeperMM, hi+overshootMM
	well, err := k.Frustum(r3.Vec{Z: lo - depth}, r3.Vec{Z: top - lo + depth}, r.wellRadius-depth*slope, r.wellRadius+(top-lo)*slope, circleSegments(r.wellRadius))
	if err != nil {
		return Tool{}, fmt.Errorf("runner: hollow under the sprue: %w", err)
	}
	all := []*solid.Solid{well}
	for _, t := range r.trenches() {
		s, err := t.solid(k, aprons.Upper, Lower)
		if err != nil {
			return Tool{}, fmt.Errorf("runner from (%.1f, %.1f): %w", t.from.X, t.from.Y, err)
		}
		all = append(all, s)
	}
	u, err := k.Union(all...)
	if err != nil {
		return Tool{}, fmt.Errorf("runner: %w", err)
	}
	return Tool{Half: Lower, Solid: u}, nil
}

func (r *runnerChannel) feature(name, kind string, held float64) Feature {
	z, _ := r.b.field.At(r2.Vec{})
	length := 0.0
	for _, s := range r.Runs {
		length += s.LengthMM()
	}
	return Feature{Name: name, Kind: kind, Piece: Lower.String(), At: r3.Vec{Z: z}, VolumeMM3: held,
		SizesMM: []Size{{"width", r.WidthMM}, {"depth", r.DepthMM}, {"length", length}},
		Words:   fmt.Sprintf("runner to %d cavities, %.1f mm wide, %.1f mm deep, %.0f mm long in all, holds %.2f mL", len(r.Gates), r.WidthMM, r.DepthMM, length, held/1000)}
}

// offShow: the runner touches no cavity but through its gates.
func (r *runnerChannel) offShow(b *twoHalves) Check {
	least := math.Inf(1)
	for _, t := range r.trenches() {
		least = min(least, gapToOutline(shape{core: t.plan()}, b.shadow.Outer()))
	}
	least = min(least, gapToOutline(disc(r2.Vec{}, r.wellRadius), b.shadow.Outer()))
	return Check{OK: !short(least, sideClearMM), Value: least, Limit: sideClearMM, Unit: "mm",
		Words: fmt.Sprintf("the runner keeps %.2f mm from the cavities but at its gates", least)}
}

func (r *runnerChannel) opensAt(p r3.Vec) bool {
	at := r2.Vec{X: p.X, Y: p.Y}
	if z, ok := r.b.field.At(at); !ok || p.Z < z-r.DepthMM-wellDeeperMM-holeSlackMM {
		return false
	}
	if r2.Norm(at) <= r.wellRadius+holeSlackMM {
		return true
	}
	for _, t := range r.trenches() {
		if pointLoop(at, t.plan()) <= holeSlackMM {
			return true
		}
	}
	return false
}

// pointLoop is the distance from a point to a convex loop; 0 inside.
func pointLoop(p r2.Vec, loop []r2.Vec) float64 { return loopDistance([]r2.Vec{p}, loop) }

// gateChannel is the gate into one cavity.
type gateChannel struct {
	*sideChannel
	cavity int // from 1
	gate   RunnerGate
}

// gates makes the gates' channels; b holds all cavities.
func (r *Runner) gates(b *twoHalves) (out []channel, err error) {
	for i, g := range r.Gates {
		o := SideSprueOptions{WidthMM: g.WidthMM, HeightMM: g.DepthMM, DraftDeg: r.DraftDeg, OverlapMM: g.overlapMM, Below: !g.Upper, Closed: true}
		s, err := NewSideSprue(g.from, g.Dir, b.shadow.Outer(), o)
		if err != nil {
			return nil, fmt.Errorf("tooling: gate into cavity %d: %w", i+1, err)
		}
		out = append(out, &gateChannel{&sideChannel{SideSprue: s, options: o, b: b}, i + 1, g})
	}
	return out, nil
}

func (g *gateChannel) feature(name, kind string, held float64) Feature {
	z, _ := g.b.field.At(g.gate.Start)
	half := Lower
	if g.gate.Upper {
		half = Upper
	}
	return Feature{Name: name, Kind: kind, Piece: half.String(), At: r3.Vec{X: g.gate.Start.X, Y: g.gate.Start.Y, Z: z}, VolumeMM3: held,
		SizesMM: []Size{{"width", g.gate.WidthMM}, {"depth", g.gate.DepthMM}, {"length", g.gate.LengthMM}},
		Words: fmt.Sprintf("gate of cavity %d, %.2f mm wide, %.1f mm deep, %.1f mm long, %.1f mm from the sprue; takes %.1f %% of the flow",
			g.cavity, g.gate.WidthMM, g.gate.DepthMM, g.gate.LengthMM, g.gate.PathMM, g.gate.SharePct)}
}
