package mouldability

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// PartOptions steer the choice of the parting line. The zero value is the sensible default.
type PartOptions struct {
	// Show marks the facets that must carry no flash; nil for none.
	Show []bool
	// ShowCost is how many times longer a millimetre of parting line on a show face counts than
	// one elsewhere; 0 means DefaultShowCost.
	ShowCost float64
	// AtZMM, when not nil, cuts every wall that reaches across this height there, so that the
	// parting line runs at that height wherever a wall allows it.
	AtZMM *float64
}

// DefaultShowCost makes the line take a detour of twenty times its length before it crosses a show
// face: flash on a show face is a scrapped casting, a longer line elsewhere only more trimming.
const DefaultShowCost = 20

// WallWidthMM is the width, seen along the opening direction, under which a facet counts as part of
// a wall and may go with either half. Coordinates in a float32 file of a 100 mm part are 4e-6 mm
// apart; a micron is well above that noise and well under the 5 µm that the opening proof allows.
const WallWidthMM = 0.001

// climbCost is how many times its length a climbing metre of parting line counts on top: a
// step in the line needs a step in the parting surface, which rubs when the mould opens.
const climbCost = 4

// Parting is the division of a part's surface between the two halves of a mould that open along +z
// and −z: the upper half touches the facets marked Upper, the lower half the rest.
type Parting struct {
	Mesh   *mesh.Mesh // the part's surface; walls may be cut at the height of the line
	Source []int32    // for each facet of Mesh the facet of the input that it lies on
	Upper  []bool     // for each facet of Mesh whether it belongs to the upper half
	Loops  []Loop     // the parting line, outer loop first, then by decreasing area
	// LengthMM is the length of all loops; ShowLengthMM of the part with show faces on both sides.
	LengthMM, ShowLengthMM float64
	// MinZ and MaxZ bound the height of the loops in mm.
	MinZ, MaxZ float64

	cost float64 // of the line, by the rule that the minimum cut minimises
}

// Loop is one closed run of mesh edges, the upper half's facets on its left seen from outside the
// part. Seen along −z the outer loop runs counter-clockwise and the loop of a through-hole clockwise.
type Loop struct {
	Verts   []uint32
	AreaMM2 float64 // signed area in the projection along z
}

// ErrOneSided says that all facets face one way, which no closed part does.
var ErrOneSided = errors.New("mouldability: every facet faces the same way; the mesh is not a closed part")

// Part divides m, whose opening direction is +z, between two halves so that the parting line is as
// short, as level and as far from show faces as the surface allows. Facets that clearly face up or
// down have no choice; wall facets are divided by a minimum cut, whose cost is the length of the
// line. Part does not judge undercuts: use Analyse for that.
func Part(ctx context.Context, m *mesh.Mesh, opt PartOptions) (*Parting, error) {
	if opt.ShowCost == 0 {
		opt.ShowCost = DefaultShowCost
	}
	if opt.Show != nil && len(opt.Show) != len(m.Tris) {
		return nil, fmt.Errorf("mouldability: %d show marks for %d facets", len(opt.Show), len(m.Tris))
	}
	source := make([]int32, len(m.Tris))
	for i := range source {
		source[i] = int32(i)
	}
	if opt.AtZMM != nil {
		cm, cs := cutWalls(m, source, *opt.AtZMM)
		return bestLabels(ctx, cm, cs, opt)
	}
	best, err := bestLabels(ctx, m, source, opt)
	if err != nil {
		return nil, err
	}
	for _, z := range levels(best) {
		cm, cs := cutWalls(m, source, z)
		if len(cm.Tris) == len(m.Tris) {
			continue
		}
		p, err := bestLabels(ctx, cm, cs, opt)
		if err != nil {
			return nil, err
		}
		// A cut must earn its place: without a margin, rounding would cut walls for nothing.
		if p.cost < best.cost*(1-1e-6) {
			best = p
		}
	}
	return best, nil
}

// maxLevels bounds the heights that Part tries to cut walls at; each costs one minimum cut.
const maxLevels = 6

// levels are the heights at which the line is level over the longest distance, longest first.
func levels(p *Parting) []float64 {
	const step = 1e-6 // heights closer than a nanometre are one
	sum := map[int64]float64{}
	for _, l := range p.Loops {
		for i, a := range l.Verts {
			va, vb := p.Mesh.Verts[a], p.Mesh.Verts[l.Verts[(i+1)%len(l.Verts)]]
			if math.Abs(va.Z-vb.Z) < step {
				sum[int64(math.Round(va.Z/step))] += r3.Norm(r3.Sub(vb, va))
			}
		}
	}
	keys := sortedKeys(sum)
	// A stable selection: longest first, lower height first among equals.
	for i := range min(maxLevels, len(keys)) {
		for j := i + 1; j < len(keys); j++ {
			if sum[keys[j]] > sum[keys[i]] {
				keys[i], keys[j] = keys[j], keys[i]
			}
		}
	}
	out := make([]float64, min(maxLevels, len(keys)))
	for i := range out {
		out[i] = float64(keys[i]) * step
	}
	return out
}

func (o PartOptions) on(source int32) bool { return o.Show != nil && o.Show[source] }

// askedCost makes line at the height that the maker asked for ten times cheaper than elsewhere.
const askedCost = 0.1

// edgeCost is the price in mm of running the line along the edge from a to b.
func (o PartOptions) edgeCost(a, b r3.Vec, show bool) float64 {
	c := r3.Norm(r3.Sub(b, a)) + climbCost*math.Abs(b.Z-a.Z)
	if show {
		c *= o.ShowCost
	}
	if o.AtZMM != nil && a.Z == *o.AtZMM && b.Z == *o.AtZMM {
		c *= askedCost
	}
	return c
}

// bestLabels solves the minimum cut and keeps, of its two extreme solutions (all undecided walls
// with the lower half, or with the upper half), the one with the more level line; the lower half
// takes the walls when both are as level, since a cavity in the lower half is the easier to pour.
func bestLabels(ctx context.Context, m *mesh.Mesh, source []int32, opt PartOptions) (*Parting, error) {
	adj := m.Adjacency()
	low, high, err := minimumCut(ctx, m, adj, source, opt)
	if err != nil {
		return nil, err
	}
	a, err := finish(m, adj, source, low, opt)
	if err != nil || slices.Equal(low, high) {
		return a, err
	}
	b, err := finish(m, adj, source, high, opt)
	if err != nil {
		return nil, err
	}
	const level = 1e-6
	if b.MaxZ-b.MinZ < a.MaxZ-a.MinZ-level {
		return b, nil
	}
	return a, nil
}

// finish traces and measures the loops of a labelling.
func finish(m *mesh.Mesh, adj mesh.Adjacency, source []int32, upper []bool, opt PartOptions) (*Parting, error) {
	p := &Parting{Mesh: m, Source: source, Upper: upper, MinZ: math.Inf(1), MaxZ: math.Inf(-1)}
	loops, err := traceLoops(m, adj, upper)
	if err != nil {
		return nil, err
	}
	if len(loops) == 0 {
		return nil, ErrOneSided
	}
	p.Loops = loops
	for f, t := range m.Tris {
		for k, g := range adj[f] {
			if g == mesh.NoFacet || !upper[f] || upper[g] {
				continue
			}
			a, b := m.Verts[t[k]], m.Verts[t[(k+1)%3]]
			d := r3.Norm(r3.Sub(b, a))
			show := opt.on(source[f]) && opt.on(source[g])
			p.LengthMM += d
			if show {
				p.ShowLengthMM += d
			}
			p.cost += opt.edgeCost(a, b, show)
			p.MinZ, p.MaxZ = min(p.MinZ, a.Z, b.Z), max(p.MaxZ, a.Z, b.Z)
		}
	}
	return p, nil
}

// Outline gives a loop's projection along z in mm.
func (p *Parting) Outline(l Loop) []r2.Vec {
	out := make([]r2.Vec, len(l.Verts))
	for i, v := range l.Verts {
		out[i] = r2.Vec{X: p.Mesh.Verts[v].X, Y: p.Mesh.Verts[v].Y}
	}
	return out
}
