package tooling

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// cavityTol is how far the cavity's volume may be off the compensated part's.
	cavityTol = 1e-3
	// ledgerTol is how far the ledger's lines may be off the block, relative to it.
	ledgerTol = 1e-9
	// apartTol is how much of the block two halves may share: rounding of cut edges, no more.
	apartTol = 1e-9
)

// account takes the finished halves out of the block and names every piece of the space that is left:
// nothing in the closed mould goes unexplained. The piece of space that holds the part is the casting;
// without sprue and vents it is the cavity, which is then compared with the part. All of it is measured
// on the pieces as built, not on the plan.
func (b *twoHalves) account(k *solid.Kernel, halves [2]*solid.Solid, shares []share) error {
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	space, err := block.Subtract(halves[Lower], halves[Upper])
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	empty, err := volumeOf(space, nil)
	if err != nil {
		return err
	}
	rooms, err := space.Parts()
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	for _, p := range b.mould.Pieces {
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: p.Name, VolumeMM3: p.VolumeMM3, Solid: true})
	}
	cast, others, err := b.castingAmong(k, rooms)
	if err != nil {
		return err
	}
	held, err := b.bookChannels(k, shares)
	if err != nil {
		return err
	}
	all, err := volumeOf(cast, nil)
	if err != nil {
		return err
	}
	cavity := all - held
	if size := b.mould.Block.Size(); math.Abs(cavity-b.mould.Part.VolumeMM3()) > ledgerTol*size.X*size.Y*size.Z {
		if cast, others, cavity, err = b.castingOfPart(k, space, halves, shares); err != nil {
			return err
		}
	}
	if err := b.bookDry(k, others, shares); err != nil {
		return err
	}
	if b.cavities != nil {
		if err := b.bookCavities(k, cast, shares); err != nil {
			return err
		}
	} else {
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: "cavity", VolumeMM3: cavity})
	}
	if b.mould.Cast, err = cast.Mesh(); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	b.judgeVolumes(cavity, empty)
	return b.judgeCasting(cast)
}

func volumeOf(s *solid.Solid, err error) (float64, error) {
	if err != nil {
		return 0, fmt.Errorf("tooling: %w", err)
	}
	v, err := s.VolumeMM3()
	if err != nil {
		return 0, fmt.Errorf("tooling: %w", err)
	}
	return v, nil
}

// bookDry divides the rooms beside the casting among the cutters that made them. What no cutter explains
// is missing in the ledger, and the sum then says so.
func (b *twoHalves) bookDry(k *solid.Kernel, rooms []*solid.Solid, shares []share) error {
	space, err := k.Union(rooms...)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	for _, s := range shares {
		if s.wet || len(s.tools) == 0 {
			continue
		}
		tool, err := s.cutters(k)
		if err != nil {
			return err
		}
		v, err := volumeOf(space.Intersect(tool))
		if err != nil {
			return err
		}
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: s.name, VolumeMM3: v})
	}
	return nil
}

// bookChannels enters sprue and vents, and returns what they hold in all. A sprue's cutter stands into the
// cavity; that end belongs to the cavity, so only what the cutter took from the raw half counts.
func (b *twoHalves) bookChannels(k *solid.Kernel, shares []share) (all float64, err error) {
	for _, s := range shares {
		if !s.wet || len(s.held) == 0 {
			continue
		}
		v, err := volumeOf(k.Union(s.held...))
		if err != nil {
			return 0, err
		}
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: s.name, VolumeMM3: v})
		all += v
	}
	return all, nil
}

// castingOfPart makes the casting from the part and the channels, and divides the space by it. It is for
// halves that leave a film without thickness between them, through which the cavity hangs together with
// other rooms: the rooms then say nothing about the casting, but volumes do.
func (b *twoHalves) castingOfPart(k *solid.Kernel, space *solid.Solid, halves [2]*solid.Solid, shares []share) (cast *solid.Solid, others []*solid.Solid, cavity float64, err error) {
	fail := func(err error) (*solid.Solid, []*solid.Solid, float64, error) {
		return nil, nil, 0, fmt.Errorf("tooling: casting: %w", err)
	}
	part, err := k.FromMesh(b.mould.Part)
	if err != nil {
		return fail(err)
	}
	if cavity, err = volumeOf(space.Intersect(part)); err != nil {
		return fail(err)
	}
	block, err := k.Box(b.mould.Block)
	if err != nil {
		return fail(err)
	}
	var room [2]*solid.Solid // where a half may be cut: what the other leaves of the block
	for h := range room {
		if room[h], err = block.Subtract(halves[1-h]); err != nil {
			return fail(err)
		}
	}
	cast = part
	for _, s := range shares {
		for _, t := range s.tools {
			if !s.wet {
				continue
			}
			cut, err := room[t.Half].Intersect(t.Solid)
			if err != nil {
				return fail(err)
			}
			if cast, err = cast.Union(cut); err != nil {
				return fail(err)
			}
		}
	}
	rest, err := space.Subtract(cast)
	if err != nil {
		return fail(err)
	}
	return cast, []*solid.Solid{rest}, cavity, nil
}

// judgeCasting checks that all of the casting hangs together: that the sprue and the vents reach the
// cavity, and that the part is one body.
func (b *twoHalves) judgeCasting(cast *solid.Solid) error {
	parts, err := cast.Parts()
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	c := Check{Name: "casting in one piece", OK: len(parts) == 1, Value: float64(len(parts)), Limit: 1, Unit: "pieces", Words: "sprue and vents open into the cavity"}
	if n := len(b.mould.Cavities); b.cavities.apart() {
		c.Name, c.OK, c.Limit, c.Words = "each casting in one piece", len(parts) == n, float64(n), "each cavity's sprue and vents open into it"
	}
	if !c.OK {
		c.Words = fmt.Sprintf("the casting falls into %d pieces: a sprue or a vent misses the cavity, or the part has several bodies", len(parts))
	}
	b.mould.Checks = append(b.mould.Checks, c)
	return nil
}

// castingAmong picks the room that the part fills. A gutter runs round the part, so its box may hold a
// thin part's box too: then the room that shares most with the part is the one.
func (b *twoHalves) castingAmong(k *solid.Kernel, rooms []*solid.Solid) (cast *solid.Solid, others []*solid.Solid, err error) {
	bodies := []*mesh.Mesh{b.mould.Part}
	if b.cavities.apart() {
		bodies = b.cavities.bodies()
	}
	others = slices.Clone(rooms)
	var all []*solid.Solid
	for _, m := range bodies {
		at, err := roomOf(k, others, m)
		if err != nil {
			return nil, nil, err
		}
		all, others = append(all, others[at]), slices.Delete(others, at, at+1)
	}
	if len(all) == 1 {
		return all[0], others, nil
	}
	if cast, err = k.Union(all...); err != nil {
		return nil, nil, fmt.Errorf("tooling: %w", err)
	}
	return cast, others, nil
}

// roomOf is the number of the room that a body fills.
func roomOf(k *solid.Kernel, rooms []*solid.Solid, m *mesh.Mesh) (int, error) {
	box := m.Bounds()
	var may []int
	for i, room := range rooms {
		bounds, err := room.Bounds()
		if err != nil {
			return 0, fmt.Errorf("tooling: %w", err)
		}
		if holds(bounds, box) {
			may = append(may, i)
		}
	}
	if len(may) == 0 {
		return 0, errors.New("tooling: internal: the halves leave no cavity")
	}
	at := may[0]
	if len(may) > 1 {
		part, err := k.FromMesh(m)
		if err != nil {
			return 0, fmt.Errorf("tooling: %w", err)
		}
		most := 0.0
		for _, i := range may {
			v, err := volumeOf(part.Intersect(rooms[i]))
			if err != nil {
				return 0, err
			}
			if v > most {
				at, most = i, v
			}
		}
	}
	return at, nil
}

// cutters joins all that the share cuts away.
func (s share) cutters(k *solid.Kernel) (*solid.Solid, error) {
	var all []*solid.Solid
	for _, t := range s.tools {
		if !t.Add {
			all = append(all, t.Solid)
		}
	}
	tool, err := k.Union(all...)
	if err != nil {
		return nil, fmt.Errorf("tooling: %s: %w", s.name, err)
	}
	return tool, nil
}

// boxSlackMM is the rounding allowed between the box of a room and that of the part in it.
const boxSlackMM = 1e-6

func holds(outer, inner r3.Box) bool {
	s := r3.Vec{X: boxSlackMM, Y: boxSlackMM, Z: boxSlackMM}
	lo, hi := r3.Sub(inner.Min, r3.Sub(outer.Min, s)), r3.Sub(r3.Add(outer.Max, s), inner.Max)
	return min(lo.X, lo.Y, lo.Z, hi.X, hi.Y, hi.Z) >= 0
}

func (b *twoHalves) judgeVolumes(cavity, empty float64) {
	size := b.mould.Block.Size()
	block := size.X * size.Y * size.Z
	sum := 0.0
	for _, l := range b.mould.Ledger {
		sum += l.VolumeMM3
	}
	want := b.mould.Part.VolumeMM3()
	// What two halves have in common is missing once from the block less both (inclusion–exclusion).
	common := math.Abs(b.mould.Pieces[Lower].VolumeMM3 + b.mould.Pieces[Upper].VolumeMM3 + empty - block)
	b.mould.Checks = append(b.mould.Checks,
		cavityCheck("cavity volume", cavity, want),
		Check{Name: "volumes add up", OK: math.Abs(sum-block) <= ledgerTol*block, Value: math.Abs(sum-block) / block, Limit: ledgerTol, Unit: "of the block",
			Words: fmt.Sprintf("pieces and spaces come to %.6f mm³, the block to %.6f mm³", sum, block)},
		Check{Name: "halves apart", OK: common <= apartTol*block, Value: common, Limit: apartTol * block, Unit: "mm³",
			Words: fmt.Sprintf("the halves share %.3g mm³ when closed, within rounding", common)})
}

func cavityCheck(name string, cavity, want float64) Check {
	off := math.Abs(cavity-want) / want
	return Check{Name: name, OK: off <= cavityTol, Value: 100 * off, Limit: 100 * cavityTol, Unit: "%",
		Words: fmt.Sprintf("the cavity as built holds %.3f mm³, the compensated part %.3f mm³", cavity, want)}
}

// facetsOf lists the facets of the part that a half touches.
func facetsOf(upper []bool, h Half) (out []int32) {
	for f, u := range upper {
		if u == (h == Upper) {
			out = append(out, int32(f))
		}
	}
	return out
}

// asMesh is the parting surface for those who take a mesh.
func (s *Surface) asMesh() *mesh.Mesh { return &mesh.Mesh{Verts: s.Verts, Tris: s.Tris} }
