package opening

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Shape is what a catch looks like, measured on the part's mesh. Lengths are mm; At and Side are in
// the part's own coordinates.
type Shape struct {
	// Ring says that the catch goes all round its own axis, which runs along the exit, or all round but for gaps of
	// GapDeg together. It is judged as if it were whole: that asks more than it does.
	Ring   bool    `json:"ring"`
	GapDeg float64 `json:"gap_deg,omitempty"`
	// Inward says that a ring opens towards its axis: the held piece is a core inside the part, and a
	// lip of the part has to pass over it. Otherwise the held piece lies round the part.
	Inward bool `json:"inward"`
	// DMaxMM and DMinMM are the widest and the narrowest diameter of a ring's catch: of the circles
	// of equal girth where it is not round.
	DMaxMM float64 `json:"dmax_mm,omitempty"`
	DMinMM float64 `json:"dmin_mm,omitempty"`
	Solid  bool    `json:"solid,omitempty"` // no hollow behind the catch lets a ring be pressed together

	At      r3.Vec  `json:"at"`   // middle of the catching surface; on the axis for a ring
	Side    r3.Vec  `json:"side"` // from the closed end to the open one, for what is no ring
	AreaMM2 float64 `json:"area_mm2"`
	DepthMM float64 `json:"depth_mm"` // how far material must give way sideways
	// DepthErrorMM is the error of that; it bounds the error of the strain.
	DepthErrorMM float64 `json:"depth_error_mm"`
	SlopeDeg     float64 `json:"slope_deg"` // of the catching surface against the exit; 90 is flat across

	// WallMM is how thick the part is behind the void; 0 when that is not known.
	WallMM float64 `json:"wall_mm,omitempty"`
	// LipMM is the free length of a lip that can bend: from the catch to its root; 0 for none.
	LipMM   float64 `json:"lip_mm,omitempty"`
	WidthMM float64 `json:"width_mm,omitempty"` // of a catch that is no ring, along itself
	// StretchMM × StretchHeightMM is the section of the ring of the part that has to stretch.
	StretchMM       float64 `json:"stretch_mm,omitempty"`
	StretchHeightMM float64 `json:"stretch_height_mm,omitempty"`
	// BackFacets are facets of the part on the far side of the wall that has to move.
	BackFacets []int32 `json:"-"`
}

// errorPct adds the error of the depth, relative, to that of the formula.
func (s *Shape) errorPct(formulaPct float64) float64 {
	if s.DepthMM > 0 {
		return formulaPct + 100*s.DepthErrorMM/s.DepthMM
	}
	return formulaPct
}

const (
	// ringTurns is how many half-planes through its axis a region is cut by; every one must meet it
	// for the region to be a whole ring. 240 are 1.5° apart.
	ringTurns = 240
	// mostGapDeg is the widest gap of a broken ring: with a wider one the wall opens like a hook, and what is left
	// counts as lips.
	mostGapDeg = 75.0
	// ringSamples is how many of them are looked into for the wall behind.
	ringSamples = 12
	// offSurface is how far beside the surface rays start, as a share of the part's diagonal, so that
	// they don't meet the facet they start from.
	offSurface = 1e-6
)

// shapeMeasurer answers for many catches of one part.
type shapeMeasurer struct {
	m    *mesh.Mesh
	tree *geom.BVH
	off  float64
	size float64
}

func newShapeMeasurer(m *mesh.Mesh) *shapeMeasurer {
	b := m.Bounds()
	size := r3.Norm(r3.Sub(b.Max, b.Min))
	return &shapeMeasurer{m: m, tree: geom.NewBVH(m.Verts, m.Tris), size: size, off: offSurface * size}
}

// region is a catch in the frame of its exit: z along the exit, about its own axis.
type region struct {
	*shapeMeasurer
	frame    geom.Frame
	centre   r3.Vec // in the frame: middle of the catching surface
	catching []int32
	opposite []int32
	top      float64 // furthest along the exit that the catching surface reaches
	shape    Shape
}

func (q *shapeMeasurer) measure(c Catch) (Shape, error) {
	r, err := q.region(c)
	if err != nil {
		return Shape{}, err
	}
	if c.Sealed {
		return r.shape, nil
	}
	if cuts, ring := r.cuts(); ring {
		r.shape.Ring = true
		r.measureRing(cuts)
	} else {
		r.measureSide(c)
		if err := r.followLip(c); err != nil {
			return Shape{}, err
		}
	}
	if c.DepthMM > 0 {
		r.shape.DepthMM, r.shape.DepthErrorMM = c.DepthMM, c.DepthErrorMM
	}
	slices.Sort(r.shape.BackFacets)
	r.shape.BackFacets = slices.Compact(r.shape.BackFacets)
	return r.shape, nil
}

// region sorts the facets of a catch into those that face against the exit and the others.
func (q *shapeMeasurer) region(c Catch) (*region, error) {
	if n := r3.Norm(c.Exit); !(n > 0) || math.IsInf(n, 0) {
		return nil, fmt.Errorf("%w: the exit must be a finite vector that is not zero", ErrRelease)
	}
	r := &region{shapeMeasurer: q, frame: geom.FrameTo(c.Exit), top: math.Inf(-1)}
	var middle r3.Vec
	var cosines float64
	for _, f := range c.Facets {
		if f < 0 || int(f) >= len(q.m.Tris) {
			return nil, fmt.Errorf("%w: facet %d is not among the part's %d", ErrRelease, f, len(q.m.Tris))
		}
		t := r.facet(f)
		n, area := t.Normal(), geom.Area(t)
		if !(area > 0) {
			continue
		}
		if cos := n.Z / r3.Norm(n); cos < 0 {
			r.catching = append(r.catching, f)
			middle = r3.Add(middle, r3.Scale(area, t.Centroid()))
			r.shape.AreaMM2 += area
			cosines -= area * cos
			r.top = max(r.top, t[0].Z, t[1].Z, t[2].Z)
		} else {
			r.opposite = append(r.opposite, f)
		}
	}
	if len(r.catching) == 0 {
		return nil, fmt.Errorf("%w: none of the catch's facets faces against the exit", ErrRelease)
	}
	r.centre = r3.Scale(1/r.shape.AreaMM2, middle)
	r.shape.At = r.frame.Inverse(r.centre)
	r.shape.SlopeDeg = math.Asin(min(1, cosines/r.shape.AreaMM2)) * 180 / math.Pi
	return r, nil
}

func (r *region) facet(f int32) r3.Triangle {
	t := r.m.Facet(int(f))
	return r3.Triangle{r.frame.Apply(t[0]), r.frame.Apply(t[1]), r.frame.Apply(t[2])}
}

// ray casts in the frame and returns the distance to the first facet, +Inf and -1 if there is none.
func (r *region) ray(from, dir r3.Vec) (float64, int32) {
	hit, ok := r.tree.FirstHit(r.frame.Inverse(from), r.frame.Inverse(dir), 0, math.Inf(1))
	if !ok {
		return math.Inf(1), -1
	}
	return hit.T, int32(hit.Facet)
}

// cut is what one half-plane through the axis meets of a region: the stretch of radii that is caught,
// and a place in the middle of the catching surface.
type cut struct {
	radial r3.Vec // unit, square to the exit
	lo, hi float64
	at     r3.Vec // on the catching surface, half-way between lo and hi
	normal r3.Vec // of that facet, unit
	gap    bool   // nothing is caught here: the radii are those of the ring on both sides, the rest is unset
}

// cuts cuts the region by half-planes about its own axis; ring is whether they meet it away from the axis, all
// of them or all but a few in a row.
func (r *region) cuts() (cuts []cut, ring bool) {
	for k := range ringTurns {
		// The offset keeps the planes off the vertices of meshes cut into equal turns.
		sin, cos := math.Sincos(2 * math.Pi * (float64(k) + 0.319) / ringTurns)
		c := cut{radial: r3.Vec{X: cos, Y: sin}}
		catching := r.chords(c.radial, r.catching)
		c.lo, c.hi = extent(catching)
		if len(r.opposite) > 0 && len(catching) > 0 {
			lo, hi := extent(r.chords(c.radial, r.opposite))
			if lo < hi && max(lo, c.lo) < min(hi, c.hi) {
				c.lo, c.hi = max(lo, c.lo), min(hi, c.hi)
			}
		}
		switch {
		case !(c.hi > c.lo):
			c.gap = true
		case c.lo <= 1e-6*c.hi:
			return nil, false
		default:
			c.at, c.normal = r.middle(catching, (c.lo+c.hi)/2)
		}
		cuts = append(cuts, c)
	}
	return cuts, bridge(cuts)
}

// bridge gives the cuts in gaps the radii of the ring beside them; false when a gap is too wide for a ring.
func bridge(cuts []cut) bool {
	n := len(cuts)
	for k := range cuts {
		if !cuts[k].gap {
			continue
		}
		before, after := 1, 1
		for before < n && cuts[(k-before+n)%n].gap {
			before++
		}
		for after < n && cuts[(k+after)%n].gap {
			after++
		}
		if float64(before+after-1)*360/float64(n) > mostGapDeg {
			return false
		}
		a, b := cuts[(k-before+n)%n], cuts[(k+after)%n]
		share := float64(before) / float64(before+after)
		cuts[k].lo, cuts[k].hi = a.lo+share*(b.lo-a.lo), a.hi+share*(b.hi-a.hi)
	}
	return true
}

// chord is where a half-plane meets a facet, as places with their distance from the axis.
type chord struct {
	facet  int32
	a, b   r3.Vec
	ra, rb float64
}

func (r *region) chords(radial r3.Vec, facets []int32) (out []chord) {
	across := r3.Vec{X: -radial.Y, Y: radial.X}
	for _, f := range facets {
		t := r.facet(f)
		var side [3]float64
		for i, v := range t {
			side[i] = r3.Dot(r3.Sub(v, r.centre), across)
		}
		if side[0] > 0 && side[1] > 0 && side[2] > 0 || side[0] < 0 && side[1] < 0 && side[2] < 0 {
			continue
		}
		var ends []r3.Vec
		for i := range t {
			j := (i + 1) % 3
			if (side[i] < 0) != (side[j] < 0) {
				ends = append(ends, r3.Add(t[i], r3.Scale(side[i]/(side[i]-side[j]), r3.Sub(t[j], t[i]))))
			}
		}
		if len(ends) != 2 {
			continue
		}
		c := chord{facet: f, a: ends[0], b: ends[1]}
		c.ra, c.rb = r3.Dot(r3.Sub(c.a, r.centre), radial), r3.Dot(r3.Sub(c.b, r.centre), radial)
		if c.ra > c.rb {
			c.a, c.b, c.ra, c.rb = c.b, c.a, c.rb, c.ra
		}
		if c.rb <= 0 {
			continue
		}
		if c.ra < 0 { // passes over the axis
			c.a, c.ra = r3.Add(c.a, r3.Scale(-c.ra/(c.rb-c.ra), r3.Sub(c.b, c.a))), 0
		}
		out = append(out, c)
	}
	return out
}

func extent(chords []chord) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, c := range chords {
		lo, hi = min(lo, c.ra), max(hi, c.rb)
	}
	return lo, hi
}

// middle is the place on the chords at radius want, or the end nearest to it.
func (r *region) middle(chords []chord, want float64) (at, normal r3.Vec) {
	best := math.Inf(1)
	for _, c := range chords {
		x := min(max(want, c.ra), c.rb)
		if d := math.Abs(x - want); d < best {
			best = d
			share := 0.5
			if c.rb > c.ra {
				share = (x - c.ra) / (c.rb - c.ra)
			}
			at = r3.Add(c.a, r3.Scale(share, r3.Sub(c.b, c.a)))
			normal = r3.Unit(r.facet(c.facet).Normal())
		}
	}
	return at, normal
}

// girthMM is the diameter of the circle with the girth of the closed line that pick gives on each cut.
// The polygon of the cuts is compared with the same polygon of a circle, so that a round ring gives
// its own diameter.
func girthMM(cuts []cut, pick func(cut) float64) float64 {
	sum := 0.0
	for i, c := range cuts {
		n := cuts[(i+1)%len(cuts)]
		sum += r3.Norm(r3.Sub(r3.Scale(pick(c), c.radial), r3.Scale(pick(n), n.radial)))
	}
	n := float64(len(cuts))
	return sum / (n * math.Sin(math.Pi/n))
}

func (r *region) measureRing(cuts []cut) {
	s := &r.shape
	s.DMaxMM = girthMM(cuts, func(c cut) float64 { return c.hi })
	s.DMinMM = girthMM(cuts, func(c cut) float64 { return c.lo })
	s.DepthMM = (s.DMaxMM - s.DMinMM) / 2
	var in, out, hollow int
	var walls, stretch, heights []float64
	for k := range cuts {
		if cuts[k].gap {
			s.GapDeg += 360 / float64(len(cuts))
		}
	}
	for k := 0; k < len(cuts); k += len(cuts) / ringSamples {
		c := cuts[k]
		if c.gap {
			continue
		}
		inward := r.opens(c)
		if inward {
			in++
		} else {
			out++
		}
		closed := c.radial
		if !inward {
			closed = r3.Scale(-1, c.radial)
		}
		wall, total, height, back := r.behind(c.at, c.normal, closed)
		walls, stretch, heights = append(walls, wall), append(stretch, total), append(heights, height)
		if back >= 0 {
			s.BackFacets = append(s.BackFacets, back)
		}
		if !inward && wall < (c.lo+c.hi)/2 { // comes out again before the axis
			hollow++
		}
	}
	s.Inward = in > out
	s.Solid = !s.Inward && hollow <= len(walls)/2
	s.WallMM, s.StretchMM, s.StretchHeightMM = median(walls), median(stretch), median(heights)
}

// opens says whether the void at a cut opens towards the axis: which way a ray from beside the
// catching surface gets past the end of the caught stretch.
func (r *region) opens(c cut) bool {
	from := r3.Add(c.at, r3.Scale(r.off, c.normal))
	at := r3.Dot(r3.Sub(c.at, r.centre), c.radial)
	in, _ := r.ray(from, r3.Scale(-1, c.radial))
	out, _ := r.ray(from, c.radial)
	slack := 1e-3*(c.hi-c.lo) + r.off
	pastIn, pastOut := in > at-c.lo+slack, out > c.hi-at+slack
	if pastIn != pastOut {
		return pastIn
	}
	return in > out
}

// behind looks at the part behind a place on the catching surface. wall is how thick the part is in
// the closed direction behind the void, total how thick the material above the catch is across that
// way, height how far that material goes along the exit, back the facet on the far side.
func (r *region) behind(at, normal, closed r3.Vec) (wall, total, height float64, back int32) {
	void := r3.Add(at, r3.Scale(r.off, normal))
	d, _ := r.ray(void, closed)
	if math.IsInf(d, 1) { // the void opens on this side too
		d = 0
	}
	inside := r3.Add(void, r3.Scale(d+2*r.off, closed))
	wall, back = r.ray(inside, closed)
	if math.IsInf(wall, 1) {
		wall, back = 0, -1
	}
	body := r3.Sub(at, r3.Scale(r.off, normal))
	one, _ := r.ray(body, closed)
	two, _ := r.ray(body, r3.Scale(-1, closed))
	up, _ := r.ray(body, r3.Vec{Z: 1})
	return wall, finite(one) + finite(two), finite(up), back
}

func finite(x float64) float64 {
	if math.IsInf(x, 0) {
		return 0
	}
	return x
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	x = slices.Clone(x)
	slices.Sort(x)
	return x[len(x)/2]
}

func unitOf(v r3.Vec) r3.Vec { return r3.Scale(1/r3.Norm(v), v) }
