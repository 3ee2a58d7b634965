package mouldability

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
)

// Divide splits the surface of m in two where Part's rule, that a facet goes with the half it faces, does
// not hold: where one side of the mould is soft, or the part itself is, a wall may go with the side that
// it faces away from. toLower and toUpper say for each facet what it costs, in mm of parting line, to
// give it to the lower and to the upper side; +Inf forbids it. The sum of that and of the line's own
// cost (length, climb, show faces; see Part) is made as small as it can be, by a minimum cut.
//
// Nothing is cut: the line follows edges of m. Where both sides cost the same all round, the lower side
// takes as much as it can.
func Divide(ctx context.Context, m *mesh.Mesh, toLower, toUpper []float64, opt PartOptions) (*Parting, error) {
	n := len(m.Tris)
	if len(toLower) != n || len(toUpper) != n || (opt.Show != nil && len(opt.Show) != n) {
		return nil, fmt.Errorf("mouldability: %d and %d costs and %d show marks for %d facets", len(toLower), len(toUpper), len(opt.Show), n)
	}
	if opt.ShowCost == 0 {
		opt.ShowCost = DefaultShowCost
	}
	adj := m.Adjacency()
	source := make([]int32, n)
	g := newFlow(n + 2)
	up, down := int32(n), int32(n+1)
	for f, t := range m.Tris {
		source[f] = int32(f)
		if math.IsInf(toLower[f], 1) && math.IsInf(toUpper[f], 1) || !(toLower[f] >= 0) || !(toUpper[f] >= 0) {
			return nil, fmt.Errorf("mouldability: facet %d may go to neither side (costs %g and %g)", f, toLower[f], toUpper[f])
		}
		// What is cut off from up is lower, and pays for it.
		if toLower[f] > 0 {
			g.arc(up, int32(f), quantum(toLower[f]), 0)
		}
		if toUpper[f] > 0 {
			g.arc(int32(f), down, quantum(toUpper[f]), 0)
		}
		for k, o := range adj[f] {
			if o == mesh.NoFacet || o < int32(f) {
				continue
			}
			c := quantum(opt.edgeCost(m.Verts[t[k]], m.Verts[t[(k+1)%3]], opt.on(int32(f)) && opt.on(o)))
			g.arc(int32(f), o, c, c)
		}
	}
	if err := g.saturate(ctx, up, down); err != nil {
		return nil, err
	}
	return finish(m, adj, source, g.reachable(up, false)[:n], opt)
}
