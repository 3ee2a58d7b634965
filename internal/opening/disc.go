package opening

import (
	"container/heap"
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// The largest disc in a union is found by branch and bound over squares. The depth of a point below
// the boundary changes no faster than the point moves, so no disc centred in a square is larger
// than the depth at its middle plus half its diagonal; deepestIn knows a better bound along strips.
// Squares are split, most promising first, until none can beat the best by more than the precision
// asked.

const (
	// discPrecision is the precision asked of a radius, relative; it is also never asked finer than
	// discFloorShare of the tolerance.
	discPrecision  = 0.005
	discFloorShare = 0.025
	// discBudget bounds the squares looked at, about a second of work. What is left open then goes
	// into the error stated.
	discBudget = 300_000
	// discSeeds is how many polygon middles are tried before squares.
	discSeeds = 512
)

// discBound is the radius of the largest disc in a union, between Lo and Hi; a disc of radius Lo at
// Centre does fit.
type discBound struct {
	Lo, Hi float64
	Centre r2.Vec
}

type square struct {
	mid      r2.Vec
	half, ub float64
	seq      int // breaks ties, so the order is fixed
}

type squares []square

func (s squares) Len() int { return len(s) }
func (s squares) Less(i, j int) bool {
	if s[i].ub != s[j].ub {
		return s[i].ub > s[j].ub
	}
	return s[i].seq < s[j].seq
}
func (s squares) Swap(i, j int) { s[i], s[j] = s[j], s[i] }
func (s *squares) Push(x any)   { *s = append(*s, x.(square)) }
func (s *squares) Pop() any {
	old := *s
	x := old[len(old)-1]
	*s = old[:len(old)-1]
	return x
}

// discGoal says when the search may stop before it is precise: as soon as the radius is known to be
// above Enough. The zero value asks for precision.
type discGoal struct {
	FloorMM  float64 // precision never finer than this
	EnoughMM float64
}

func (g discGoal) slack(best float64) float64 { return max(g.FloorMM, best*discPrecision) }

func (g discGoal) met(best float64) bool { return g.EnoughMM > 0 && best > g.EnoughMM }

// largestDisc searches the union; seeds are points to try first.
func (u *regionUnion) largestDisc(ctx context.Context, seeds []r2.Vec, goal discGoal) (discBound, error) {
	var out discBound
	if len(u.edges) == 0 {
		// Only rounding could lose a whole boundary. Nothing is known then, and doubt must not pass.
		out.Hi = u.firstSquare().ub
		return out, nil
	}
	try := func(p r2.Vec) (float64, int32) {
		d, edge := u.depthAndEdge(p)
		if d > out.Lo {
			out.Lo, out.Centre = d, p
		}
		return d, edge
	}
	step := max(1, len(seeds)/discSeeds)
	for i := 0; i < len(seeds); i += step {
		try(seeds[i])
	}
	queue := squares{u.firstSquare()}
	seq := 1
	for n := 0; len(queue) > 0 && !goal.met(out.Lo); n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return out, ctx.Err()
		}
		if queue[0].ub <= out.Lo+goal.slack(out.Lo) || seq > discBudget {
			break
		}
		q := heap.Pop(&queue).(square)
		h := q.half / 2
		for k := range 4 {
			c := square{half: h, seq: seq, mid: r2.Vec{
				X: q.mid.X + h*float64(2*(k&1)-1),
				Y: q.mid.Y + h*float64(k&2-1),
			}}
			seq++
			d, edge := try(c.mid)
			c.ub = min(q.ub, d+h*math.Sqrt2)
			if c.ub > out.Lo+goal.slack(out.Lo) {
				c.ub = min(c.ub, u.deepestIn(c.mid, h, d, edge))
			}
			if c.ub > out.Lo+goal.slack(out.Lo) {
				heap.Push(&queue, c)
			}
		}
	}
	out.Hi = out.Lo + goal.slack(out.Lo)
	if len(queue) > 0 {
		out.Hi = max(out.Hi, queue[0].ub)
	}
	return out, nil
}

func (u *regionUnion) firstSquare() square {
	b := u.boxes[0]
	for _, o := range u.boxes[1:] {
		b = joinBoxes(b, o)
	}
	half := max(b.Max.X-b.Min.X, b.Max.Y-b.Min.Y) / 2
	return square{mid: r2.Scale(0.5, r2.Add(b.Min, b.Max)), half: half, ub: half * math.Sqrt2}
}
