package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Hit is a place where a ray meets a facet: origin + T·dir.
type Hit struct {
	Facet int
	T     float64
}

// FirstHit finds the facet that the ray origin + t·dir meets at the least t with tMin ≤ t ≤ tMax.
// dir need not have unit length, but not be zero. Both sides of a facet count.
//
// No ray slips through a joint of the mesh: for every edge, both facets at it decide from the same
// rounded numbers on which side the ray passes, and a ray on the edge hits both (the method of Woop,
// Benthin and Wald, "Watertight Ray/Triangle Intersection", 2013, in doubles; a product rounds
// monotonically, so an edge test gives the true sign for the projected corners, or zero, and zero
// counts as hit). The corners are projected along the ray with a relative error of about 2^-52, so a
// ray that passes an outer edge closer than that may go either way. A facet seen exactly edge-on is
// not hit. T has a relative error of a few 2^-53 plus that of the corners seen from the origin.
func (b *BVH) FirstHit(origin, dir r3.Vec, tMin, tMax float64) (Hit, bool) {
	best := Hit{Facet: -1, T: tMax}
	r := newRay(origin, dir, tMin)
	if len(b.nodes) == 0 || !r.ok {
		return best, false
	}
	type entry struct {
		node int32
		t    float64
	}
	var stack [maxDepth]entry
	if !r.enters(&b.nodes[0], best.T, &stack[0].t) {
		return best, false
	}
	for sp := 1; sp > 0; {
		sp--
		e := stack[sp]
		if e.t > best.T {
			continue
		}
		n := &b.nodes[e.node]
		if n.count == 0 {
			l, rt := entry{node: n.first}, entry{node: n.first + 1}
			hitL := r.enters(&b.nodes[l.node], best.T, &l.t)
			hitR := r.enters(&b.nodes[rt.node], best.T, &rt.t)
			if hitL && hitR && l.t < rt.t {
				l, rt = rt, l // the nearer one is taken first
			}
			if hitL && hitR {
				stack[sp], stack[sp+1] = l, rt
				sp += 2
			} else if hitL {
				stack[sp] = l
				sp++
			} else if hitR {
				stack[sp] = rt
				sp++
			}
			continue
		}
		for i := n.first; i < n.first+n.count; i++ {
			t, ok := r.triangle(&b.tris[i])
			if !ok || t < tMin || t > best.T {
				continue
			}
			if f := int(b.facet[i]); t < best.T || best.Facet < 0 || f < best.Facet {
				best = Hit{Facet: f, T: t}
			}
		}
	}
	return best, best.Facet >= 0
}

// AnyHit reports whether the ray meets any facet with tMin ≤ t ≤ tMax, under the same rules as
// FirstHit; it stops at the first one it finds.
func (b *BVH) AnyHit(origin, dir r3.Vec, tMin, tMax float64) bool {
	found := false
	b.EachHit(origin, dir, tMin, tMax, func(Hit) bool {
		found = true
		return false
	})
	return found
}

// EachHit calls visit for every facet that the ray meets with tMin ≤ t ≤ tMax, in no order of t,
// until visit returns false. A ray through an edge or a corner meets every facet there.
func (b *BVH) EachHit(origin, dir r3.Vec, tMin, tMax float64, visit func(Hit) bool) {
	r := newRay(origin, dir, tMin)
	if len(b.nodes) == 0 || !r.ok {
		return
	}
	var stack [maxDepth]int32
	var enter float64
	for sp := 1; sp > 0; {
		sp--
		n := &b.nodes[stack[sp]]
		if !r.enters(n, tMax, &enter) {
			continue
		}
		if n.count == 0 {
			stack[sp], stack[sp+1] = n.first+1, n.first
			sp += 2
			continue
		}
		for i := n.first; i < n.first+n.count; i++ {
			if t, ok := r.triangle(&b.tris[i]); ok && t >= tMin && t <= tMax {
				if !visit(Hit{Facet: int(b.facet[i]), T: t}) {
					return
				}
			}
		}
	}
}

// ray holds what is computed once for all boxes and triangles.
type ray struct {
	o, inv     [3]float64
	neg        [3]bool
	tMin       float64
	kx, ky, kz int        // kz is the axis along which the ray is longest
	s          [3]float64 // shear that makes the ray run along kz, and 1/dir[kz]
	ok         bool       // false for a zero or not finite ray
}

func newRay(origin, dir r3.Vec, tMin float64) ray {
	d := components(dir)
	r := ray{o: components(origin), tMin: tMin}
	if math.Abs(d[1]) > math.Abs(d[r.kz]) {
		r.kz = 1
	}
	if math.Abs(d[2]) > math.Abs(d[r.kz]) {
		r.kz = 2
	}
	r.kx, r.ky = (r.kz+1)%3, (r.kz+2)%3
	r.s = [3]float64{d[r.kx] / d[r.kz], d[r.ky] / d[r.kz], 1 / d[r.kz]}
	for k := range 3 {
		r.inv[k] = 1 / d[k]
		r.neg[k] = math.Signbit(d[k])
	}
	size := math.Abs(d[0]) + math.Abs(d[1]) + math.Abs(d[2])
	place := math.Abs(r.o[0]) + math.Abs(r.o[1]) + math.Abs(r.o[2])
	r.ok = size > 0 && size <= math.MaxFloat64 && place <= math.MaxFloat64
	return r
}

func components(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// slabSlack widens the interval in a box at both ends, relative to t. Three roundings (difference,
// inverse, product) make 3u on each side, and the shear of a corner in triangle about as much again;
// 32u makes sure that no hit which the triangle test would grant is lost to its box.
const slabSlack = 32 * unitRoundoff

// enters reports whether the ray meets the box between tMin and tMax, and from which t on. Where the
// ray runs along a side of the box, 0·Inf gives NaN: every comparison with it is false, which leaves
// the interval as it is.
func (r *ray) enters(n *bvhNode, tMax float64, t *float64) bool {
	near, far := r.tMin, tMax
	for k := range 3 {
		a := (float64(n.lo[k]) - r.o[k]) * r.inv[k]
		b := (float64(n.hi[k]) - r.o[k]) * r.inv[k]
		if r.neg[k] {
			a, b = b, a
		}
		if a > near {
			near = a
		}
		if b < far {
			far = b
		}
	}
	near -= float64(slabSlack * math.Abs(near))
	*t = near
	return near <= far+float64(slabSlack*math.Abs(far))
}

// triangle gives t where the ray meets the triangle's plane, and whether that is inside.
func (r *ray) triangle(t *r3.Triangle) (float64, bool) {
	ax, ay, az := r.shear(&t[0])
	bx, by, bz := r.shear(&t[1])
	cx, cy, cz := r.shear(&t[2])
	u := float64(cx*by) - float64(cy*bx)
	v := float64(ax*cy) - float64(ay*cx)
	w := float64(bx*ay) - float64(by*ax)
	if (u < 0 || v < 0 || w < 0) && (u > 0 || v > 0 || w > 0) {
		return 0, false
	}
	det := u + v + w
	if det == 0 {
		return 0, false
	}
	return r.s[2] * ((float64(u*az) + float64(v*bz) + float64(w*cz)) / det), true
}

// shear takes a corner to where the ray is the axis through the origin.
func (r *ray) shear(p *r3.Vec) (x, y, z float64) {
	d := [3]float64{p.X - r.o[0], p.Y - r.o[1], p.Z - r.o[2]}
	z = d[r.kz]
	return d[r.kx] - float64(r.s[0]*z), d[r.ky] - float64(r.s[1]*z), z
}
