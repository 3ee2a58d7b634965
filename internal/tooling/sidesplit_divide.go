package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// cannotCost is what a square millimetre costs, in mm of line, that a piece gets though it does not
	// leave it: any way round it is cheaper.
	cannotCost = 1000.0
	// sidesCost is what it costs to give the whole half what a side piece can make as well. The sides leave
	// it without rubbing and free a soft casting all round, so they take all they can.
	sidesCost = 0.5
	// standCost is what it costs to give a side piece what the casting stands on.
	standCost = 0.5
	// divideCells: the division asks where a facet is caught, not how deep.
	divideCells = 400
	// wallOffMM is how far over a wall a ray runs that asks whether its mould material gets out.
	wallOffMM = 1e-3
)

// sideReach says how each facet of the part may be left: down by the whole half, right and left by the side
// pieces.
type sideReach struct{ low, right, left []bool }

// divide gives each facet to the whole half or to the side pieces, finds the plane in which these meet,
// traces the line, and sees to it that a surface starts there on which the side pieces slide out. What
// neither leaves goes where it holds least; if no surface starts at that line, to the side pieces. If the
// line has such ups and downs that they would catch on the whole half, the surface of the part is cut level
// a little over its lowest place, so that the line can run there.
func (b *sideSplit) divide(ctx context.Context) error {
	m := b.mould.Part
	box := m.Bounds()
	foot := r2.Box{Min: r2.Vec{X: box.Min.X - tryMM, Y: box.Min.Y - tryMM}, Max: r2.Vec{X: box.Max.X + tryMM, Y: box.Max.Y + tryMM}}
	level := box.Min.Z + standMM
	cut, source := cutLevel(m, level)
	var first error
	var kept *mouldability.Parting
	for _, p := range []levelCut{{m, nil, 0}, {cut, source, level}} {
		if p.m == nil {
			continue
		}
		r, err := b.reach(ctx, p.m)
		if err != nil {
			return err
		}
		at := placeSplit(p.m, r)
		for _, softWhole := range []bool{true, false} {
			parting, err := b.cheapest(ctx, p, r, at, softWhole)
			if err == nil {
				var s *Surface
				if s, err = sideSurface(ctx, parting, foot); err == nil {
					if held := b.held(parting, p, r, at); kept == nil || slides(s, at) {
						kept, b.parting, b.splitX, b.heldMM2 = parting, parting, at, held
					}
					if slides(s, at) {
						return nil
					}
				}
			}
			if ctx.Err() != nil {
				return ctx.Err()
			}
			first = cmp.Or(first, err)
		}
	}
	if kept != nil { // the proofs say where the side pieces catch
		return nil
	}
	return b.cannot(first)
}

// levelCut is the part, as given or cut level; source gives for each facet the one that it lies on.
type levelCut struct {
	m      *mesh.Mesh
	source []int32
	level  float64 // where it was cut, if source is not nil
}

// held is what the pieces make and do not leave, seen along their way out. What holds a soft casting on the
// whole half is left out: it is judged by strain.
func (b *sideSplit) held(parting *mouldability.Parting, p levelCut, r sideReach, splitX float64) (sum float64) {
	for f, up := range parting.Upper { // the division cuts nothing: its facets are those of p
		t := p.m.Facet(f)
		n := t.Normal()
		switch {
		case up:
			over, share := overShare(extentX(p.m, f), splitX), 0.0
			if r.right[f] {
				share += over
			}
			if r.left[f] {
				share += 1 - over
			}
			sum += (1 - share) * math.Abs(n.X) / 2
		case !r.low[f] && b.opt.Casting == nil:
			sum += math.Abs(n.Z) / 2
		}
	}
	return sum
}

// slides says whether the side pieces move out over the surface: it never rises on the way.
func slides(s *Surface, splitX float64) bool {
	for _, t := range s.Tris {
		a, b, c := s.Verts[t[0]], s.Verts[t[1]], s.Verts[t[2]]
		n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
		l := r3.Norm(n)
		if l == 0 {
			continue
		}
		if lo := min(a.X, b.X, c.X); lo < splitX-touchMM && n.X > sideWallSine*l {
			return false
		}
		if hi := max(a.X, b.X, c.X); hi > splitX+touchMM && n.X < -sideWallSine*l {
			return false
		}
	}
	return true
}

// tryMM is how far round the part a surface is laid to see whether one starts at a line.
const tryMM = 5.0

// cheapest is the division that costs least. softWhole lets the whole half have facets that it does not
// leave.
func (b *sideSplit) cheapest(ctx context.Context, p levelCut, r sideReach, splitX float64, softWhole bool) (*mouldability.Parting, error) {
	m := p.m
	n := len(m.Tris)
	sides := make([]float64, n) // the share of a facet that the side pieces leave
	floor := newSideFloor(m.Bounds())
	for f := range n {
		over := overShare(extentX(m, f), splitX)
		if r.right[f] {
			sides[f] += over
		}
		if r.left[f] {
			sides[f] += 1 - over
		}
		if !r.low[f] && sides[f] > 0.5 && geom.Area(m.Facet(f)) > heldStepMM2 {
			floor.lower(m.Facet(f))
		}
	}
	toLower, toUpper := make([]float64, n), make([]float64, n)
	low := m.Bounds().Min.Z
	for f := range n {
		t := m.Facet(f)
		u := t.Normal()
		l := r3.Norm(u)
		if l == 0 {
			continue
		}
		u, a := r3.Scale(1/l, u), geom.Area(t)
		held := 1 - sides[f]
		toUpper[f] = cannotCost * held * a * max(math.Abs(u.X), leastHeld)
		switch {
		case !r.low[f]:
			toLower[f] = cannotCost * a * max(math.Abs(u.Z), sideWallSine) * wholeHalfHeld
			if !softWhole || u.Z > facesDown && held == 0 {
				toLower[f] = math.Inf(1)
			}
		case held < 0.5 && floor.under(t):
			toLower[f] = cannotCost * a // the whole half would stand in the sides' way
		case held < 0.5 && u.Z > -facesDown:
			toLower[f] = sidesCost * a
		case u.Z < -facesDown && t.Centroid().Z < low+standMM:
			toUpper[f] = math.Inf(1) // what the casting stands on, or the whole half would make nothing
		default:
			toUpper[f] += standCost * a * max(0, -u.Z)
		}
	}
	opt := mouldability.PartOptions{Show: b.opt.Show}
	if p.source != nil {
		opt.AtZMM = &p.level
		if b.opt.Show != nil {
			opt.Show = make([]bool, n)
			for f, g := range p.source {
				opt.Show[f] = b.opt.Show[g]
			}
		}
	}
	out, err := mouldability.Divide(ctx, m, toLower, toUpper, opt)
	if errors.Is(err, mouldability.ErrOneSided) || err == nil && len(out.Loops) == 0 {
		return nil, fmt.Errorf("%w: the whole half, or the side pieces, would make all of the part; try another direction, or two halves along the side", ErrSideSplit)
	}
	if err != nil {
		return nil, fmt.Errorf("tooling: %w", err)
	}
	if p.source != nil {
		for f, g := range out.Source {
			out.Source[f] = p.source[g]
		}
	}
	return out, nil
}

// sideFloor is, for strips of the plan along the side, the lowest place that only the side pieces leave.
// The whole half must not stand higher in a strip, or they do not slide out over it.
type sideFloor struct {
	minY, wide float64
	minX, maxX float64
	z          []float64
}

// floorStrips are enough that a slope of 45° in a strip of a 40 mm part is a tenth of a millimetre.
const floorStrips = 400

func newSideFloor(box r3.Box) *sideFloor {
	f := &sideFloor{minY: box.Min.Y, wide: (box.Max.Y - box.Min.Y) / floorStrips, minX: box.Min.X - 1, maxX: box.Max.X + 1, z: make([]float64, floorStrips)}
	for i := range f.z {
		f.z[i] = math.Inf(1)
	}
	return f
}

// over visits the strips that a facet lies in, with its share there.
func (s *sideFloor) over(t r3.Triangle, visit func(strip int, part []r3.Vec)) {
	lo, hi := min(t[0].Y, t[1].Y, t[2].Y), max(t[0].Y, t[1].Y, t[2].Y)
	at := func(y float64) int { return int(max(0, min(floorStrips-1, (y-s.minY)/s.wide))) }
	for i := at(lo); i <= at(hi); i++ {
		y0 := s.minY + float64(i)*s.wide
		y1 := y0 + s.wide
		if lo >= y0 && hi <= y1 {
			visit(i, t[:])
			continue
		}
		visit(i, clipToPlan(t[:], []r2.Vec{{X: s.minX, Y: y0}, {X: s.maxX, Y: y0}, {X: s.maxX, Y: y1}, {X: s.minX, Y: y1}}))
	}
}

func (s *sideFloor) lower(t r3.Triangle) {
	s.over(t, func(i int, part []r3.Vec) {
		for _, v := range part {
			s.z[i] = min(s.z[i], v.Z)
		}
	})
}

// under says whether the floor is under some of a facet.
func (s *sideFloor) under(t r3.Triangle) bool {
	found := false
	s.over(t, func(i int, part []r3.Vec) {
		for _, v := range part {
			found = found || v.Z > s.z[i]+touchMM
		}
	})
	return found
}

// reach asks exactly which facets leave which way.
func (b *sideSplit) reach(ctx context.Context, m *mesh.Mesh) (sideReach, error) {
	opt := mouldability.AnalyseOptions{DepthCells: divideCells, Workers: b.opt.Workers}
	up, err := mouldability.Analyse(ctx, m, r3.Vec{Z: 1}, opt)
	if err != nil {
		return sideReach{}, fmt.Errorf("tooling: %w", err)
	}
	across, err := mouldability.Analyse(ctx, m, r3.Vec{X: 1}, opt)
	if err != nil {
		return sideReach{}, fmt.Errorf("tooling: %w", err)
	}
	n := len(m.Tris)
	r := sideReach{make([]bool, n), make([]bool, n), make([]bool, n)}
	tree := geom.NewBVH(m.Verts, m.Tris)
	for f := range n {
		if f%1024 == 0 && ctx.Err() != nil {
			return r, ctx.Err()
		}
		t := m.Facet(f)
		open := func(d r3.Vec) bool {
			u := t.Normal()
			return r3.Norm(u) == 0 || !tree.AnyHit(r3.Add(t.Centroid(), r3.Scale(wallOffMM, r3.Unit(u))), d, 0, math.Inf(1))
		}
		switch up.Reach[f] {
		case mouldability.Down:
			r.low[f] = true
		case mouldability.Wall:
			r.low[f] = open(r3.Vec{Z: -1})
		}
		switch across.Reach[f] {
		case mouldability.Up:
			r.right[f] = true
		case mouldability.Down:
			r.left[f] = true
		case mouldability.Wall:
			r.right[f], r.left[f] = open(r3.Vec{X: 1}), open(r3.Vec{X: -1})
		}
	}
	return r, nil
}

func extentX(m *mesh.Mesh, f int) [2]float64 {
	t := m.Facet(f)
	return [2]float64{min(t[0].X, t[1].X, t[2].X), max(t[0].X, t[1].X, t[2].X)}
}

// placeSplit is where the plane between the side pieces stands.
func placeSplit(m *mesh.Mesh, r sideReach) float64 {
	var s splitPlace
	for f := range m.Tris {
		if r.right[f] != r.left[f] {
			weight := geom.Area(m.Facet(f))
			if r.low[f] {
				weight *= couldBeLow
			}
			s.add(extentX(m, f), weight, r.right[f])
		}
	}
	box := m.Bounds()
	return s.best((box.Min.X + box.Max.X) / 2)
}

// cutLevel splits every facet that reaches across a height along it, so that the surface stays the same and
// closed; nil when none does. source gives for each facet the one that it lies on.
func cutLevel(m *mesh.Mesh, z float64) (cut *mesh.Mesh, source []int32) {
	side := func(v uint32) int {
		switch d := m.Verts[v].Z - z; {
		case d > touchMM:
			return 1
		case d < -touchMM:
			return -1
		}
		return 0 // near enough: a cut there would only make slivers
	}
	out := &mesh.Mesh{Verts: append([]r3.Vec(nil), m.Verts...)}
	mid := map[[2]uint32]uint32{}
	at := func(a, b uint32) uint32 {
		e := [2]uint32{min(a, b), max(a, b)}
		if v, ok := mid[e]; ok {
			return v
		}
		p, q := m.Verts[e[0]], m.Verts[e[1]]
		v := r3.Add(p, r3.Scale((z-p.Z)/(q.Z-p.Z), r3.Sub(q, p)))
		v.Z = z
		mid[e] = uint32(len(out.Verts))
		out.Verts = append(out.Verts, v)
		return mid[e]
	}
	for f, t := range m.Tris {
		var below, above []uint32 // the corners of what lies on each side, in order
		for k, v := range t {
			w := t[(k+1)%3]
			if side(v) <= 0 {
				below = append(below, v)
			}
			if side(v) >= 0 {
				above = append(above, v)
			}
			if side(v)*side(w) < 0 {
				x := at(v, w)
				below, above = append(below, x), append(above, x)
			}
		}
		if len(below) < 3 || len(above) < 3 { // all on one side, perhaps with corners at the height
			below, above = t[:], nil
		}
		for _, poly := range [2][]uint32{below, above} {
			for k := 2; k < len(poly); k++ {
				out.Tris = append(out.Tris, [3]uint32{poly[0], poly[k-1], poly[k]})
				source = append(source, int32(f))
			}
		}
	}
	if len(mid) == 0 {
		return nil, nil
	}
	return out, source
}
