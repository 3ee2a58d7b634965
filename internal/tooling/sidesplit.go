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

// SideSplitFamily names the moulds that SideSplit builds.
const SideSplitFamily = "rigid halves, one split again"

// Names of a side-split mould's pieces.
const (
	WholeHalf = "whole half"
	SideOne   = "side piece 1"
	SideTwo   = "side piece 2"
)

// ErrSideSplit is the cause when no whole half and side pieces can be laid out round the part.
var ErrSideSplit = errors.New("the part does not fit between a whole half and two side pieces")

// SideSplit builds a mould of a whole half, on which the casting stands, and two side pieces over it,
// which meet at an upright plane and leave sideways: what lies open to the side is no undercut then. It
// opens in this order: bolts out, side piece 1 along the side, side piece 2 the other way, the casting off
// the whole half.
//
// In the mould frame the casting leaves the whole half along +z, and the side pieces leave along +x and −x.
//
// The part must be closed and one body. The mould comes back even when checks fail, so that the caller can
// say why; Failed lists them.
func SideSplit(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt SideSplitOptions) (*Set, error) {
	b, err := buildSideSplit(ctx, pool, part, opt)
	if err != nil {
		return nil, err
	}
	return b.out, nil
}

func buildSideSplit(ctx context.Context, pool *solid.Pool, part *mesh.Mesh, opt SideSplitOptions) (*sideSplit, error) {
	o := opt.withDefaults()
	if err := o.check(len(part.Tris)); err != nil {
		return nil, err
	}
	b, err := planSideSplit(ctx, part, o)
	if err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the pieces", 0.4)
	if err := buildPlanned(ctx, pool, b, o.Progress); err != nil {
		return nil, err
	}
	return b, nil
}

// sideSplit is a side-split mould under construction.
type sideSplit struct {
	opt     SideSplitOptions
	out     *Set
	mould   *Mould
	parting *mouldability.Parting // upper facets are the side pieces'
	field   *HeightField          // the parting surface between them and the whole half
	heldMM2 float64               // what pieces make and do not leave, seen along their way out
	splitX  float64               // where the side pieces meet, mould frame
	plan    sideLayout
	feed    sideFeed
	row     *sideRow // nil for one cavity

	upper, lower *mesh.Mesh // raw: both side pieces in one; the whole half
}

// planSideSplit does all that needs no booleans: frame, division of the surface, layout, raw bodies.
func planSideSplit(ctx context.Context, part *mesh.Mesh, o SideSplitOptions) (*sideSplit, error) {
	o.Progress.tell("choosing the split", 0)
	if err := oneBody(part); err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	ways, err := rankSideWays(ctx, part, o)
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	var first error
	var spare *sideSplit // the best of those that can be laid out, but may not pass
	failed := map[r3.Vec]int{}
	for _, way := range ways {
		if failed[way.down] == triesEach {
			continue
		}
		b, err := planWay(ctx, part, way, o)
		if err == nil && b.heldMM2 <= heldStepMM2 && b.fits() {
			return b, nil
		}
		if ctx.Err() != nil {
			return nil, ctx.Err()
		}
		failed[way.down]++
		first = cmp.Or(first, err)
		if err == nil && (spare == nil || b.fits() && (!spare.fits() || b.heldMM2 < (1-wayGain)*spare.heldMM2)) {
			spare = b
		}
	}
	if spare != nil {
		return spare, nil
	}
	if len(ways) > 1 {
		first = fmt.Errorf("%w (the best of %d ways; none of the next ones does)", first, len(ways))
	}
	return nil, first
}

// triesEach is how many sides are tried for a direction before it is given up: where the best of them
// leave no line that a surface starts from, the rest seldom do.
const triesEach = 2

// planWay is planSideSplit for one way.
func planWay(ctx context.Context, part *mesh.Mesh, way sideWay, o SideSplitOptions) (*sideSplit, error) {
	m, placing, err := placeAcross(part, way.down, way.side, o.ShrinkPct)
	if err != nil {
		return nil, err
	}
	b := &sideSplit{opt: o, mould: &Mould{Family: SideSplitFamily, Place: placing, Part: m}}
	b.out = &Set{Mould: b.mould, Casting: []string{SideOne, SideTwo, WholeHalf}}
	o.Progress.tell("dividing the surface", 0.1)
	if err := b.divide(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("placing bolts and keys", 0.25)
	if err := b.arrange(); err != nil {
		return nil, err
	}
	if o.Cavities > 1 {
		if err := b.multiply(); err != nil {
			return nil, err
		}
	}
	b.line()
	o.Progress.tell("laying the parting surface", 0.3)
	return b, b.lay(ctx)
}

// fits says whether the parting surface lets the side pieces slide out, is no steeper than allowed, and keeps
// clear of the part: without that the finished mould fails its checks.
func (b *sideSplit) fits() bool {
	s := b.mould.Surface
	if !slides(s, b.splitX) || s.SteepestDeg > steepestDeg {
		return false
	}
	for f, t := range b.parting.Mesh.Tris {
		for _, v := range t {
			p := b.parting.Mesh.Verts[v]
			z, ok := b.field.At(r2.Vec{X: p.X, Y: p.Y})
			if ok && (b.parting.Upper[f] && p.Z < z-touchMM || !b.parting.Upper[f] && p.Z > z+touchMM) {
				return false
			}
		}
	}
	return true
}

// lay makes the parting surface under the side pieces, and from it the raw bodies.
func (b *sideSplit) lay(ctx context.Context) (err error) {
	s, err := sideSurface(ctx, b.parting, b.plan.foot)
	if err != nil {
		return b.cannot(err)
	}
	b.mould.Surface, b.field = s, NewHeightField(s.asMesh())
	if b.upper, b.lower, err = stitchHalves(b.parting, s, b.mould.Block); err != nil {
		return b.cannot(err)
	}
	return b.planFeed()
}

// cannot says why no surface starts at the line, and what the part holds there.
func (b *sideSplit) cannot(err error) error {
	if errors.Is(err, ErrLineOverItself) {
		return fmt.Errorf("%w: %w; try another direction or another side", ErrSideSplit, err)
	}
	return err
}

// line notes the parting lines: the loops between the whole half and the side pieces, and what the plane
// between the side pieces cuts the part in.
func (b *sideSplit) line() {
	m := b.mould
	m.takeLine(b.parting)
	all, show := splitLine(b.parting, b.splitX, b.opt.Show)
	m.LineMM, m.LineOnShowMM = m.LineMM+all, m.LineOnShowMM+show
	if m.LineOnShowMM > 0 {
		m.Notes = append(m.Notes, fmt.Sprintf("%.0f mm of flash will lie on show faces, %.0f mm of it where the side pieces meet", m.LineOnShowMM, show))
	}
}

// splitLine is how much line the plane x = at leaves on what the side pieces make, and how much of that on
// show faces. A corner in the plane, or by rounding just short of it, counts as beyond it, so that an edge
// in the plane counts once.
func splitLine(p *mouldability.Parting, at float64, shown []bool) (all, show float64) {
	for f, up := range p.Upper {
		if !up {
			continue
		}
		if l := lengthAt(p.Mesh.Facet(f), at-touchMM); l > 0 {
			all += l
			if shown != nil && shown[p.Source[f]] {
				show += l
			}
		}
	}
	return all, show
}

// lengthAt is the length of the line in which the plane x = at meets a facet.
func lengthAt(t r3.Triangle, at float64) float64 {
	var ends []r3.Vec
	for i, p := range t {
		q := t[(i+1)%3]
		if (p.X < at) != (q.X < at) {
			ends = append(ends, r3.Add(p, r3.Scale((at-p.X)/(q.X-p.X), r3.Sub(q, p))))
		}
	}
	if len(ends) != 2 {
		return 0
	}
	return r3.Norm(r3.Sub(ends[1], ends[0]))
}
