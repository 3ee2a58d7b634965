package geom_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"mouldwright/internal/geom"
	"mouldwright/internal/geom/delaunay"
)

func rectangle(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// want compares moments with a tolerance scaled by the size of the place.
func want(t interface {
	Helper()
	Fatalf(string, ...any)
}, got, exp geom.Moments, tol float64) {
	t.Helper()
	if math.Abs(got.Area-exp.Area) > tol || math.Abs(got.X-exp.X) > tol*10 || math.Abs(got.Y-exp.Y) > tol*10 {
		t.Fatalf("moments %v, want %v (difference %g %g %g)", got, exp, got.Area-exp.Area, got.X-exp.X, got.Y-exp.Y)
	}
}

// The right triangle with legs of 6 has area 18 and centroid (2, 2); it holds the square [0,3]² with
// area 9 and centroid (1.5, 1.5).
func TestCoverageClosedForms(t *testing.T) {
	tri := r2.Triangle{{}, {X: 6}, {Y: 6}}
	whole := geom.Moments{Area: 18, X: 36, Y: 36}
	square := geom.Moments{Area: 9, X: 13.5, Y: 13.5}
	cw := func(p []r2.Vec) []r2.Vec { return []r2.Vec{p[0], p[3], p[2], p[1]} }
	for _, c := range []struct {
		name  string
		polys [][]r2.Vec
		want  geom.Moments
	}{
		{"nothing", nil, geom.Moments{}},
		{"itself", [][]r2.Vec{tri[:]}, whole},
		{"around", [][]r2.Vec{rectangle(-1, -1, 7, 7)}, whole},
		{"square in its corner", [][]r2.Vec{rectangle(0, 0, 3, 3)}, square},
		{"clockwise", [][]r2.Vec{cw(rectangle(0, 0, 3, 3))}, square},
		{"the same three times", [][]r2.Vec{rectangle(0, 0, 3, 3), rectangle(0, 0, 3, 3), cw(rectangle(0, 0, 3, 3))}, square},
		{"two halves", [][]r2.Vec{rectangle(0, 0, 3, 1), rectangle(0, 1, 3, 3)}, square},
		{"overlapping halves", [][]r2.Vec{rectangle(0, 0, 3, 2), rectangle(0, 1, 3, 3)}, square},
		{"T joints", [][]r2.Vec{rectangle(0, 0, 3, 1), rectangle(0, 1, 2, 3), rectangle(2, 1, 3, 2), rectangle(2, 2, 3, 3)}, square},
		{"one in another", [][]r2.Vec{rectangle(0, 0, 3, 3), rectangle(1, 1, 2, 2), rectangle(0, 0, 1, 1)}, square},
		{"beside it", [][]r2.Vec{rectangle(6, 0, 9, 9), rectangle(-2, -2, 0, 8), rectangle(0, -1, 6, 0)}, geom.Moments{}},
		{"without area", [][]r2.Vec{{{X: 1, Y: 1}, {X: 2, Y: 2}, {X: 1.5, Y: 1.5}}, {{X: 1}}, nil}, geom.Moments{}},
		// A frame round the square [1,2]², whose area is 1 and moments 1.5.
		{"frame", [][]r2.Vec{rectangle(0, 0, 3, 1), rectangle(0, 2, 3, 3), rectangle(0, 0, 1, 3), rectangle(2, 0, 3, 3)},
			geom.Moments{Area: 8, X: 12, Y: 12}},
	} {
		t.Run(c.name, func(t *testing.T) {
			want(t, geom.CoverageOf(tri, c.polys), c.want, 1e-13)
			flipped := r2.Triangle{tri[0], tri[2], tri[1]}
			want(t, geom.CoverageOf(flipped, c.polys), c.want, 1e-13)
		})
	}
	if got := geom.CoverageOf(r2.Triangle{{}, {X: 1}, {X: 2}}, [][]r2.Vec{rectangle(0, -1, 3, 1)}); got != (geom.Moments{}) {
		t.Errorf("triangle without area: %v", got)
	}
}

// inclusionExclusion sums the moments of all intersections with alternating sign: slow, and with
// nothing in common with the tested method but the clipping of two convex polygons.
func inclusionExclusion(tri r2.Triangle, polys [][]r2.Vec) geom.Moments {
	var sum geom.Moments
	var add func(part []r2.Vec, from int, sign float64)
	add = func(part []r2.Vec, from int, sign float64) {
		for i := from; i < len(polys); i++ {
			cut := geom.ClipConvex(part, polys[i], nil)
			if len(cut) < 3 {
				continue
			}
			m := geom.PolygonMoments(cut)
			sum = sum.Add(geom.Moments{Area: sign * m.Area, X: sign * m.X, Y: sign * m.Y})
			add(cut, i+1, -sign)
		}
	}
	add(tri[:], 0, 1)
	return sum
}

func ccw(p []r2.Vec) []r2.Vec {
	if geom.PolygonArea(p) < 0 {
		for i, j := 0, len(p)-1; i < j; i, j = i+1, j-1 {
			p[i], p[j] = p[j], p[i]
		}
	}
	return p
}

// drawPolys draws triangles, rectangles and hulls on coordinates that coincide, almost coincide, or
// are free.
func drawPolys(t *rapid.T) (r2.Triangle, [][]r2.Vec) {
	kind := rapid.IntRange(0, 2).Draw(t, "kind")
	coord := func() float64 {
		switch kind {
		case 0:
			return float64(rapid.IntRange(0, 5).Draw(t, "c"))
		case 1:
			x := 0.1 * float64(rapid.IntRange(0, 50).Draw(t, "c"))
			return x * (1 + float64(rapid.IntRange(-2, 2).Draw(t, "ulps"))*0x1p-52)
		default:
			return rapid.Float64Range(0, 5).Draw(t, "c")
		}
	}
	pt := func() r2.Vec { return r2.Vec{X: coord(), Y: coord()} }
	tri := r2.Triangle(ccw([]r2.Vec{pt(), pt(), pt()}))
	var polys [][]r2.Vec
	for range rapid.IntRange(0, 7).Draw(t, "n") {
		switch rapid.IntRange(0, 2).Draw(t, "shape") {
		case 0:
			polys = append(polys, ccw([]r2.Vec{pt(), pt(), pt()}))
		case 1:
			a, b := pt(), pt()
			polys = append(polys, rectangle(min(a.X, b.X), min(a.Y, b.Y), max(a.X, b.X), max(a.Y, b.Y)))
		default:
			polys = append(polys, geom.ConvexHull([]r2.Vec{pt(), pt(), pt(), pt(), pt(), pt()}))
		}
	}
	return tri, polys
}

func TestCoverageAgainstInclusionExclusion(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tri, polys := drawPolys(t)
		var flat [][]r2.Vec
		for _, p := range polys {
			if len(p) >= 3 && geom.PolygonArea(p) != 0 {
				flat = append(flat, p)
			}
		}
		want(t, geom.CoverageOf(tri, polys), inclusionExclusion(tri, flat), 1e-11)
	})
}

// Turning, mirroring, scaling or renumbering everything does not change what is covered.
func TestCoverageInvariance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tri, polys := drawPolys(t)
		angle := rapid.Float64Range(0, 7).Draw(t, "angle")
		rot := r2.NewRotation(angle, r2.Vec{})
		scale := rapid.SampledFrom([]float64{1, 1000, 1e-3}).Draw(t, "scale")
		move := r2.Vec{X: rapid.Float64Range(-50, 50).Draw(t, "dx") * scale}
		f := func(v r2.Vec) r2.Vec {
			v = rot.Rotate(r2.Scale(scale, v))
			return r2.Add(r2.Vec{X: -v.X, Y: v.Y}, move)
		}
		a := geom.CoverageOf(tri, polys)
		var turned [][]r2.Vec
		for _, i := range rand.New(rand.NewPCG(uint64(len(polys)), 1)).Perm(len(polys)) {
			var q []r2.Vec
			for _, v := range polys[i] {
				q = append(q, f(v))
			}
			turned = append(turned, q)
		}
		b := geom.CoverageOf(r2.Triangle{f(tri[0]), f(tri[1]), f(tri[2])}, turned)
		if got := b.Area / scale / scale; math.Abs(got-a.Area) > 1e-11 {
			t.Fatalf("covers %g, turned %g", a.Area, got)
		}
	})
}

// Two edges of the polygon cross the triangle's lower edge within 1e-7 rad of it. The area is that of
// the intersection in rational arithmetic.
func TestCoverageNearlyParallel(t *testing.T) {
	tri := r2.Triangle{
		{X: 278.49153754387817, Y: 1216.3163809651676}, {X: 31.08757828936234, Y: 247.40395925455047},
		{X: 689.6452399208091, Y: 79.24658069871444},
	}
	poly := []r2.Vec{
		{X: 688.6990363839823, Y: 79.48818612767393}, {X: 31.08760778220551, Y: 247.40407475788436},
		{X: 15.9483585661892, Y: 251.26979049707666}, {X: 278.49153754387817, Y: 1216.3163809651676},
	}
	if got := geom.CoverageOf(tri, [][]r2.Vec{poly}).Area; math.Abs(got-339355.42829567555) > 1e-9 {
		t.Errorf("area off by %g", got-339355.42829567555)
	}
}

// A plain count of sample points, as a check that has no geometry in it. 40,000 points of a regular
// grid miss an area by at most about the perimeter times half the step.
func TestCoverageAgainstSampling(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	tri := r2.Triangle{{}, {X: 10, Y: 1}, {X: 3, Y: 9}}
	inside := func(p []r2.Vec, q r2.Vec) bool {
		for i, a := range p {
			b := p[(i+1)%len(p)]
			if (b.X-a.X)*(q.Y-a.Y)-(b.Y-a.Y)*(q.X-a.X) < 0 {
				return false
			}
		}
		return true
	}
	for range 20 {
		var polys [][]r2.Vec
		for range 60 {
			c := r2.Vec{X: rng.Float64() * 10, Y: rng.Float64() * 10}
			polys = append(polys, ccw([]r2.Vec{c, {X: c.X + rng.Float64()*2, Y: c.Y + rng.Float64() - .5}, {X: c.X + rng.Float64() - .5, Y: c.Y + rng.Float64()*2}}))
		}
		const n = 200
		count := 0
		for i := range n * n {
			q := r2.Vec{X: (float64(i%n) + .5) * 10 / n, Y: (float64(i/n) + .5) * 10 / n}
			if !inside(tri[:], q) {
				continue
			}
			for _, p := range polys {
				if inside(p, q) {
					count++
					break
				}
			}
		}
		sampled := float64(count) * 100 / n / n
		if got := geom.CoverageOf(tri, polys).Area; math.Abs(got-sampled) > 0.5 {
			t.Errorf("area %g, sampled %g", got, sampled)
		}
	}
}

// mesh triangulates n random points in the square [0,10]²: polygons that touch along whole edges.
func mesh(t testing.TB, n int) [][]r2.Vec {
	rng := rand.New(rand.NewPCG(11, 12))
	pts := rectangle(0, 0, 10, 10)
	for range n {
		pts = append(pts, r2.Vec{X: rng.Float64() * 10, Y: rng.Float64() * 10})
	}
	tr, err := delaunay.Triangulate(context.Background(), pts, nil)
	if err != nil {
		t.Fatal(err)
	}
	var polys [][]r2.Vec
	for _, v := range tr.Tris {
		polys = append(polys, []r2.Vec{pts[v[0]], pts[v[1]], pts[v[2]]})
	}
	return polys
}

// A triangulation of a square covers a triangle inside it completely, whole or clipped to the
// triangle beforehand (which rounds corners, so neighbours miss each other by roundings); without
// some of its triangles it covers what is left.
func TestCoverageOfMesh(t *testing.T) {
	tri := r2.Triangle{{X: 1, Y: 0.3}, {X: 9.1, Y: 2.2}, {X: 4, Y: 9.7}}
	polys := mesh(t, 3000)
	full := geom.PolygonMoments(tri[:])
	want(t, geom.CoverageOf(tri, polys), full, 1e-11)
	var clipped, some [][]r2.Vec
	var rest geom.Moments
	for i, p := range polys {
		c := geom.ClipConvex(p, tri[:], nil)
		clipped = append(clipped, c)
		if i%3 == 0 {
			some = append(some, p, p)
			rest = rest.Add(geom.PolygonMoments(c))
		}
	}
	want(t, geom.CoverageOf(tri, clipped), full, 1e-11)
	want(t, geom.CoverageOf(tri, some), rest, 1e-11)
}

func TestCoverageDoesNotAllocate(t *testing.T) {
	polys := mesh(t, 100)
	var c geom.Coverer
	tri := r2.Triangle{{X: 1, Y: 1}, {X: 9, Y: 2}, {X: 4, Y: 9}}
	c.Cover(tri, polys)
	if n := testing.AllocsPerRun(10, func() { c.Cover(tri, polys) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

func ExampleCoverer() {
	// A triangular facet of 18 mm² with two overlapping plates of 4 mm² before it.
	var c geom.Coverer
	hidden := c.Cover(r2.Triangle{{}, {X: 6}, {Y: 6}}, [][]r2.Vec{
		{{X: 0, Y: 0}, {X: 2, Y: 0}, {X: 2, Y: 2}, {X: 0, Y: 2}},
		{{X: 1, Y: 0}, {X: 3, Y: 0}, {X: 3, Y: 2}, {X: 1, Y: 2}},
	})
	fmt.Printf("%.3f mm² about (%.2f, %.2f)\n", hidden.Area, hidden.Centroid().X, hidden.Centroid().Y)
	// Output: 6.000 mm² about (1.50, 1.00)
}

func BenchmarkCoverage(b *testing.B) {
	tri := r2.Triangle{{X: 1, Y: 0.3}, {X: 9.1, Y: 2.2}, {X: 4, Y: 9.7}}
	for _, n := range []int{10, 100, 1000, 10_000, 100_000} {
		polys := mesh(b, n/2)
		b.Run(fmt.Sprintf("touching/%d", len(polys)), func(b *testing.B) {
			b.ReportAllocs()
			var c geom.Coverer
			for b.Loop() {
				c.Cover(tri, polys)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(polys)), "ns/polygon")
		})
	}
	var stacked [][]r2.Vec
	rng := rand.New(rand.NewPCG(1, 2))
	for range 1000 {
		stacked = append(stacked, rectangle(rng.Float64()*4, rng.Float64()*4, 6+rng.Float64()*4, 6+rng.Float64()*4))
	}
	b.Run("stacked/1000", func(b *testing.B) {
		var c geom.Coverer
		for b.Loop() {
			c.Cover(tri, stacked)
		}
	})
}
