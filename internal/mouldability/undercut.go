package mouldability

import (
	"context"
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Half says whose material has to give: the half that reaches an undercut's deepest point first.
type Half uint8

const (
	NoHalf     Half = 0 // sealed: no mould material gets in
	UpperHalf  Half = 1 // the half that leaves along +d
	LowerHalf  Half = 2 // the half that leaves along −d
	BothHalves Half = 3 // a void that opens sideways: the halves meet in it and each is held
)

func (h Half) String() string {
	return [...]string{"none", "upper half", "lower half", "both halves"}[h&3]
}

// Undercut is one connected group of facets that bound a void from which nothing gets out along ±d.
// The floor and the roof of a void belong to one undercut.
type Undercut struct {
	Facets []int32 // ascending; without those that only a sliver narrower than the noise is caught of
	// AreaMM2 is the caught area on the surface; FloorMM2 and RoofMM2 are the same seen along the
	// direction, floors facing +d and roofs −d. They are equal on a closed mesh, and their
	// difference bounds the error of the figures.
	AreaMM2, FloorMM2, RoofMM2 float64
	// VolumeMM3 is the volume of the void between floor and roof.
	VolumeMM3 float64
	// DepthMM is how far sideways mould material has to give way to get out: the longest of the
	// shortest ways inside the void, in the projection, to where the column is open above or
	// below. +Inf when Sealed. True depth lies within ± DepthErrorMM, but for steep slits of a few
	// hundredths of a millimetre, which the columns can't follow: there it is an order of size.
	DepthMM, DepthErrorMM float64
	Sealed                bool // a hollow inside the part: it can't be cast as one solid at all
	Holds                 Half
	Centroid              r3.Vec // of the caught surface, in the part's own coordinates
	Bounds                r3.Box // of the caught surface, in the part's own coordinates
	regions               []region
}

// gatherUndercuts joins caught facets that share an edge or face each other across a void.
// Undercuts narrower than tol are dismissed: their caught area is returned instead.
func gatherUndercuts(p *projection, adj mesh.Adjacency, all []caught, tol float64) (list []Undercut, dismissedMM2 float64) {
	index := make([]int32, len(p.facing)) // facet → place in all, plus one
	for i := range all {
		index[all[i].facet] = int32(i) + 1
	}
	sets := mesh.NewDisjointSets(len(all))
	for i := range all {
		c := &all[i]
		for _, n := range adj[c.facet] {
			if n != mesh.NoFacet && index[n] != 0 {
				sets.Join(int32(i), index[n]-1)
			}
		}
		for _, n := range c.links {
			if index[n] != 0 {
				sets.Join(int32(i), index[n]-1)
			}
		}
	}
	members := make([][]int32, len(all))
	for i := range all {
		r := sets.Root(int32(i))
		members[r] = append(members[r], int32(i))
	}
	for _, ms := range members {
		if len(ms) == 0 {
			continue
		}
		u := sumUndercut(p, all, ms)
		if meanWidth(p, all, ms, u) < tol {
			dismissedMM2 += u.AreaMM2
			continue
		}
		list = append(list, u)
	}
	return list, dismissedMM2
}

func sumUndercut(p *projection, all []caught, ms []int32) (u Undercut) {
	var centre r3.Vec
	for k, i := range ms {
		c := &all[i]
		a := c.areaMM2(p)
		if c.isBand(p) {
			u.Facets = append(u.Facets, c.facet)
		}
		u.AreaMM2 += a
		if p.facing[c.facet] == Up {
			u.FloorMM2 += c.m.A
			u.VolumeMM3 -= c.heightIntegral(p)
		} else {
			u.RoofMM2 += c.m.A
			u.VolumeMM3 += c.heightIntegral(p)
		}
		at := xy(p.verts[p.m.Tris[c.facet][0]])
		v := r2.Vec{X: c.m.X / c.m.A, Y: c.m.Y / c.m.A}
		z := p.planeOf(int(c.facet), at).at(v)
		centre = r3.Add(centre, r3.Scale(a, p.world(r3.Vec{X: v.X + at.X, Y: v.Y + at.Y, Z: z})))
		if k == 0 {
			u.Bounds = c.bounds
		}
		u.Bounds = grow(grow(u.Bounds, c.bounds.Min), c.bounds.Max)
		if c.region.flat != nil {
			u.regions = append(u.regions, c.region)
		}
	}
	u.Centroid = r3.Scale(1/u.AreaMM2, centre)
	return u
}

// meanWidth is at least the mean width of the caught band seen along the direction: its area over
// the diagonal of its box, which no band is longer than unless it winds.
func meanWidth(p *projection, all []caught, ms []int32, u Undercut) float64 {
	if len(u.regions) == 0 || len(u.Facets) == 0 { // nothing but slivers
		return 0
	}
	b := u.plan()
	return u.FloorMM2 / max(r2.Norm(r2.Sub(b.Max, b.Min)), p.noise)
}

// plan is the box round the undercut's floors, seen along the direction.
func (u *Undercut) plan() r2.Box {
	all := r2.Box{Min: r2.Vec{X: math.Inf(1), Y: math.Inf(1)}, Max: r2.Vec{X: math.Inf(-1), Y: math.Inf(-1)}}
	for i := range u.regions {
		u.regions[i].each(func(poly []r2.Vec) {
			b := boxOf(poly)
			all.Min = r2.Vec{X: min(all.Min.X, b.Min.X), Y: min(all.Min.Y, b.Min.Y)}
			all.Max = r2.Vec{X: max(all.Max.X, b.Max.X), Y: max(all.Max.Y, b.Max.Y)}
		})
	}
	return all
}

// sealedFacets marks the facets of shells that bound a hollow: their signed volume is negative.
func sealedFacets(m *mesh.Mesh, adj mesh.Adjacency) []bool {
	sets := mesh.NewDisjointSets(len(m.Tris))
	for f := range adj {
		for _, n := range adj[f] {
			if n != mesh.NoFacet {
				sets.Join(int32(f), n)
			}
		}
	}
	b := m.Bounds()
	c := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	vol := make([]float64, len(m.Tris))
	for f := range m.Tris {
		t := m.Facet(f)
		vol[sets.Root(int32(f))] += r3.Dot(r3.Sub(t[0], c), r3.Cross(r3.Sub(t[1], c), r3.Sub(t[2], c)))
	}
	sealed := make([]bool, len(m.Tris))
	for f := range sealed {
		sealed[f] = vol[sets.Root(int32(f))] < 0
	}
	return sealed
}

// describeUndercuts adds what needs the void and not only its boundary: depth, sealing, who is held.
func describeUndercuts(ctx context.Context, p *projection, list []Undercut, adj mesh.Adjacency, opt AnalyseOptions, progress func(float64)) error {
	if len(list) == 0 {
		return nil
	}
	slices.SortFunc(list, func(a, b Undercut) int {
		switch {
		case a.AreaMM2 != b.AreaMM2 && a.AreaMM2 > b.AreaMM2:
			return -1
		case a.AreaMM2 != b.AreaMM2:
			return 1
		}
		return int(a.Facets[0] - b.Facets[0])
	})
	sealed := sealedFacets(p.m, adj)
	grids := [2]*facetGrid{newFacetGrid(p, Up), newFacetGrid(p, Down)}
	return inParallel(ctx, opt.Workers, len(list), func() func(int) {
		d := &diver{p: p, grids: grids, stamp: make([]int32, len(p.facing))}
		return func(i int) {
			u := &list[i]
			u.Sealed = true
			for _, f := range u.Facets {
				u.Sealed = u.Sealed && sealed[f]
			}
			if u.Sealed {
				u.DepthMM = math.Inf(1)
			} else {
				cells := opt.DepthCells
				if i >= fineUndercuts {
					cells /= 16
				}
				d.dive(ctx, int32(i)+1, u, cells)
			}
			u.regions = nil
		}
	}, progress)
}

// fineUndercuts is how many of the largest undercuts get the full number of cells; a mesh with
// thousands of small ones would else spend minutes on what nobody reads. Their error is stated.
const fineUndercuts = 16
