package tooling

import (
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// sideRow is what a mould of several cavities knows beside one of one. The cavities stand in a row along y,
// turned alike: so the split plane passes through all of them at the same place, the same two side pieces
// free them, and nothing that leaves one along x comes past another.
type sideRow struct {
	places []CavityPlace
	first  *sideSplit // the first of them alone, in its place: what is found for it holds for all
}

// lineUp sets the cavities in a row along y, and a lane between two of them where cross bolts would else be
// farther apart than their pitch. It returns the box round all of them.
func (b *sideSplit) lineUp(part r3.Box, lane float64) r3.Box {
	p := &b.plan
	p.at, p.bays = nil, [][2]float64{{part.Min.Y, part.Max.Y}}
	n := b.opt.Cavities
	if n <= 1 {
		return part
	}
	wide, gap, beside := part.Max.Y-part.Min.Y, b.opt.CavityGapMM, p.clearY+lane // beside: from a lane's middle to a cavity
	plain, laned := up128(wide+gap), up128(wide+max(gap, 2*beside))
	bays := 1
	if p.cross != nil {
		between := func(bays int) float64 { // the farthest that two lanes are apart
			most, side := float64(shares(n, bays)[0]), beside
			if bays > 1 {
				side = max(beside, gap/2)
			}
			return (most-1)*plain + wide + 2*side
		}
		for bays < n && between(bays) > b.opt.BoltPitchMM {
			bays++
		}
	}
	p.at, p.bays = nil, nil
	at := 0.0
	for i, size := range shares(n, bays) {
		if i > 0 {
			at += laned
		}
		from := at + part.Min.Y
		for j := range size {
			if j > 0 {
				at += plain
			}
			p.at = append(p.at, at)
		}
		p.bays = append(p.bays, [2]float64{from, at + part.Max.Y})
	}
	// The row is in the middle, at places that keep the last digits of coordinates.
	mid := up128(p.at[n-1] / 2)
	for i := range p.at {
		p.at[i] -= mid
	}
	for i := range p.bays {
		p.bays[i] = [2]float64{p.bays[i][0] - mid, p.bays[i][1] - mid}
	}
	part.Min.Y, part.Max.Y = part.Min.Y+p.at[0], part.Max.Y+p.at[n-1]
	return part
}

// rowFits says whether the printer has room for the plan of the block, either way round.
func (b *sideSplit) rowFits() bool {
	room, f := b.opt.BuildVolumeMM, r2.Sub(b.plan.foot.Max, b.plan.foot.Min)
	under := func(x, y float64) bool { return !short(room.X, x) && !short(room.Y, y) }
	return room == (r3.Vec{}) || under(f.X, f.Y) || under(f.Y, f.X)
}

// tooLong says why a row does not fit, and how many cavities do.
func (b *sideSplit) tooLong() error {
	f, room := r2.Sub(b.plan.foot.Max, b.plan.foot.Min), b.opt.BuildVolumeMM
	help := "not even one fits: take a larger printer, or thinner walls"
	for n := b.opt.Cavities - 1; n > 0; n-- {
		m, c := *b.mould, *b
		c.mould, c.plan, c.opt.Cavities = &m, sideLayout{}, n
		if c.arrange() == nil && c.rowFits() {
			help = fmt.Sprintf("take %d, or a larger printer", n)
			break
		}
	}
	return fmt.Errorf("tooling: %d cavities in a row along the side split need a block of %.0f × %.0f mm in plan, and the printer has %.0f × %.0f mm: %s: %w",
		b.opt.Cavities, f.X, f.Y, room.X, room.Y, help, ErrCavities)
}

// multiply makes a mould whose surface is divided, and whose row is laid out, one of several cavities.
func (b *sideSplit) multiply() error {
	if !b.rowFits() {
		return b.tooLong()
	}
	r := &sideRow{}
	for _, y := range b.plan.at {
		r.places = append(r.places, CavityPlace{At: r2.Vec{Y: y}})
	}
	m := b.mould
	first := &Mould{Family: m.Family, Part: CavityMeshes(m.Part, r.places[:1]), Block: m.Block}
	r.first = &sideSplit{opt: b.opt, mould: first, out: b.out, parting: partings(b.parting, r.places[:1]), splitX: b.splitX, plan: b.plan}
	first.takeLine(r.first.parting)
	m.Part, m.Cavities, m.Place = CavityMeshes(m.Part, r.places), r.places, m.Place.Placed(r.places[0])
	b.parting, b.row = partings(b.parting, r.places), r
	return nil
}

// feedRow gives every cavity sprue and vents at the same places.
func (b *sideSplit) feedRow() error {
	one := b.row.first
	one.field = b.field
	if err := one.feedOne(); err != nil {
		return err
	}
	b.feed = sideFeed{below: one.feed.below, sprue: one.feed.sprue, open: one.feed.open}
	open := &mesh.Mesh{}
	for i, c := range b.row.places {
		by := r2.Sub(c.At, b.row.places[0].At)
		moved := func(s Sprue) Sprue {
			s.At = r2.Add(s.At, by)
			return s
		}
		if i > 0 {
			b.feed.more = append(b.feed.more, moved(one.feed.sprue))
		}
		for _, v := range one.feed.vents {
			b.feed.vents = append(b.feed.vents, moved(v))
		}
		b.feed.show = append(b.feed.show, one.feed.show...)
		first := uint32(len(open.Verts))
		for _, v := range one.feed.open.m.Verts {
			open.Verts = append(open.Verts, r3.Add(v, r3.Vec{X: by.X, Y: by.Y}))
		}
		for _, t := range one.feed.open.m.Tris {
			open.Tris = append(open.Tris, [3]uint32{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	b.feed.open = NewHeightField(open)
	for _, n := range one.mould.Notes {
		b.mould.Notes = append(b.mould.Notes, "each cavity: "+n)
	}
	b.mould.Notes = append(b.mould.Notes, "each cavity has a sprue of its own: pour them one after the other, each until its vents run")
	return nil
}

// numberTools sinks each cavity's number into the whole half beside it, at the end of side piece 1.
func (b *sideSplit) numberTools(k *solid.Kernel, over *solid.Solid) (sideToolShare, error) {
	s := sideToolShare{name: "cavity numbers"}
	n := &numberRoom{foot: b.plan.foot, field: b.field, parts: b.mould.Shadow, land: numberLandMM}
	for _, at := range b.plan.clamps {
		n.dry = append(n.dry, disc(at, b.plan.clamp.RadiusMM()))
	}
	for _, r := range b.plan.rails {
		n.dry = append(n.dry, shape{core: r.plan(b.splitX, b.opt.KeyClearance)})
	}
	var own []Outline
	var mouths []r2.Vec
	for _, c := range b.row.places {
		by := CavityPlace{At: r2.Sub(c.At, b.row.places[0].At)}
		outline := placedOutline(b.row.first.mould.Shadow, []CavityPlace{by})
		box, _ := outline.Bounds()
		own, mouths = append(own, outline), append(mouths, r2.Vec{X: box.Max.X, Y: (box.Min.Y + box.Max.Y) / 2})
	}
	cuts, err := n.sink(k, over, b.mould, WholeHalf, own, mouths)
	for _, t := range cuts {
		s.tools = append(s.tools, sideTool{ofWhole, false, t})
	}
	return s, err
}

// bookRow divides the ledger's cavity among the cavities, each measured between the pieces as built.
func (b *sideSplit) bookRow(l *ledger) error {
	m, one := b.mould, b.row.first.mould.Part
	box, grow := one.Bounds(), r3.Vec{X: cellRoomMM, Y: min(cellRoomMM, b.opt.CavityGapMM/2), Z: cellRoomMM}
	return m.divideCavity(l, l.cavity, one.VolumeMM3(), func(i int) (*solid.Solid, error) {
		by := r3.Vec{Y: m.Cavities[i].At.Y - m.Cavities[0].At.Y}
		return l.k.Box(r3.Box{Min: r3.Sub(r3.Add(box.Min, by), grow), Max: r3.Add(r3.Add(box.Max, by), grow)})
	})
}

// castings is how many come out of the mould.
func (b *sideSplit) castings() int { return max(1, len(b.mould.Cavities)) }
