package mouldability

import (
	"cmp"
	"math"
	"slices"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// This file finds the axes that a part was drawn round: those of its surfaces of revolution (turned faces,
// bores, cones), of its threads, and the direction that its prisms are drawn out along.
//
// The normals of a surface of revolution all meet its axis. With the axis through c along a, and its moment
// m = c × a, the normal n at a point p meets it where a·(p × n) + m·n = 0: linear in (a, m). So the axis is
// the least eigenvector of a small matrix (Pottmann and Wallner, Computational Line Geometry, 2001: the line
// complex of a helical surface). A thread's normals obey the same with a pitch, which m·a takes up.
// Weights that fall with the residual leave out what is not turned: slots, lugs, lettering.

const (
	// faceDeg: neighbours within this angle are one flat face. A facet of a turned part is half such a face,
	// and only the middle of the whole lies where the normal meets the axis.
	faceDeg = 0.1
	// smoothDeg: flat faces whose normals differ by less belong to one curved surface.
	smoothDeg = 40
	// surfaceShare of the area: a smaller surface says nothing about the mould. At most maxSurfaces are fitted.
	surfaceShare = 0.02
	maxSurfaces  = 12
	// fitRounds of weighting: by then the weights stand still.
	fitRounds = 12
	// meetShare of the size: a normal that passes the axis within this meets it. The facets of a thread, of which no
	// two lie in one plane, miss it by a sixth of their width. leastReach is that of the weights in the end.
	meetShare, leastReach = 0.03, 0.01
	// tightShare of the size: where the normals meet the axis within this, it is exact. A looser one within mergeDeg
	// of an exact one is a worse fit of the same.
	tightShare = 1e-3
	// roundShare of a surface must be turned for it to count; of the whole part, since slots and lugs are left
	// out, partShare.
	roundShare, partShare = 0.9, 0.5
	// flatSpread: the normals of a plane, and of a sphere, leave the axis open; the second least eigenvalue
	// is then less than this share of the largest.
	flatSpread = 1e-4
	// drawnSine: normals that lie in a plane within this, by root mean square, are those of a prism.
	drawnSine = 1e-3
	// sameAxisDeg: axes nearer than this are one.
	sameAxisDeg = 0.02
)

// flatFace is a flat piece of the surface.
type flatFace struct {
	at     r3.Vec // its middle
	normal r3.Vec // unit
	area   float64
}

// turnedAxes are the axes of the part's turned and drawn surfaces, the largest first.
func turnedAxes(m *mesh.Mesh, adj mesh.Adjacency) []r3.Vec {
	faces, next := flatFaces(m, adj)
	all := make([]int32, len(faces))
	area := 0.0
	for i := range faces {
		all[i] = int32(i)
		area += faces[i].area
	}
	type found struct {
		axis  r3.Vec
		area  float64
		tight bool
	}
	var list []found
	add := func(of []int32, share float64) {
		if a, on, tight, ok := fitAxis(faces, of, share); ok {
			list = append(list, found{a, on, tight})
		} else if a, on, ok := fitDrawn(faces, of); ok {
			list = append(list, found{a, on, true})
		}
	}
	add(all, partShare)
	for _, s := range surfaces(faces, next, surfaceShare*area) {
		add(s, roundShare)
	}
	slices.SortStableFunc(list, func(a, b found) int {
		if a.tight != b.tight {
			if a.tight {
				return -1
			}
			return 1
		}
		return cmp.Compare(b.area, a.area)
	})
	var out []r3.Vec
	for _, f := range list {
		limit := math.Cos(sameAxisDeg * math.Pi / 180)
		if !f.tight {
			limit = math.Cos(mergeDeg * math.Pi / 180)
		}
		if !slices.ContainsFunc(out, func(o r3.Vec) bool { return math.Abs(r3.Dot(o, f.axis)) > limit }) {
			out = append(out, f.axis)
		}
	}
	return out
}

// flatFaces joins facets that lie in one plane, and lists for each face those beside it.
func flatFaces(m *mesh.Mesh, adj mesh.Adjacency) (faces []flatFace, next [][]int32) {
	normal := make([]r3.Vec, len(m.Tris))
	for f := range m.Tris {
		normal[f] = r3.Scale(0.5, m.Facet(f).Normal())
	}
	// Each facet is held against the first of its face, so that a fine round surface does not run on as one.
	limit := math.Cos(faceDeg * math.Pi / 180)
	of := make([]int32, len(m.Tris))
	for f := range of {
		of[f] = -1
	}
	var queue []int32
	for f := range m.Tris {
		if of[f] >= 0 || normal[f] == (r3.Vec{}) {
			continue
		}
		id, n := int32(len(faces)), r3.Unit(normal[f])
		var sum, at r3.Vec
		area := 0.0
		queue = append(queue[:0], int32(f))
		of[f] = id
		for i := 0; i < len(queue); i++ {
			q := queue[i]
			a := r3.Norm(normal[q])
			sum, area = r3.Add(sum, normal[q]), area+a
			at = r3.Add(at, r3.Scale(a, m.Facet(int(q)).Centroid()))
			for _, o := range adj[q] {
				if o != mesh.NoFacet && of[o] < 0 && r3.Dot(normal[o], n) > limit*r3.Norm(normal[o]) {
					of[o] = id
					queue = append(queue, o)
				}
			}
		}
		faces = append(faces, flatFace{r3.Scale(1/area, at), r3.Unit(sum), area})
	}
	next = make([][]int32, len(faces))
	for f := range adj {
		for _, o := range adj[f] {
			if o != mesh.NoFacet && of[f] >= 0 && of[o] >= 0 && of[o] != of[f] {
				next[of[f]] = append(next[of[f]], of[o])
			}
		}
	}
	return faces, next
}

// surfaces are the groups of faces that run smoothly into each other, of at least an area; largest first.
func surfaces(faces []flatFace, next [][]int32, least float64) (out [][]int32) {
	limit := math.Cos(smoothDeg * math.Pi / 180)
	sets := mesh.NewDisjointSets(len(faces))
	for f, all := range next {
		for _, o := range all {
			if r3.Dot(faces[f].normal, faces[o].normal) > limit {
				sets.Join(int32(f), o)
			}
		}
	}
	members := make([][]int32, len(faces))
	area := make([]float64, len(faces))
	for f := range faces {
		r := sets.Root(int32(f))
		members[r] = append(members[r], int32(f))
		area[r] += faces[f].area
	}
	var roots []int32
	for r := range members {
		if area[r] >= least && len(members[r]) > 3 {
			roots = append(roots, int32(r))
		}
	}
	slices.SortStableFunc(roots, func(a, b int32) int { return cmp.Compare(area[b], area[a]) })
	for _, r := range roots[:min(len(roots), maxSurfaces)] {
		out = append(out, members[r])
	}
	return out
}

// fitAxis fits the axis of what is turned of some faces; on is the area of that. It needs a share of the faces to be
// turned about it.
func fitAxis(faces []flatFace, of []int32, share float64) (axis r3.Vec, on float64, tight, ok bool) {
	var middle r3.Vec
	area := 0.0
	for _, i := range of {
		middle = r3.Add(middle, r3.Scale(faces[i].area, faces[i].at))
		area += faces[i].area
	}
	if middle = r3.Scale(1/area, middle); !(area > 0) {
		return axis, 0, false, false
	}
	size := 0.0
	for _, i := range of {
		size += faces[i].area * r3.Norm2(r3.Sub(faces[i].at, middle))
	}
	if size = math.Sqrt(size / area); size == 0 {
		return axis, 0, false, false
	}
	weight := make([]float64, len(of))
	for k, i := range of {
		weight[k] = faces[i].area
	}
	line := func(i int32) [6]float64 {
		p, n := r3.Scale(1/size, r3.Sub(faces[i].at, middle)), faces[i].normal
		t := r3.Cross(p, n)
		return [6]float64{t.X, t.Y, t.Z, n.X, n.Y, n.Z}
	}
	var c [6]float64
	close := 0.0 // area whose normals meet the axis as well as can be
	for round := range fitRounds {
		var sums [36]float64
		for k, i := range of {
			g := line(i)
			for u := range 6 {
				for v := range 6 {
					sums[6*u+v] += weight[k] / area * g[u] * g[v]
				}
			}
		}
		if c, ok = leastComplex(&sums); !ok {
			return axis, 0, false, false
		}
		// From a wide reach to a narrow one: the first rounds see the whole part.
		reach := max(leastReach, 0.1*math.Pow(0.5, float64(round)))
		on, close = 0, 0
		for k, i := range of {
			g := line(i)
			r := 0.0
			for u := range 6 {
				r += c[u] * g[u]
			}
			weight[k] = faces[i].area / (1 + r*r/(reach*reach)) / (1 + r*r/(reach*reach))
			if math.Abs(r) < meetShare {
				on += faces[i].area
			}
			if math.Abs(r) < tightShare {
				close += faces[i].area
			}
		}
	}
	return r3.Unit(r3.Vec{X: c[0], Y: c[1], Z: c[2]}), on, close >= share*area, on >= share*area
}

// leastComplex is the axis and moment with the least sum of squares, the axis of unit length; false where more than one
// axis does as well.
func leastComplex(sums *[36]float64) (c [6]float64, ok bool) {
	block := func(u, v int) *mat.Dense {
		d := mat.NewDense(3, 3, nil)
		for i := range 3 {
			for j := range 3 {
				d.Set(i, j, sums[6*(u+i)+v+j])
			}
		}
		return d
	}
	// The best moment of an axis is −C⁺·Bᵀ·a; C lacks a direction where all normals lie in a plane.
	var svd mat.SVD
	if !svd.Factorize(block(3, 3), mat.SVDFull) {
		return c, false
	}
	var u, v mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	values := svd.Values(nil)
	inverse := mat.NewDense(3, 3, nil)
	for k, s := range values {
		if s <= 1e-9*values[0] {
			continue
		}
		for i := range 3 {
			for j := range 3 {
				inverse.Set(i, j, inverse.At(i, j)+v.At(i, k)*u.At(j, k)/s)
			}
		}
	}
	var moment, left mat.Dense
	moment.Mul(inverse, block(3, 0))
	left.Mul(block(0, 3), &moment)
	sym := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, sums[6*i+j]-(left.At(i, j)+left.At(j, i))/2)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(sym, true) {
		return c, false
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	l := e.Values(nil)
	if !(l[1] > flatSpread) || l[0] > l[1]/4 {
		return c, false
	}
	for i := range 3 {
		c[i] = vectors.At(i, 0)
		for j := range 3 {
			c[3+i] -= moment.At(i, j) * vectors.At(j, 0)
		}
	}
	return c, true
}

// fitDrawn fits the direction that a prism is drawn out along: all normals stand square to it.
func fitDrawn(faces []flatFace, of []int32) (axis r3.Vec, on float64, ok bool) {
	var sums [9]float64
	for _, i := range of {
		n := [3]float64{faces[i].normal.X, faces[i].normal.Y, faces[i].normal.Z}
		for k := range 9 {
			sums[k] += faces[i].area * n[k/3] * n[k%3]
		}
		on += faces[i].area
	}
	var e mat.EigenSym
	if !e.Factorize(mat.NewSymDense(3, sums[:]), true) {
		return axis, 0, false
	}
	l := e.Values(nil)
	var v mat.Dense
	e.VectorsTo(&v)
	ok = l[0] <= drawnSine*drawnSine*on && l[1] > flatSpread*on
	return r3.Unit(r3.Vec{X: v.At(0, 0), Y: v.At(1, 0), Z: v.At(2, 0)}), on, ok
}
