package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// softCavities are several cavities in one body of silicone, packed in one of the ways that there are. Nil
// stands for one cavity.
type softCavities struct {
	cell    *mouldability.Parting // one cavity, standing alone
	part    *mesh.Mesh            // the same: the compensated part
	outline Outline               // of the part alone, seen from above, holes filled
	places  []CavityPlace
}

// softGap says how far apart several cavities in silicone may be. With less than leastMM their walls or
// what lies round them would not find room; from mostMM on, the silicone between them would get thin.
type softGap struct{ leastMM, mostMM float64 }

// webGap is the span for cavities that silicone surrounds, thickMM of it behind everything, on a ring of
// ringMM round each line. Half the thickness past the ring the silicone still is √3/2 as thick.
func webGap(leastMM, ringMM, thickMM float64) softGap {
	return softGap{leastMM: max(leastMM, thickMM), mostMM: 2*ringMM + thickMM}
}

// check refuses numbers and gaps that cannot be had.
func (g softGap) check(cavities int, gapMM float64) error {
	if err := checkCavities(cavities); err != nil {
		return err
	}
	switch {
	case !(gapMM >= 0) || math.IsInf(gapMM, 0):
		return fmt.Errorf("%w: a gap of %g mm between cavities: give a length of zero or more", ErrOptions, gapMM)
	case cavities > 1 && gapMM > g.mostMM:
		return fmt.Errorf("%w: cavities %g mm apart leave the silicone between them thin: give %.1f mm or less: %w", ErrOptions, gapMM, g.mostMM, ErrCavities)
	}
	return nil
}

// of is the gap to pack with.
func (g softGap) of(askedMM float64) float64 {
	return max(cmp.Or(askedMM, min(CavityGapMM, g.mostMM)), g.leastMM)
}

// softTries bounds how many packings are tried, smallest block first: each costs the shape of the silicone.
const softTries = 4

// packSoft lays the cavities of a part with a parting of its own, by its outline seen from above.
func packSoft(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, p *mouldability.Parting, o PackOptions) (ways []*softCavities, err error) {
	var outline Outline
	err = pool.Do(ctx, func(k *solid.Kernel) error {
		s, err := k.FromMesh(part)
		if err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
		loops, err := s.Project()
		if err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
		r, err := k.Region(loops)
		if err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
		if loops, err = r.Loops(); err != nil {
			return fmt.Errorf("tooling: part: %w", err)
		}
		outline = Outline(loops).Outer()
		return nil
	})
	if err != nil {
		return nil, err
	}
	packs, err := PackCavities(outline, o)
	if err != nil {
		return nil, err
	}
	for _, q := range packs[:min(softTries, len(packs))] {
		ways = append(ways, &softCavities{cell: p, part: part, outline: outline, places: q.Places})
	}
	return ways, nil
}

// firstWay tries ways to lay the cavities in turn until one leaves room for all else.
func firstWay[B any](ctx context.Context, ways []*softCavities, plan func(*softCavities) (B, error)) (b B, err error) {
	var first error
	for _, w := range ways {
		b, err = plan(w)
		if err == nil || ctx.Err() != nil || !(errors.Is(err, ErrLayout) || errors.Is(err, ErrNoSurface) || errors.Is(err, ErrLineOverItself)) {
			return b, err
		}
		first = cmp.Or(first, err)
	}
	return b, first
}

// mould is a mould of one cavity, as far as it is placed, with all of them.
func (c *softCavities) mould(one *Mould) *Mould {
	m := *one
	m.Cavities, m.Place, m.Part = c.places, one.Place.Placed(c.places[0]), CavityMeshes(c.part, c.places)
	return &m
}

// n is the number of cavities.
func (c *softCavities) n() int {
	if c == nil {
		return 1
	}
	return len(c.places)
}

// alone is the parting of one cavity as it stands alone, and first the same in the place of cavity 1; whole
// is that of the mould.
func (c *softCavities) alone(whole *mouldability.Parting) *mouldability.Parting {
	if c == nil {
		return whole
	}
	return c.cell
}

func (c *softCavities) first(whole *mouldability.Parting) *mouldability.Parting {
	if c == nil {
		return whole
	}
	return partings(c.cell, c.places[:1])
}

// one is the part of one cavity that stands alone; whole those of all.
func (c *softCavities) one(whole *mesh.Mesh) *mesh.Mesh {
	if c == nil {
		return whole
	}
	return c.part
}

// shadow is the outline of one cavity's line as it stands alone.
func (c *softCavities) shadow(whole [][]r2.Vec) Outline {
	if c == nil {
		return whole
	}
	var m Mould
	m.takeLine(c.cell)
	return m.Shadow
}

// into takes sprues of the cavity that stands alone into every cavity, those of cavity 1 first.
func (c *softCavities) into(alone []Sprue) []Sprue {
	if c == nil {
		return alone
	}
	var out []Sprue
	for _, p := range c.places {
		for _, s := range alone {
			s.At = p.Into(s.At)
			out = append(out, s)
		}
	}
	return out
}

// backInto takes places in any of the cavities to the cavity that stands alone; those that fall together
// there are one.
func (c *softCavities) backInto(at []r3.Vec) (out []r3.Vec) {
	if c == nil {
		return at
	}
	for _, v := range at {
		out = append(out, nearestCavity(v, c.outline, c.places).back3(v))
	}
	return distinct(out)
}

// nearestCavity is the place of the cavity, of an outline, that lies nearest to a point in plan.
func nearestCavity(at r3.Vec, outline Outline, places []CavityPlace) (best CavityPlace) {
	near := math.Inf(1)
	for _, c := range places {
		if d := gapToOutline(shape{core: []r2.Vec{c.Back(r2.Vec{X: at.X, Y: at.Y})}}, outline); d < near {
			best, near = c, d
		}
	}
	return best
}

// rings are the places on the ring round each cavity's line, mm from it and no nearer to any other.
func (c *softCavities) rings(shadow [][]r2.Vec, mm float64) (each [][]r2.Vec) {
	for i := range c.n() { // the outer loops come first
		each = append(each, ringSpotsOf(shadow, i, mm))
	}
	return each
}

// addWeb adds to m the parting surface between the cavities, where all of it lies within mm of their lines
// or is shut in by what does: silicone is wanted there too, so that no sliver of a rigid piece stands
// between two cavities.
func (c *softCavities) addWeb(k *solid.Kernel, m *mesh.Mesh, s *Surface, shadow [][]r2.Vec, mm float64) error {
	if c == nil {
		return nil
	}
	lines := Outline(shadow[:c.n()])
	r, err := k.Region(lines)
	if err != nil {
		return fmt.Errorf("tooling: between the cavities: %w", err)
	}
	if r, err = r.Offset(mm, true); err != nil {
		return fmt.Errorf("tooling: between the cavities: %w", err)
	}
	loops, err := r.Loops()
	if err != nil {
		return fmt.Errorf("tooling: between the cavities: %w", err)
	}
	within := Outline(loops).Outer()
	known := map[uint32]bool{}
	in := func(v uint32) bool {
		ok, had := known[v]
		if !had {
			ok = within.Contains(r2.Vec{X: s.Verts[v].X, Y: s.Verts[v].Y})
			known[v] = ok
		}
		return ok
	}
	web := &mesh.Mesh{Verts: s.Verts}
	for _, t := range s.Tris {
		mid := r3.Scale(1.0/3, r3.Add(s.Verts[t[0]], r3.Add(s.Verts[t[1]], s.Verts[t[2]])))
		// A through-hole of the part is no room between cavities.
		if in(t[0]) && in(t[1]) && in(t[2]) && !lines.Contains(r2.Vec{X: mid.X, Y: mid.Y}) {
			web.Tris = append(web.Tris, t)
		}
	}
	web = compact(web)
	first := uint32(len(m.Verts))
	m.Verts = append(m.Verts, web.Verts...)
	for _, t := range web.Tris {
		m.Tris = append(m.Tris, [3]uint32{t[0] + first, t[1] + first, t[2] + first})
	}
	return nil
}

// inOneBody refuses cavities too far from each other for one body of silicone. outline is that of the body.
func (c *softCavities) inOneBody(name string, outline Outline) error {
	if n := len(outline.Outer()); c != nil && n > 1 {
		return fmt.Errorf("tooling: with %d cavities so far apart the %s would be %d bodies: make the gap between them smaller, or the silicone thicker: %w", c.n(), name, n, ErrCavities)
	}
	return nil
}

// check looks at the silicone between the cavities, where the masters stand while it is poured, and at the
// castings: one for each cavity. leastMM is the thickness asked.
func (c *softCavities) check(k *solid.Kernel, m *Mould, name string, grow, leastMM float64) error {
	if c == nil {
		return nil
	}
	gap, err := c.gapMM(k, leastMM*grow)
	if err != nil {
		return err
	}
	gap *= grow
	m.Checks = append(m.Checks, Check{Name: name + ": silicone between the cavities", OK: !short(gap, leastMM), Value: gap, Limit: leastMM, Unit: "mm",
		Words: fmt.Sprintf("any two of the %d masters are %.2f mm apart, or more", c.n(), gap)})
	n := bodiesOf(m.Cast)
	m.Checks = append(m.Checks, Check{Name: "each casting in one piece", OK: n == c.n(), Value: float64(n), Limit: float64(c.n()), Unit: "pieces",
		Words: "each cavity's sprue and vents open into it, and into no other"})
	return nil
}

// bodiesOf counts the closed shells of a mesh that hold anything: where a channel grazes a rounded edge, a
// union may leave a film of four facets without any volume beside it.
func bodiesOf(m *mesh.Mesh) (n int) {
	for _, s := range m.Split() {
		if math.Abs(s.VolumeMM3()) > leastStickMM3 {
			n++
		}
	}
	return n
}

// gapMM is the least distance between two cavities, exactly up to a little over farMM.
func (c *softCavities) gapMM(k *solid.Kernel, farMM float64) (float64, error) {
	least := 2*farMM + CavityGapMM
	var bodies []*solid.Solid
	var boxes []r3.Box
	for i := range c.places {
		m := CavityMeshes(c.part, c.places[i:i+1])
		s, err := k.FromMesh(m)
		if err != nil {
			return 0, fmt.Errorf("tooling: cavity %d: %w", i+1, err)
		}
		for j, o := range bodies {
			if boxGap(boxes[j], m.Bounds()) >= least {
				continue
			}
			g, err := s.GapMM(o, least)
			if err != nil {
				return 0, fmt.Errorf("tooling: cavities %d and %d: %w", j+1, i+1, err)
			}
			least = min(least, g)
		}
		bodies, boxes = append(bodies, s), append(boxes, m.Bounds())
	}
	return least, nil
}

// boxGap is a lower bound of how far apart two boxes are.
func boxGap(a, b r3.Box) float64 {
	d := r3.Sub(b.Min, a.Max)
	e := r3.Sub(a.Min, b.Max)
	return max(d.X, d.Y, d.Z, e.X, e.Y, e.Z)
}

// book enters the ledger in the mould, its cavity divided among the cavities, each measured on the bodies as
// made.
func (c *softCavities) book(l *ledger, m *Mould) error {
	m.Ledger = l.lines
	if c == nil {
		m.Checks = append(m.Checks, cavityCheck("cavity volume", l.of("cavity"), m.Part.VolumeMM3()))
		return nil
	}
	return m.divideCavity(l, l.rest, m.Part.VolumeMM3()/float64(len(c.places)), func(i int) (*solid.Solid, error) {
		return m.cavityRoom(l.k, placedOutline(c.outline, c.places[i:i+1]), cellRoomMM)
	})
}

// judgeBetween asks whether silicone that has to widen round one casting can do so while its neighbours
// still stand in theirs: then the wall between two is pressed together. ask puts a stage as a question, as
// for judgeRelease; silicone names the bodies that give way.
func (o *Set) judgeBetween(ctx context.Context, c *softCavities, gapMM float64, ask func(stage int) (opening.ReleaseSetup, bool), silicone ...string) error {
	if c == nil {
		return nil
	}
	out := Check{Name: "neighbours leave the silicone room to give way", OK: true, Unit: "of its length", Words: "nowhere does it have to widen"}
	caught := false
	for i, s := range o.Stages {
		if s.Rigid || s.Verdict.State != opening.Blocked {
			continue
		}
		caught = true
		q, known := ask(i)
		if !known {
			continue // judgeRelease says so
		}
		r, err := opening.JudgeRelease(ctx, q)
		if errors.Is(err, opening.ErrRelease) {
			continue // the same
		} else if err != nil {
			return fmt.Errorf("tooling: %s: %w", s.Name, err)
		}
		for _, h := range r.Holds {
			if h.Way != opening.Stretched || !slices.Contains(silicone, h.Gives) {
				continue
			}
			u := h.Shape.DepthMM
			if e := opening.SqueezeStrain(u, gapMM); e > out.Value {
				out.Value, out.Limit, out.OK = e, h.Allowed, e <= h.Allowed
				out.Words = fmt.Sprintf("%s: the %.1f mm between two cavities give way by %.2f mm while both are full, %.0f %% of them, and may by %.0f %%", s.Name, gapMM, u, 100*e, 100*h.Allowed)
			}
		}
	}
	o.Checks = append(o.Checks, out)
	if caught {
		o.Notes = append(o.Notes, fmt.Sprintf("releases are judged for one cavity, and the %d are alike: what lets go of all of them at once takes %d times the force; peel one after the other", c.n(), c.n()))
	}
	return nil
}
