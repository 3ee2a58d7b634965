package tooling

import (
	"context"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// verify runs the checks on the finished pieces.
func (b *sideSplit) verify(ctx context.Context) error {
	b.opt.Progress.tell("checking walls", 0.7)
	m := b.mould
	m.checkPieces(b.opt.BuildVolumeMM)
	if err := b.walls(ctx); err != nil {
		return err
	}
	m.Checks = append(m.Checks, slope(m.Surface))
	b.opt.Progress.tell("proving that it opens", 0.8)
	if err := b.prove(ctx); err != nil {
		return err
	}
	return b.out.judgeRelease(ctx, b.releaseOf)
}

// facetsBy lists the facets of the divided part that each piece makes, by their middle.
func (b *sideSplit) facetsBy() (out [3][]int32) {
	for f, up := range b.parting.Upper {
		i := 0
		if up {
			i = 1
			if b.parting.Mesh.Facet(f).Centroid().X < b.splitX {
				i = 2
			}
		}
		out[i] = append(out[i], int32(f))
	}
	return out
}

// seams is the parting surface with the plane between the side pieces.
func (b *sideSplit) seams() *Surface {
	s, k := b.mould.Surface, b.mould.Block
	out := &Surface{Verts: append([]r3.Vec(nil), s.Verts...), Tris: append([][3]uint32(nil), s.Tris...)}
	n := uint32(len(out.Verts))
	for _, y := range []float64{k.Min.Y, k.Max.Y} {
		for _, z := range []float64{k.Min.Z, k.Max.Z} {
			out.Verts = append(out.Verts, r3.Vec{X: b.splitX, Y: y, Z: z})
		}
	}
	out.Tris = append(out.Tris, [3]uint32{n, n + 1, n + 2}, [3]uint32{n + 1, n + 3, n + 2})
	return out
}

// walls measures each piece round the cavity.
func (b *sideSplit) walls(ctx context.Context) error {
	m := b.mould
	seams := b.seams()
	whole := newGauge(b.parting.Mesh, m.Surface, b.feed.channels()) // the side split does not run in it
	sides := newGauge(b.parting.Mesh, seams, b.feed.channels())
	for i, facets := range b.facetsBy() {
		p, g := m.Pieces[i], sides
		if i == 0 {
			g = whole
		}
		w, err := g.thinnest(ctx, p.Mesh, facets)
		if err != nil {
			return err
		}
		m.Checks = append(m.Checks, Check{Name: p.Name + ": thinnest wall", OK: !short(w.Shell.ThicknessMM, b.opt.LeastWallMM), Value: w.Shell.ThicknessMM,
			Limit: b.opt.LeastWallMM, Unit: "mm", Words: fmt.Sprintf("%.2f mm at %s, looked at in %d places", w.Shell.ThicknessMM, placeWords(w.Shell.At), w.Rays)})
		if w.Rib.ThicknessMM < b.opt.LeastWallMM {
			m.Notes = append(m.Notes, fmt.Sprintf("%s: a ridge of the mould is only %.2f mm thick at %s (mould frame), thinner than the %.1f mm that prints soundly: it may come out rough or break off",
				p.Name, w.Rib.ThicknessMM, placeWords(w.Rib.At), b.opt.LeastWallMM))
		}
	}
	return nil
}

// sideStages are the partings in order, each body against every one still there. The casting keeps to the
// whole half until the sides are gone.
var sideStages = []struct {
	moving, fixed string
	way           r3.Vec
}{
	{SideOne, SideTwo, r3.Vec{X: 1}},
	{SideOne, WholeHalf, r3.Vec{X: 1}},
	{SideOne, castingName, r3.Vec{X: 1}},
	{SideTwo, WholeHalf, r3.Vec{X: -1}},
	{SideTwo, castingName, r3.Vec{X: -1}},
	{castingName, WholeHalf, r3.Vec{Z: 1}},
}

// prove proves the stages on the pieces as built. A casting that catches may still be soft enough to let go;
// pieces may not catch on each other.
func (b *sideSplit) prove(ctx context.Context) error {
	m := b.mould
	body := func(name string) opening.Body {
		if name == castingName {
			return opening.Body{Name: name, Mesh: m.Cast}
		}
		return opening.Body{Name: name, Mesh: m.piece(name)}
	}
	var plans []stagePlan
	for _, q := range sideStages {
		plans = append(plans, stagePlan{name: theBody(q.moving) + " leaves " + theBody(q.fixed), moving: body(q.moving), fixed: body(q.fixed), way: q.way,
			rigid: q.moving != castingName && q.fixed != castingName})
	}
	opt := opening.Options{ToleranceMM: b.opt.ToleranceMM, Workers: b.opt.Workers, TrustApart: true}
	if err := b.out.prove(ctx, plans, opt, func(done float64) { b.opt.Progress.tell("proving that it opens", 0.8+0.15*done) }); err != nil {
		return err
	}
	return b.noteStuck(ctx, body, opt)
}

// theBody is a body in a sentence; side pieces go by number.
func theBody(name string) string {
	if name == SideOne || name == SideTwo {
		return name
	}
	return "the " + name
}

// noteStuck says what holds a casting that keeps to a side piece instead and goes along with it.
func (b *sideSplit) noteStuck(ctx context.Context, body func(string) opening.Body, opt opening.Options) error {
	for _, q := range []struct {
		side  string
		way   r3.Vec
		holds []string
	}{{SideOne, r3.Vec{X: 1}, []string{SideTwo, WholeHalf}}, {SideTwo, r3.Vec{X: -1}, []string{WholeHalf}}} {
		for _, other := range q.holds {
			v, err := opening.Translate(ctx, body(castingName), body(other), q.way, opt)
			if err != nil {
				return fmt.Errorf("tooling: casting with %s: %w", q.side, err)
			}
			if v.State == opening.Blocked {
				b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("a casting that sticks to %s cannot go along with it, because %s holds it: ease %s off the casting first", q.side, theBody(other), q.side))
				break
			}
		}
	}
	return nil
}

// releaseOf puts a stage as a question about the part between the pieces still there.
func (b *sideSplit) releaseOf(stage int) (opening.ReleaseSetup, bool) {
	if b.opt.Casting == nil {
		return opening.ReleaseSetup{}, false
	}
	s := b.out.Stages[stage]
	if b.row != nil { // the castings are alike, so one is judged
		b = b.row.first
	}
	q := opening.ReleaseSetup{Part: b.parting.Mesh, Casting: opening.ReleaseBody{Name: castingName, Flex: b.opt.Casting}, FixedOrder: true}
	bodies := []opening.ReleaseBody{{Name: WholeHalf, Exit: r3.Vec{Z: -1}}, {Name: SideOne, Exit: r3.Vec{X: 1}}, {Name: SideTwo, Exit: r3.Vec{X: -1}}}
	held := 0
	switch s.Moving {
	case SideOne:
		held = 1
	case SideTwo:
		held = 2
	}
	// The piece that lets go comes first; those that have left shape nothing any more.
	here := map[int]int{}
	add := func(i int) {
		here[i] = len(q.Pieces)
		q.Pieces = append(q.Pieces, bodies[i])
	}
	add(held)
	for i := range bodies {
		if i != held && (held == 1 || held == 2 && i == 0) {
			add(i)
		}
	}
	q.Shapes = make([]int, len(b.parting.Upper))
	for i, facets := range b.facetsBy() {
		at, ok := here[i]
		if !ok {
			at = -1
		}
		for _, f := range facets {
			q.Shapes[f] = at
		}
	}
	own := map[int]bool{}
	for _, f := range b.facetsBy()[held] {
		own[int(f)] = true
	}
	q.Catches = catchesOn(b.parting.Mesh, func(f int) bool { return own[f] }, bodies[held].Name, bodies[held].Exit)
	return q, true
}
