package mouldability

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Searcher finds good opening directions for one part. It is built once and may be asked often and
// from several goroutines; it never changes.
//
//	s, err := mouldability.NewSearcher(part, show)
//	candidates, err := s.Search(ctx, mouldability.SearchOptions{})
//	best := candidates[0]
//	report, err := mouldability.Analyse(ctx, part, best.Direction, mouldability.AnalyseOptions{})
type Searcher struct {
	m      *mesh.Mesh
	adj    mesh.Adjacency
	vis    *visibility
	area   []float64 // per facet in the order of vis
	onShow []bool    // per facet in the order of vis
	seams  []seam
	whole  whole
}

// SearchOptions steer Search. The zero value is the sensible default.
type SearchOptions struct {
	Directions  int     // evenly spread over the hemisphere to begin with; 0 means DefaultDirections
	MinDraftDeg float64 // draft asked for; 0 means DefaultMinDraftDeg
	Keep        int     // candidates returned; 0 means DefaultKeep
	Workers     int     // 0 means one per processor; the answer doesn't depend on it
	Progress    func(done float64)
}

const (
	// DefaultDirections are 5° apart; refinement then closes in.
	DefaultDirections = 800
	// DefaultKeep is as many as a maker compares.
	DefaultKeep = 8
	// mergeDeg is the angle within which two directions are one choice at the bench.
	mergeDeg = 3
	// refineFrom is how many of the best, mergeDeg apart, are refined; each asks refineRing
	// directions a round, at half the angle of the round before.
	refineFrom   = 12
	refineRing   = 6
	refineRounds = 6
	// sameTotal is the step that totals are compared in: below it they differ by rounding.
	sameTotal = 1e-6
)

// Candidate is a direction with its score: an estimate from one sample in the middle of each facet.
// Caught areas are off by up to the facets that are caught in part; Analyse is exact.
type Candidate struct {
	Direction r3.Vec // unit; −Direction is the same mould
	Origin    Origin
	Terms     []Term
	Total     float64 // sum of the terms' points; less is better
	m         measures
}

// NewSearcher prepares m for questions; show marks the facets that must stay free of flash, or is nil.
func NewSearcher(m *mesh.Mesh, show []bool) (*Searcher, error) {
	if err := checkMesh(m); err != nil {
		return nil, err
	}
	if show != nil && len(show) != len(m.Tris) {
		return nil, fmt.Errorf("mouldability: %d show marks for %d facets", len(show), len(m.Tris))
	}
	s := &Searcher{m: m, adj: m.Adjacency(), vis: newVisibility(m)}
	b := m.Bounds()
	s.whole.diagonalMM = r3.Norm(r3.Sub(b.Max, b.Min))
	place := make([]int32, len(m.Tris))
	for i, f := range s.vis.order {
		place[f] = int32(i)
		a := geom.Area(m.Facet(int(f)))
		on := show != nil && show[f]
		s.area, s.onShow = append(s.area, a), append(s.onShow, on)
		s.whole.areaMM2 += a
		if on {
			s.whole.showMM2 += a
		}
	}
	if s.whole.areaMM2 == 0 {
		return nil, ErrEmpty
	}
	for _, f := range s.vis.order {
		for k, n := range s.adj[f] {
			if n == mesh.NoFacet || place[n] < place[f] {
				continue
			}
			t := m.Tris[f]
			l := r3.Norm(r3.Sub(m.Verts[t[(k+1)%3]], m.Verts[t[k]]))
			s.seams = append(s.seams, seam{place[f], place[n], float32(l), show != nil && show[f] && show[n]})
		}
	}
	return s, nil
}

// Search returns the best directions, best first, no two within 3° of each other, and after them every
// exact one that is not among them. It asks the part's own axes and an even spread, then refines round
// the best; what it refines gives way to an exact direction within 3° along which no more is caught. So a
// part that is turned gets the same answer, turned. The same part and options give the same answer to the
// last bit, whatever the number of workers.
func (s *Searcher) Search(ctx context.Context, opt SearchOptions) ([]Candidate, error) {
	if opt.Directions < 0 || opt.Keep < 0 || !(opt.MinDraftDeg >= 0 && opt.MinDraftDeg < 90) {
		return nil, fmt.Errorf("mouldability: search options out of range: %d directions, keep %d, draft %g°", opt.Directions, opt.Keep, opt.MinDraftDeg)
	}
	opt.Directions = cmp.Or(opt.Directions, DefaultDirections)
	opt.Keep = cmp.Or(opt.Keep, DefaultKeep)
	opt.MinDraftDeg = cmp.Or(opt.MinDraftDeg, DefaultMinDraftDeg)
	begin := starts(s.m, s.adj, opt.Directions)
	// Refinement asks a known number more, so progress can be told as a share of all.
	count := float64(len(begin) + refineFrom*refineRing*refineRounds)
	first := float64(len(begin)) / count
	found, err := s.score(ctx, begin, opt, scaled(opt.Progress, 0, first))
	if err != nil {
		return nil, fmt.Errorf("mouldability: search stopped: %w", err)
	}
	best := distinct(found, refineFrom)
	angle := math.Sqrt(2*math.Pi/float64(opt.Directions)) / 2
	for round := range refineRounds {
		part := (1 - first) / refineRounds
		if best, err = s.refine(ctx, best, angle, opt, scaled(opt.Progress, first+float64(round)*part, part)); err != nil {
			return nil, fmt.Errorf("mouldability: search stopped: %w", err)
		}
		angle /= 2
	}
	all := append(best, found...)
	best = withExact(distinct(all, opt.Keep), all)
	for i := range best {
		best[i].Terms = explain(&best[i].m, &s.whole, opt.MinDraftDeg)
	}
	return best, nil
}

// score answers for each of begin, in order.
func (s *Searcher) score(ctx context.Context, begin []start, opt SearchOptions, progress func(float64)) ([]Candidate, error) {
	out := make([]Candidate, len(begin))
	low := math.Sin(opt.MinDraftDeg * math.Pi / 180)
	err := inParallel(ctx, opt.Workers, len(begin), func() func(int) {
		w := s.vis.newSight()
		return func(i int) {
			d := begin[i].d
			w.look(d)
			c := Candidate{Direction: d, Origin: begin[i].origin, m: s.measure(w, d, low)}
			c.Total = total(&c.m, &s.whole)
			out[i] = c
		}
	}, progress)
	return out, err
}

// refine asks a ring of directions round each candidate and keeps the better.
func (s *Searcher) refine(ctx context.Context, best []Candidate, angle float64, opt SearchOptions, progress func(float64)) ([]Candidate, error) {
	var ring []start
	sin, cos := math.Sincos(angle)
	for _, c := range best {
		f := geom.FrameTo(c.Direction)
		for k := range refineRing {
			sk, ck := math.Sincos(2 * math.Pi * float64(k) / refineRing)
			ring = append(ring, start{canonical(f.Inverse(r3.Vec{X: sin * ck, Y: sin * sk, Z: cos})), Refined})
		}
	}
	found, err := s.score(ctx, ring, opt, progress)
	if err != nil {
		return nil, err
	}
	out := slices.Clone(best)
	for i, c := range found {
		if o := &out[i/refineRing]; rank(c, *o) < 0 {
			*o = c
		}
	}
	return out, nil
}

// rank orders candidates: by total, then by where they come from, then by their direction, so that
// equal scores always stand in the same order.
func rank(a, b Candidate) int {
	return cmp.Or(
		cmp.Compare(math.Round(a.Total/sameTotal), math.Round(b.Total/sameTotal)),
		cmp.Compare(a.Origin, b.Origin),
		cmp.Compare(b.Direction.Z, a.Direction.Z),
		cmp.Compare(b.Direction.Y, a.Direction.Y),
		cmp.Compare(b.Direction.X, a.Direction.X),
	)
}

// distinct returns the best n of cs of which no two are within mergeDeg. One that was searched for gives its place
// to an exact one near it that is as good.
func distinct(cs []Candidate, n int) []Candidate {
	slices.SortStableFunc(cs, rank)
	var out []Candidate
	for _, c := range cs {
		switch i := slices.IndexFunc(out, func(o Candidate) bool { return within(o, c, mergeDeg) }); {
		case i < 0 && len(out) < n:
			out = append(out, c)
		case i >= 0 && c.Origin.trust() < out[i].Origin.trust() && c.noWorse(&out[i]):
			out[i] = c
		}
	}
	return out
}

// within says whether two candidates are within an angle, opposites being one.
func within(a, b Candidate, deg float64) bool {
	return math.Abs(r3.Dot(a.Direction, b.Direction)) > math.Cos(deg*math.Pi/180)
}

// noWorse says that no more is caught along c than along o, and no more of the line runs over show faces. The
// other terms of the score are work, which an axis of the part is worth.
func (c *Candidate) noWorse(o *Candidate) bool {
	return c.m.caught <= o.m.caught+sameTotal && c.m.showCaught <= o.m.showCaught+sameTotal &&
		c.m.showParting <= o.m.showParting+showSlackMM
}

// showSlackMM of line on show faces are no difference: less than a facet's edge on most parts.
const showSlackMM = 0.5

// withExact adds the exact directions of found that best leaves out, as they rank: what is caught there only by what the
// estimate cannot see may open after all.
func withExact(best, found []Candidate) []Candidate {
	most := len(best) + mostExact
	for _, c := range found {
		if len(best) < most && c.Origin.Exact() && !slices.ContainsFunc(best, func(o Candidate) bool { return within(o, c, exactMergeDeg) }) {
			best = append(best, c)
		}
	}
	return best
}

// mostExact directions are added so: each is judged exactly where nothing opens.
const mostExact = 8

// exactMergeDeg: exact directions nearer than this are one, drawn with a rounding.
const exactMergeDeg = 0.02

// Order lists the facets in the order that Caught answers in: neighbours on the surface are mostly
// neighbours in it.
func (s *Searcher) Order() []int32 { return append([]int32(nil), s.vis.order...) }

// Caught answers for each of dirs which facets are caught at their middle when the mould opens along
// that direction and its opposite. answer is called once a direction, from several goroutines and in
// no order; caught is in the order of Order and is only valid during the call. workers 0 means one
// per processor.
func (s *Searcher) Caught(ctx context.Context, dirs []r3.Vec, workers int, answer func(i int, caught []bool)) error {
	units := make([]r3.Vec, len(dirs))
	for i, d := range dirs {
		u, err := unitDirection(d)
		if err != nil {
			return err
		}
		units[i] = u
	}
	return inParallel(ctx, workers, len(dirs), func() func(int) {
		w := s.vis.newSight()
		return func(i int) {
			w.look(units[i])
			answer(i, w.caught)
		}
	}, nil)
}

// WallSine is the |n·d| up to which Caught takes a facet for a wall and does not ask.
func WallSine() float32 { return float32(sinZeroDraft) }

// RayStartMM is how far above a facet's middle Caught begins to look, so that the facet and its
// neighbours do not catch themselves by rounding.
func RayStartMM(m *mesh.Mesh) float32 {
	b := m.Bounds()
	return float32(noiseRel * r3.Norm(r3.Sub(b.Max, b.Min)))
}
