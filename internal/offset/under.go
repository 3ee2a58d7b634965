package offset

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/geom/delaunay"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// UnderOptions say what Under is to make. Thickness and top have no default.
type UnderOptions struct {
	ThicknessMM float64
	TopMM       float64 // height up to which the underside is wanted
	DraftDeg    float64 // of its steepest walls; default 5
	ErrorMM     float64 // how far it may stray; default DefaultErrorMM
	PitchMM     float64 // spacing to start from; default 2
	Workers     int
	Progress    func(done float64)
}

// Sheet is the underside of a thickened part as a height field.
type Sheet struct {
	Verts []r3.Vec
	Tris  [][3]uint32 // counter-clockwise seen from above
	Loops [][]r2.Vec  // its rim, at height TopMM: outer loops counter-clockwise, holes clockwise
	TopMM float64
	Error Error

	exact level
}

// StrayMM is how far p is from the exact sheet that this one stands for: negative over it, in the swept
// body.
func (s *Sheet) StrayMM(p r3.Vec) float64 { return s.exact(p) }

// Mesh is the sheet as a mesh, facing up.
func (s *Sheet) Mesh() *mesh.Mesh { return &mesh.Mesh{Verts: s.Verts, Tris: s.Tris} }

// Under is the underside, below TopMM, of the surface m thickened by a ball of radius ThicknessMM and
// swept upward within a cone of half angle DraftDeg. m need not be closed: of a part, give the facets
// that the skin must cover. Every vertical line meets the sheet once at most, and it is nowhere steeper
// than the draft allows but by its error: what it bounds lifts out of a cradle.
func Under(ctx context.Context, m *mesh.Mesh, opt UnderOptions) (*Sheet, error) {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&opt.DraftDeg, 5}, {&opt.ErrorMM, DefaultErrorMM}, {&opt.PitchMM, 2}} {
		if *d.v == 0 {
			*d.v = d.d
		}
	}
	box := m.Bounds()
	switch {
	case len(m.Tris) == 0:
		return nil, fmt.Errorf("%w: it has no facets", ErrMesh)
	case !(opt.ThicknessMM > 0) || !(opt.ErrorMM > 0) || !(opt.PitchMM > 0) || math.IsNaN(opt.TopMM):
		return nil, fmt.Errorf("%w: thickness %g mm, error %g mm, pitch %g mm: give lengths above zero", ErrOptions, opt.ThicknessMM, opt.ErrorMM, opt.PitchMM)
	case !(opt.DraftDeg >= leastDraftDeg && opt.DraftDeg <= 45):
		return nil, fmt.Errorf("%w: a draft of %g°: give %g° to 45°", ErrOptions, opt.DraftDeg, leastDraftDeg)
	case opt.TopMM <= box.Min.Z-opt.ThicknessMM:
		return nil, fmt.Errorf("%w: the top at %.2f mm lies under the thickened part, which begins at %.2f mm", ErrOptions, opt.TopMM, box.Min.Z-opt.ThicknessMM)
	}
	u := &under{opt: opt, s: newSwept(m, opt.DraftDeg*math.Pi/180), low: box.Min.Z - opt.ThicknessMM - 2*opt.ErrorMM}
	spread := opt.ThicknessMM/u.s.cos + max(0, opt.TopMM-box.Min.Z)*u.s.tan + 2*opt.PitchMM
	u.box = r2.Box{Min: r2.Vec{X: box.Min.X - spread, Y: box.Min.Y - spread}, Max: r2.Vec{X: box.Max.X + spread, Y: box.Max.Y + spread}}
	return u.run(ctx)
}

// leastDraftDeg is the least draft a sheet may have: below it a wall is so steep in plan that rounding
// decides.
const leastDraftDeg = 0.5

type under struct {
	opt  UnderOptions
	s    *swept
	low  float64 // under everything
	box  r2.Box
	pts  []r2.Vec
	z    []float64
	segs [][2]int
	fine map[[2]int32]struct{}
	full map[[3]int32]struct{}
}

func (u *under) value(p r3.Vec) float64 { return u.s.at(p) - u.opt.ThicknessMM }

func (u *under) top(p r2.Vec) float64 { return u.value(r3.Vec{X: p.X, Y: p.Y, Z: u.opt.TopMM}) }

// height is where the sheet lies over p. Going up, a point that is inside stays so.
func (u *under) height(p r2.Vec) float64 {
	at := func(z float64) float64 { return u.value(r3.Vec{X: p.X, Y: p.Y, Z: z}) }
	lo, hi := u.low, u.opt.TopMM
	fhi := at(hi)
	if fhi >= 0 {
		return hi
	}
	s := zero(func(s float64) float64 { return at(lo + s*(hi-lo)) }, at(lo), fhi)
	return lo + s*(hi-lo)
}

func (u *under) tell(done float64) {
	if u.opt.Progress != nil {
		u.opt.Progress(done)
	}
}

func (u *under) run(ctx context.Context) (*Sheet, error) {
	loops, inner, err := u.rim(ctx)
	if err != nil {
		return nil, err
	}
	u.tell(0.2)
	for _, l := range loops {
		first := len(u.pts)
		for i, p := range l {
			u.pts = append(u.pts, p)
			u.z = append(u.z, u.opt.TopMM)
			u.segs = append(u.segs, [2]int{first + i, first + (i+1)%len(l)})
		}
	}
	if err := u.add(ctx, inner); err != nil {
		return nil, err
	}
	u.fine, u.full = map[[2]int32]struct{}{}, map[[3]int32]struct{}{}
	var keep [][3]int32
	for round := range sheetRounds {
		tri, err := delaunay.Triangulate(ctx, u.pts, u.segs)
		if err != nil {
			return nil, fmt.Errorf("offset: the sheet's rim: %w", err)
		}
		keep = keep[:0]
		for i, in := range tri.Inside() {
			if in {
				keep = append(keep, tri.Tris[i])
			}
		}
		more, err := u.stray(ctx, keep)
		if err != nil {
			return nil, err
		}
		u.tell(0.2 + 0.7*float64(round+1)/sheetRounds)
		if len(more) == 0 || round == sheetRounds-1 {
			break
		}
		if err := u.add(ctx, more); err != nil {
			return nil, err
		}
	}
	s := &Sheet{Loops: loops, TopMM: u.opt.TopMM, Tris: make([][3]uint32, len(keep)), exact: u.value}
	for i, p := range u.pts {
		s.Verts = append(s.Verts, r3.Vec{X: p.X, Y: p.Y, Z: u.z[i]})
	}
	for i, t := range keep {
		s.Tris[i] = [3]uint32{uint32(t[0]), uint32(t[1]), uint32(t[2])}
	}
	s.Error, err = measure(ctx, s.Mesh(), u.value, u.opt.Workers)
	u.tell(1)
	return s, err
}

// sheetRounds bounds the rounds of refinement. Ten halvings come from 2 mm to 2 µm; places where several
// creases meet need a few rounds more, with few points each.
const sheetRounds = 20

// add lifts new points to the sheet.
func (u *under) add(ctx context.Context, pts []r2.Vec) error {
	first := len(u.pts)
	u.pts = append(u.pts, pts...)
	u.z = append(u.z, make([]float64, len(pts))...)
	return each(ctx, u.opt.Workers, len(pts), func(i int) { u.z[first+i] = u.height(u.pts[first+i]) })
}

func (u *under) lifted(i int32) r3.Vec { return r3.Vec{X: u.pts[i].X, Y: u.pts[i].Y, Z: u.z[i]} }

// stray lists the points to add: the middles in plan of edges that stray, and of triangles that stray
// although their edges do not.
func (u *under) stray(ctx context.Context, tris [][3]int32) ([]r2.Vec, error) {
	type place struct {
		a, b, c int32 // c is −1 for an edge
	}
	var todo []place
	for _, t := range tris {
		for k := range 3 {
			a, b := min(t[k], t[(k+1)%3]), max(t[k], t[(k+1)%3])
			if _, ok := u.fine[[2]int32{a, b}]; !ok {
				u.fine[[2]int32{a, b}] = struct{}{}
				if !u.onRim(a, b) {
					todo = append(todo, place{a, b, -1})
				}
			}
		}
		if _, ok := u.full[t]; !ok {
			u.full[t] = struct{}{}
			todo = append(todo, place{t[0], t[1], t[2]})
		}
	}
	bad := make([]bool, len(todo))
	at := make([]r3.Vec, len(todo))
	err := each(ctx, u.opt.Workers, len(todo), func(i int) {
		p := todo[i]
		a, b := u.lifted(p.a), u.lifted(p.b)
		if p.c < 0 {
			at[i] = r3.Scale(0.5, r3.Add(a, b))
			bad[i] = r3.Norm(r3.Sub(a, b)) > u.opt.ErrorMM && math.Abs(u.value(at[i])) > goalShare*u.opt.ErrorMM
			return
		}
		t := r3.Triangle{a, b, u.lifted(p.c)}
		at[i] = t.Centroid()
		bad[i] = geom.Area(t) > u.opt.ErrorMM*u.opt.ErrorMM && math.Abs(u.value(at[i])) > goalShare*u.opt.ErrorMM
	})
	if err != nil {
		return nil, err
	}
	struck := map[[2]int32]bool{}
	var out []r2.Vec
	have := make(map[r2.Vec]struct{}, len(u.pts))
	for _, p := range u.pts {
		have[p] = struct{}{}
	}
	put := func(v r3.Vec) {
		p := r2.Vec{X: v.X, Y: v.Y}
		if _, ok := have[p]; !ok {
			have[p] = struct{}{}
			out = append(out, p)
		}
	}
	key := func(a, b int32) [2]int32 { return [2]int32{min(a, b), max(a, b)} }
	for i, p := range todo {
		if bad[i] && p.c < 0 {
			struck[key(p.a, p.b)] = true
			put(at[i])
		}
	}
	for i, p := range todo {
		if bad[i] && p.c >= 0 && !struck[key(p.a, p.b)] && !struck[key(p.b, p.c)] && !struck[key(p.c, p.a)] {
			put(at[i])
		}
	}
	return out, nil
}

// onRim says whether two points are neighbours on the rim.
func (u *under) onRim(a, b int32) bool {
	n := int32(len(u.segs)) // rim points come first, one segment beginning at each
	return a < n && b < n && (u.segs[a][1] == int(b) || u.segs[b][1] == int(a))
}
