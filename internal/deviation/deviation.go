package deviation

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Options bound the error. The zero value is good for parts of some millimetres to some metres.
type Options struct {
	// ErrorMM is how far the bound of a facet may lie above what was found on it, or RelativeError of what was found,
	// if that is more. Defaults 1e-4 mm and 0.02.
	ErrorMM, RelativeError float64
	// MostPieces bounds the work on one facet; beyond it the bound stays wider. Default 20,000.
	MostPieces int
}

// ErrNoSurface is the cause when one of the two meshes has no facets.
var ErrNoSurface = errors.New("there is no surface to compare")

// Result is how far two surfaces are apart at the most.
type Result struct {
	MM      float64 // the greatest distance found
	BoundMM float64 // no point is farther than this
	At      r3.Vec  // where it was found
	OnFirst bool    // At lies on the first surface, else on the second
	First   Side    // from each facet of the first surface to the second
	Second  Side    // from each facet of the second surface to the first
}

// Side is the distance from one surface to another, facet by facet.
type Side struct {
	MM      []float64 // the greatest distance found on each facet
	BoundMM []float64 // no point of the facet is farther
	At      []r3.Vec  // where it was found
	Nearest []int32   // the other surface's facet nearest to that place
}

// Worst is the facet with the greatest distance found, −1 if there are none; keep leaves facets out, nil none.
func (s Side) Worst(keep func(f int) bool) int {
	worst := -1
	for f, d := range s.MM {
		if (keep == nil || keep(f)) && (worst < 0 || d > s.MM[worst]) {
			worst = f
		}
	}
	return worst
}

// Between measures two surfaces both ways.
func Between(ctx context.Context, first, second *mesh.Mesh, opt Options) (*Result, error) {
	if len(first.Tris) == 0 || len(second.Tris) == 0 {
		return nil, fmt.Errorf("deviation: %w", ErrNoSurface)
	}
	if !(opt.ErrorMM > 0) {
		opt.ErrorMM = 1e-4
	}
	if !(opt.RelativeError > 0) {
		opt.RelativeError = 0.02
	}
	if opt.MostPieces <= 0 {
		opt.MostPieces = 20_000
	}
	var r Result
	var errs [2]error
	var wait sync.WaitGroup
	wait.Add(2)
	go func() { defer wait.Done(); r.First, errs[0] = from(ctx, first, second, opt) }()
	go func() { defer wait.Done(); r.Second, errs[1] = from(ctx, second, first, opt) }()
	wait.Wait()
	if err := errors.Join(errs[:]...); err != nil {
		return nil, fmt.Errorf("deviation: %w", err)
	}
	r.MM = -1
	for i, s := range []Side{r.First, r.Second} {
		if f := s.Worst(nil); s.MM[f] > r.MM {
			r.MM, r.At, r.OnFirst = s.MM[f], s.At[f], i == 0
		}
		for _, b := range s.BoundMM {
			r.BoundMM = max(r.BoundMM, b)
		}
	}
	return &r, nil
}

// from measures every facet of one surface against another.
func from(ctx context.Context, a, b *mesh.Mesh, opt Options) (Side, error) {
	n := len(a.Tris)
	s := Side{MM: make([]float64, n), BoundMM: make([]float64, n), At: make([]r3.Vec, n), Nearest: make([]int32, n)}
	w := worker{other: b, tree: geom.NewBVH(b.Verts, b.Tris), opt: opt}
	for f := range n {
		if f%64 == 0 && ctx.Err() != nil {
			return s, ctx.Err()
		}
		if err := w.facet(ctx, a.Facet(f)); err != nil {
			return s, err
		}
		s.MM[f], s.BoundMM[f], s.At[f], s.Nearest[f] = w.best, max(w.bound, w.best), w.at, w.near
	}
	return s, nil
}

// worker measures facet after facet against one surface.
type worker struct {
	other *mesh.Mesh
	tree  *geom.BVH
	opt   Options
	stack []piece

	best, bound float64 // of the facet at hand
	at          r3.Vec
	near        int32
}

// piece is a convex, flat part of a facet.
type piece []r3.Vec

// stopMM is the bound at which a piece of the facet at hand needs no further look.
func (w *worker) stopMM() float64 { return w.best + max(w.opt.ErrorMM, w.opt.RelativeError*w.best) }

// found takes the distance at a point into account, and returns the facet that is nearest to it, with that distance.
func (w *worker) found(p r3.Vec) (facet int, mm float64) {
	h := w.tree.Nearest(p)
	if h.Distance > w.best {
		w.best, w.at, w.near = h.Distance, p, int32(h.Facet)
	}
	return h.Facet, h.Distance
}

func (w *worker) facet(ctx context.Context, t r3.Triangle) error {
	w.best, w.bound, w.at, w.near = -1, 0, t[0], -1
	for _, v := range t {
		w.found(v)
	}
	w.stack = append(w.stack[:0], piece(t[:]))
	for n := 0; len(w.stack) > 0; n++ {
		if n%512 == 511 && ctx.Err() != nil {
			return ctx.Err()
		}
		q := w.stack[len(w.stack)-1]
		w.stack = w.stack[:len(w.stack)-1]
		c := q.middle()
		f, mm := w.found(c)
		ub := min(w.reach(q, f), mm+q.radius(c))
		if ub <= w.stopMM() {
			w.bound = max(w.bound, ub)
			continue
		}
		if n >= w.opt.MostPieces {
			w.bound = max(w.bound, ub)
			continue
		}
		w.divide(q, f)
	}
	return nil
}

// reach bounds the distance of all points of a piece by that of its corners to one facet, which is convex.
func (w *worker) reach(q piece, f int) float64 {
	t := w.other.Facet(f)
	far := 0.0
	for _, v := range q {
		far = max(far, r3.Norm(r3.Sub(v, geom.NearestOnTriangle(v, &t))))
	}
	return far
}

// radius is the way from a point of the piece to its farthest corner: the distance grows by no more on that way.
func (q piece) radius(c r3.Vec) float64 {
	r := 0.0
	for _, v := range q {
		r = max(r, r3.Norm(r3.Sub(v, c)))
	}
	return r
}

// divide puts the pieces of a piece on the stack: what lies within the edges of facet f, and what lies past each of
// them; two halves where no edge cuts it.
func (w *worker) divide(q piece, f int) {
	t := w.other.Facet(f)
	n := t.Normal()
	pieces := 0
	rest := q
	if l := r3.Norm(n); l > 0 {
		for i := range 3 {
			a, b := t[i], t[(i+1)%3]
			in := r3.Cross(n, r3.Sub(b, a)) // into the facet
			if l := r3.Norm(in); l > 0 {
				in = r3.Scale(1/l, in)
			} else {
				continue
			}
			keep, off := cut(rest, a, in)
			if off == nil || keep == nil {
				continue
			}
			w.stack = append(w.stack, off)
			rest = keep
			pieces++
		}
	}
	if pieces > 0 {
		w.stack = append(w.stack, rest)
		return
	}
	one, two := halve(q)
	w.stack = append(w.stack, one, two)
}

// cutSlackMM keeps cuts from parting a piece along an edge that it already ends at.
const cutSlackMM = 1e-7

// cut parts a piece by the plane through a with normal n: what is on n's side, and what is on the other; nil where
// one of them is empty or has no width.
func cut(q piece, a, n r3.Vec) (in, out piece) {
	d := make([]float64, len(q))
	lo, hi := math.Inf(1), math.Inf(-1)
	for i, v := range q {
		d[i] = r3.Dot(r3.Sub(v, a), n)
		lo, hi = min(lo, d[i]), max(hi, d[i])
	}
	if hi <= cutSlackMM {
		return nil, q
	}
	if lo >= -cutSlackMM {
		return q, nil
	}
	for i, v := range q {
		j := (i + 1) % len(q)
		if d[i] >= 0 {
			in = append(in, v)
		}
		if d[i] <= 0 {
			out = append(out, v)
		}
		if (d[i] > 0) != (d[j] > 0) && d[i] != 0 && d[j] != 0 {
			x := r3.Add(v, r3.Scale(d[i]/(d[i]-d[j]), r3.Sub(q[j], v)))
			in, out = append(in, x), append(out, x)
		}
	}
	return in, out
}

// halve parts a piece between the middle of its longest side and what lies opposite to it.
func halve(q piece) (one, two piece) {
	at, longest := 0, -1.0
	for i, v := range q {
		if l := r3.Norm2(r3.Sub(q[(i+1)%len(q)], v)); l > longest {
			at, longest = i, l
		}
	}
	n := len(q)
	mid := r3.Scale(0.5, r3.Add(q[at], q[(at+1)%n]))
	far := (at + 1 + n/2) % n // the corner opposite, or one of the two
	one, two = piece{mid}, piece{mid}
	for i := (at + 1) % n; ; i = (i + 1) % n {
		one = append(one, q[i])
		if i == far {
			break
		}
	}
	for i := far; ; i = (i + 1) % n {
		two = append(two, q[i])
		if i == at {
			break
		}
	}
	return one, two
}

func (q piece) middle() (c r3.Vec) {
	for _, v := range q {
		c = r3.Add(c, v)
	}
	return r3.Scale(1/float64(len(q)), c)
}
