package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Names of the pieces of moulds that are blocks of silicone.
const (
	PouringBox = "pouring box"
	Master     = "master"
)

// siliconeBlock is what both sorts of silicone block have in common while they are built. All is made at
// the size at which the part is cast; what is there when the silicone is poured is the same, larger by
// what the silicone shrinks.
type siliconeBlock struct {
	set     *Set
	mould   *Mould
	parting *mouldability.Parting // of all cavities
	cell    *cell                 // one of several; nil for one
	surface *Surface
	field   *HeightField // the parting surface
	box     pouringBox
	grow    float64 // 1/(1 − silicone's shrinkage)

	upper, lower *mesh.Mesh // what lies over and under the parting surface in the box's outline, less the part
	room         *mesh.Mesh // the silicone's room
	plated       bool       // the masters stand on a plate and are one with it
	soft         map[int]softStage
}

// softStage says what a stage with a soft body asks of opening.JudgeRelease.
type softStage struct {
	from    []opening.ReleaseBody // the soft pieces
	shapes  func(f int) int       // the piece that shapes a facet of one cavity, by its place in from
	caught  int                   // the piece that leaves
	casting bool                  // the casting leaves, not the master
}

// siliconePlan is what a part's line is found by.
type siliconePlan struct {
	family               string
	rule                 splitRule
	direction, shrinkPct r3.Vec
	show                 []bool
	siliconeShrinkPct    float64
	middle               bool // cut upright walls half-way up, instead of going round them
}

// planSilicone finds the line and the frame of the part.
func planSilicone(ctx context.Context, part *mesh.Mesh, q siliconePlan) (*siliconeBlock, error) {
	if err := oneBody(part); err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	if r3.Norm(q.direction) == 0 {
		var err error
		if q.direction, err = q.rule.direction(ctx, part, q.show); err != nil {
			return nil, err
		}
	}
	m, placing, err := place(part, q.direction, q.shrinkPct)
	if err != nil {
		return nil, err
	}
	b := &siliconeBlock{grow: 1 / (1 - q.siliconeShrinkPct/100), soft: map[int]softStage{}}
	b.mould = &Mould{Family: q.family, Place: placing, Part: m}
	b.set = &Set{Mould: b.mould}
	if q.middle {
		z := 0.0 // place puts the part's middle there
		b.parting, err = mouldability.Part(ctx, m, mouldability.PartOptions{Show: q.show, AtZMM: &z})
	} else {
		b.parting, err = q.rule.split(ctx, m, q.show)
	}
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	b.mould.takeLine(b.parting)
	return b, nil
}

// lay lays the parting surface out to the outside of the box and stitches the two raw bodies.
func (b *siliconeBlock) lay(ctx context.Context) error {
	o := b.box.outer()
	b.mould.Block = r3.Box{Min: b.larger(o.Min), Max: b.larger(o.Max)}
	s, err := newSurface(ctx, b.parting, r2.Box{Min: r2.Vec{X: o.Min.X, Y: o.Min.Y}, Max: r2.Vec{X: o.Max.X, Y: o.Max.Y}})
	if err != nil {
		return err
	}
	b.surface, b.field, b.mould.Surface = s, NewHeightField(s.asMesh()), s
	b.upper, b.lower, err = stitchHalves(b.parting, s, o)
	return err
}

// lineZ is the height about which the silicone shrinks.
func (b *siliconeBlock) lineZ() float64 { return (b.parting.MinZ + b.parting.MaxZ) / 2 }

// larger takes a place of the casting to that at which the silicone is poured.
func (b *siliconeBlock) larger(v r3.Vec) r3.Vec { return swollen(v, b.grow, b.lineZ()) }

// poured is a body at the size at which the silicone is poured.
func (b *siliconeBlock) poured(s *solid.Solid) (*solid.Solid, error) {
	s, err := swollenSolid(s, b.grow, b.lineZ())
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return s, nil
}

// add adds pieces: printed ones at the size at which the silicone is poured, silicone as it has cured.
func (b *siliconeBlock) add(ctx context.Context, pieces []madePiece) error {
	for _, p := range pieces {
		s := p.body
		if !p.silicone {
			var err error
			if s, err = b.poured(s); err != nil {
				return err
			}
		}
		if err := b.mould.addPieceLeaving(ctx, p.name, s, p.exit); err != nil {
			return err
		}
	}
	return nil
}

type madePiece struct {
	name     string
	body     *solid.Solid // at the size of the casting
	exit     r3.Vec
	silicone bool
}

// pour books the block while silicone is poured: the pieces there, the box's free ends and, where there is one,
// the gap that takes up the rest.
func (b *siliconeBlock) pour(k *solid.Kernel, when string, label *solid.Solid, pieces []madePiece, ends []share, gap *share) (*ledger, error) {
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	l := &ledger{k: k, block: block}
	for _, p := range pieces {
		s, err := b.poured(p.body)
		if err != nil {
			return nil, err
		}
		l.solid(p.name, s)
	}
	if l.letters, err = b.letters(label); err != nil {
		return nil, err
	}
	spaces, err := b.pouredShares(ends)
	if err != nil {
		return nil, err
	}
	if err := l.spaces(spaces); err != nil {
		return nil, err
	}
	l.judge(b.mould, when, "")
	left := l.of("cavity")
	if gap == nil {
		l.lines = l.without("cavity")
	} else { // what is left is the gap, as far as it lies where the gap may be
		for i := range l.lines {
			if l.lines[i].Name == "cavity" {
				l.lines[i].Name = gap.name
			}
		}
		where, err := b.pouredShares([]share{*gap})
		if err != nil {
			return nil, err
		}
		all := append([]*solid.Solid(nil), l.pieces...)
		for _, s := range append(spaces, where...) {
			for _, t := range s.tools {
				all = append(all, t.Solid)
			}
		}
		if left, err = volumeOf(block.Subtract(append(all, solidsOf(l.letters)...)...)); err != nil {
			return nil, err
		}
	}
	// All of the block has a name by now.
	b.mould.Checks = append(b.mould.Checks, Check{Name: "silicone fills its room when the " + when, OK: math.Abs(left) <= roomTol*l.blockMM3, Value: left, Limit: roomTol * l.blockMM3, Unit: "mm³",
		Words: fmt.Sprintf("%.3g mm³ of the closed block are neither a piece nor a space with a name", left)})
	return l, nil
}

func solidsOf(tools []Tool) (out []*solid.Solid) {
	for _, t := range tools {
		out = append(out, t.Solid)
	}
	return out
}

// pouredShares are shares of the block at the size at which the silicone is poured.
func (b *siliconeBlock) pouredShares(shares []share) (out []share, err error) {
	for _, r := range shares {
		s := share{name: r.name}
		for _, t := range r.tools {
			if t.Solid, err = b.poured(t.Solid); err != nil {
				return nil, err
			}
			s.tools = append(s.tools, t)
		}
		out = append(out, s)
	}
	return out, nil
}

// roomTol is how much of the block may be left over: what the kernel loses where a board's hollow meets the
// parting surface at a grazing angle, some tenths of a cubic millimetre at the most.
const roomTol = 1e-6

// letters is the box's label as a tool of the ledger.
func (b *siliconeBlock) letters(label *solid.Solid) ([]Tool, error) {
	if label == nil {
		return nil, nil
	}
	s, err := b.poured(label)
	return []Tool{{Solid: s}}, err
}

// without drops a line of no volume.
func (l *ledger) without(name string) (out []LedgerLine) {
	for _, x := range l.lines {
		if x.Name != name {
			out = append(out, x)
		}
	}
	return out
}

// closed books the block while the part is cast, and checks the cavity.
func (b *siliconeBlock) closed(k *solid.Kernel, box, label *solid.Solid, blocks []madePiece, rest []share, wet ...wetShare) error {
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	l := &ledger{k: k, block: block}
	printed, err := b.poured(box)
	if err != nil {
		return err
	}
	l.solid(PouringBox, printed)
	if l.letters, err = b.letters(label); err != nil {
		return err
	}
	for _, p := range blocks {
		l.solid(p.name, p.body)
	}
	if b.grow != 1 {
		gap, err := b.gap(k)
		if err != nil {
			return err
		}
		rest = append(rest, share{name: "gap left by the silicone's shrinkage", tools: []Tool{{Solid: gap}}})
	}
	if err := l.spaces(rest, wet...); err != nil {
		return err
	}
	l.judge(b.mould, "part is cast", "")
	b.mould.Ledger = l.lines
	b.set.CastML = (l.of("cavity") + l.of("sprue") + l.of("vents")) / 1000
	b.mould.Checks = append(b.mould.Checks, cavityCheck("cavity volume", l.of("cavity"), b.mould.Part.VolumeMM3()))
	return b.bookCavities(k, l, blocks, wet)
}

// gap is all of the box's bore that lies outside the room of the cured silicone.
func (b *siliconeBlock) gap(k *solid.Kernel) (*solid.Solid, error) {
	bore, err := b.box.through(k, overshootMM)
	if err != nil {
		return nil, err
	}
	room, err := b.box.room(k)
	if err != nil {
		return nil, err
	}
	if bore, err = bore.Subtract(room); err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return bore, nil
}

// thickness checks the silicone between the part and the outside of its room.
func (b *siliconeBlock) thickness(ctx context.Context, askedMM float64) error {
	outer := geom.NewBVH(b.room.Verts, b.room.Tris)
	least, at := math.Inf(1), r3.Vec{}
	for i, v := range b.mould.Part.Verts {
		if i%256 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if d := outer.Nearest(v).Distance; d < least {
			least, at = d, v
		}
	}
	b.mould.Checks = append(b.mould.Checks, Check{Name: "least silicone thickness", OK: least >= askedMM-thicknessTolMM, Value: least, Limit: askedMM - thicknessTolMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm from the part to the outside of the block at %s", least, placeWords(at))})
	return nil
}

// printed checks the printed pieces, and all pieces for being one body: a master without a plate is one for
// each cavity.
func (b *siliconeBlock) printed(ctx context.Context, build r3.Vec, leastWallMM float64, names ...string) error {
	for _, p := range b.mould.Pieces {
		if p.Name == Master && !b.plated {
			b.mould.bodies(p, b.cavities())
			continue
		}
		b.mould.whole(p)
	}
	for _, name := range names {
		for _, p := range b.mould.Pieces {
			if c, asked := fits(p, build); asked && p.Name == name {
				b.mould.Checks = append(b.mould.Checks, c)
			}
		}
	}
	w, err := b.boxWall(ctx)
	if err != nil {
		return err
	}
	b.mould.Checks = append(b.mould.Checks, wallCheck(PouringBox, w, leastWallMM))
	return nil
}

func wallCheck(piece string, w Wall, leastMM float64) Check {
	return Check{Name: piece + ": thinnest wall", OK: !short(w.ThicknessMM, leastMM), Value: w.ThicknessMM, Limit: leastMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm at %s", w.ThicknessMM, placeWords(w.At))}
}

// boxWall shoots a ray outward from the middle of each facet of the box's bore.
func (b *siliconeBlock) boxWall(ctx context.Context) (Wall, error) {
	w := Wall{ThicknessMM: math.Inf(1)}
	m := b.mould.piece(PouringBox)
	tree := geom.NewBVH(m.Verts, m.Tris)
	middle := r3.Scale(0.5, r3.Add(b.mould.Block.Min, b.mould.Block.Max))
	across, half := b.box.across(), r3.Scale(0.5, b.box.block.Size())
	for f := range m.Tris {
		if f%1024 == 0 && ctx.Err() != nil {
			return w, ctx.Err()
		}
		t := m.Facet(f)
		n := t.Normal()
		if r3.Norm(n) == 0 {
			continue
		}
		n = r3.Unit(n)
		// A facet of the bore looks at the middle from beyond the block; the side of a letter does not.
		c := t.Centroid()
		from, looks := r3.Sub(c, middle), false
		for _, axis := range []r3.Vec{{X: across.X}, {Y: across.Y}, {Z: across.Z}} {
			looks = looks || math.Abs(r3.Dot(n, axis)) > wallFacing && math.Abs(r3.Dot(from, axis)) >= math.Abs(r3.Dot(half, axis))-boardSkinMM && r3.Dot(n, axis)*r3.Dot(from, axis) < 0
		}
		if !looks {
			continue
		}
		if hit, ok := tree.FirstHit(c, r3.Scale(-1, n), skinMM, math.Inf(1)); ok && hit.T < w.ThicknessMM {
			w.ThicknessMM, w.At = hit.T, c
		}
	}
	return w, nil
}

// body is a piece for the proof; silicone as it was poured is larger than it has cured.
func (b *siliconeBlock) body(name string, asPoured bool) opening.Body {
	m := b.mould.piece(name)
	if asPoured && b.grow != 1 {
		m = m.Map(b.larger)
	}
	return opening.Body{Name: name, Mesh: m}
}

// ask puts a soft stage as a question about the part between its pieces.
func (b *siliconeBlock) ask(casting, silicone *opening.Flex) func(int) (opening.ReleaseSetup, bool) {
	return func(stage int) (opening.ReleaseSetup, bool) {
		s, known := b.soft[stage]
		part := b.one().Mesh // all cavities are alike
		q := opening.ReleaseSetup{Part: part, Casting: opening.ReleaseBody{Name: Master}, FixedOrder: true}
		if !known || silicone == nil {
			return q, false
		}
		if s.casting { // without a material that gives way it counts as rigid
			q.Casting = opening.ReleaseBody{Name: castingName, Flex: casting}
		}
		q.Pieces = s.from
		for i := range q.Pieces {
			q.Pieces[i].Flex = silicone
		}
		q.Shapes = make([]int, len(part.Tris))
		for f := range q.Shapes {
			q.Shapes[f] = s.shapes(f)
		}
		leaving := s.from[s.caught]
		q.Catches = catchesOn(part, func(f int) bool { return q.Shapes[f] == s.caught }, leaving.Name, leaving.Exit)
		return q, true
	}
}
