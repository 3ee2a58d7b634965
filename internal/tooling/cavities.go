package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// CavityMeshes is a part in each of several places, as one mesh of as many bodies.
func CavityMeshes(part *mesh.Mesh, places []CavityPlace) *mesh.Mesh {
	out := &mesh.Mesh{Verts: make([]r3.Vec, 0, len(places)*len(part.Verts)), Tris: make([][3]uint32, 0, len(places)*len(part.Tris))}
	for _, c := range places {
		first := uint32(len(out.Verts))
		for _, v := range part.Verts {
			out.Verts = append(out.Verts, c.into3(v))
		}
		for _, t := range part.Tris {
			out.Tris = append(out.Tris, [3]uint32{t[0] + first, t[1] + first, t[2] + first})
		}
	}
	return out
}

// partings is a parting in each of several places: the outer loops first. Sources stay the facets of the
// one part.
func partings(p *mouldability.Parting, places []CavityPlace) *mouldability.Parting {
	n := float64(len(places))
	out := &mouldability.Parting{Mesh: CavityMeshes(p.Mesh, places), LengthMM: n * p.LengthMM, ShowLengthMM: n * p.ShowLengthMM, MinZ: p.MinZ, MaxZ: p.MaxZ}
	for range places {
		out.Source = append(out.Source, p.Source...)
		out.Upper = append(out.Upper, p.Upper...)
	}
	for _, l := range p.Loops {
		for k := range places {
			m := mouldability.Loop{AreaMM2: l.AreaMM2}
			for _, v := range l.Verts {
				m.Verts = append(m.Verts, v+uint32(k*len(p.Mesh.Verts)))
			}
			out.Loops = append(out.Loops, m)
		}
	}
	return out
}

// manyCavities is what a mould of several cavities knows beside one of one.
type manyCavities struct {
	cell   *twoHalves // one cavity, standing alone
	pack   Packing
	runner *Runner // nil where each cavity has a sprue of its own
	feed   feed    // of the cell: vents, and a sprue where there is no runner
}

// apart says that each cavity is filled by itself; m may be nil.
func (m *manyCavities) apart() bool { return m != nil && m.runner == nil }

// bodies are the castings' shapes in their places.
func (m *manyCavities) bodies() (out []*mesh.Mesh) {
	for i := range m.pack.Places {
		out = append(out, CavityMeshes(m.cell.mould.Part, m.pack.Places[i:i+1]))
	}
	return out
}

const (
	// packTries bounds how many packings are tried, smallest block first, until one takes all that the
	// block needs and fills equally.
	packTries = 8
	// underRunnerMM is the lower half kept under the runner.
	underRunnerMM = 3.0
)

// runnerScales are tried in turn: a thicker runner loses less on the way, so that more can be evened out by
// the gates.
var runnerScales = []float64{1, 1.25, 1.5}

// planCavities makes a plan of one cavity one of several: it packs them, lays the runner, and plans the
// whole. cell has its parting, and no more.
func planCavities(ctx context.Context, cell *twoHalves) (*twoHalves, error) {
	cell.outline()
	cell.top, cell.topSource = facetsAs(cell.parting, Upper)
	d := cell.opt.RunnerMM
	var firstErr error
	var unequal *twoHalves // a mould that does not fill equally, to show that
	for _, scale := range runnerScales {
		size, err := cell.prepareCell(runnerSize(scale * d))
		if err != nil {
			return nil, err
		}
		packs, err := PackCavities(cell.shadow.Outer(), cell.packOptions(&size))
		if err != nil {
			return nil, cmp.Or(firstErr, err)
		}
		for _, p := range packs[:min(packTries, len(packs))] {
			b, err := cell.many(ctx, p, size)
			switch {
			case err == nil && b.cavities.runner.check().OK:
				if scale > 1 {
					b.note("the runner is %.1f × %.1f mm, thicker than asked: with %.1f × %.1f mm the cavities would not fill equally", size.WidthMM, size.DepthMM, size.WidthMM/scale, size.DepthMM/scale)
				}
				return b, nil
			case err == nil:
				if unequal == nil {
					unequal = b
				}
			case ctx.Err() != nil || !(errors.Is(err, ErrLayout) || errors.Is(err, ErrSprue)):
				return nil, err
			default:
				firstErr = cmp.Or(firstErr, err)
			}
		}
	}
	b, err := cell.apart(ctx)
	switch {
	case err == nil && unequal != nil:
		b.note("each cavity has a sprue of its own: on one runner the flows into them would be %.1f %% apart, and no gate evens that out", unequal.cavities.runner.SpreadPct)
	case err == nil:
		b.note("each cavity has a sprue of its own, since no runner serves them (%v): pour them one after the other, each until its vents run", firstErr)
	case unequal != nil:
		return unequal, nil
	case ctx.Err() == nil:
		err = fmt.Errorf("%w; with a sprue for each cavity: %w", firstErr, err)
	}
	return b, err
}

// apart plans cavities that are filled each by itself: with a sprue of its own, as one alone would have.
// They are alike, so they fill alike.
func (b *twoHalves) apart(ctx context.Context) (*twoHalves, error) {
	b.underMM = 0
	if b.opt.anySprue {
		b.opt.SprueMM = sprueFor(1)
	}
	if err := b.chooseHeight(0); err != nil {
		return nil, err
	}
	o := b.packOptions(&Runner{})
	o.ChannelMM = 0
	packs, err := PackCavities(b.shadow.Outer(), o)
	if err != nil {
		return nil, err
	}
	for _, p := range packs[:min(packTries, len(packs))] {
		f, err := b.cellFeed(p.Places, true)
		if err != nil {
			return nil, fmt.Errorf("tooling: %w", err)
		}
		m, err := b.placed(ctx, p, nil, f)
		if err == nil || ctx.Err() != nil || !errors.Is(err, ErrLayout) {
			return m, err
		}
	}
	return nil, fmt.Errorf("tooling: none of %d ways to lay the cavities leaves room for bolts and keys: %w", min(packTries, len(packs)), ErrLayout)
}

// prepareCell finds the block's height with a runner of a size, and what depends on that alone.
func (b *twoHalves) prepareCell(size Runner) (Runner, error) {
	b.underMM = size.DepthMM + wellDeeperMM + underRunnerMM
	if err := b.chooseHeight(0); err != nil {
		return size, err
	}
	s := SprueOptions{TopDiameterMM: b.opt.SprueMM}.withDefaults()
	high := Sprue{TopZ: b.z1, TopRadius: s.TopDiameterMM / 2, DraftDeg: s.DraftDeg}
	size.wellRadius = max(size.WidthMM/2+wellWiderMM, high.radiusAt(b.parting.MinZ-2*s.StandInMM))
	return size, nil
}

// packOptions are those for cavities with a runner between them.
func (b *twoHalves) packOptions(size *Runner) PackOptions {
	o := b.opt
	p := PackOptions{Cavities: o.Cavities, GapMM: o.CavityGapMM, WallMM: o.WallMM, MostMM: r2.Vec{X: o.BuildVolumeMM.X, Y: o.BuildVolumeMM.Y}, ChannelMM: size.channelMM()}
	if o.Gutter != nil { // neighbours share a stretch of it
		g := o.Gutter.withDefaults()
		p.GapMM = max(p.GapMM, 2*g.LandMM+g.WidthMM)
	}
	return p
}

// many plans the whole mould for one packing.
func (b *twoHalves) many(ctx context.Context, p Packing, size Runner) (*twoHalves, error) {
	r, err := b.planRunner(p, size)
	if err != nil {
		return nil, err
	}
	f, err := b.cellFeed(p.Places, false)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	return b.placed(ctx, p, r, f)
}

// placed carries a cell, with its feed, into all its places.
func (b *twoHalves) placed(ctx context.Context, p Packing, r *Runner, f feed) (*twoHalves, error) {
	m := &twoHalves{opt: b.opt, parting: partings(b.parting, p.Places), underMM: b.underMM, suits: b.suits,
		cavities: &manyCavities{cell: b, pack: p, runner: r, feed: f}}
	m.mould = &Mould{Family: b.mould.Family, Place: b.mould.Place.Placed(p.Places[0]), Part: CavityMeshes(b.mould.Part, p.Places), Cavities: p.Places, Runner: r}
	m.mould.Notes = append(m.mould.Notes, b.mould.Notes...)
	return m, m.lay(ctx)
}

// cellFeed finds places for the vents of the cavity that stands alone, and for a sprue if it is to have
// one. What is asked for by place may lie in any of the cavities.
func (b *twoHalves) cellFeed(places []CavityPlace, sprue bool) (out feed, err error) {
	b.mould.Notes = nil
	asked := b.opt.VentsAt
	cell := *b
	cell.opt.VentsAt = nil
	for _, at := range asked {
		cell.opt.VentsAt = append(cell.opt.VentsAt, nearestCavity(at, b.shadow, places).back3(at))
	}
	// The vents of one cavity are those of all, so places that fall together are one.
	cell.opt.VentsAt = distinct(cell.opt.VentsAt)
	if sprue {
		if out, err = cell.uprightFeed(); err != nil {
			return out, err
		}
	} else {
		p := cell.placesOnTop()
		p.climb()
		out.vents = p.vents(nil)
	}
	if len(cell.mould.Notes) > 0 {
		cell.mould.Notes[0] = "each cavity: " + cell.mould.Notes[0]
	}
	return out, nil
}

// distinct leaves out places that lie within a vent's reach of one before.
func distinct(at []r3.Vec) (out []r3.Vec) {
	for _, v := range at {
		near := false
		for _, o := range out {
			near = near || r3.Norm(r3.Sub(v, o)) < VentMoveMM
		}
		if !near {
			out = append(out, v)
		}
	}
	return out
}

// feedCavities puts the vents of every cavity into the feed, and its sprue if it has one; the sprue over a
// runner follows when there is a parting surface for it to stand on.
func (b *twoHalves) feedCavities() {
	b.feed = b.cavities.feed.placed(b.cavities.pack.Places)
}

// layRunner stands the sprue on the parting surface over the runner.
func (b *twoHalves) layRunner() error {
	s, err := NewSprue(r2.Vec{}, b.z1, b.field, SprueOptions{TopDiameterMM: b.opt.SprueMM})
	if err != nil {
		return fmt.Errorf("tooling: on the runner: %w", err)
	}
	r := b.cavities.runner
	gates, err := r.gates(b)
	if err != nil {
		return err
	}
	b.feed.sprue = s
	b.feed.runner = append([]channel{&runnerChannel{r, b}}, gates...)
	b.mould.Checks = append(b.mould.Checks, r.check())
	return nil
}

// runnerPlans are the strips that the runner takes.
func (b *twoHalves) runnerPlans() [][]r2.Vec {
	if b.cavities == nil || b.cavities.apart() {
		return nil
	}
	return b.cavities.runner.plans()
}

// runnerRoom is the least footprint: the runner with the walls of a cavity.
func (b *twoHalves) runnerRoom(foot r2.Box) r2.Box {
	if b.cavities == nil || b.cavities.apart() {
		return foot
	}
	box, _ := Outline(b.cavities.runner.plans()).Bounds()
	w := r2.Vec{X: b.opt.WallMM, Y: b.opt.WallMM}
	lo, hi := r2.Sub(box.Min, w), r2.Add(box.Max, w)
	return r2.Box{Min: r2.Vec{X: min(foot.Min.X, lo.X), Y: min(foot.Min.Y, lo.Y)}, Max: r2.Vec{X: max(foot.Max.X, hi.X), Y: max(foot.Max.Y, hi.Y)}}
}

// bookCavities enters one line for each cavity: what of the casting lies round it, less what the channels
// hold there. It is measured on the pieces as built.
func (b *twoHalves) bookCavities(k *solid.Kernel, cast *solid.Solid, shares []share) error {
	var wet []*solid.Solid
	for _, s := range shares {
		if s.wet {
			wet = append(wet, s.held...)
		}
	}
	channels, err := k.Union(wet...)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	outer := b.cavities.cell.shadow.Outer()
	one := b.cavities.cell.mould.Part.VolumeMM3()
	for i, c := range b.mould.Cavities {
		room, err := b.mould.cavityRoom(k, placedOutline(outer, []CavityPlace{c}), cellRoomMM)
		if err != nil {
			return fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		all, err := volumeOf(cast.Intersect(room))
		if err != nil {
			return err
		}
		held, err := volumeOf(channels.Intersect(room))
		if err != nil {
			return err
		}
		name := CavityName(i+1, len(b.mould.Cavities))
		b.mould.Ledger = append(b.mould.Ledger, LedgerLine{Name: name, VolumeMM3: all - held})
		b.mould.Checks = append(b.mould.Checks, cavityCheck(name+" volume", all-held, one))
	}
	return nil
}

// cellRoomMM is how far round a cavity's outline its share of the casting is measured: well under the gap
// to the next one.
const cellRoomMM = 1.0

// CavityName is the ledger's name of cavity k, from 1, of n.
func CavityName(k, n int) string {
	if n <= 1 {
		return "cavity"
	}
	return fmt.Sprintf("cavity %d", k)
}
