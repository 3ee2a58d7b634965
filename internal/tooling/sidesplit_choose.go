package tooling

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// sideWay is one way to hold a part between a whole half and two side pieces: down is the way the whole
// half leaves the casting, side the way the first side piece leaves.
type sideWay struct {
	down, side r3.Vec

	heldMM2 float64 // what neither leaves, seen along its way out
	showMM  float64 // of the line on show faces
	stands  bool    // the part has something to stand on
	lineMM  float64
}

const (
	// sideWays is how many sides are tried: 15° apart over half a turn, as the other half is the same.
	sideWays = 12
	// standShare of the part's shadow that faces the whole half within standMM of its lowest place is
	// enough to stand on: less is a keel, and the whole half then makes a mark and no more.
	standShare, standMM = 0.05, 1.0
	// wholeHalfHeld: a soft casting is stretched off the whole half once the sides are gone, but cannot
	// yield to the side pieces while the rest confines it. So what the whole half holds counts half.
	wholeHalfHeld = 0.5
	// heldStepMM2 is the least difference that decides between ways: rounding stays far below it.
	heldStepMM2 = 0.01
)

// sideTaker is a part whose ways to be held are compared by where rays from the middle of its facets go.
// Those estimates rank; the division and the proofs are exact.
type sideTaker struct {
	part   *mesh.Mesh
	show   []bool
	normal []r3.Vec // unit; zero without area
	area   []float64
	adj    mesh.Adjacency
	caught map[r3.Vec][]bool // per direction, for facets that face along it or against it
}

var sideWallSine = float64(mouldability.WallSine())

// rankSideWays lists the ways to try, the best first: that in which least is held, then least flash lies on
// show faces, then the part stands on something, then the line is shortest; of equal ones the first.
func rankSideWays(ctx context.Context, part *mesh.Mesh, o SideSplitOptions) ([]sideWay, error) {
	ups := []r3.Vec{{Z: 1}, {Z: -1}, {Y: 1}, {Y: -1}, {X: 1}, {X: -1}}
	if o.Direction != (r3.Vec{}) {
		ups = []r3.Vec{r3.Unit(o.Direction)}
	}
	var ways []sideWay
	for _, u := range ups {
		sides, err := o.sides(u)
		if err != nil {
			return nil, err
		}
		for _, s := range sides {
			ways = append(ways, sideWay{down: r3.Sub(r3.Vec{}, u), side: s})
		}
	}
	if len(ways) == 1 {
		return ways, nil
	}
	t, err := newSideTaker(ctx, part, o.Show, ways, o.Workers)
	if err != nil {
		return nil, err
	}
	for i := range ways {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		t.judge(&ways[i])
	}
	var ranked []sideWay
	for len(ways) > 0 { // "clearly better" orders no three ways, so the best is picked again and again
		best := 0
		for i := range ways {
			if ways[i].beats(ways[best]) {
				best = i
			}
		}
		ranked = append(ranked, ways[best])
		ways = slices.Delete(ways, best, best+1)
	}
	return ranked, nil
}

// wayGain is how much better a later way must be than an earlier one: the part's own axes come first, and
// a turn costs exact coordinates.
const wayGain = 0.05

// beats says whether a way is clearly better than one that was looked at before.
func (w sideWay) beats(v sideWay) bool {
	differ := func(a, b float64) bool { return math.Abs(a-b) > heldStepMM2+wayGain*max(a, b) }
	switch {
	case differ(w.heldMM2, v.heldMM2):
		return w.heldMM2 < v.heldMM2
	case differ(w.showMM, v.showMM):
		return w.showMM < v.showMM
	case w.stands != v.stands:
		return w.stands
	}
	return differ(w.lineMM, v.lineMM) && w.lineMM < v.lineMM
}

// sides are the sides to try across a direction.
func (o SideSplitOptions) sides(up r3.Vec) ([]r3.Vec, error) {
	if o.Side == (r3.Vec{}) {
		f := geom.FrameTo(up)
		out := []r3.Vec{f.X, f.Y} // exact where up is an axis
		for k := 1; k < sideWays; k++ {
			if 2*k != sideWays {
				sin, cos := math.Sincos(math.Pi * float64(k) / sideWays)
				out = append(out, f.Inverse(r3.Vec{X: cos, Y: sin}))
			}
		}
		return out, nil
	}
	s := r3.Sub(o.Side, r3.Scale(r3.Dot(o.Side, up), up))
	if l := r3.Norm(s); l > leastAcross*r3.Norm(o.Side) {
		return []r3.Vec{r3.Scale(1/l, s)}, nil
	} else if o.Direction != (r3.Vec{}) {
		return nil, fmt.Errorf("%w: the side %v runs along the opening direction %v: give one across it", ErrOptions, o.Side, o.Direction)
	}
	return nil, nil
}

// leastAcross is the share of a side that must run across the opening direction for it to say anything.
const leastAcross = 1e-3

func newSideTaker(ctx context.Context, part *mesh.Mesh, show []bool, ways []sideWay, workers int) (*sideTaker, error) {
	t := &sideTaker{part: part, show: show, adj: part.Adjacency(), caught: map[r3.Vec][]bool{}}
	t.normal, t.area = make([]r3.Vec, len(part.Tris)), make([]float64, len(part.Tris))
	for f := range part.Tris {
		tri := part.Facet(f)
		n := tri.Normal()
		if l := r3.Norm(n); l > 0 {
			t.normal[f], t.area[f] = r3.Scale(1/l, n), geom.Area(tri)
		}
	}
	var dirs []r3.Vec
	for _, w := range ways {
		for _, d := range []r3.Vec{w.down, w.side} {
			if t.caught[d] == nil {
				t.caught[d] = make([]bool, len(part.Tris))
				dirs = append(dirs, d)
			}
		}
	}
	search, err := mouldability.NewSearcher(part, show)
	if err != nil {
		return nil, err
	}
	order := search.Order()
	var mu sync.Mutex
	err = search.Caught(ctx, dirs, workers, func(i int, caught []bool) {
		mu.Lock()
		defer mu.Unlock()
		for k, f := range order {
			t.caught[dirs[i]][f] = caught[k]
		}
	})
	return t, err
}

// judge fills in what is held and how long the line is.
func (t *sideTaker) judge(w *sideWay) {
	n := len(t.normal)
	low, right, left := make([]bool, n), make([]bool, n), make([]bool, n)
	down, side := t.caught[w.down], t.caught[w.side]
	floor := math.Inf(1)
	for _, v := range t.part.Verts {
		floor = min(floor, -r3.Dot(v, w.down))
	}
	stand, shadow := 0.0, 0.0
	for f := range n {
		z, x := r3.Dot(t.normal[f], w.down), r3.Dot(t.normal[f], w.side)
		low[f] = z >= -sideWallSine && !(down[f] && z > sideWallSine)
		right[f] = x >= -sideWallSine && !(side[f] && x > sideWallSine)
		left[f] = x <= sideWallSine && !(side[f] && x < -sideWallSine)
		if z > 0 {
			shadow += z * t.area[f]
			if low[f] && z > facesDown && -r3.Dot(t.part.Facet(f).Centroid(), w.down) < floor+standMM {
				stand += z * t.area[f]
			}
		}
	}
	w.stands = stand > standShare*shadow
	at := t.splitAt(w, low, right, left)
	upper := make([]bool, n)
	for f := range n {
		z, x := r3.Dot(t.normal[f], w.down), r3.Dot(t.normal[f], w.side)
		sides := t.sideShare(f, w.side, at, right, left)
		if !low[f] || (sides > 0.5 && z < facesDown) {
			upper[f] = true
		}
		if held := (1 - sides) * t.area[f]; held > 0 && !low[f] {
			toWhole := wholeHalfHeld * t.area[f] * math.Abs(z)
			if toSides := held * max(math.Abs(x), leastHeld); toSides <= toWhole || z < -facesDown {
				w.heldMM2 += toSides
			} else {
				w.heldMM2 += toWhole
				upper[f] = false
			}
		}
	}
	t.measureLine(w, upper, at)
}

const (
	// facesDown is the cosine beyond which a facet that faces the whole half is its, though a side piece
	// could make it too: it is what the casting stands on.
	facesDown = 0.7
	// leastHeld is what a wall counts that a side piece cannot get at, as a share of its area.
	leastHeld = 0.5
)

// sideShare is how much of a facet, by its extent along the side, the side piece on each stretch can make.
func (t *sideTaker) sideShare(f int, side r3.Vec, at float64, right, left []bool) float64 {
	over := overShare(t.extent(f, side), at)
	share := 0.0
	if right[f] {
		share += over
	}
	if left[f] {
		share += 1 - over
	}
	return share
}

func (t *sideTaker) extent(f int, side r3.Vec) [2]float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range t.part.Facet(f) {
		x := r3.Dot(v, side)
		lo, hi = min(lo, x), max(hi, x)
	}
	return [2]float64{lo, hi}
}

// overShare is the share of an extent that lies beyond a place.
func overShare(e [2]float64, at float64) float64 {
	if e[1]-e[0] < touchMM {
		if e[0] >= at-touchMM {
			return 1
		}
		return 0
	}
	return max(0, min(1, (e[1]-at)/(e[1]-e[0])))
}

// splitAt is where the plane between the side pieces stands, along the side.
func (t *sideTaker) splitAt(w *sideWay, low, right, left []bool) float64 {
	var s splitPlace
	for f := range t.area {
		if right[f] != left[f] {
			weight := t.area[f]
			if low[f] {
				weight *= couldBeLow
			}
			s.add(t.extent(f, w.side), weight, right[f])
		}
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range t.part.Verts {
		x := r3.Dot(v, w.side)
		lo, hi = min(lo, x), max(hi, x)
	}
	return s.best((lo + hi) / 2)
}

// couldBeLow is how much less a facet says about the side split that the whole half can make instead.
const couldBeLow = 0.01

func (t *sideTaker) measureLine(w *sideWay, upper []bool, at float64) {
	frame := acrossFrame(w.down, w.side)
	for f, tri := range t.part.Tris {
		shown := t.show != nil && t.show[f]
		for k, g := range t.adj[f] {
			if g > int32(f) && upper[f] != upper[g] {
				l := r3.Norm(r3.Sub(t.part.Verts[tri[(k+1)%3]], t.part.Verts[tri[k]]))
				w.lineMM += l
				if shown && t.show[g] {
					w.showMM += l
				}
			}
		}
		if !upper[f] {
			continue
		}
		turned := t.part.Facet(f)
		for i, v := range turned {
			turned[i] = frame.Apply(v)
		}
		if l := lengthAt(turned, at-touchMM); l > 0 {
			w.lineMM += l
			if shown {
				w.showMM += l
			}
		}
	}
}

// splitPlace finds the place of an upright plane at which the least of some facets lies on its wrong side.
type splitPlace struct{ wants []splitWant }

type splitWant struct {
	extent [2]float64
	weight float64
	over   bool // wants to lie beyond the plane
}

func (s *splitPlace) add(extent [2]float64, weight float64, over bool) {
	s.wants = append(s.wants, splitWant{extent, weight, over})
}

// best is the place nearest to middle among the best ones. What lies wrong is piecewise linear between
// the facets' ends, so the best places are ends, or all of the stretch between two of them.
func (s *splitPlace) best(middle float64) float64 {
	type event struct{ at, slope, step float64 }
	var events []event
	total, sum := 0.0, 0.0
	for _, w := range s.wants {
		sign := 1.0
		if !w.over {
			sign = -1
			total += w.weight // all of it beyond, where the plane stands far below
		}
		sum += w.weight
		if width := w.extent[1] - w.extent[0]; width < touchMM {
			events = append(events, event{w.extent[1], 0, sign * w.weight})
		} else {
			events = append(events, event{w.extent[0], sign * w.weight / width, 0}, event{w.extent[1], -sign * w.weight / width, 0})
		}
	}
	if len(events) == 0 {
		return middle
	}
	slices.SortStableFunc(events, func(a, b event) int { return cmp.Compare(a.at, b.at) })
	type place struct{ at, wrong float64 }
	var places []place
	slope, last, least := 0.0, events[0].at, math.Inf(1)
	for i := 0; i < len(events); {
		at, right, wrong := events[i].at, 0.0, 0.0 // steps that come right once the plane is here, and wrong beyond
		total += slope * (at - last)
		for last = at; i < len(events) && events[i].at == at; i++ {
			slope += events[i].slope
			right, wrong = right+min(0, events[i].step), wrong+max(0, events[i].step)
		}
		if right < 0 {
			places = append(places, place{at, total})
		}
		total += right
		places = append(places, place{at, total})
		least = min(least, total)
		if total += wrong; wrong > 0 {
			places = append(places, place{at, total})
		}
	}
	good := func(p place) bool { return p.wrong <= least+splitSlack*sum }
	best := math.Inf(1)
	for i, p := range places {
		if !good(p) {
			continue
		}
		if math.Abs(p.at-middle) < math.Abs(best-middle) {
			best = p.at
		}
		if i+1 < len(places) && good(places[i+1]) && p.at < middle && middle < places[i+1].at {
			best = middle
		}
	}
	return best
}

// splitSlack is the rounding of summed areas, relative to their sum.
const splitSlack = 1e-9

// acrossFrame takes −down to +z and side to +x.
func acrossFrame(down, side r3.Vec) geom.Frame {
	up := r3.Sub(r3.Vec{}, down)
	return geom.Frame{X: side, Y: r3.Cross(up, side), Z: up}
}

// placeAcross brings a part into the frame of a side-split mould and does so.
func placeAcross(part *mesh.Mesh, down, side, shrinkPct r3.Vec) (*mesh.Mesh, Placing, error) {
	p := Placing{Frame: acrossFrame(down, side)}
	var err error
	if p.Scale, err = growth(shrinkPct); err != nil {
		return nil, p, err
	}
	b := part.Map(p.Into).Bounds()
	p.Offset = r3.Scale(-0.5, r3.Add(b.Min, b.Max))
	return part.Map(p.Into), p, nil
}
