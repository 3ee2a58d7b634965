package tooling

import (
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/geom/delaunay"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Surface is the parting surface: it starts at the parting line, runs out to the sides of the block
// and closes the through-holes. It is a height field over the block's footprint outside the part's
// shadow, so it cannot touch the part anywhere but at the line, and both halves slide off it along z.
type Surface struct {
	// Verts holds the part's own vertices first, under their own numbers, then the new ones.
	Verts []r3.Vec
	Tris  [][3]uint32 // counter-clockwise seen from above
	Rim   []uint32    // the edge on the block's sides, counter-clockwise from the lowest x, y corner
	// SteepestDeg is the steepest slope against the horizontal; StepAreaMM2 the area of upright
	// facets, which stand where the parting line itself climbs straight up.
	SteepestDeg, StepAreaMM2 float64
	Flat                     bool
}

// ErrLineOverItself says that the parting line, seen along the opening direction, crosses or touches
// itself, so that no parting surface starts there: the part has an undercut at that place.
var ErrLineOverItself = errors.New("the parting line passes over itself")

const (
	// flatMM: a line that varies less in height than this gets a flat parting surface.
	flatMM = 1e-6
	// stepMM: line vertices closer than this in the projection stand above one another. It is far
	// under any printed detail and far above the rounding of a rotated coordinate.
	stepMM = 1e-6
)

// post is a vertex of the plane triangulation: the part's vertices that stand there, in the order
// in which the line visits them.
type post struct{ verts []uint32 }

// sketch is the plane problem behind a surface.
type sketch struct {
	pts   []r2.Vec
	posts []post // of the first len(posts) points: those on the line
	segs  [][2]int
	rim   []int // points on the footprint's edge
}

// newSurface builds the parting surface of p over the footprint foot, which must contain the part's
// shadow with room to spare.
func newSurface(ctx context.Context, p *mouldability.Parting, foot r2.Box) (*Surface, error) {
	s := &Surface{Flat: p.MaxZ-p.MinZ <= flatMM}
	sk := &sketch{}
	if err := sk.addLoops(p); err != nil {
		return nil, err
	}
	sk.addRim(foot, s.Flat)
	if !s.Flat {
		sk.addSteiner(foot)
	}
	tri, err := delaunay.Triangulate(ctx, sk.pts, sk.segs)
	if err != nil {
		return nil, sk.explain(err)
	}
	keep := make([][3]int32, 0, len(tri.Tris))
	for i, depth := range tri.Depth() {
		if depth%2 == 1 { // inside the rim and outside the shadow, or in a hole of it
			keep = append(keep, tri.Tris[i])
		}
	}
	z, err := sk.heights(ctx, p, keep, s.Flat)
	if err != nil {
		return nil, err
	}
	return s, s.assemble(p, sk, keep, z)
}

func (sk *sketch) addLoops(p *mouldability.Parting) error {
	at := map[uint32]int{} // part vertex → point
	for _, l := range p.Loops {
		chains := steps(p, l)
		var ring []int
		for _, c := range chains {
			i, seen := at[c[0]]
			if seen && (len(c) > 1 || len(sk.posts[i].verts) > 1) {
				v := p.Mesh.Verts[c[0]]
				return fmt.Errorf("tooling: %w at x %.3f, y %.3f, z %.3f mm", ErrLineOverItself, v.X, v.Y, v.Z)
			}
			if !seen {
				i = len(sk.pts)
				v := p.Mesh.Verts[c[0]]
				sk.pts = append(sk.pts, r2.Vec{X: v.X, Y: v.Y})
				sk.posts = append(sk.posts, post{c})
				for _, w := range c {
					at[w] = i
				}
			}
			ring = append(ring, i)
		}
		for k, a := range ring {
			sk.segs = append(sk.segs, [2]int{a, ring[(k+1)%len(ring)]})
		}
	}
	return nil
}

// steps groups a loop's vertices: those that stand above one another come in one chain.
func steps(p *mouldability.Parting, l mouldability.Loop) [][]uint32 {
	xy := func(v uint32) r2.Vec { return r2.Vec{X: p.Mesh.Verts[v].X, Y: p.Mesh.Verts[v].Y} }
	same := func(a, b uint32) bool { return r2.Norm(r2.Sub(xy(a), xy(b))) <= stepMM }
	n := len(l.Verts)
	start := 0
	for i := range n { // start where a chain does
		if !same(l.Verts[(i+n-1)%n], l.Verts[i]) {
			start = i
			break
		}
	}
	var out [][]uint32
	for i := range n {
		v := l.Verts[(start+i)%n]
		if k := len(out) - 1; k >= 0 && same(out[k][0], v) {
			out[k] = append(out[k], v)
			continue
		}
		out = append(out, []uint32{v})
	}
	return out
}

// rimSteps is how many pieces the longer side of a footprint is cut into, so that an uneven surface
// can follow the line out to the block's sides.
const rimSteps = 24

func (sk *sketch) addRim(foot r2.Box, flat bool) {
	size := r2.Sub(foot.Max, foot.Min)
	pitch := max(size.X, size.Y) / rimSteps
	corners := foot.Vertices()
	first := len(sk.pts)
	for k, c := range corners {
		d := corners[(k+1)%4]
		n := 1
		if !flat {
			n = int(math.Ceil(r2.Norm(r2.Sub(d, c)) / pitch))
		}
		for i := range n {
			t := float64(i) / float64(n)
			// Lerp one coordinate at a time: the other must stay exactly on the side's plane.
			v := c
			if d.X != c.X {
				v.X = c.X + t*(d.X-c.X)
			}
			if d.Y != c.Y {
				v.Y = c.Y + t*(d.Y-c.Y)
			}
			sk.rim = append(sk.rim, len(sk.pts))
			sk.pts = append(sk.pts, v)
		}
	}
	for i := range sk.rim {
		sk.segs = append(sk.segs, [2]int{first + i, first + (i+1)%len(sk.rim)})
	}
}

// addSteiner scatters points over the footprint, close together near the line and far apart away
// from it: the centres of a quadtree's cells.
func (sk *sketch) addSteiner(foot r2.Box) {
	var line []r2.Vec
	total := 0.0
	for i := range sk.posts {
		line = append(line, sk.pts[i])
	}
	nLine := len(sk.segs) - len(sk.rim)
	for _, s := range sk.segs[:nLine] {
		total += r2.Norm(r2.Sub(sk.pts[s[0]], sk.pts[s[1]]))
	}
	size := r2.Sub(foot.Max, foot.Min)
	span := max(size.X, size.Y)
	finest := min(max(total/float64(nLine), span/160), span/rimSteps)
	// Points between far-apart line vertices count as well, or a long edge would see no fine cells,
	// and a point could fall on it and split it away from the part's edge.
	for _, s := range sk.segs[:nLine] {
		a, b := sk.pts[s[0]], sk.pts[s[1]]
		n := int(4 * r2.Norm(r2.Sub(b, a)) / finest)
		for i := 1; i < n; i++ {
			line = append(line, r2.Add(a, r2.Scale(float64(i)/float64(n), r2.Sub(b, a))))
		}
	}
	centre := r2.Scale(0.5, r2.Add(foot.Min, foot.Max))
	sk.quad(foot, centre, span/2, finest, line)
}

func (sk *sketch) quad(foot r2.Box, c r2.Vec, half, finest float64, line []r2.Vec) {
	if c.X+half <= foot.Min.X || c.X-half >= foot.Max.X || c.Y+half <= foot.Min.Y || c.Y-half >= foot.Max.Y {
		return
	}
	var nearby []r2.Vec
	nearest := math.Inf(1)
	for _, v := range line {
		d := r2.Norm(r2.Sub(v, c))
		nearest = min(nearest, d)
		if d < 6*half {
			nearby = append(nearby, v)
		}
	}
	split := 2*half > max(finest, 0.7*nearest) || 2*half > 4*finest*8
	if split && 2*half > finest {
		h := half / 2
		for _, d := range [4]r2.Vec{{X: -h, Y: -h}, {X: h, Y: -h}, {X: -h, Y: h}, {X: h, Y: h}} {
			sk.quad(foot, r2.Add(c, d), h, finest, nearby)
		}
		return
	}
	const clear = 0.5 // of a cell: nearer to the line or the rim a point would only make slivers
	room := min(c.X-foot.Min.X, foot.Max.X-c.X, c.Y-foot.Min.Y, foot.Max.Y-c.Y)
	if nearest > clear*half && room > clear*half {
		sk.pts = append(sk.pts, c)
	}
}

// explain names the place when the line crosses itself or runs out of the footprint.
func (sk *sketch) explain(err error) error {
	var x *delaunay.CrossingError
	if errors.As(err, &x) {
		a := sk.pts[sk.segs[x.A][0]]
		return fmt.Errorf("tooling: %w near x %.3f, y %.3f mm", ErrLineOverItself, a.X, a.Y)
	}
	var d *delaunay.DuplicateError
	if errors.As(err, &d) {
		a := sk.pts[d.A]
		return fmt.Errorf("tooling: %w at x %.3f, y %.3f mm", ErrLineOverItself, a.X, a.Y)
	}
	return fmt.Errorf("tooling: parting surface: %w", err)
}

// assemble lifts the plane triangles to their heights.
func (s *Surface) assemble(p *mouldability.Parting, sk *sketch, keep [][3]int32, z []float64) error {
	s.Verts = append([]r3.Vec(nil), p.Mesh.Verts...)
	id := make([]uint32, len(sk.pts))
	for i := range sk.pts {
		if i < len(sk.posts) {
			id[i] = sk.posts[i].verts[0]
			continue
		}
		id[i] = uint32(len(s.Verts))
		s.Verts = append(s.Verts, r3.Vec{X: sk.pts[i].X, Y: sk.pts[i].Y, Z: z[i]})
	}
	for _, i := range sk.rim {
		s.Rim = append(s.Rim, id[i])
	}
	s.Tris = make([][3]uint32, len(keep))
	for i, t := range keep {
		s.Tris[i] = [3]uint32{id[t[0]], id[t[1]], id[t[2]]}
		n := r3.Triangle{s.Verts[s.Tris[i][0]], s.Verts[s.Tris[i][1]], s.Verts[s.Tris[i][2]]}.Normal()
		s.SteepestDeg = max(s.SteepestDeg, 180/math.Pi*math.Atan2(math.Hypot(n.X, n.Y), n.Z))
	}
	return s.addSteps(sk, keep)
}

// addSteps gives the triangles round a post the right one of its vertices and closes the gap between
// the lower and the upper ones with an upright triangle along one spoke of the fan.
func (s *Surface) addSteps(sk *sketch, keep [][3]int32) error {
	for i, p := range sk.posts {
		if len(p.verts) < 2 {
			continue
		}
		fan, err := fanAt(sk, keep, i)
		if err != nil {
			return err
		}
		// The surface lies on the right of the line, so counter-clockwise about the post the fan
		// runs from the edge by which the line arrives to the edge by which it leaves.
		first, last := p.verts[0], p.verts[len(p.verts)-1]
		half := plainSpoke(sk, keep, fan, i)
		if half < 0 {
			return fmt.Errorf("tooling: the parting line climbs straight up at two places that meet at x %.3f, y %.3f mm; change the part by a hair there", sk.pts[i].X, sk.pts[i].Y)
		}
		for k, f := range fan {
			v := first
			if k >= half {
				v = last
			}
			for c := range 3 {
				if int(keep[f][c]) == i {
					s.Tris[f][c] = v
				}
			}
		}
		spoke := s.Tris[fan[half-1]][(cornerAt(keep[fan[half-1]], i)+2)%3]
		for k := 1; k < len(p.verts); k++ {
			t := [3]uint32{p.verts[k-1], spoke, p.verts[k]}
			s.Tris = append(s.Tris, t)
			s.StepAreaMM2 += geom.Area(r3.Triangle{s.Verts[t[0]], s.Verts[t[1]], s.Verts[t[2]]})
		}
	}
	return nil
}

// plainSpoke picks the spoke nearest to the middle of the fan whose far end is no post with a step of
// its own: the spoke after so many triangles, -1 if there is none.
func plainSpoke(sk *sketch, keep [][3]int32, fan []int, i int) int {
	best := -1
	for k := 1; k < len(fan); k++ {
		far := keep[fan[k-1]][(cornerAt(keep[fan[k-1]], i)+2)%3]
		if int(far) < len(sk.posts) {
			continue // an end on the line would make the upright facet lie along the part's own wall
		}
		if best < 0 || abs(2*k-len(fan)) < abs(2*best-len(fan)) {
			best = k
		}
	}
	return best
}

func abs(n int) int { return max(n, -n) }

// fanAt orders the kept triangles round point i counter-clockwise; they must make one fan.
func fanAt(sk *sketch, keep [][3]int32, i int) ([]int, error) {
	from := map[int32]int{} // first spoke → triangle
	into := map[int32]bool{}
	for f, t := range keep {
		if c := cornerAt(t, i); c >= 0 {
			from[t[(c+1)%3]] = f
			into[t[(c+2)%3]] = true
		}
	}
	start := int32(-1)
	for a := range from {
		if !into[a] {
			if start >= 0 {
				start = -2
				break
			}
			start = a
		}
	}
	v := sk.pts[i]
	if start < 0 {
		return nil, fmt.Errorf("tooling: the parting line climbs straight up at x %.3f, y %.3f mm and touches itself there; change the part by a hair at that place", v.X, v.Y)
	}
	var fan []int
	for a := start; ; {
		f, ok := from[a]
		if !ok {
			break
		}
		fan = append(fan, f)
		a = keep[f][(cornerAt(keep[f], i)+2)%3]
	}
	if len(fan) != len(from) {
		return nil, fmt.Errorf("tooling: the parting line touches itself at x %.3f, y %.3f mm; change the part by a hair at that place", v.X, v.Y)
	}
	return fan, nil
}

func cornerAt(t [3]int32, i int) int {
	for c, v := range t {
		if int(v) == i {
			return c
		}
	}
	return -1
}
