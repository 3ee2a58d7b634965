package tooling

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// cell is one of several cavities, standing alone.
type cell struct {
	parting *mouldability.Parting
	mould   Mould // its part, line and place
}

// cavities is how many castings the block gives at once.
func (b *siliconeBlock) cavities() int { return max(1, len(b.mould.Cavities)) }

// one is the parting of one cavity that stands alone.
func (b *siliconeBlock) one() *mouldability.Parting {
	if b.cell != nil {
		return b.cell.parting
	}
	return b.parting
}

// oneShadow is its outline.
func (b *siliconeBlock) oneShadow() Outline {
	if b.cell != nil {
		return b.cell.mould.Shadow
	}
	return b.mould.Shadow
}

// oneTop is what of it lies open upward; nil when nothing does.
func (b *siliconeBlock) oneTop() (*HeightField, []int32) { return openUpward(b.one()) }

// multiply puts the cavity that stands alone into several places.
func (b *siliconeBlock) multiply(places []CavityPlace) {
	if b.cell == nil {
		b.cell = &cell{b.parting, *b.mould}
	}
	m := b.mould
	m.Cavities, m.Place = places, b.cell.mould.Place.Placed(places[0])
	m.Part = CavityMeshes(b.cell.mould.Part, places)
	b.parting = partings(b.cell.parting, places)
	m.Line, m.Shadow = nil, nil
	m.takeLine(b.parting)
}

// packOptions are those for n cavities in the box as it stands round one: what of it lies outside the
// cavity stays.
func (b *siliconeBlock) packOptions(n int, gapMM float64, build r3.Vec) PackOptions {
	outer, part := b.box.outer().Size(), b.one().Mesh.Bounds().Size()
	return PackOptions{Cavities: n, GapMM: gapMM, WallMM: max(outer.X-part.X, outer.Y-part.Y) / 2, MostMM: r2.Vec{X: build.X / b.grow, Y: build.Y / b.grow}}
}

// layPacked lays the cavities out by the smallest block in which lay finds a parting surface that is not
// too steep.
func (b *siliconeBlock) layPacked(ctx context.Context, opt PackOptions, lay func() error) error {
	packs, err := PackCavities(b.oneShadow().Outer(), opt)
	if err != nil {
		return err
	}
	packs = packs[:min(packTries, len(packs))]
	var first error
	for _, p := range packs {
		b.multiply(p.Places)
		err := lay()
		switch {
		case ctx.Err() != nil:
			return fmt.Errorf("tooling: %w", ctx.Err())
		case err == nil && slope(b.surface).OK:
			return nil
		}
		first = cmp.Or(first, err)
	}
	if first != nil {
		return fmt.Errorf("%d cavities: %w", opt.Cavities, first)
	}
	b.multiply(packs[0].Places) // steep every way: the check of its slope says so
	return lay()
}

// placed is a cavity's feed in every place: each has a sprue and vents of its own.
func (f feed) placed(places []CavityPlace) (out feed) {
	for i, c := range places {
		into := func(v channel) channel {
			if s, inCut := v.(*sideChannel); inCut {
				return s.placed(c)
			}
			s := v.(Sprue)
			s.At = c.Into(s.At)
			return s
		}
		for _, v := range f.vents {
			out.vents = append(out.vents, into(v))
		}
		switch {
		case f.sprue == nil:
		case i == 0:
			out.sprue = into(f.sprue)
		default:
			out.more = append(out.more, into(f.sprue))
		}
	}
	return out
}

// named says what the channel at i of all is, where there is no runner.
func (f feed) named(i int) (kind, name string) {
	switch v := len(f.vents); {
	case i == 0:
		return "sprue", "S1"
	case i <= v:
		return "vent", fmt.Sprintf("V%d", i)
	default:
		return "sprue", fmt.Sprintf("S%d", i-v+1)
	}
}

// cavityRoom is all that stands over and under a cavity's outline, and growMM round it.
func (m *Mould) cavityRoom(k *solid.Kernel, outline Outline, growMM float64) (*solid.Solid, error) {
	r, err := k.Region(outline)
	if err != nil {
		return nil, err
	}
	if r, err = r.Offset(growMM, true); err != nil {
		return nil, err
	}
	loops, err := r.Loops()
	if err != nil {
		return nil, err
	}
	return k.Prism(loops, m.Block.Min.Z-overshootMM, m.Block.Max.Z+overshootMM)
}

// divideCavity divides the ledger's cavity among the cavities, each of oneMM3: what of the space lies in the
// room of each.
func (m *Mould) divideCavity(l *ledger, space *solid.Solid, oneMM3 float64, room func(i int) (*solid.Solid, error)) error {
	whole, n := l.of("cavity"), len(m.Cavities)
	m.Ledger = slices.DeleteFunc(slices.Clone(l.lines), func(x LedgerLine) bool { return x.Name == "cavity" })
	sum := 0.0
	for i := range n {
		name := CavityName(i+1, n)
		r, err := room(i)
		if err != nil {
			return fmt.Errorf("tooling: %s: %w", name, err)
		}
		v, err := volumeOf(space.Intersect(r))
		if err != nil {
			return err
		}
		sum += v
		m.Ledger = append(m.Ledger, LedgerLine{Name: name, VolumeMM3: v})
		m.Checks = append(m.Checks, cavityCheck(name+" volume", v, oneMM3))
	}
	m.Checks = append(m.Checks, Check{Name: "cavities make up the space", OK: math.Abs(sum-whole) <= ledgerTol*l.blockMM3, Value: math.Abs(sum - whole), Limit: ledgerTol * l.blockMM3, Unit: "mm³",
		Words: fmt.Sprintf("%d cavities come to %.6f mm³, what nothing else explains of the block to %.6f mm³", n, sum, whole)})
	return nil
}

// bookCavities divides the cavity among several: what the cured silicone leaves of its room round each, less
// what the channels hold.
func (b *siliconeBlock) bookCavities(k *solid.Kernel, l *ledger, silicone []madePiece, wet []wetShare) error {
	m := b.mould
	if len(m.Cavities) <= 1 {
		return nil
	}
	space, err := b.box.room(k)
	if err != nil {
		return err
	}
	var taken []*solid.Solid
	for _, p := range silicone {
		taken = append(taken, p.body)
	}
	for _, w := range wet {
		for _, t := range w.tools {
			s, err := w.raw.Intersect(t.Solid)
			if err != nil {
				return fmt.Errorf("tooling: %s: %w", w.name, err)
			}
			taken = append(taken, s)
		}
	}
	if space, err = space.Subtract(taken...); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	outline := b.oneShadow().Outer()
	return m.divideCavity(l, space, m.Part.VolumeMM3()/float64(len(m.Cavities)), func(i int) (*solid.Solid, error) {
		return m.cavityRoom(k, placedOutline(outline, m.Cavities[i:i+1]), cellRoomMM)
	})
}

// between checks the silicone between neighbours: that it is as thick as asked.
func (b *siliconeBlock) between(gapMM float64) {
	m := b.mould
	if len(m.Cavities) <= 1 {
		return
	}
	outline := b.oneShadow().Outer()
	least, pair := math.Inf(1), [2]int{}
	at := func(i int) []r2.Vec { return placedOutline(outline, m.Cavities[i:i+1])[0] }
	for i := range m.Cavities {
		for j := range i {
			p, q := at(i), at(j)
			pb, _ := Outline{p}.Bounds()
			qb, _ := Outline{q}.Bounds()
			dx, dy := max(pb.Min.X-qb.Max.X, qb.Min.X-pb.Max.X, 0), max(pb.Min.Y-qb.Max.Y, qb.Min.Y-pb.Max.Y, 0)
			if math.Hypot(dx, dy) >= least {
				continue
			}
			for k := range p {
				if d := gapToOutline(shape{core: []r2.Vec{p[k], p[(k+1)%len(p)]}}, Outline{q}); d < least {
					least, pair = d, [2]int{j + 1, i + 1}
				}
			}
		}
	}
	m.Checks = append(m.Checks, Check{Name: "least silicone between cavities", OK: least >= gapMM-thicknessTolMM, Value: least, Limit: gapMM - thicknessTolMM, Unit: "mm",
		Words: fmt.Sprintf("%.2f mm, seen from above, between cavities %d and %d", least, pair[0], pair[1])})
}

// oneCasting checks that each cavity's casting comes out in one piece.
func (b *siliconeBlock) oneCasting(cast *mesh.Mesh) {
	want := b.cavities()
	if _, n := cast.Components(); n != want {
		c := Check{Name: "casting in one piece", Value: float64(n), Limit: float64(want), Unit: "pieces",
			Words: fmt.Sprintf("the casting falls into %d pieces: a sprue or a vent misses the cavity", n)}
		if want > 1 {
			c.Name, c.Words = "each casting in one piece", fmt.Sprintf("%d cavities give %d pieces: a sprue or a vent misses its cavity, or joins two", want, n)
		}
		b.mould.Checks = append(b.mould.Checks, c)
	}
}

// fillWords says what a filling takes.
func (b *siliconeBlock) fillWords() string {
	if n := b.cavities(); n > 1 {
		return fmt.Sprintf("%.1f mL of resin for all %d castings", b.set.CastML, n)
	}
	return fmt.Sprintf("%.1f mL of resin for each casting", b.set.CastML)
}

// manyNotes says what several cavities ask of the maker.
func (b *siliconeBlock) manyNotes() {
	n := b.cavities()
	if n <= 1 {
		return
	}
	b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("%d cavities, each with a sprue of its own: pour them one after the other, each until its vents run", n))
	if b.set.Release != nil && b.set.Cut != nil { // of two parts judgeBetween says so
		b.mould.Notes = append(b.mould.Notes, fmt.Sprintf("how the silicone lets go is judged for one cavity: peel it off one after the other; all %d at once take %d times the force", n, n))
	}
}

// checkBlockCavities is what both sorts of block ask of several cavities.
func checkBlockCavities(n int, gapMM float64) error {
	if err := checkCavities(n); err != nil {
		return err
	}
	if n > 1 && gapMM < leastBlockMM {
		return fmt.Errorf("%w: %g mm of silicone between cavities do not keep their shape: give %g mm or more", ErrOptions, gapMM, leastBlockMM)
	}
	return nil
}

// siliconeWallMM is the silicone that backs a cavity: to the outside or, where that is less, to the next one.
func (b *siliconeBlock) siliconeWallMM(blockMM, gapMM float64) float64 {
	if b.cavities() > 1 {
		return min(blockMM, gapMM)
	}
	return blockMM
}

// eachOf divides a mesh that is alike for every cavity, and lies in it once for each, among them.
func (m *Mould) eachOf(all *mesh.Mesh) []*mesh.Mesh {
	n := max(1, len(m.Cavities))
	if n == 1 {
		return []*mesh.Mesh{all}
	}
	verts, tris := len(all.Verts)/n, len(all.Tris)/n
	out := make([]*mesh.Mesh, n)
	for i := range out {
		one := &mesh.Mesh{Verts: all.Verts[i*verts : (i+1)*verts]}
		for _, t := range all.Tris[i*tris : (i+1)*tris] {
			first := uint32(i * verts)
			one.Tris = append(one.Tris, [3]uint32{t[0] - first, t[1] - first, t[2] - first})
		}
		out[i] = one
	}
	return out
}

const (
	// gapTries and gapStepMM: slanted faces of box and silicone lie on each other, and now and then the kernel
	// loses some cubic millimetres there. Several cavities a little farther apart round differently, so a few
	// such gaps are tried until the sums hold.
	gapTries  = 4
	gapStepMM = 0.125
)

// lost says that the sums of the pours do not hold.
func (b *siliconeBlock) lost() bool {
	for _, c := range b.mould.Failed() {
		for _, sum := range []string{"volumes add up when", "pieces apart when", "silicone fills its room when"} {
			if strings.HasPrefix(c.Name, sum) {
				return true
			}
		}
	}
	return false
}

// madeBlock is a block of several cavities as made.
type madeBlock interface{ lost() bool }

// apartEnough makes a block, with several cavities a little farther apart where the kernel lost volume.
func apartEnough[B madeBlock](cavities int, gapMM *float64, make func() (B, error)) (B, error) {
	b, err := make()
	for try := 1; err == nil && cavities > 1 && b.lost() && try < gapTries; try++ {
		*gapMM += gapStepMM
		b, err = make()
	}
	return b, err
}
