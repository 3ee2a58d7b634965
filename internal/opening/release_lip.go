package opening

import (
	"cmp"
	"math"
	"slices"

	"mouldwright/internal/geom"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// sideSamples is how many of the largest catching facets are looked at for the way out.
	sideSamples = 24
	// sideTurns is how many ways round each of them looks.
	sideTurns = 72
	// rootThickens is how much thicker than the lip its root is: where the thickness jumps by half or
	// more, the lip ends.
	rootThickens = 1.5
	// lipSteps is how finely the length of a lip is looked at before it is halved down.
	lipSteps = 400
)

// measureSide measures a catch that does not go all round: which way it opens, how deep it is, and
// whether the wall behind it is a lip that can bend.
func (r *region) measureSide(c Catch) {
	s := &r.shape
	samples := r.sideSamples()
	side := r.squareToWall(r.wayOut(samples), samples)
	if side == (r3.Vec{}) {
		s.DepthMM, s.DepthErrorMM = r.extentAlong(r3.Vec{X: 1}), 0
		s.DepthMM = max(s.DepthMM, r.extentAlong(r3.Vec{Y: 1})) / 2
		return
	}
	s.Side = r.frame.Inverse(side)
	s.DepthMM = r.extentAlong(side)
	s.WidthMM = r.extentAlong(r3.Vec{X: -side.Y, Y: side.X})
	closed := r3.Scale(-1, side)
	var walls, stretch, heights, lips []float64
	for _, p := range samples {
		wall, total, height, back := r.behind(p.at, p.normal, closed)
		if wall <= 0 {
			continue
		}
		walls, stretch, heights = append(walls, wall), append(stretch, total), append(heights, height)
		if back >= 0 {
			s.BackFacets = append(s.BackFacets, back)
		}
		if l, ok := r.lipLength(p, closed, wall); ok {
			lips = append(lips, l)
		}
	}
	s.WallMM, s.StretchMM, s.StretchHeightMM = median(walls), median(stretch), median(heights)
	if 2*len(lips) > len(walls) {
		s.LipMM = median(lips)
	}
}

const (
	// lipSectors is how many parts a catch that bends round its middle is looked at in.
	lipSectors = 12
	// bentShare: where the parts are less deep than this share of the whole, the lip runs round a bend, and its
	// depth is that of the deepest part. A straight lip is as deep in parts as whole.
	bentShare = 0.7
)

// followLip measures a lip that runs round corners part by part, along itself: measured as one, it would be as deep as
// the part is wide. The worst part decides.
func (r *region) followLip(c Catch) error {
	sector := func(f int32) int {
		p := r3.Sub(r.facet(f).Centroid(), r.centre)
		k := int((math.Atan2(p.Y, p.X)/(2*math.Pi) + 0.5) * lipSectors)
		return min(max(k, 0), lipSectors-1)
	}
	parts := make([][]int32, lipSectors)
	for _, f := range slices.Concat(r.catching, r.opposite) {
		k := sector(f)
		parts[k] = append(parts[k], f)
	}
	against := func(f int32) bool { return r.facet(f).Normal().Z < 0 }
	var worst *Shape
	width := 0.0
	var backs []int32
	for _, facets := range parts {
		if !slices.ContainsFunc(facets, against) {
			continue
		}
		p, err := r.region(Catch{Piece: c.Piece, Exit: c.Exit, Facets: facets})
		if err != nil {
			return err
		}
		p.measureSide(c)
		width += p.shape.WidthMM
		backs = append(backs, p.shape.BackFacets...)
		if worst == nil || p.shape.stiffness() > worst.stiffness() {
			worst = &p.shape
		}
	}
	if worst == nil || worst.DepthMM >= bentShare*r.shape.DepthMM {
		return nil
	}
	whole := r.shape
	r.shape = *worst
	r.shape.AreaMM2, r.shape.SlopeDeg, r.shape.WidthMM, r.shape.BackFacets = whole.AreaMM2, whole.SlopeDeg, width, backs
	return nil
}

// stiffness orders catches that are no rings by the strain that they ask for: bent as a lip, else squeezed.
func (s *Shape) stiffness() float64 {
	switch {
	case s.LipMM > 0:
		return LipStrain(s.LipMM, s.WallMM, s.DepthMM)
	case s.WallMM > 0:
		return SqueezeStrain(s.DepthMM, s.WallMM)
	}
	return s.DepthMM
}

// extentAlong is how far the caught surface reaches along a direction: that of the catching facets,
// or of those across the void where these are less.
func (r *region) extentAlong(dir r3.Vec) float64 {
	span := func(facets []int32) (lo, hi float64) {
		lo, hi = math.Inf(1), math.Inf(-1)
		for _, f := range facets {
			for _, v := range r.facet(f) {
				x := r3.Dot(v, dir)
				lo, hi = min(lo, x), max(hi, x)
			}
		}
		return lo, hi
	}
	lo, hi := span(r.catching)
	if l, h := span(r.opposite); l < h && max(l, lo) < min(h, hi) {
		lo, hi = max(l, lo), min(h, hi)
	}
	return hi - lo
}

// surfacePoint is a place on a catching facet.
type surfacePoint struct{ at, normal r3.Vec }

// sideSamples are the middles of the largest catching facets.
func (r *region) sideSamples() []surfacePoint {
	type sized struct {
		facet int32
		area  float64
	}
	list := make([]sized, len(r.catching))
	for i, f := range r.catching {
		list[i] = sized{f, geom.Area(r.facet(f))}
	}
	slices.SortStableFunc(list, func(a, b sized) int { return cmp.Compare(b.area, a.area) })
	var out []surfacePoint
	for _, s := range list[:min(len(list), sideSamples)] {
		t := r.facet(s.facet)
		out = append(out, surfacePoint{t.Centroid(), r3.Unit(t.Normal())})
	}
	return out
}

// wayOut is the mean of the directions across the exit in which the void is open, as far as the size
// of the part; zero when they cancel.
func (r *region) wayOut(samples []surfacePoint) r3.Vec {
	var sum r3.Vec
	for _, p := range samples {
		from := r3.Add(p.at, r3.Scale(r.off, p.normal))
		for k := range sideTurns {
			sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.5) / sideTurns)
			dir := r3.Vec{X: cos, Y: sin}
			d, _ := r.ray(from, dir)
			sum = r3.Add(sum, r3.Scale(min(d, r.size), dir))
		}
	}
	if n := r3.Norm(sum); n > 1e-3*r.size*float64(len(samples)*sideTurns) {
		return r3.Scale(1/n, sum)
	}
	return r3.Vec{}
}

// squareToWall turns the way out square to the walls at the closed end of the void, where they face
// it: rays sample the way out only roughly, and a lip bends square to its own faces.
func (r *region) squareToWall(side r3.Vec, samples []surfacePoint) r3.Vec {
	if side == (r3.Vec{}) {
		return side
	}
	var sum r3.Vec
	for _, p := range samples {
		_, f := r.ray(r3.Add(p.at, r3.Scale(r.off, p.normal)), r3.Scale(-1, side))
		if f < 0 {
			continue
		}
		n := r.facet(f).Normal()
		n.Z = 0
		if l := r3.Norm(n); l > 0 && r3.Dot(n, side) > wallFaces*l {
			sum = r3.Add(sum, r3.Scale(1/l, n))
		}
	}
	if n := r3.Norm(sum); n > 0 {
		return r3.Scale(1/n, sum)
	}
	return side
}

// wallFaces: walls that face the way out within 60° count as the closed end.
const wallFaces = 0.5

// lipLength follows the wall behind a catch away from the exit, to where it thickens into its root.
// ok is false when it ends freely, or leaves the part's height.
func (r *region) lipLength(p surfacePoint, closed r3.Vec, wall float64) (float64, bool) {
	void := r3.Add(p.at, r3.Scale(r.off, p.normal))
	d, _ := r.ray(void, closed)
	if math.IsInf(d, 1) {
		return 0, false
	}
	middle := r3.Add(void, r3.Scale(d+wall/2, closed))
	end, _ := r.ray(middle, r3.Vec{Z: -1})
	if math.IsInf(end, 1) {
		return 0, false
	}
	thick := func(drop float64) bool {
		at := r3.Sub(middle, r3.Vec{Z: drop})
		one, _ := r.ray(at, closed)
		two, _ := r.ray(at, r3.Scale(-1, closed))
		return one+two > rootThickens*wall
	}
	last := 0.0
	for k := 1; k < lipSteps; k++ {
		drop := end * float64(k) / lipSteps
		if !thick(drop) {
			last = drop
			continue
		}
		lo, hi := last, drop
		for range 40 {
			if m := (lo + hi) / 2; thick(m) {
				hi = m
			} else {
				lo = m
			}
		}
		// The end that has to move aside is the catch's foremost, not the sample.
		return hi + r.top - p.at.Z, hi > 0
	}
	return 0, false
}
