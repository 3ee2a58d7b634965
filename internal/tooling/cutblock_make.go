package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// cutBodies are the bodies in the kernel, at the size of the casting.
type cutBodies struct {
	part, under, over, room *solid.Solid
	channels                []*solid.Solid // stalk and pins, out to the end of the box
}

// of are the channels of a kind.
func (v cutBodies) of(f feed, kind string) (out []*solid.Solid) {
	for i, s := range v.channels {
		if is, _ := f.named(i); is == kind {
			out = append(out, s)
		}
	}
	return out
}

// make makes the pieces, books the pour and the casting, and shapes the cut.
func (b *cutBlock) make(ctx context.Context, k *solid.Kernel) error {
	v, err := b.bodies(k)
	if err != nil {
		return err
	}
	box, label, err := b.makeBox(k, b.opt.Label, false)
	if err != nil {
		return err
	}
	master, plate, err := b.master(k, v)
	if err != nil {
		return err
	}
	block, err := v.room.Subtract(append([]*solid.Solid{v.part}, v.channels...)...)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", SiliconeBlock, err)
	}
	b.opt.Progress.tell("cutting the pieces", 0.4)
	pieces := []madePiece{{PouringBox, box, b.box.out, false}, {SiliconeBlock, block, b.box.out, true}, {Master, master, b.box.out, false}}
	if plate != nil {
		pieces = append(pieces, madePiece{BasePlate, plate, b.box.out, false})
	}
	if err := b.add(ctx, pieces); err != nil {
		return err
	}
	if err := b.separate(k, v, block); err != nil {
		return err
	}
	b.opt.Progress.tell("adding up volumes", 0.5)
	if err := b.account(k, v, pieces, label); err != nil {
		return err
	}
	b.shapeCut()
	return nil
}

func (b *cutBlock) bodies(k *solid.Kernel) (v cutBodies, err error) {
	l := loader{k: k}
	v.part, v.over, v.under = l.load("part", b.parting.Mesh), l.load("over the cut", b.upper), l.load("under the cut", b.lower)
	_, low := aprons(b.surface, b.box.outer())
	around := RawHalves{Lower: l.load("under the cut", low), Block: b.box.outer()}
	if l.err != nil {
		return v, l.err
	}
	if v.room, err = b.box.room(k); err != nil {
		return v, err
	}
	if b.room, err = v.room.Mesh(); err != nil {
		return v, fmt.Errorf("tooling: %w", err)
	}
	for _, c := range b.half.feed.all() {
		s, err := b.channel(k, c, around)
		if err != nil {
			return v, err
		}
		v.channels = append(v.channels, s)
	}
	return v, nil
}

// sinkMM is how far a stalk in the cut reaches under it: enough that its floor and the cut are two faces
// wherever they run, and too little to matter.
const sinkMM = 0.3

// channel is a stalk or a pin, out to the end of the box.
func (b *cutBlock) channel(k *solid.Kernel, c channel, around RawHalves) (*solid.Solid, error) {
	q, inCut := c.(*sideChannel)
	if !inCut {
		return c.(Sprue).pin(k)
	}
	// The trough ends short of the part, within the gate, so that none of its faces runs along the part's.
	trough := q.SideSprue
	trough.LengthMM = r2.Dot(r2.Sub(q.gate[0], q.From), q.Dir) + q.options.OverlapMM/2
	t, err := trough.Tools(k, around.Lower)
	if err != nil {
		return nil, fmt.Errorf("tooling: sprue: %w", err)
	}
	plan := strip(r2.Sub(q.From, q.Dir), q.Dir, q.LengthMM+2, q.options.WidthMM+2)
	floor, err := follow(k, around.Lower, Lower, [][]r2.Vec{plan}, func(r2.Vec) float64 { return -sinkMM })
	if err != nil {
		return nil, fmt.Errorf("tooling: sprue: %w", err)
	}
	lo, hi := q.lineAtGate()
	gate, err := q.GateTool(k, lo-sinkMM, hi+q.options.HeightMM, 0)
	if err != nil {
		return nil, fmt.Errorf("tooling: sprue: %w", err)
	}
	s, err := t[0].Solid.Subtract(floor)
	if err == nil {
		s, err = s.Union(gate.Solid)
	}
	if err != nil {
		return nil, fmt.Errorf("tooling: sprue: %w", err)
	}
	return s, nil
}

// master is the part on its stalk and pins. A stalk in the cut stands on the base plate and is one with it;
// a stalk through the upper lip goes through the plate, which has to leave before the lip can.
func (b *cutBlock) master(k *solid.Kernel, v cutBodies) (master, plate *solid.Solid, err error) {
	if plate, err = b.box.bore(k, b.box.wide(), b.box.wide()+b.box.freeMM, -b.opt.BoardClearMM); err != nil {
		return nil, nil, err
	}
	all := append([]*solid.Solid(nil), v.channels...)
	if b.inCut() {
		// Stalk and pins end within the plate.
		reach, err := b.box.bore(k, b.box.narrow(), b.box.wide()+b.box.freeMM/2, -b.opt.BoardClearMM)
		if err != nil {
			return nil, nil, err
		}
		for i, c := range all {
			if all[i], err = c.Intersect(reach); err != nil {
				return nil, nil, fmt.Errorf("tooling: %s: %w", Master, err)
			}
		}
		all, plate, b.plated = append(all, plate), nil, true
	} else if plate, err = b.pierced(k, plate); err != nil {
		return nil, nil, err
	}
	if master, err = v.part.Union(all...); err != nil {
		return nil, nil, fmt.Errorf("tooling: %s: %w", Master, err)
	}
	return master, plate, nil
}

// pierced is the base plate with a hole for the stalk and each pin.
func (b *cutBlock) pierced(k *solid.Kernel, plate *solid.Solid) (*solid.Solid, error) {
	for _, c := range b.half.feed.all() {
		s := c.(Sprue)
		n, r := circleSegments(s.BottomRadius), b.opt.BoardClearMM/math.Cos(math.Pi/float64(circleSegments(s.BottomRadius)))
		hole, err := k.Frustum(r3.Vec{X: s.At.X, Y: s.At.Y, Z: s.BottomZ}, r3.Vec{Z: s.TopZ + overshootMM - s.BottomZ}, s.BottomRadius+r, s.radiusAt(s.TopZ+overshootMM)+r, n)
		if err != nil {
			return nil, fmt.Errorf("tooling: %s: %w", BasePlate, err)
		}
		if plate, err = plate.Subtract(hole); err != nil {
			return nil, fmt.Errorf("tooling: %s: %w", BasePlate, err)
		}
	}
	return plate, nil
}

// separate tells lips and uncut end of the block apart, for the proof.
func (b *cutBlock) separate(k *solid.Kernel, v cutBodies, block *solid.Solid) error {
	ahead, behind, err := block.SplitByPlane(b.lips.front, b.lips.hinge)
	if err != nil {
		return fmt.Errorf("tooling: %s: %w", UncutEnd, err)
	}
	for _, s := range []struct {
		name string
		to   **mesh.Mesh
		make func() (*solid.Solid, error)
	}{
		{UpperLip, &b.upperLip, func() (*solid.Solid, error) { return ahead.Intersect(v.over) }},
		{LowerLip, &b.lowerLip, func() (*solid.Solid, error) { return ahead.Intersect(v.under) }},
		{UncutEnd, &b.uncut, func() (*solid.Solid, error) { return behind, nil }},
	} {
		body, err := s.make()
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		if body, err = body.Clean(); err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
		if *s.to, err = body.Mesh(); err != nil {
			return fmt.Errorf("tooling: %s: %w", s.name, err)
		}
	}
	return nil
}

// account books the pour and the casting.
func (b *cutBlock) account(k *solid.Kernel, v cutBodies, pieces []madePiece, label *solid.Solid) error {
	over, err := b.end(k, freeOver, false)
	if err != nil {
		return err
	}
	plate, err := b.end(k, "clearance round the base plate", true)
	if err != nil {
		return err
	}
	pour, err := b.pour(k, "silicone is poured", label, pieces, []share{over, plate}, nil)
	if err != nil {
		return err
	}
	b.set.Pours = []Pour{{Piece: SiliconeBlock, ML: pour.of(SiliconeBlock) / 1000, In: []string{PouringBox, Master}, Ledger: pour.lines}}
	inside, err := v.room.Subtract(v.part)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	plate.name = "the base plate's place"
	if err := b.closed(k, pieces[0].body, label, pieces[1:2], []share{over, plate},
		wetShare{"sprue", inside, wetTools(v.of(b.half.feed, "sprue"))}, wetShare{"vents", inside, wetTools(v.of(b.half.feed, "vent"))}); err != nil {
		return err
	}
	return b.cast(k, v, inside)
}

// cast is the casting as it comes out, and lists the channels.
func (b *cutBlock) cast(k *solid.Kernel, v cutBodies, inside *solid.Solid) error {
	out := v.part
	for i, s := range v.channels {
		held, err := volumeOf(inside.Intersect(s))
		if err != nil {
			return err
		}
		within, err := s.Intersect(v.room)
		if err != nil {
			return fmt.Errorf("tooling: casting: %w", err)
		}
		if out, err = out.Union(within); err != nil {
			return fmt.Errorf("tooling: casting: %w", err)
		}
		kind, name := b.half.feed.named(i)
		c := b.half.feed.all()[i]
		if s, upright := c.(Sprue); upright {
			c = s.upTo(b.box.wide())
		}
		f := c.feature(name, kind, held)
		f.Piece = SiliconeBlock
		b.mould.Features = append(b.mould.Features, f)
	}
	var err error
	if b.mould.Cast, err = out.Mesh(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	b.oneCasting(b.mould.Cast)
	return nil
}

// plane bounds what lies on its side p·normal ≥ offset.
type plane struct {
	normal r3.Vec
	offset float64
}

// faces are the six sides of the silicone's room, by the way that each looks outward.
func (b pouringBox) faces() map[r3.Vec]plane {
	out := map[r3.Vec]plane{b.out: {r3.Scale(-1, b.out), -b.wide()}, r3.Scale(-1, b.out): {b.out, b.narrow()}}
	for _, axis := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		if r3.Dot(axis, b.along()) != 0 {
			continue
		}
		for _, s := range []float64{1, -1} {
			w := r3.Scale(s, axis)
			// w·p ≤ reach + slope·(out·p − narrow)
			reach := max(r3.Dot(w, b.block.Min), r3.Dot(w, b.block.Max))
			out[w] = plane{r3.Sub(r3.Scale(b.slope, b.out), w), b.slope*b.narrow() - reach}
		}
	}
	return out
}

// shapeCut takes the cut of each cavity out of the surface that divides the lips: within the block, in front
// of the hinge and between its slits.
func (b *cutBlock) shapeCut() {
	l, m := b.lips, b.mould
	faces := b.box.faces()
	across := l.across()
	var open []plane // the sides of the block that the cut opens
	for _, w := range []r3.Vec{l.front, across, r3.Scale(-1, across)} {
		open = append(open, faces[w])
	}
	n := b.cavities()
	whole := &mesh.Mesh{}
	for k := range n {
		slits := b.tongue(k)
		cut := b.cutWithin(append(append([]plane{{l.front, l.hinge}}, open...), slits...))
		deep := b.blade(open, k)
		area := cut.AreaMM2()
		b.noteCut(k, cut, area, deep)
		l.AreaMM2, l.DepthMM = l.AreaMM2+area, max(l.DepthMM, deep)
		if n == 1 {
			whole = cut
			break
		}
		appendMesh(whole, cut)
		if len(slits) > 0 && r3.Dot(slits[0].normal, across) > 0 { // each slit once, by the tongue beyond it
			s := b.slit(slits[0])
			l.AreaMM2, l.SlitMM = l.AreaMM2+s.AreaMM2(), b.box.reach(l.front)-l.hinge
			appendMesh(whole, s)
		}
	}
	l.Mesh = whole
	m.LineMM, m.LineOnShowMM = l.TraceMM, l.ShowMM
	b.set.Cut = &l.Cut
}

// reach is how far the silicone goes along w at its least.
func (b pouringBox) reach(w r3.Vec) float64 {
	if w == b.out {
		return b.wide()
	}
	return max(r3.Dot(w, b.block.Min), r3.Dot(w, b.block.Max))
}

func appendMesh(to, m *mesh.Mesh) {
	first := uint32(len(to.Verts))
	to.Verts = append(to.Verts, m.Verts...)
	for _, t := range m.Tris {
		to.Tris = append(to.Tris, [3]uint32{t[0] + first, t[1] + first, t[2] + first})
	}
}

// cutWithin is what of the surface that divides the lips lies on the inner side of some planes.
func (b *cutBlock) cutWithin(bounds []plane) *mesh.Mesh {
	cut := &mesh.Mesh{}
	for _, t := range b.surface.Tris {
		poly := []r3.Vec{b.surface.Verts[t[0]], b.surface.Verts[t[1]], b.surface.Verts[t[2]]}
		for _, p := range bounds {
			poly = clipTo(poly, p)
		}
		first := uint32(len(cut.Verts))
		cut.Verts = append(cut.Verts, poly...)
		for i := 2; i < len(poly); i++ {
			cut.Tris = append(cut.Tris, [3]uint32{first, first + uint32(i) - 1, first + uint32(i)})
		}
	}
	return mesh.Weld(cut, cutWeldMM)
}

// noteCut lists the cut of cavity k among the features.
func (b *cutBlock) noteCut(k int, cut *mesh.Mesh, area, deep float64) {
	l := b.lips
	at, n := r3.Vec{}, float64(b.cavities())
	for i, t := range l.Trace {
		if l.of[i] == k {
			at = t[len(t)/2]
			break
		}
	}
	seam, shown := l.TraceMM/n, l.ShowMM/n // the cavities are alike
	words := fmt.Sprintf("cut %.0f mm² in all, the blade in by up to %.1f mm; %.1f mm of seam on the part, %.1f mm of it on show faces; %.1f mm left uncut at the far end",
		area, deep, seam, shown, l.HingeMM)
	sizes := []Size{{"seam", seam}, {"seam on show faces", shown}, {"depth", deep}, {"left uncut", l.HingeMM}, {"lip opening", l.OpeningMM}}
	if block := b.mould.piece(SiliconeBlock); block != nil {
		// A hand draws the line on the block before it cuts.
		box, of := cut.Bounds(), block.Bounds()
		low, high := box.Min.Z-of.Min.Z, box.Max.Z-of.Min.Z
		sizes = append(sizes, Size{"cut at, over the block's underside", low}, Size{"and up to", high})
		if high-low < cutLevelMM {
			words += fmt.Sprintf("; level, %.1f mm over the silicone's underside as it is cast", (low+high)/2)
		} else {
			words += fmt.Sprintf("; it runs from %.1f to %.1f mm over the silicone's underside as it is cast", low, high)
		}
	}
	b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("C%d", k+1), Kind: "cut", Piece: SiliconeBlock, At: at,
		SizesMM: sizes, Words: words, Outline: rims(cut)})
}

// cutLevelMM: a cut that rises by less than a blade is held true is called level.
const cutLevelMM = 0.5

// cutWeldMM joins the corners that two neighbours clipped from their common side, each with its own rounding.
const cutWeldMM = 1e-7

// rims are the borders of an open mesh, seen from above.
func rims(m *mesh.Mesh) (out [][]r2.Vec) {
	next := map[uint32][]uint32{}
	var starts []uint32
	for f, adj := range m.Adjacency() {
		for k, g := range adj {
			if g == mesh.NoFacet {
				u := m.Tris[f][k]
				next[u] = append(next[u], m.Tris[f][(k+1)%3])
				starts = append(starts, u)
			}
		}
	}
	for _, s := range starts {
		var loop []r2.Vec
		for at := s; len(next[at]) > 0; {
			v := m.Verts[at]
			loop = append(loop, r2.Vec{X: v.X, Y: v.Y})
			to := next[at][0]
			next[at] = next[at][1:]
			at = to
		}
		if len(loop) > 2 {
			out = append(out, loop)
		}
	}
	return out
}

// blade is the farthest that the outer seam of cavity k lies from the nearest side of the block that the cut opens.
func (b *cutBlock) blade(sides []plane, k int) (deep float64) {
	for i, line := range b.lips.Trace[:b.lips.outer] {
		if b.lips.of[i] != k {
			continue
		}
		for _, v := range line {
			near := math.Inf(1)
			for _, p := range sides {
				near = min(near, (r3.Dot(v, p.normal)-p.offset)/r3.Norm(p.normal))
			}
			deep = max(deep, near)
		}
	}
	return deep
}

// clipTo keeps what of a convex polygon lies on a plane's side.
func clipTo(poly []r3.Vec, p plane) (out []r3.Vec) {
	for i, u := range poly {
		v := poly[(i+1)%len(poly)]
		x, y := r3.Dot(u, p.normal)-p.offset, r3.Dot(v, p.normal)-p.offset
		if x >= 0 {
			out = append(out, u)
		}
		if (x < 0) != (y < 0) && x != 0 && y != 0 {
			out = append(out, r3.Add(u, r3.Scale(x/(x-y), r3.Sub(v, u))))
		}
	}
	return out
}
