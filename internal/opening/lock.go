package opening

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// gapStepShare groups travels nearer than this share of the tolerance (5 nm by default) when the
	// first wide contact is sought.
	gapStepShare = 1e-3
	// listShare: facets are listed as locking when the middle of their overlap lies deeper than this
	// share of the tolerance inside the whole, or their overlap is wide by itself.
	listShare = 0.25
)

// lock is a wide overlap, in the frame of travel.
type lock struct {
	travel                  float64
	at                      r3.Vec
	moving, fixed           []int32
	depth, depthError, area float64
}

// judge decides whether overlaps, sorted by gap, are wider than the tolerance together.
type judge struct {
	tolMM   float64
	workers int
}

// halfMM is the radius of the disc that must not fit in the union, which is grown by eps.
func (j judge) halfMM() float64 { return j.tolMM/2 + j.tolMM*growShare }

func (j judge) goal() discGoal { return discGoal{FloorMM: discFloorShare * j.tolMM} }

// tooWide reads a bound: a disc above the tolerance fits, or the search ended before it could be
// ruled out to its stated precision. Doubt counts as a lock.
func (j judge) tooWide(d discBound) bool {
	return d.Hi > j.halfMM()+discFloorShare*j.tolMM
}

// suspects keeps the overlaps that a disc as wide as the tolerance could touch. If strips cover a
// disc, their widths add up to at least its diameter (Bang's theorem on planks), and a polygon lies
// in a strip of its own width. All polygons that such a disc touches are within its diameter of each
// other. So a polygon is out of the question when the widths of all polygons that near do not add up
// to the tolerance. This settles the slivers that rounding leaves along walls.
func (j judge) suspects(ctx context.Context, all []overlap) ([]overlap, error) {
	boxes := make([]r2.Box, len(all))
	for i := range all {
		boxes[i] = polygonBox(all[i].poly)
	}
	tree := newBoxTree(boxes)
	shares, err := inChunks(ctx, len(all), 512, j.workers, nil, func(lo, hi int) []overlap {
		var out []overlap
		for i := lo; i < hi; i++ {
			sum := all[i].width
			if sum < j.tolMM {
				sum = 0
				tree.visit(growBox(boxes[i], j.tolMM), func(k int32) bool {
					sum += all[k].width
					return sum < j.tolMM
				})
			}
			if sum >= j.tolMM {
				out = append(out, all[i])
			}
		}
		return out
	})
	if err != nil {
		return nil, err
	}
	return slices.Concat(shares...), nil
}

// lock gives the wide overlap in all, or nil if there is none. all is sorted by gap.
func (j judge) lock(ctx context.Context, all []overlap) (*lock, error) {
	set, err := j.suspects(ctx, all)
	if err != nil || len(set) == 0 {
		return nil, err
	}
	u, err := newRegionUnion(ctx, polygons(set), j.tolMM, j.workers)
	if err != nil {
		return nil, err
	}
	disc, err := u.largestDisc(ctx, seeds(set), j.goal())
	if err != nil || !j.tooWide(disc) {
		return nil, err
	}
	out := &lock{
		depth:      2 * max(0, disc.Lo-u.eps),
		depthError: 2 * (disc.Hi - disc.Lo + u.eps),
		area:       u.areaMM2(),
	}
	first, err := j.firstContact(ctx, set)
	if err != nil {
		return nil, err
	}
	out.travel, out.at = first.gap, first.at
	err = j.listFacets(ctx, out, set, u)
	return out, err
}

// firstContact finds the smallest travel at which the overlaps met so far are too wide together, and
// gives the widest overlap that meets there.
func (j judge) firstContact(ctx context.Context, set []overlap) (overlap, error) {
	// ends[g] is the number of overlaps in the first g+1 groups of nearly the same gap.
	var ends []int
	step := j.tolMM * gapStepShare
	for i := range set {
		if len(ends) > 0 && set[i].gap-set[groupStart(ends, len(ends)-1)].gap <= step {
			ends[len(ends)-1] = i + 1
			continue
		}
		ends = append(ends, i+1)
	}
	hi := len(ends) - 1
	for g := range ends {
		if slices.ContainsFunc(set[groupStart(ends, g):ends[g]], j.wideAlone) {
			hi = g
			break
		}
	}
	// Group hi is enough. Look for an earlier one where narrow overlaps add up.
	lo := 0
	if hi > 0 {
		wide, err := j.wideTogether(ctx, set[:ends[hi-1]])
		if err != nil {
			return overlap{}, err
		}
		if !wide {
			lo = hi
		} else {
			hi--
		}
	}
	for lo < hi {
		mid := (lo + hi) / 2
		wide, err := j.wideTogether(ctx, set[:ends[mid]])
		if err != nil {
			return overlap{}, err
		}
		if wide {
			hi = mid
		} else {
			lo = mid + 1
		}
	}
	group := set[groupStart(ends, hi):ends[hi]]
	best := group[0]
	for _, o := range group[1:] {
		if o.width > best.width {
			best = o
		}
	}
	best.gap = group[0].gap
	return best, nil
}

func groupStart(ends []int, g int) int {
	if g == 0 {
		return 0
	}
	return ends[g-1]
}

func (j judge) wideAlone(o overlap) bool { return o.discLo > j.tolMM/2 }

func (j judge) wideTogether(ctx context.Context, all []overlap) (bool, error) {
	set, err := j.suspects(ctx, all)
	if err != nil || len(set) == 0 {
		return false, err
	}
	u, err := newRegionUnion(ctx, polygons(set), j.tolMM, j.workers)
	if err != nil {
		return false, err
	}
	goal := j.goal()
	goal.EnoughMM = j.halfMM() + discFloorShare*j.tolMM
	disc, err := u.largestDisc(ctx, seeds(set), goal)
	return j.tooWide(disc), err
}

func (j judge) listFacets(ctx context.Context, out *lock, set []overlap, u *regionUnion) error {
	shares, err := inChunks(ctx, len(set), 512, j.workers, nil, func(lo, hi int) []int {
		var keep []int
		for i := lo; i < hi; i++ {
			if j.wideAlone(set[i]) || u.depthAt(polygonMiddle(set[i].poly)) > u.eps+listShare*j.tolMM {
				keep = append(keep, i)
			}
		}
		return keep
	})
	if err != nil {
		return err
	}
	for _, i := range slices.Concat(shares...) {
		out.moving = append(out.moving, set[i].moving)
		out.fixed = append(out.fixed, set[i].fixed)
	}
	slices.Sort(out.moving)
	out.moving = slices.Compact(out.moving)
	slices.Sort(out.fixed)
	out.fixed = slices.Compact(out.fixed)
	return nil
}

func polygons(set []overlap) [][]r2.Vec {
	out := make([][]r2.Vec, len(set))
	for i := range set {
		out[i] = set[i].poly
	}
	return out
}

func seeds(set []overlap) []r2.Vec {
	out := make([]r2.Vec, len(set))
	for i := range set {
		out[i] = polygonMiddle(set[i].poly)
	}
	return out
}

// widest is the greatest width of a single overlap.
func widest(all []overlap) float64 {
	w := math.Inf(-1)
	for i := range all {
		w = max(w, all[i].width)
	}
	return max(0, w)
}
