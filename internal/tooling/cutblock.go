package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// CutBlockFamily names the moulds that CutBlock builds.
const CutBlockFamily = "one-piece silicone block, cut open"

// Names of a cut block's bodies, beside PouringBox and Master. The lips and the uncut end are shares of the
// one silicone block, told apart for the proof alone.
const (
	SiliconeBlock = "silicone block"
	BasePlate     = "base plate" // where the sprue goes up through the upper lip; else the master has it
	UpperLip      = "upper lip"
	LowerLip      = "lower lip"
	UncutEnd      = "uncut end"
)

// CutBlock builds a mould of one block of silicone for a part that must be closed:
//
//  1. the master hangs by its stalk from a base plate in the pouring box; silicone is poured round it;
//  2. the cured block is cut open with a blade from the sprue's end, along the line that shows least, as
//     deep as it takes to spread it, and the master is taken out;
//  3. the block goes back into the pouring box, which holds the cut shut, sprue up, and is poured.
//
// Set.Cut is the cut. Pieces holds the printed bodies at the size at which silicone is poured and the block
// as cured. The mould comes back even when checks fail, so that the caller can say why; Failed lists them.
func CutBlock(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt CutBlockOptions) (*Set, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := apartEnough(o.Cavities, &o.CavityGapMM, func() (*cutBlock, error) { return makeCutBlock(ctx, pool, part, o) })
	if err != nil {
		return nil, err
	}
	if err := b.verify(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("done", 1)
	return b.set, nil
}

// makeCutBlock plans a cut block and makes its pieces.
func makeCutBlock(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, o CutBlockOptions) (*cutBlock, error) {
	b, err := planCutBlock(ctx, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the pieces", 0.3)
	return b, pool.Do(ctx, func(k *solid.Kernel) error { return b.make(ctx, k) })
}

// cutBlock is a cut block under construction.
type cutBlock struct {
	*siliconeBlock
	opt  CutBlockOptions
	half *twoHalves // what finds the sprue
	lips *lips
	// The block's shares for the proof, at the size of the casting.
	upperLip, lowerLip, uncut *mesh.Mesh
}

// planCutBlock does all that needs no booleans. The line of least cost is not always one along which the lips
// open. Where they do not, walls are cut half-way up, so that either lip rises half as high; then, where no
// direction is asked for, the part's axes are tried.
func planCutBlock(ctx context.Context, part *mesh.Mesh, o CutBlockOptions) (*cutBlock, error) {
	o.Progress.tell("choosing the cut", 0)
	ways := []r3.Vec{o.Direction}
	if r3.Norm(o.Direction) == 0 {
		ways = append(ways, ownAxes(part)...)
	}
	var best *cutBlock
	var first error
	for i, d := range ways {
		for _, middle := range []bool{false, true} {
			b, err := planCutBlockAlong(ctx, part, o, d, middle)
			switch {
			case ctx.Err() != nil:
				return nil, fmt.Errorf("tooling: %w", ctx.Err())
			case errors.Is(err, ErrBodies):
				return nil, err
			case err != nil:
				first = cmp.Or(first, err)
			case best == nil || b.lips.better(best.lips):
				best = b
			}
			if best != nil && best.lips.opens {
				return best, nil
			}
		}
		o.Progress.tell("choosing the cut", 0.2*float64(i+1)/float64(len(ways)))
	}
	if best == nil {
		return nil, first
	}
	return best, nil
}

// planCutBlockAlong plans the block whose lips open along d.
func planCutBlockAlong(ctx context.Context, part *mesh.Mesh, o CutBlockOptions, d r3.Vec, middle bool) (*cutBlock, error) {
	s, err := planSilicone(ctx, part, siliconePlan{family: CutBlockFamily, rule: softRule, direction: d, shrinkPct: o.ShrinkPct, show: o.Show,
		siliconeShrinkPct: o.SiliconeShrinkPct, middle: middle})
	if err != nil {
		return nil, err
	}
	b := &cutBlock{siliconeBlock: s, opt: o}
	b.set.Casting = []string{PouringBox, SiliconeBlock}
	if err := b.planFeed(ctx); err != nil {
		return nil, err
	}
	if o.Cavities > 1 {
		if err := b.layRow(ctx); err != nil {
			return nil, err
		}
	}
	if err := b.lay(ctx); err != nil {
		return nil, err
	}
	if b.inCut() {
		b.half.field = b.field
		outer := b.box.outer()
		b.half.layout.Footprint = r2.Box{Min: r2.Vec{X: outer.Min.X, Y: outer.Min.Y}, Max: r2.Vec{X: outer.Max.X, Y: outer.Max.Y}}
		if err := b.half.endAtSides(); err != nil {
			return nil, err
		}
	}
	for i, c := range b.half.feed.all() {
		check := c.offShow(b.half)
		if kind, _ := b.half.feed.named(i); kind == "vent" {
			check.Name = "vent off the show faces"
		}
		b.mould.Checks = append(b.mould.Checks, check)
	}
	return b, nil
}

// planFeed finds the sprue and, with it, how box and cut lie. Best is a sprue in the cut itself, from one
// of the part's sides: the block then stands in the box on the far end, and the box holds the cut shut.
// Where none finds a place off the show faces, the sprue goes up through the upper lip.
func (b *cutBlock) planFeed(ctx context.Context) error {
	o := b.opt
	b.half = &twoHalves{opt: TwoHalfOptions{Show: o.Show, SprueMM: o.SprueMM, Vents: o.Vents, VentMM: o.VentMM, LeastWallMM: o.LeastWallMM, Bolt: NoBolts, Keys: -1},
		mould: b.mould, parting: b.parting}
	for _, l := range b.parting.Loops {
		var plan []r2.Vec
		for _, c := range steps(b.parting, l) {
			v := b.parting.Mesh.Verts[c[0]]
			plan = append(plan, r2.Vec{X: v.X, Y: v.Y})
		}
		b.half.shadow = append(b.half.shadow, plan)
	}
	b.half.top, b.half.topSource = facetsAs(b.parting, Upper)
	sprue, inCut, err := b.sideSprue(ctx)
	if err != nil {
		return err
	}
	if sprue != nil {
		b.half.feed = b.half.sideVents(sprue)
		b.half.layout = &Layout{}
		b.sizeBox()
		return nil
	}
	b.sizeBox()
	if b.half.top, b.half.topSource = openUpward(b.parting); b.half.top == nil {
		return fmt.Errorf("tooling: no face of the part lies open upward: %w; choose another direction", ErrSprue)
	}
	b.half.z1 = b.box.block.Max.Z + o.FreeMM // stalk and pins go through the base plate
	if b.half.feed, err = b.half.uprightFeed(); err != nil {
		return fmt.Errorf("tooling: a sprue in the cut: %w; through the upper lip: %w", inCut, err)
	}
	b.noteSprue(2 * b.half.feed.sprue.(Sprue).TopRadius)
	for _, s := range b.half.boxSides() {
		l, err := b.planLips(ctx, r3.Vec{X: -s.inward.X, Y: -s.inward.Y})
		if err != nil {
			return err
		}
		if b.lips == nil || l.better(b.lips) {
			b.lips = l
		}
	}
	return nil
}

// sizeBox makes the box round the part, or all of them.
func (b *cutBlock) sizeBox() {
	o, box := b.opt, b.mould.Part.Bounds()
	wide := r3.Vec{X: o.BlockMM, Y: o.BlockMM, Z: o.BlockMM}
	out := r3.Vec{Z: 1}
	if b.inCut() {
		out = b.lips.front
	}
	b.box = newPouringBox(out, r3.Box{Min: r3.Sub(box.Min, wide), Max: r3.Add(box.Max, wide)}, o.DraftDeg, o.WallMM, o.FreeMM)
}

// inCut says whether the sprue lies in the cut.
func (b *cutBlock) inCut() bool { return b.half.layout != nil }

func (b *cutBlock) noteSprue(gotMM float64) {
	if gotMM < b.opt.SprueMM {
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("a sprue of %.1f mm finds no place off the show faces: this one is as one of %.1f mm, so the mould fills slower", b.opt.SprueMM, gotMM))
	}
}

// sideSprue tries the part's four sides for a sprue in the cut: of those from which the lips open far
// enough, the one with the least seam counts. It returns nil, and why, when no side has a place.
func (b *cutBlock) sideSprue(ctx context.Context) (sprue *sideChannel, why, err error) {
	for _, d := range sizes(b.opt.SprueMM) {
		for _, s := range b.half.boxSides() {
			tries, no := b.half.sideTries(sideOptions(d), []side{s})
			if no != nil {
				why = cmp.Or(why, no)
				continue
			}
			l, err := b.planLips(ctx, r3.Vec{X: -s.inward.X, Y: -s.inward.Y})
			if err != nil {
				return nil, nil, err
			}
			if b.lips == nil || l.better(b.lips) {
				b.lips, sprue = l, tries[0]
			}
		}
		if sprue != nil {
			b.noteSprue(d)
			return sprue, nil, nil
		}
	}
	return nil, why, nil
}

// verify runs the checks on the finished pieces.
func (b *cutBlock) verify(ctx context.Context) error {
	o, m := b.opt, b.mould
	o.Progress.tell("checking walls", 0.6)
	if err := b.printed(ctx, o.BuildVolumeMM, o.LeastWallMM, PouringBox, Master, BasePlate); err != nil {
		return err
	}
	for i, c := range b.half.feed.all() {
		least := 0.0
		switch c := c.(type) {
		case *sideChannel:
			least = min(c.options.WidthMM, c.options.HeightMM)
		case Sprue:
			least = 2 * c.TopRadius
		}
		name := Master + ": thinnest pin"
		if kind, _ := b.half.feed.named(i); kind == "sprue" {
			name = Master + ": stalk"
		}
		m.Checks = append(m.Checks, Check{Name: name, OK: !short(least, o.LeastWallMM), Value: least, Limit: o.LeastWallMM, Unit: "mm",
			Words: fmt.Sprintf("%.2f mm at its thinnest", least)})
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	if err := b.thickness(ctx, o.BlockMM); err != nil {
		return err
	}
	b.between(o.CavityGapMM)
	lips := b.lips.check(o.Silicone)
	if n := b.cavities(); n > 1 {
		lips.Words = fmt.Sprintf("each of %d cuts by itself: ", n) + lips.Words
	}
	m.Checks = append(m.Checks, lips)
	o.Progress.tell("proving that it opens", 0.7)
	if err := b.prove(ctx); err != nil {
		return err
	}
	if err := b.set.judgeRelease(ctx, b.ask(o.Casting, o.Silicone)); err != nil {
		return err
	}
	b.notes()
	return nil
}

// prove proves the stages in order. The lips stand for what they are near the part: they move straight
// apart, as far as the lips' own strain lets them, which is checked apart from this.
func (b *cutBlock) prove(ctx context.Context) error {
	up, down, front := r3.Vec{Z: 1}, r3.Vec{Z: -1}, b.lips.front
	lip := func(name string, m *mesh.Mesh, poured bool) opening.Body {
		if poured && b.grow != 1 {
			m = m.Map(b.larger)
		}
		return opening.Body{Name: name, Mesh: m}
	}
	box, master, block := b.body(PouringBox, false), b.body(Master, false), b.body(SiliconeBlock, true)
	out := b.box.out
	plans := []stagePlan{
		{"the block leaves the pouring box", block, box, out, true},
		{"the master leaves the pouring box", master, box, out, true},
		{"the lips come apart", lip(UpperLip, b.upperLip, true), lip(LowerLip, b.lowerLip, true), up, true},
	}
	if !b.inCut() {
		plate := b.body(BasePlate, false)
		plans = append([]stagePlan{{"the base plate leaves the pouring box", plate, box, out, true}, {"the base plate leaves the master", plate, master, out, true},
			{"the base plate leaves the block", plate, block, out, true}}, plans...)
	}
	wall := b.siliconeWallMM(b.opt.BlockMM, b.opt.CavityGapMM/2)
	sides := []opening.ReleaseBody{{Name: UpperLip, Exit: up, WallMM: wall}, {Name: LowerLip, Exit: down, WallMM: wall}}
	// A ring that a lip has to pass is judged whole, as if the cut went all round.
	shapes := func(f int) int {
		if b.one().Upper[f] {
			return 0
		}
		return 1
	}
	for _, inside := range []struct {
		body    opening.Body
		casting bool
	}{{master, false}, {opening.Body{Name: castingName, Mesh: b.mould.Cast}, true}} {
		name, poured := inside.body.Name, !inside.casting
		at := len(plans)
		plans = append(plans,
			stagePlan{"the upper lip leaves the " + name, lip(UpperLip, b.upperLip, poured), inside.body, up, false},
			stagePlan{"the lower lip leaves the " + name, lip(LowerLip, b.lowerLip, poured), inside.body, down, false},
			stagePlan{"the " + name + " leaves the uncut end", inside.body, lip(UncutEnd, b.uncut, poured), front, true})
		b.soft[at] = softStage{from: sides, shapes: shapes, caught: 0, casting: inside.casting}
		b.soft[at+1] = softStage{from: sides, shapes: shapes, caught: 1, casting: inside.casting}
	}
	return b.set.prove(ctx, plans, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers}, func(done float64) { b.opt.Progress.tell("proving that it opens", 0.7+0.25*done) })
}

// notes tells the maker what the build decided and what to mind.
func (b *cutBlock) notes() {
	m := b.mould
	m.Notes = append(m.Notes,
		fmt.Sprintf("pour %.1f mL of silicone, up to the marks in the box; %s", b.set.Pours[0].ML, b.fillWords()), b.cutWords())
	if b.inCut() {
		m.Notes = append(m.Notes, "print the master standing on its base plate; while the part is cast the pouring box stands with the sprue up and holds the cut shut")
	} else {
		m.Notes = append(m.Notes, "stick the stalk into the base plate with a drop of glue; the sprue goes up through the upper lip: while the part is cast clamp the block between two flat plates in the pouring box, so that the cut stays shut")
	}
	if n := len(b.one().Loops); n > 1 {
		m.Notes = append(m.Notes, fmt.Sprintf("openings through the part: %d; the silicone in each is cut from inside once the lips are open", n-1))
	}
	b.manyNotes()
}
