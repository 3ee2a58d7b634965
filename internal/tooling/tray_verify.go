package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// gravity is standard gravity, m/s² (ISO 80000-3, from memory).
const gravity = 9.80665

// verify runs the checks on the finished pieces.
func (b *trayMould) verify(ctx context.Context) error {
	b.opt.Progress.tell("checking walls", 0.6)
	m := b.mould
	m.checkPieces(b.opt.BuildVolumeMM)
	made := b.shapes()
	if err := b.walls(ctx); err != nil {
		return err
	}
	b.parallel()
	if b.carrier != nil {
		b.bond()
		b.necks()
		b.holeWalls()
		b.stands()
		b.airLeft()
	}
	b.opt.Progress.tell("proving that it opens", 0.8)
	if err := b.prove(ctx, made); err != nil {
		return err
	}
	b.notes()
	return nil
}

// walls measures the tray round the cavity.
func (b *trayMould) walls(ctx context.Context) error {
	m := b.mould
	var facets []int32
	for f, top := range b.top {
		if !top {
			facets = append(facets, int32(f))
		}
	}
	got, err := newGauge(m.Part, m.Surface, nil).thinnest(ctx, m.piece(Tray), facets)
	if err != nil {
		return err
	}
	m.Checks = append(m.Checks, Check{Name: Tray + ": thinnest wall", OK: !short(got.Shell.ThicknessMM, b.opt.LeastWallMM), Value: got.Shell.ThicknessMM,
		Limit: b.opt.LeastWallMM, Unit: "mm", Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", got.Shell.ThicknessMM, placeWords(got.Shell.At), got.Rays)})
	if got.Rib.ThicknessMM < b.opt.LeastWallMM {
		b.note("%s: a ridge is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly", Tray, got.Rib.ThicknessMM, placeWords(got.Rib.At), b.opt.LeastWallMM)
	}
	return nil
}

// parallel measures on the tray as built that the places that set its level lie parallel to the brim: its
// underside, its rim, and the tabs' seats.
func (b *trayMould) parallel() {
	piece := b.mould.piece(Tray)
	tree := geom.NewBVH(piece.Verts, piece.Tris)
	box := piece.Bounds()
	high := func(p r2.Vec, up bool) float64 {
		from, d := r3.Vec{X: p.X, Y: p.Y, Z: box.Max.Z + 1}, r3.Vec{Z: -1}
		if up {
			from.Z, d.Z = box.Min.Z-1, 1
		}
		hit, ok := tree.FirstHit(from, d, 0, math.Inf(1))
		if !ok {
			return math.NaN()
		}
		return from.Z + d.Z*hit.T
	}
	off, feet := 0.0, []r2.Vec{{X: box.Min.X + 1, Y: box.Min.Y + 1}, {X: box.Max.X - 1, Y: box.Min.Y + 1}, {X: box.Min.X + 1, Y: box.Max.Y - 1}, {X: box.Max.X - 1, Y: box.Max.Y - 1}}
	for _, p := range feet {
		off = max(off, math.Abs(high(p, true)-box.Min.Z), math.Abs(high(p, false)-b.level))
	}
	for _, t := range b.tabs {
		off = max(off, math.Abs(high(t.seatAt(), false)-(b.level-b.opt.SeatMM)))
	}
	c := Check{Name: "level kept parallel", OK: off <= b.opt.ToleranceMM, Value: off, Limit: b.opt.ToleranceMM, Unit: "mm",
		Words: "underside and rim, on which a spirit level may stand, are parallel to the poured face"}
	if len(b.tabs) > 0 {
		c.Words = fmt.Sprintf("underside, rim and the %d seats of the tabs are parallel to the poured face, and so is the carrier", len(b.tabs))
	}
	b.mould.Checks = append(b.mould.Checks, c)
}

// necks measures the score lines on the carrier as built.
func (b *trayMould) necks() {
	piece := b.mould.piece(CarrierPiece)
	tree := geom.NewBVH(piece.Verts, piece.Tris)
	least := math.Inf(1)
	const beside = 1e-3 // mm past the bottom of the score, which itself is an edge
	for _, t := range b.tabs {
		from, d := t.at(r3.Vec{X: t.neck.X + beside, Y: t.barZ + b.opt.TabHighMM + 1}), r3.Vec{Z: -1}
		if t.leg {
			from, d = t.at(r3.Vec{X: t.neck.X + legHighMM, Y: t.neck.Y + beside}), r3.Vec{X: -t.out.X, Y: -t.out.Y}
		}
		in, ok := tree.FirstHit(from, d, 0, math.Inf(1))
		if !ok {
			least = 0
			continue
		}
		out, ok := tree.FirstHit(from, d, in.T+skinMM, math.Inf(1))
		if !ok {
			least = 0
			continue
		}
		least = min(least, out.T-in.T)
	}
	b.mould.Checks = append(b.mould.Checks, Check{Name: CarrierPiece + ": necks of the tabs", OK: !short(least, leastNeckMM), Value: least, Limit: leastNeckMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm at the score lines, %.1f mm wide; thin enough to snap, thick enough to print", least, b.opt.TabMM)})
}

// holeWalls measures on the carrier as built what is left of it beside its holes.
func (b *trayMould) holeWalls() {
	if len(b.holes) == 0 {
		return
	}
	piece := b.mould.piece(CarrierPiece)
	tree := geom.NewBVH(piece.Verts, piece.Tris)
	least, at := math.Inf(1), r3.Vec{}
	const ways, heights = 24, 5
	for _, h := range b.holes {
		for i := range heights {
			z := h.low + (h.high-h.low)*(float64(i)+0.5)/heights
			for j := range ways {
				sin, cos := math.Sincos(2 * math.Pi * float64(j) / ways)
				from, d := r3.Vec{X: h.at.X, Y: h.at.Y, Z: z}, r3.Vec{X: cos, Y: sin}
				in, ok := tree.FirstHit(from, d, 0, h.radiusAt(z)+2*chordMM)
				if !ok || in.T < h.radiusAt(z)-holeSlackMM {
					continue // the hole runs through a hollow of the carrier there
				}
				if out, ok := tree.FirstHit(from, d, in.T+1e-3, math.Inf(1)); ok && out.T-in.T < least {
					least, at = out.T-in.T, from
				}
			}
		}
	}
	b.mould.Checks = append(b.mould.Checks, Check{Name: CarrierPiece + ": wall beside its holes", OK: !short(least, b.opt.LeastWallMM), Value: least, Limit: b.opt.LeastWallMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm beside the hole at %s", least, placeWords(at))})
}

// stands checks that the carrier stands on its tabs, and works out what lifts it.
func (b *trayMould) stands() {
	c := b.out.Carried
	piece := b.mould.piece(CarrierPiece)
	var weight r3.Vec // of volume
	vol := 0.0
	for f := range piece.Tris {
		t := piece.Facet(f)
		v := r3.Dot(t[0], r3.Cross(t[1], t[2])) / 6
		weight, vol = r3.Add(weight, r3.Scale(v/4, r3.Add(r3.Add(t[0], t[1]), t[2]))), vol+v
	}
	middle := r2.Vec{X: weight.X / vol, Y: weight.Y / vol}
	var seats []r2.Vec
	for _, t := range b.tabs {
		seats = append(seats, t.seatAt())
	}
	hull := geom.ConvexHull(seats)
	in := math.Inf(1) // mm from the middle to the nearest side of the seats' hull
	for i, p := range hull {
		q := hull[(i+1)%len(hull)]
		in = min(in, r2.Cross(r2.Sub(q, p), r2.Sub(middle, p))/r2.Norm(r2.Sub(q, p)))
	}
	b.mould.Checks = append(b.mould.Checks, Check{Name: CarrierPiece + ": stands on its tabs", OK: in >= leastStandMM, Value: in, Limit: leastStandMM, Unit: "mm",
		Words: fmt.Sprintf("its centre of gravity lies %.1f mm inside the line between the nearest two of %d tabs", in, len(b.tabs))})
	// 1 g/mL on 1 mm³ weighs 1e-6 kg.
	c.LiftN = c.SunkMM3 * b.opt.ResinGPerML * 1e-6 * gravity
	c.WeightN = vol * b.opt.CarrierGPerML * 1e-6 * gravity
}

// leastStandMM is how far inside its supports a body's centre should lie.
const leastStandMM = 1.0

// airLeft says where air may stay under the carrier.
func (b *trayMould) airLeft() {
	way := 0.0
	b.under.each(b.holes, func(_ r2.Vec, mm float64) { way = max(way, mm) })
	if b.opt.AirHoles < 0 && way > b.opt.AirReachMM {
		b.note("air stays under the carrier: places of its level underside have no way out; let the tool put air holes, or slope the underside by 3° or more")
		return
	}
	// The raster tells distances to one and a half of its steps.
	slack := 1.5 * max(underStepMM, max(b.carrier.Bounds().Size().X, b.carrier.Bounds().Size().Y)/underCells)
	if way > b.opt.AirReachMM+slack {
		b.note("under the carrier, air has %.0f mm to the nearest edge or hole at the worst place: tilt the tray to and fro while it is filled", way)
	}
}

// prove proves the stages in order.
func (b *trayMould) prove(ctx context.Context, made []bool) error {
	m := b.mould
	tray := opening.Body{Name: Tray, Mesh: m.piece(Tray)}
	casting := opening.Body{Name: castingName, Mesh: m.Cast}
	type stage struct {
		name          string
		moving, fixed opening.Body
		rigid         bool
	}
	rigid := b.opt.Casting == nil
	stages := []stage{{"the casting leaves the tray", casting, tray, rigid}}
	if b.carrier != nil {
		carrier := opening.Body{Name: CarrierPiece, Mesh: m.piece(CarrierPiece)}
		both := opening.Body{Name: "casting and carrier", Mesh: b.casts}
		stages = []stage{{"the carrier goes into the tray from above", carrier, tray, true}, {"casting and carrier leave the tray together", both, tray, rigid}}
	}
	for i, s := range stages {
		v, err := opening.Translate(ctx, s.moving, s.fixed, r3.Vec{Z: 1}, opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers, TrustApart: true})
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		st := Stage{Name: s.name, Moving: s.moving.Name, Fixed: s.fixed.Name, Rigid: s.rigid, Verdict: v}
		b.out.Stages = append(b.out.Stages, st)
		c := Check{Name: s.name, OK: v.State != opening.Blocked, Value: v.OverlapDepthMM, Limit: b.opt.ToleranceMM, Unit: "mm overlap", Words: st.Words()}
		if v.ZeroDraftAreaMM2 > 0 {
			c.Words += fmt.Sprintf("; %.0f mm² of wall have no draft, and rub", v.ZeroDraftAreaMM2)
		}
		if !c.OK && !s.rigid {
			if c, err = b.giveWay(ctx, st, made); err != nil {
				return err
			}
		} else if !c.OK && rigid && i == len(stages)-1 {
			c.Words += "; a rigid casting does not leave: choose another direction or family, or give a soft material's hardness and elongation"
		}
		m.Checks = append(m.Checks, c)
		b.opt.Progress.tell("proving that it opens", 0.8+0.15*float64(i+1)/float64(len(stages)))
	}
	return nil
}

// giveWay judges whether a soft casting lets go of the tray. Over a carrier it cannot be pressed together
// as a ring, since the carrier fills it: there the wall between tray and carrier is squeezed.
func (b *trayMould) giveWay(ctx context.Context, s Stage, made []bool) (Check, error) {
	c := Check{Name: s.Name, Value: s.Verdict.OverlapDepthMM, Unit: "mm to give way", Words: s.Words()}
	m := b.mould.Cast
	upper := make([]bool, len(made))
	q := opening.ReleaseSetup{Part: m, Casting: opening.ReleaseBody{Name: castingName, Flex: b.opt.Casting}, FixedOrder: true,
		Pieces: []opening.ReleaseBody{{Name: Tray, Exit: r3.Vec{Z: -1}}}, Shapes: make([]int, len(made))}
	for f, tray := range made {
		if !tray {
			upper[f], q.Shapes[f] = true, -1
		}
	}
	q.Catches = catches(&mouldability.Parting{Mesh: m, Upper: upper}, Lower, Tray, r3.Vec{Z: -1})
	r, err := opening.JudgeRelease(ctx, q)
	switch {
	case errors.Is(err, opening.ErrRelease):
		c.Words += "; " + err.Error()
		return c, nil
	case err != nil:
		return c, fmt.Errorf("tooling: %s: %w", s.Name, err)
	}
	b.out.Release = r
	c.OK, c.Words = r.Releases, c.Words+"; "+r.Words()
	if b.carrier == nil || !c.OK {
		return c, nil
	}
	strain, at := b.squeeze(q.Catches, s.Verdict.OverlapDepthMM)
	allowed := b.opt.Casting.ElongationPct / 100 * opening.CastingStrainFraction
	if b.opt.Casting.Fraction > 0 {
		allowed = b.opt.Casting.ElongationPct / 100 * b.opt.Casting.Fraction
	}
	if strain > 0 {
		c.OK = strain <= allowed
		c.Words += fmt.Sprintf("; over the carrier the casting is squeezed by %.0f ± %.0f %%, %.0f %% is allowed, thinnest at %s", 100*strain, 100*strain*squeezeError, 100*allowed, placeWords(at))
	}
	return c, nil
}

// squeezeError is the error of a squeeze's strain, as opening states it.
const squeezeError = 0.5

// squeeze is the greatest strain of the wall between a catch and the carrier behind it.
func (b *trayMould) squeeze(held []opening.Catch, depth float64) (strain float64, at r3.Vec) {
	piece := b.mould.piece(CarrierPiece)
	tree := geom.NewBVH(piece.Verts, piece.Tris)
	for _, c := range held {
		for _, f := range c.Facets {
			t := b.mould.Cast.Facet(int(f))
			n := t.Normal()
			side := r3.Vec{X: -n.X, Y: -n.Y}
			if r3.Norm(side) == 0 {
				continue
			}
			if hit, ok := tree.FirstHit(t.Centroid(), r3.Unit(side), skinMM, math.Inf(1)); ok {
				if e := opening.SqueezeStrain(depth, hit.T); e > strain {
					strain, at = e, t.Centroid()
				}
			}
		}
	}
	return strain, at
}

// notes tells the maker what the build decided and what to mind.
func (b *trayMould) notes() {
	o, c := b.out, b.out.Carried
	fill := fmt.Sprintf("fill to the brim with %.1f mL", o.CastML)
	if n := len(b.mould.Cavities); n > 1 {
		fill = fmt.Sprintf("fill the %d cavities one after the other to the brim, with %.1f mL each", n, o.CastML/float64(n))
	}
	b.note("set the tray level with its screws, a spirit level on the rim one way and the other; %s; the moat takes %.1f mL more", fill, o.OverflowML)
	b.note("the poured face, %.0f mm², is left as the resin levels: its border creeps up the brim by some tenths of a millimetre, and bubbles rise to it", o.OpenMM2)
	if n := len(b.trayPockets()); n > 0 {
		p := b.trayPockets()[0]
		b.note("air stays under the tray's own overhang in %d places, the deepest %.1f mm, near %s (mould frame): tilt the tray while it is filled there", n, p.rise, placeWords(p.at))
	}
	show := 0.0
	for f, top := range b.top {
		if top && b.opt.Show != nil && b.opt.Show[f%len(b.opt.Show)] {
			show += geom.Area(b.mould.Part.Facet(f))
		}
	}
	if show > 0 {
		b.note("%.0f mm² of the poured face are show faces", show)
	}
	if c == nil {
		return
	}
	b.note("casting and carrier touch on %.0f mm², %.0f mm² of it in its holes: bond holes %d, air holes %d", c.BondMM2, c.HoleBondMM2, c.BondHoles, c.AirHoles)
	b.note("the bond is only as good as its surface: sand the carrier with 120 grit where the resin touches it, wipe it with alcohol, let it dry, keep release agent off it, and try resin on a scrap of the carrier's material first")
	b.hold()
	b.note("after the cure, lift casting and carrier out by the tabs; snap the %d tabs at their score lines, %.1f mm thick, and file the stubs", c.Tabs, b.opt.NeckMM)
}

// hold says what keeps the carrier down in the resin.
func (b *trayMould) hold() {
	c := b.out.Carried
	if up := c.LiftN - c.WeightN; up > 0 {
		b.note("the resin lifts the carrier with %.2f N, and it weighs %.2f N: clamp each tab to the rim with a clip or a weight of %.0f g or more, or it floats", c.LiftN, c.WeightN, math.Ceil(holdSafety*up/gravity*1000/float64(c.Tabs)))
		return
	}
	b.note("the resin lifts the carrier with %.2f N; its own weight of %.2f N (at %.2f g/mL) keeps it down. Printed with open infill it weighs less: then clamp each tab to the rim with a clip or a weight of %.0f g",
		c.LiftN, c.WeightN, b.opt.CarrierGPerML, math.Ceil(holdSafety*c.LiftN/gravity*1000/float64(c.Tabs)))
}

// holdSafety is how much more than the lift holds a carrier down: resin is poured in a stream, and
// stirred.
const holdSafety = 2

// trayPockets are the places where air stays under the tray's overhang, the deepest first.
func (b *trayMould) trayPockets() (out []airPocket) {
	piece := b.mould.piece(Tray)
	tree := geom.NewBVH(piece.Verts, piece.Tris)
	for _, p := range airPockets(b.mould.Cast, b.level) {
		if _, on := tree.NearestWithin(p.at, flatFaceMM); on {
			out = append(out, p)
		}
	}
	return out
}
