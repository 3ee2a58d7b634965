package tooling

import (
	"cmp"
	"context"
	"math"
	"slices"

	"mouldwright/internal/geom/delaunay"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
)

// sideSurface is the parting surface under the side pieces. Beyond the part it runs straight out along x
// from the line, so that a side piece slides out on it whatever the line's heights: a level one for a
// level line.
func sideSurface(ctx context.Context, p *mouldability.Parting, foot r2.Box) (*Surface, error) {
	if p.MaxZ-p.MinZ <= levelMM {
		return newSurface(ctx, p, foot)
	}
	s, sk := &Surface{}, &sketch{}
	if err := sk.addLoops(p); err != nil {
		return nil, err
	}
	z := sk.addStraightRim(p, foot)
	tri, err := delaunay.Triangulate(ctx, sk.pts, sk.segs)
	if err != nil {
		return nil, sk.explain(err)
	}
	var keep [][3]int32
	for i, depth := range tri.Depth() {
		if depth%2 == 1 {
			keep = append(keep, tri.Tris[i])
		}
	}
	return s, s.assemble(p, sk, keep, z)
}

// addStraightRim adds the footprint's edge with, for each corner of the line from which the way out along
// x is free, the place where that way ends, and the way itself. It returns the heights of all points.
func (sk *sketch) addStraightRim(p *mouldability.Parting, foot r2.Box) []float64 {
	line := sk.segs
	z := make([]float64, len(sk.pts), 3*len(sk.pts))
	lowest, highest := 0, 0
	for i, q := range sk.posts {
		for _, v := range q.verts {
			z[i] += p.Mesh.Verts[v].Z / float64(len(q.verts))
		}
		if sk.pts[i].Y < sk.pts[lowest].Y {
			lowest = i
		}
		if sk.pts[i].Y > sk.pts[highest].Y {
			highest = i
		}
	}
	put := func(v r2.Vec, h float64) {
		sk.rim = append(sk.rim, len(sk.pts))
		sk.pts, z = append(sk.pts, v), append(z, h)
	}
	put(foot.Min, z[lowest])
	put(r2.Vec{X: foot.Max.X, Y: foot.Min.Y}, z[lowest])
	for _, i := range sk.outward(line, 1) {
		sk.segs = append(sk.segs, [2]int{i, len(sk.pts)})
		put(r2.Vec{X: foot.Max.X, Y: sk.pts[i].Y}, z[i])
	}
	put(foot.Max, z[highest])
	put(r2.Vec{X: foot.Min.X, Y: foot.Max.Y}, z[highest])
	left := sk.outward(line, -1)
	slices.Reverse(left)
	for _, i := range left {
		sk.segs = append(sk.segs, [2]int{i, len(sk.pts)})
		put(r2.Vec{X: foot.Min.X, Y: sk.pts[i].Y}, z[i])
	}
	for i, a := range sk.rim {
		sk.segs = append(sk.segs, [2]int{a, sk.rim[(i+1)%len(sk.rim)]})
	}
	return z
}

// outward lists the points of the line from which the way along x, to the right or to the left, meets the
// line no more, by y; no two nearer to each other in y than can be told apart.
func (sk *sketch) outward(line [][2]int, sign float64) (out []int) {
	order := make([]int, len(sk.posts))
	for i := range order {
		order[i] = i
	}
	// Of points at one height in plan the outermost first: the ways of the others pass through it.
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(sk.pts[a].Y, sk.pts[b].Y), cmp.Compare(sign*sk.pts[b].X, sign*sk.pts[a].X), cmp.Compare(a, b))
	})
	last := math.Inf(-1)
	for _, i := range order {
		v := sk.pts[i]
		if v.Y-last <= stepMM || sk.blocked(line, i, sign) {
			continue
		}
		out, last = append(out, i), v.Y
	}
	return out
}

// blocked says whether the line lies in the way out from one of its points. What passes it by less than
// can be told apart does too.
func (sk *sketch) blocked(line [][2]int, i int, sign float64) bool {
	v := sk.pts[i]
	for _, s := range line {
		a, b := sk.pts[s[0]], sk.pts[s[1]]
		if s[0] == i || s[1] == i { // an edge that ends here is in the way only where it runs along it
			if math.Abs(a.Y-b.Y) <= stepMM && sign*(a.X+b.X-2*v.X) > 0 {
				return true
			}
			continue
		}
		if max(a.Y, b.Y) < v.Y-stepMM || min(a.Y, b.Y) > v.Y+stepMM {
			continue
		}
		x := max(sign*a.X, sign*b.X)
		if math.Abs(b.Y-a.Y) > stepMM {
			y := max(min(a.Y, b.Y), min(max(a.Y, b.Y), v.Y))
			x = sign * (a.X + (y-a.Y)/(b.Y-a.Y)*(b.X-a.X))
		}
		if x > sign*v.X {
			return true
		}
	}
	return false
}
