package geom

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"runtime"
	"slices"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// sphere is a closed mesh of about n triangles on a sphere of radius r about c: rings of vertices
// between two poles.
func sphere(n int, r float64, c r3.Vec) ([]r3.Vec, [][3]uint32) {
	rings := max(2, int(math.Sqrt(float64(n)/4)))
	around := 2 * rings
	verts := []r3.Vec{r3.Add(c, r3.Vec{Z: r}), r3.Add(c, r3.Vec{Z: -r})}
	for i := 1; i < rings; i++ {
		st, ct := math.Sincos(math.Pi * float64(i) / float64(rings))
		for j := range around {
			sp, cp := math.Sincos(2 * math.Pi * float64(j) / float64(around))
			verts = append(verts, r3.Add(c, r3.Vec{X: r * st * cp, Y: r * st * sp, Z: r * ct}))
		}
	}
	at := func(i, j int) uint32 {
		switch i {
		case 0:
			return 0
		case rings:
			return 1
		}
		return uint32(2 + (i-1)*around + j%around)
	}
	var tris [][3]uint32
	for i := range rings {
		for j := range around {
			a, b, c, d := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			if i > 0 {
				tris = append(tris, [3]uint32{a, b, d})
			}
			if i < rings-1 {
				tris = append(tris, [3]uint32{d, b, c})
			}
		}
	}
	return verts, tris
}

// soup is n random small triangles in the unit cube, some of them repeated or without area.
func soup(n int, rng *rand.Rand) ([]r3.Vec, [][3]uint32) {
	var verts []r3.Vec
	var tris [][3]uint32
	vec := func(s float64) r3.Vec {
		return r3.Vec{X: s * rng.Float64(), Y: s * rng.Float64(), Z: s * rng.Float64()}
	}
	for i := range n {
		k := uint32(len(verts))
		o := vec(1)
		verts = append(verts, o, r3.Add(o, vec(.2)), r3.Add(o, vec(.2)))
		switch i % 10 {
		case 3:
			tris = append(tris, [3]uint32{k, k + 1, k + 1})
		case 7:
			tris = append(tris, tris[len(tris)-1])
		default:
			tris = append(tris, [3]uint32{k, k + 1, k + 2})
		}
	}
	return verts, tris
}

func TestBVHSphereClosedForm(t *testing.T) {
	c := r3.Vec{X: 100, Y: -40, Z: 7}
	verts, tris := sphere(20000, 25, c)
	tree := NewBVH(verts, tris)
	rng := rand.New(rand.NewPCG(3, 4))
	// The facets lie between the sphere and its inner offset by the sagitta of one step.
	sag := 25 * (1 - math.Cos(2*math.Pi/140))
	for range 2000 {
		d := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		h, ok := tree.FirstHit(c, d, 0, math.Inf(1))
		if !ok || h.T > 25+1e-12 || h.T < 25-sag {
			t.Fatalf("from the centre along %v: %v %v", d, h, ok)
		}
		eye := r3.Add(c, r3.Scale(60, d))
		if h, ok = tree.FirstHit(eye, r3.Scale(-2, d), 0, 100); !ok || math.Abs(h.T-17.5) > sag {
			t.Fatalf("from outside: %v %v, want t near 17.5", h, ok)
		}
		if tree.AnyHit(eye, d, 0, math.Inf(1)) || tree.AnyHit(eye, r3.Scale(-1, d), 0, 34.9) {
			t.Fatalf("hit where nothing is, along %v", d)
		}
		n := tree.Nearest(eye)
		if n.Distance < 35-1e-12 || n.Distance > 35+sag || math.Abs(r3.Norm(r3.Sub(n.Point, eye))-n.Distance) > 1e-12 {
			t.Fatalf("nearest to %v: %v, want 35", eye, n)
		}
	}
}

// Rays aimed exactly at vertices and at points on edges, from inside a closed mesh: none may escape.
func TestBVHWatertight(t *testing.T) {
	verts, tris := sphere(3000, 10, r3.Vec{X: 0.1, Y: 0.2, Z: 0.3})
	tree := NewBVH(verts, tris)
	rng := rand.New(rand.NewPCG(5, 6))
	for _, tri := range tris {
		for k := range 3 {
			a, b := verts[tri[k]], verts[tri[(k+1)%3]]
			eye := r3.Vec{X: rng.Float64(), Y: rng.Float64(), Z: rng.Float64()}
			for _, aim := range []r3.Vec{a, r3.Scale(.5, r3.Add(a, b)), r3.Add(a, r3.Scale(rng.Float64(), r3.Sub(b, a)))} {
				if !tree.AnyHit(eye, r3.Sub(aim, eye), 0, math.Inf(1)) {
					t.Fatalf("ray from %v at %v, on an edge, escapes", eye, aim)
				}
			}
		}
	}
	// And axis-parallel rays down through the vertices of a flat grid.
	var grid []r3.Vec
	var quads [][3]uint32
	for i := range 21 {
		for j := range 21 {
			grid = append(grid, r3.Vec{X: float64(i) * 0.1, Y: float64(j) * 0.1, Z: 1})
			if k := uint32(i*21 + j); i < 20 && j < 20 {
				quads = append(quads, [3]uint32{k, k + 21, k + 22}, [3]uint32{k, k + 22, k + 1})
			}
		}
	}
	flat := NewBVH(grid, quads)
	for _, v := range grid {
		h, ok := flat.FirstHit(r3.Vec{X: v.X, Y: v.Y, Z: 5}, r3.Vec{Z: -1}, 0, 10)
		if !ok || h.T != 4 {
			t.Fatalf("ray down on %v: %v %v", v, h, ok)
		}
	}
}

func TestBVHAgainstBruteForce(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for _, n := range []int{1, 2, 9, 300, 2000} {
		verts, tris := soup(n, rng)
		tree := NewBVH(verts, tris)
		for range 150 {
			o := r3.Vec{X: rng.Float64()*3 - 1, Y: rng.Float64()*3 - 1, Z: rng.Float64()*3 - 1}
			d := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
			if rng.IntN(4) == 0 {
				d = []r3.Vec{{X: 1}, {Y: -1}, {Z: 1}, {X: -2}}[rng.IntN(4)]
			}
			tMin, tMax := rng.Float64()*.5-.3, rng.Float64()*3
			compareRay(t, tree, verts, tris, o, d, tMin, tMax)
			compareNearest(t, tree, verts, tris, o)
			compareBox(t, tree, verts, tris, r3.Box{Min: o, Max: r3.Add(o, r3.Scale(rng.Float64(), r3.Vec{X: 1, Y: 1, Z: 1}))})
		}
	}
}

// mollerTrumbore is an independent ray test ("Fast, Minimum Storage Ray/Triangle Intersection",
// 1997); near is true when the ray passes an edge so closely that either answer is right.
func mollerTrumbore(o, d r3.Vec, tri r3.Triangle) (t float64, ok, near bool) {
	e1, e2 := r3.Sub(tri[1], tri[0]), r3.Sub(tri[2], tri[0])
	p := r3.Cross(d, e2)
	det := r3.Dot(e1, p)
	if math.Abs(det) < 1e-14 {
		return 0, false, true
	}
	s := r3.Sub(o, tri[0])
	u := r3.Dot(s, p) / det
	q := r3.Cross(s, e1)
	v := r3.Dot(d, q) / det
	t = r3.Dot(e2, q) / det
	const eps = 1e-9
	m := min(u, v, 1-u-v)
	return t, m >= 0, math.Abs(m) < eps
}

func compareRay(t *testing.T, tree *BVH, verts []r3.Vec, tris [][3]uint32, o, d r3.Vec, tMin, tMax float64) {
	t.Helper()
	want, count := Hit{Facet: -1, T: math.Inf(1)}, 0
	for i, tri := range tris {
		tt, ok, near := mollerTrumbore(o, d, r3.Triangle{verts[tri[0]], verts[tri[1]], verts[tri[2]]})
		if near && tri[1] != tri[2] {
			return // undecidable in floats: leave this ray out
		}
		if ok && tt >= tMin && tt <= tMax {
			count++
			if tt < want.T {
				want = Hit{i, tt}
			}
		}
	}
	got, ok := tree.FirstHit(o, d, tMin, tMax)
	if ok != (want.Facet >= 0) || (ok && (got.Facet != want.Facet || math.Abs(got.T-want.T) > 1e-9)) {
		t.Fatalf("ray %v %v [%g, %g]: %v %v, want %v", o, d, tMin, tMax, got, ok, want)
	}
	if tree.AnyHit(o, d, tMin, tMax) != ok {
		t.Fatalf("AnyHit disagrees with FirstHit on %v %v", o, d)
	}
	tree.EachHit(o, d, tMin, tMax, func(Hit) bool { count--; return true })
	if count != 0 {
		t.Fatalf("EachHit is off by %d", count)
	}
}

func compareNearest(t *testing.T, tree *BVH, verts []r3.Vec, tris [][3]uint32, p r3.Vec) {
	t.Helper()
	got := tree.Nearest(p)
	best := math.Inf(1)
	for _, tri := range tris {
		best = min(best, distanceByMinimisation(p, verts[tri[0]], verts[tri[1]], verts[tri[2]]))
	}
	if math.Abs(got.Distance-best) > 1e-9 || math.Abs(r3.Norm(r3.Sub(got.Point, p))-got.Distance) > 1e-14 {
		t.Fatalf("nearest to %v: %v, want distance %g", p, got, best)
	}
	if _, ok := tree.NearestWithin(p, best*(1-1e-6)); ok {
		t.Fatalf("NearestWithin found something nearer than the nearest")
	}
	if h, ok := tree.NearestWithin(p, best*(1+1e-6)+1e-300); !ok || h != got {
		t.Fatalf("NearestWithin %v, Nearest %v", h, got)
	}
}

// distanceByMinimisation minimises |a + s·ab + u·ac − p| over the triangle: for a fixed s the best u
// is a clamped quotient, and the minimum over s is convex, so golden sections find it. Slow, and
// nothing like the tested code.
func distanceByMinimisation(p, a, b, c r3.Vec) float64 {
	ab, ac := r3.Sub(b, a), r3.Sub(c, a)
	f := func(s float64) float64 {
		q := r3.Sub(r3.Add(a, r3.Scale(s, ab)), p)
		u := 0.0
		if l := r3.Norm2(ac); l > 0 {
			u = min(max(-r3.Dot(q, ac)/l, 0), 1-s)
		}
		return r3.Norm(r3.Add(q, r3.Scale(u, ac)))
	}
	lo, hi := 0.0, 1.0
	const g = 0.6180339887498949
	x, y := hi-g*(hi-lo), lo+g*(hi-lo)
	fx, fy := f(x), f(y)
	for range 50 {
		if fx < fy {
			hi, y, fy = y, x, fx
			x = hi - g*(hi-lo)
			fx = f(x)
		} else {
			lo, x, fx = x, y, fy
			y = lo + g*(hi-lo)
			fy = f(y)
		}
	}
	return min(fx, fy, f(0), f(1))
}

func compareBox(t *testing.T, tree *BVH, verts []r3.Vec, tris [][3]uint32, box r3.Box) {
	t.Helper()
	var got, want []int
	tree.InBox(box, func(f int) { got = append(got, f) })
	for i, tri := range tris {
		tr := r3.Triangle{verts[tri[0]], verts[tri[1]], verts[tri[2]]}
		apart := false
		for k := range 3 {
			lo, hi := math.Inf(1), math.Inf(-1)
			for _, v := range tr {
				x := components(v)[k]
				lo, hi = math.Min(lo, x), math.Max(hi, x)
			}
			apart = apart || lo > components(box.Max)[k] || hi < components(box.Min)[k]
		}
		if !apart {
			want = append(want, i)
		}
	}
	slices.Sort(got)
	if !slices.Equal(got, want) {
		t.Fatalf("in box %v: %v, want %v", box, got, want)
	}
}

func TestBVHEmptyAndOdd(t *testing.T) {
	tree := NewBVH(nil, nil)
	if _, ok := tree.FirstHit(r3.Vec{}, r3.Vec{Z: 1}, 0, 1); ok {
		t.Error("hit in an empty tree")
	}
	if h := tree.Nearest(r3.Vec{}); h.Facet != -1 || !math.IsInf(h.Distance, 1) {
		t.Errorf("nearest in an empty tree: %v", h)
	}
	nan := math.NaN()
	verts := []r3.Vec{{}, {X: 1}, {Y: 1}, {X: nan}, {Z: math.Inf(1)}, {X: 1e200}}
	tree = NewBVH(verts, [][3]uint32{{0, 1, 3}, {0, 1, 2}, {0, 1, 4}, {0, 1, 5}})
	if h, ok := tree.FirstHit(r3.Vec{X: .25, Y: .25, Z: 1}, r3.Vec{Z: -1}, 0, 2); !ok || h != (Hit{1, 1}) || tree.Len() != 1 {
		t.Errorf("with facets that are not finite: %v %v", h, ok)
	}
	for _, d := range []r3.Vec{{}, {X: nan}, {Z: math.Inf(-1)}} {
		if _, ok := tree.FirstHit(r3.Vec{X: .25, Y: .25, Z: 1}, d, 0, 2); ok {
			t.Errorf("hit along %v", d)
		}
	}
	// Many triangles in one place cannot be split by centre.
	same := make([][3]uint32, 1000)
	for i := range same {
		same[i] = [3]uint32{0, 1, 2}
	}
	n := 0
	tree = NewBVH(verts, same)
	tree.InBox(r3.Box{Max: r3.Vec{X: 1, Y: 1, Z: 1}}, func(int) { n++ })
	if h, ok := tree.FirstHit(r3.Vec{X: .25, Y: .25, Z: 1}, r3.Vec{Z: -1}, 0, 2); !ok || h.Facet != 0 || n != 1000 {
		t.Errorf("stack of equal triangles: %v %v, %d in box", h, ok, n)
	}
}

// The tree is the same whatever the number of threads, and many readers get the same answers.
func TestBVHDeterministicAndConcurrent(t *testing.T) {
	verts, tris := sphere(40000, 25, r3.Vec{})
	tree := NewBVH(verts, tris)
	old := runtime.GOMAXPROCS(1)
	again := NewBVH(verts, tris)
	runtime.GOMAXPROCS(old)
	if !reflect.DeepEqual(tree, again) {
		t.Fatal("the tree depends on the number of threads")
	}
	run := func() (sum float64) {
		rng := rand.New(rand.NewPCG(9, 10))
		for range 500 {
			p := r3.Scale(20, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
			h, _ := tree.FirstHit(r3.Vec{}, p, 0, math.Inf(1))
			sum += h.T + tree.Nearest(p).Distance
		}
		return sum
	}
	want := run()
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			if got := run(); got != want {
				t.Errorf("%g, want %g", got, want)
			}
		})
	}
	wg.Wait()
}

func TestBVHQueriesDoNotAllocate(t *testing.T) {
	verts, tris := sphere(5000, 25, r3.Vec{})
	tree := NewBVH(verts, tris)
	n := 0
	if a := testing.AllocsPerRun(50, func() {
		tree.FirstHit(r3.Vec{}, r3.Vec{X: 1, Y: 2, Z: 3}, 0, 100)
		tree.AnyHit(r3.Vec{}, r3.Vec{X: 1, Y: 2, Z: 3}, 0, 100)
		tree.Nearest(r3.Vec{X: 1})
		tree.InBox(r3.Box{Max: r3.Vec{X: 9, Y: 9, Z: 30}}, func(int) { n++ })
	}); a != 0 {
		t.Errorf("%g allocations in queries", a)
	}
}

func BenchmarkBVHBuild(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		verts, tris := sphere(n, 25, r3.Vec{})
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				NewBVH(verts, tris)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(tris)), "ns/facet")
		})
	}
}

func BenchmarkBVHQuery(b *testing.B) {
	for _, n := range []int{10_000, 100_000, 1_000_000} {
		verts, tris := sphere(n, 25, r3.Vec{})
		tree := NewBVH(verts, tris)
		rng := rand.New(rand.NewPCG(1, 1))
		var p [4096]r3.Vec
		for i := range p {
			p[i] = r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		}
		for _, q := range []struct {
			name string
			f    func(p r3.Vec)
		}{
			{"FirstHit", func(p r3.Vec) { tree.FirstHit(r3.Vec{X: 40}, r3.Sub(r3.Scale(20, p), r3.Vec{X: 40}), 0, 1e9) }},
			{"AnyHit", func(p r3.Vec) { tree.AnyHit(p, p, 0, 1e9) }},
			{"Nearest", func(p r3.Vec) { tree.Nearest(r3.Scale(24/r3.Norm(p), p)) }},
		} {
			b.Run(fmt.Sprintf("%s/%d", q.name, n), func(b *testing.B) {
				for i := 0; b.Loop(); i++ {
					q.f(p[i%len(p)])
				}
			})
		}
	}
}
