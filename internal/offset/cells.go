package offset

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// level is the function whose zero set is wanted: its value changes by no more than the way gone
// (it is a distance less a constant).
type level func(p r3.Vec) float64

// grid is a cube of 2^depth cells a side, of size h.
type grid struct {
	origin r3.Vec
	h      float64
	depth  int
}

type cell [3]int32

// ErrTooFine is the cause when the surface asked for needs more cells than memory should hold.
var ErrTooFine = errors.New("offset: too fine for the size of the part")

// mostCells bounds the cells of one surface: about 2 GB of vertices and facets.
const mostCells = 6_000_000

func newGrid(box r3.Box, h float64) (grid, error) {
	size := box.Size()
	span := max(size.X, size.Y, size.Z)
	g := grid{h: h}
	for float64(int64(1)<<g.depth)*h < span {
		g.depth++
	}
	if g.depth > 20 {
		return g, fmt.Errorf("%w: %.3g mm over %.3g mm: allow a larger error", ErrTooFine, h, span)
	}
	half := float64(int64(1)<<g.depth) * h / 2
	mid := r3.Scale(0.5, r3.Add(box.Min, box.Max))
	g.origin = r3.Sub(mid, r3.Vec{X: half, Y: half, Z: half})
	return g, nil
}

func (g grid) node(c cell) r3.Vec {
	return r3.Vec{X: g.origin.X + float64(c[0])*g.h, Y: g.origin.Y + float64(c[1])*g.h, Z: g.origin.Z + float64(c[2])*g.h}
}

// crossed lists the cells that the zero set can pass: from the whole cube down, a cube is dropped when
// the value at its middle is further from zero than its corners are from the middle. No cell that
// holds a piece of the zero set is ever dropped. deepest is the least value met.
func (g grid) crossed(ctx context.Context, f level, workers int) (out []cell, deepest float64, err error) {
	out = []cell{{}}
	deepest = math.Inf(1)
	for d := g.depth; ; d-- {
		side := int32(1) << d
		reach := float64(side) * g.h * math.Sqrt(3) / 2 * (1 + 1e-9)
		value := make([]float64, len(out))
		err := each(ctx, workers, len(out), func(i int) {
			c := out[i]
			half := float64(side) / 2 * g.h
			value[i] = f(r3.Add(g.node(c), r3.Vec{X: half, Y: half, Z: half}))
		})
		if err != nil {
			return nil, 0, err
		}
		var kept []cell
		for i, c := range out {
			deepest = min(deepest, value[i])
			if math.Abs(value[i]) <= reach {
				kept = append(kept, c)
			}
		}
		if d == 0 {
			return kept, deepest, nil
		}
		if len(kept) > mostCells/2 {
			return nil, 0, fmt.Errorf("%w: more than %d cells of %.3g mm: allow a larger error", ErrTooFine, mostCells, g.h)
		}
		out = make([]cell, 0, 8*len(kept))
		for _, c := range kept {
			for k := range int32(8) {
				out = append(out, cell{c[0] + k&1*(side/2), c[1] + k>>1&1*(side/2), c[2] + k>>2&1*(side/2)})
			}
		}
	}
}
