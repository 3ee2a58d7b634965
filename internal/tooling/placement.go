package tooling

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// Half is one of the two pieces of a mould that opens along z: Upper leaves along +z, Lower along −z.
type Half int

// The two halves.
const (
	Lower Half = iota
	Upper
)

func (h Half) String() string {
	if h == Upper {
		return "upper"
	}
	return "lower"
}

// RawHalves are the two halves before anything is built into them: they fill the block but for the
// cavity, and meet at the parting surface.
type RawHalves struct {
	Lower, Upper *solid.Solid
	Block        r3.Box
}

// Tool is a solid to cut from one half, or to add to it.
type Tool struct {
	Half  Half
	Add   bool // false: cut
	Solid *solid.Solid
}

// Apply adds and then cuts the tools meant for half h. Additions go first, so that a hole that meets
// an added key stays open.
func Apply(half *solid.Solid, h Half, tools []Tool) (*solid.Solid, error) {
	out := half
	for _, add := range []bool{true, false} {
		var pick []*solid.Solid
		for _, t := range tools {
			if t.Half == h && t.Add == add {
				pick = append(pick, t.Solid)
			}
		}
		if len(pick) == 0 {
			continue
		}
		var err error
		if add {
			out, err = out.Union(pick...)
		} else {
			out, err = cutAll(out, pick)
		}
		if err != nil {
			return nil, fmt.Errorf("apply tools to the %s half: %w", h, err)
		}
	}
	return out, nil
}

// cutAll joins the tools before it cuts: one boolean on the half, which has most of the facets.
func cutAll(half *solid.Solid, tools []*solid.Solid) (*solid.Solid, error) {
	all := tools[0]
	if len(tools) > 1 {
		var err error
		if all, err = tools[0].Union(tools[1:]...); err != nil {
			return nil, err
		}
	}
	return half.Subtract(all)
}

// overshootMM is how far a tool runs past an outer face that it opens, so that no two faces coincide.
const overshootMM = 1.0

// chordMM is the largest gap between a drawn circle and its polygon: a tenth of a fine printed layer.
const chordMM = 0.005

// circleSegments is a multiple of four that keeps a circle of radius r within chordMM.
func circleSegments(r float64) int {
	const least, most = 24, 256
	if r <= chordMM {
		return least
	}
	n := math.Pi / math.Acos(1-chordMM/r)
	return min(most, max(least, 4*int(math.Ceil(n/4))))
}

// around is the polygon of n sides drawn about a circle: it contains the circle, so a hole made with it
// is nowhere narrower than asked.
func around(c r2.Vec, r float64, n int) []r2.Vec {
	return ring(c, r/math.Cos(math.Pi/float64(n)), n)
}

// DiscLoop is a circle as a loop in plan, to keep other features clear of it.
func DiscLoop(at r2.Vec, radiusMM float64) []r2.Vec {
	return around(at, radiusMM, circleSegments(radiusMM))
}

// ring is the regular polygon of n corners on a circle, counter-clockwise, its first flat facing +x.
func ring(c r2.Vec, r float64, n int) []r2.Vec {
	out := make([]r2.Vec, n)
	for i := range out {
		a := 2 * math.Pi * (float64(i) + 0.5) / float64(n)
		out[i] = r2.Vec{X: c.X + r*math.Cos(a), Y: c.Y + r*math.Sin(a)}
	}
	return out
}

// Feature is one thing built into the mould, as drawings and the ledger need it.
type Feature struct {
	Name, Kind string
	Piece      string  // "lower", "upper" or "both"
	At         r3.Vec  // mould frame, mm
	SizesMM    []Size  // in the order to show them
	VolumeMM3  float64 // liquid that it holds beside the casting; 0 for none
	Words      string
	Outline    [][]r2.Vec // seen from above, for drawings, where it is more than a spot
}

// Size is one named length of a feature, mm.
type Size struct {
	Name string
	MM   float64
}
