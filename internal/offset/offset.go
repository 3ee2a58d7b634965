package offset

import (
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Options tune Solid; the zero value is the sensible default.
type Options struct {
	ErrorMM float64 // how far the surface may stray; default DefaultErrorMM
	CellMM  float64 // size of the cells to start from; default: what ErrorMM needs on a curve of the offset's radius
	Workers int     // 0: one a processor. Results do not depend on it.
	// Progress is called from one goroutine with the share done.
	Progress func(done float64)
}

// DefaultErrorMM is the error allowed on an offset: well under the 0.05 mm that a skin of silicone may
// be off, and less than a printed layer.
const DefaultErrorMM = 0.03

// Result is an offset with its measured error.
type Result struct {
	Mesh       *mesh.Mesh // closed, facets outward; never nil
	DistanceMM float64
	CellMM     float64
	Error      Error
	Reach      Reach
}

// ErrOptions is the cause when a choice makes no sense.
var ErrOptions = errors.New("offset: bad option")

// VanishedError says that an inward offset leaves nothing.
type VanishedError struct {
	DistanceMM float64
	// RoomMM is the largest distance to the surface found inside the part: the most that an inward offset
	// can be, within CellMM.
	RoomMM, CellMM float64
}

func (e *VanishedError) Error() string {
	return fmt.Sprintf("offset: nothing is left %.3g mm inside the part: nowhere is it further than about %.3g mm (± %.2g mm) from its surface; ask for less",
		e.DistanceMM, e.RoomMM, e.CellMM)
}

// sizeLimit is how many cells a span may have by default: a surface of 400² cells has a million facets.
const sizeLimit = 400

// Solid is the surface at a distance of t mm from the closed mesh m, outside for positive t and inside
// for negative t: the boundary of the set of points nearer than t to the solid, or deeper than −t in it.
// Vertices lie on it to a micron; the error in between, and where the offset closes over hollows, is
// measured and returned. An inward offset of which nothing is left gives a *VanishedError; a mesh
// without inside gives ErrMesh. The mesh is taken not to cross itself (mesh.Inspect says).
func Solid(ctx context.Context, m *mesh.Mesh, t float64, opt Options) (*Result, error) {
	if math.IsNaN(t) || math.IsInf(t, 0) || t == 0 {
		return nil, fmt.Errorf("%w: a distance of %g mm: give a length that is not zero", ErrOptions, t)
	}
	if opt.ErrorMM == 0 {
		opt.ErrorMM = DefaultErrorMM
	}
	if !(opt.ErrorMM > 0) || !(opt.CellMM >= 0) {
		return nil, fmt.Errorf("%w: error %g mm, cells %g mm: give lengths above zero", ErrOptions, opt.ErrorMM, opt.CellMM)
	}
	s, err := newSigned(m)
	if err != nil {
		return nil, err
	}
	box := m.Bounds()
	size := box.Size()
	if opt.CellMM == 0 {
		// A chord of length h strays by h²/8r from an arc of radius r, which is t at a convex edge.
		opt.CellMM = max(min(math.Sqrt(8*math.Abs(t)*opt.ErrorMM), math.Abs(t)), max(size.X, size.Y, size.Z)/sizeLimit)
	}
	grow := max(t, 0) + 2*opt.CellMM
	box.Min = r3.Sub(box.Min, r3.Vec{X: grow, Y: grow, Z: grow})
	box.Max = r3.Add(box.Max, r3.Vec{X: grow, Y: grow, Z: grow})
	b := &builder{ctx: ctx, s: s, t: t, opt: opt}
	return b.run(box)
}

type builder struct {
	ctx context.Context
	s   *signed
	t   float64
	opt Options
}

func (b *builder) tell(done float64) {
	if b.opt.Progress != nil {
		b.opt.Progress(done)
	}
}

func (b *builder) level(p r3.Vec) float64 {
	d, _ := b.s.at(p)
	return d - b.t
}

func (b *builder) footed(p r3.Vec) (float64, r3.Vec) {
	d, q := b.s.at(p)
	return d - b.t, q
}

func (b *builder) run(box r3.Box) (*Result, error) {
	o := b.opt
	g, err := newGrid(box, o.CellMM)
	if err != nil {
		return nil, err
	}
	b.tell(0)
	cells, deepest, err := g.crossed(b.ctx, b.level, o.Workers)
	if err != nil {
		return nil, err
	}
	b.tell(0.3)
	m, err := contour(b.ctx, g, cells, b.level, o.Workers)
	if err != nil {
		return nil, err
	}
	if len(m.Tris) == 0 {
		return nil, &VanishedError{DistanceMM: math.Abs(b.t), RoomMM: math.Abs(deepest + b.t), CellMM: o.CellMM}
	}
	b.tell(0.6)
	r := &refiner{f: b.footed, t: b.t, tol: o.ErrorMM, least: min(o.ErrorMM, o.CellMM/8), workers: o.Workers}
	if m, err = refine(b.ctx, m, r); err != nil {
		return nil, err
	}
	b.tell(0.8)
	out := &Result{Mesh: m, DistanceMM: b.t, CellMM: o.CellMM}
	if out.Error, err = measure(b.ctx, m, b.level, o.Workers); err != nil {
		return nil, err
	}
	b.tell(0.95)
	if out.Reach, err = reachBack(b.ctx, b.s, b.t, m, o.Workers); err != nil {
		return nil, err
	}
	b.tell(1)
	return out, nil
}
