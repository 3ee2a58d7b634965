package fill

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// ThinQuestion asks where the cavity is so thin that the resin may not run in before it gels.
type ThinQuestion struct {
	Up            r3.Vec  // zero means +z
	BelowMM       float64 // walls thinner than this are looked at; 0 means 3
	CupMM         float64 // height of the resin in the cup over the cavity's lowest point
	ViscosityMPaS float64
	DensityGML    float64 // 0 means 1.1
	AllowedS      float64 // time there is
}

// ThinSection is a connected part of the cavity between walls close to each other.
type ThinSection struct {
	At       r3.Vec  `json:"at"`        // the place farthest from thicker space
	LeastMM  float64 `json:"least_mm"`  // thickness
	MeanMM   float64 `json:"mean_mm"`   // thickness, by area
	LengthMM float64 `json:"length_mm"` // the way the resin has to run in it
	AreaMM2  float64 `json:"area_mm2"`  // of one wall
	HeadKPa  float64 `json:"head_kpa"`  // that drives it
	SecondsS float64 `json:"seconds"`   // 0 when no head drives it
	InTime   bool    `json:"in_time"`
	Words    string  `json:"words"`
}

const (
	defaultThinMM = 3
	// facing is the cosine that the normals of two walls of a thin section must beat: the parallel
	// law holds for walls within 30° of parallel to 15 %.
	facing = 0.866
)

// ThinSections lists the thin parts, the slowest first. From the middle of every facet a ray goes
// straight in to the wall across; facets that see a wall nearer than BelowMM belong to a thin section
// with their neighbours. The resin has to run from the nearest thicker space to the farthest place,
// measured over the middles of facets, in a gap as wide as the mean thickness, driven by the head
// over that place.
//
// Large facets are measured at their middles only.
func (c *Cavity) ThinSections(ctx context.Context, q ThinQuestion) ([]ThinSection, error) {
	if r3.Norm(q.Up) == 0 {
		q.Up = r3.Vec{Z: 1}
	}
	if q.BelowMM == 0 {
		q.BelowMM = defaultThinMM
	}
	if q.DensityGML == 0 {
		q.DensityGML = defaultDensityGML
	}
	for _, v := range []struct {
		name  string
		value float64
	}{{"the viscosity in mPa·s", q.ViscosityMPaS}, {"the density in g/mL", q.DensityGML}, {"the thickness looked at in mm", q.BelowMM}, {"the time there is in s", q.AllowedS}} {
		if !(v.value > 0) || math.IsInf(v.value, 0) {
			return nil, &OptionError{v.name, v.value, "above 0"}
		}
	}
	thick, err := c.thickness(ctx, q.BelowMM)
	if err != nil {
		return nil, err
	}
	out := c.thinRegions(q, thick)
	slices.SortStableFunc(out, func(a, b ThinSection) int { return cmp.Compare(b.wait(), a.wait()) })
	return out, nil
}

// thickness of the cavity at each facet, +Inf where it is not below the limit or the wall across is
// not parallel.
func (c *Cavity) thickness(ctx context.Context, limit float64) ([]float64, error) {
	out := make([]float64, len(c.mesh.Tris))
	for f := range out {
		if f&1023 == 0 && ctx.Err() != nil {
			return nil, fmt.Errorf("look for thin sections: %w", ctx.Err())
		}
		out[f] = math.Inf(1)
		n := r3.Unit(c.normal(f))
		if math.IsNaN(n.X) {
			continue
		}
		in := r3.Scale(-1, n)
		hit, ok := c.tree.FirstHit(c.mesh.Facet(f).Centroid(), in, islandGap*c.sizeMM, limit)
		if ok && hit.Facet != f && r3.Dot(r3.Unit(c.normal(hit.Facet)), in) > facing {
			out[f] = hit.T
		}
	}
	return out, nil
}

// thinRegions gathers thin facets that hang together.
func (c *Cavity) thinRegions(q ThinQuestion, thick []float64) (out []ThinSection) {
	adj := c.mesh.Adjacency()
	seen := make([]bool, len(thick))
	low := math.Inf(1)
	for _, v := range c.mesh.Verts {
		low = min(low, r3.Dot(v, r3.Unit(q.Up)))
	}
	for f := range thick {
		if seen[f] || math.IsInf(thick[f], 1) {
			continue
		}
		seen[f] = true
		region := []int32{int32(f)}
		for at := 0; at < len(region); at++ {
			for _, g := range adj[region[at]] {
				if g != mesh.NoFacet && !seen[g] && !math.IsInf(thick[g], 1) {
					seen[g] = true
					region = append(region, g)
				}
			}
		}
		s := c.thinSection(region, thick, adj)
		if s.LengthMM <= 0 {
			continue
		}
		s.HeadKPa = HeadKPa(q.DensityGML, q.CupMM-(r3.Dot(s.At, r3.Unit(q.Up))-low))
		s.judge(q)
		out = append(out, s)
	}
	return out
}

// way is a facet reached from thicker space.
type way struct {
	far   float64
	facet int32
}

func (a way) Before(b way) bool { return a.far < b.far || (a.far == b.far && a.facet < b.facet) }

// thinSection measures a region: the longest of the shortest ways from its mouths.
func (c *Cavity) thinSection(region []int32, thick []float64, adj mesh.Adjacency) ThinSection {
	s := ThinSection{LeastMM: math.Inf(1)}
	far := map[int32]float64{}
	var todo queue[way]
	for _, f := range region {
		a := geom.Area(c.mesh.Facet(int(f)))
		s.AreaMM2 += a
		s.MeanMM += a * thick[f]
		s.LeastMM = min(s.LeastMM, thick[f])
		far[f] = math.Inf(1)
		for k, g := range adj[f] {
			if g == mesh.NoFacet || !math.IsInf(thick[g], 1) {
				continue
			}
			// A mouth, unless the neighbour is the wall that ends the gap.
			if !c.endsGap(int(f), int(g), thick[f]) {
				t := c.mesh.Tris[f]
				edge := r3.Scale(0.5, r3.Add(c.mesh.Verts[t[k]], c.mesh.Verts[t[(k+1)%3]]))
				d := r3.Norm(r3.Sub(edge, c.mesh.Facet(int(f)).Centroid()))
				if d < far[f] {
					far[f] = d
				}
			}
		}
		if !math.IsInf(far[f], 1) {
			todo.push(way{far[f], f})
		}
	}
	s.MeanMM /= s.AreaMM2
	for len(todo) > 0 {
		w := todo.pop()
		if w.far > far[w.facet] {
			continue
		}
		at := c.mesh.Facet(int(w.facet)).Centroid()
		if w.far > s.LengthMM {
			s.LengthMM, s.At = w.far, at
		}
		for _, g := range adj[w.facet] {
			if g == mesh.NoFacet {
				continue
			}
			d, in := far[g]
			if n := w.far + r3.Norm(r3.Sub(c.mesh.Facet(int(g)).Centroid(), at)); in && n < d {
				far[g] = n
				todo.push(way{n, g})
			}
		}
	}
	if len(far) > 0 && s.LengthMM == 0 {
		// No mouth: the cavity is thin all over. The way is then its size.
		s.LengthMM, s.At = c.sizeMM, c.mesh.Facet(int(region[0])).Centroid()
	}
	return s
}

// endsGap says whether neighbour g of thin facet f closes the gap at its rim: a narrow strip across
// it, turned toward the gap.
func (c *Cavity) endsGap(f, g int, thick float64) bool {
	inward := r3.Dot(r3.Unit(c.normal(g)), r3.Unit(c.normal(f)))
	if math.Abs(inward) > 0.7 {
		return false
	}
	n := r3.Unit(c.normal(f))
	lo, hi := math.Inf(1), math.Inf(-1)
	base := r3.Dot(c.mesh.Facet(f)[0], n)
	for _, v := range c.mesh.Facet(g) {
		h := r3.Dot(v, n) - base
		lo, hi = min(lo, h), max(hi, h)
	}
	// Across the gap lies between 0 and −thick; a wall that goes on past it leads to thicker space.
	return hi < 0.1*thick && lo > -1.1*thick
}

// wait is the time for sorting: without a head the resin never comes.
func (s *ThinSection) wait() float64 {
	if s.HeadKPa <= 0 {
		return math.Inf(1)
	}
	return s.SecondsS
}

func (s *ThinSection) judge(q ThinQuestion) {
	if s.HeadKPa > 0 {
		s.SecondsS = GapTimeS(s.MeanMM, s.LengthMM, s.HeadKPa, q.ViscosityMPaS)
		s.InTime = s.SecondsS <= q.AllowedS
	}
	s.Words = fmt.Sprintf("section %.2f mm thick (%.2f at the thinnest), %.0f mm to run, near %s: ", s.MeanMM, s.LeastMM, s.LengthMM, place(s.At))
	switch {
	case !(s.HeadKPa > 0):
		s.Words += "the resin in the cup does not stand above it"
	case s.InTime:
		s.Words += fmt.Sprintf("fills in %.1f s", s.SecondsS)
	default:
		s.Words += fmt.Sprintf("takes %.0f s, only %.0f s are left: it will not fill", s.SecondsS, q.AllowedS)
	}
}
