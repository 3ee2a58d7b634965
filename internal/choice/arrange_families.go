package choice

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
)

// arrangeTwoRigid: the halves are drawn off straight, with nothing left to what a soft casting may give, as they
// are built: a pull square to the whole parting face is no way to stretch a casting out of an undercut.
func arrangeTwoRigid(_ context.Context, s *stance, _ *Options) (*arrangement, error) {
	a := twoPieces(s, opening.ReleaseBody{Name: "the upper half"}, opening.ReleaseBody{Name: "the lower half"})
	a.straight = true
	return a, nil
}

func arrangeBlock(_ context.Context, s *stance, opt *Options) (*arrangement, error) {
	return twoPieces(s, opening.ReleaseBody{Name: "the upper block", Flex: opt.Silicone, WallMM: opt.BlockMM},
		opening.ReleaseBody{Name: "the lower block", Flex: opt.Silicone, WallMM: opt.BlockMM}), nil
}

func arrangeSkin(_ context.Context, s *stance, opt *Options) (*arrangement, error) {
	a := twoPieces(s, opening.ReleaseBody{Name: "the upper skin", Flex: opt.Silicone, WallMM: opt.SkinMM},
		opening.ReleaseBody{Name: "the lower skin", Flex: opt.Silicone, WallMM: opt.SkinMM})
	a.pieces = append(a.pieces, opening.ReleaseBody{Name: "the upper shell", Exit: s.d, Backs: "the upper skin"},
		opening.ReleaseBody{Name: "the lower shell", Exit: r3.Scale(-1, s.d), Backs: "the lower skin"})
	return a, nil
}

// arrangeCutBlock: one block all round, opened by a cut half-way round the part, so that it leaves
// like a book. The cut runs in the plane through the middle that crosses the least show face.
func arrangeCutBlock(ctx context.Context, s *stance, opt *Options) (*arrangement, error) {
	if err := s.lookSideways(ctx, opt); err != nil {
		return nil, err
	}
	a := &arrangement{shapes: make([]int, len(s.part.Tris))}
	a.pieces = []opening.ReleaseBody{{Name: "the block", Exit: s.d, Flex: opt.Silicone, WallMM: opt.BlockMM}}
	a.catches = s.undercutCatches("the block", "the block")
	best := math.Inf(1)
	for _, side := range s.sides {
		for _, half := range []float64{1, -1} {
			all, show := s.planeCut(side, r3.Scale(half, r3.Cross(s.d, side)), nil)
			if cost := all + mouldability.DefaultShowCost*show; cost < best {
				best, a.lineMM, a.showMM = cost, all, show
			}
		}
	}
	a.notes = append(a.notes, "the cut is made by hand and heals badly: each casting has a seam along it")
	return a, nil
}

// planeCut is how much of the surface's line in the plane through the part's middle square to side
// lies on the half towards half, and how much of that on show faces; in limits it to some facets.
func (s *stance) planeCut(side, half r3.Vec, in func(int) bool) (all, show float64) {
	b := s.part.Bounds()
	centre := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	for f := range s.part.Tris {
		if in != nil && !in(f) {
			continue
		}
		t := s.part.Facet(f)
		var ends []r3.Vec
		for i := range t {
			p, q := t[i], t[(i+1)%3]
			x, y := r3.Dot(r3.Sub(p, centre), side), r3.Dot(r3.Sub(q, centre), side)
			if (x < 0) != (y < 0) {
				ends = append(ends, r3.Add(p, r3.Scale(x/(x-y), r3.Sub(q, p))))
			}
		}
		if len(ends) != 2 || half != (r3.Vec{}) && r3.Dot(r3.Sub(r3.Scale(0.5, r3.Add(ends[0], ends[1])), centre), half) < 0 {
			continue
		}
		l := r3.Norm(r3.Sub(ends[1], ends[0]))
		all += l
		if s.shown(int32(f)) {
			show += l
		}
	}
	return all, show
}

// capSine: what faces up by more than this is closed by a lid from above even if it lies open sideways.
const capSine = 0.7

// fromAbove says which facets only a piece from above can shape: pockets, and what faces up.
func (s *stance) fromAbove(f int) bool {
	switch {
	case s.up(f) >= capSine:
		return true
	case s.up(f) <= -capSine || s.sideways[f]:
		return false
	case s.holds[f] != mouldability.NoHalf:
		return s.holds[f]&mouldability.UpperHalf != 0
	}
	return s.report.Reach[f] == mouldability.Up || s.report.Reach[f] == mouldability.Wall
}

// arrangeInsert: the cap carries the core, the insert shapes everything else and is held by a cradle.
func arrangeInsert(ctx context.Context, s *stance, opt *Options) (*arrangement, error) {
	if err := s.lookSideways(ctx, opt); err != nil {
		return nil, err
	}
	down := r3.Scale(-1, s.d)
	a := &arrangement{shapes: make([]int, len(s.part.Tris))}
	a.pieces = []opening.ReleaseBody{
		{Name: "the casting cap", Exit: s.d},
		{Name: "the insert", Exit: down, Flex: opt.Silicone, WallMM: opt.InsertMM},
		{Name: "the cradle", Exit: down, Backs: "the insert"},
	}
	for f := range a.shapes {
		if !s.fromAbove(f) {
			a.shapes[f] = 1
		}
	}
	s.followRoofs(s.d, func(f int32) bool { return a.shapes[f] == 0 }, func(f int32) { a.shapes[f] = 1 })
	a.catches = append(s.facingCatches(a.shapes, 0, "the casting cap", s.d), s.facingCatches(a.shapes, 1, "the insert", down)...)
	a.lineMM, a.showMM = s.border(a.shapes)
	for _, u := range s.report.Undercuts {
		if u.Sealed {
			a.catches = append(a.catches, opening.Catch{Piece: "the casting cap", Exit: s.d, Facets: u.Facets, Sealed: true})
		}
	}
	return a, nil
}

// sideSplit is one way to split one of two rigid halves again.
type sideSplit struct {
	whole  r3.Vec // exit of the half that stays whole
	side   int
	shapes []int // 0 the whole half, 1 and 2 the side pieces
	bad    float64
	line   float64
	show   float64
}

// arrangeSideSplit tries each half and each side, and takes what leaves least held, then least flash on
// show faces.
func arrangeSideSplit(ctx context.Context, s *stance, opt *Options) (*arrangement, error) {
	if err := s.lookSideways(ctx, opt); err != nil {
		return nil, err
	}
	var best *sideSplit
	for _, up := range []bool{true, false} {
		for k := range s.sides {
			if err := ctx.Err(); err != nil {
				return nil, err
			}
			c := s.split(up, k)
			if best == nil || c.bad < best.bad-1e-6 || c.bad <= best.bad+1e-6 && c.cost() < best.cost()-1e-6 {
				best = c
			}
		}
	}
	side := s.sides[best.side]
	a := &arrangement{shapes: best.shapes, lineMM: best.line, showMM: best.show}
	a.pieces = []opening.ReleaseBody{
		{Name: "the whole half", Exit: best.whole},
		{Name: "the side piece", Exit: side},
		{Name: "the other side piece", Exit: r3.Scale(-1, side)},
	}
	a.catches = s.facingCatches(a.shapes, 0, "the whole half", best.whole)
	if err := s.sideCatches(ctx, a, side, opt); err != nil {
		return nil, err
	}
	if best.show > 0 {
		a.notes = append(a.notes, fmt.Sprintf("the side split crosses the show face over %.0f mm", best.show))
	}
	return a, nil
}

func (c *sideSplit) cost() float64 { return c.line + mouldability.DefaultShowCost*c.show }

func (s *stance) split(up bool, k int) *sideSplit {
	c := &sideSplit{whole: s.d, side: k, shapes: make([]int, len(s.part.Tris))}
	if !up {
		c.whole = r3.Scale(-1, s.d)
	}
	own, held := mouldability.Down, mouldability.LowerHalf // reach of the split half
	if !up {
		own, held = mouldability.Up, mouldability.UpperHalf
	}
	give := func(f int) {
		c.shapes[f] = 1
		along := r3.Dot(s.normal[f], s.sides[k])
		if along < -wallSine || math.Abs(along) <= wallSine && s.beyondMiddle(f, s.sides[k]) {
			c.shapes[f] = 2
		}
	}
	for f := range c.shapes {
		reached := s.report.Reach[f] == own && r3.Dot(s.normal[f], c.whole) < -wallSine
		if s.sideways[f] && !s.caught[k][f] || reached || s.holds[f] == held {
			give(f)
		}
	}
	s.followRoofs(c.whole, func(f int32) bool { return c.shapes[f] == 0 }, func(f int32) { give(int(f)) })
	for f := range c.shapes {
		if c.shapes[f] != 0 && s.caught[k][f] || c.shapes[f] == 0 && r3.Dot(s.normal[f], c.whole) < -wallSine {
			c.bad += s.area[f]
		}
	}
	split := func(f int) bool { return c.shapes[f] != 0 }
	c.line, c.show = s.planeCut(s.sides[k], r3.Vec{}, split)
	whole := make([]int, len(c.shapes))
	for f := range whole {
		whole[f] = min(c.shapes[f], 1)
	}
	l, sh := s.border(whole)
	c.line, c.show = c.line+l, c.show+sh
	return c
}

func (s *stance) beyondMiddle(f int, side r3.Vec) bool {
	return r3.Dot(r3.Sub(s.part.Facet(f).Centroid(), s.middle), side) < 0
}

// sideCatches finds where the side pieces are held: undercuts along the side that they shape.
func (s *stance) sideCatches(ctx context.Context, a *arrangement, side r3.Vec, opt *Options) error {
	report, err := mouldability.Analyse(ctx, s.part, side, opt.analysis(opt.depthCells))
	if err != nil {
		return err
	}
	for _, u := range report.Undercuts {
		var own, other float64
		for _, f := range u.Facets {
			if a.shapes[f] == 0 {
				other += s.area[f]
			} else {
				own += s.area[f]
			}
		}
		if own <= other && !u.Sealed {
			continue
		}
		c := opening.Catch{Facets: u.Facets, Sealed: u.Sealed}
		if !u.Sealed {
			c.DepthMM, c.DepthErrorMM = u.DepthMM, u.DepthErrorMM
		}
		if u.Holds&mouldability.UpperHalf != 0 || u.Sealed {
			c.Piece, c.Exit = a.pieces[1].Name, side
			a.catches = append(a.catches, c)
		}
		if u.Holds&mouldability.LowerHalf != 0 {
			c.Piece, c.Exit = a.pieces[2].Name, r3.Scale(-1, side)
			a.catches = append(a.catches, c)
		}
	}
	return nil
}
