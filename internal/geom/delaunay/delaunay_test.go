package delaunay

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"

	"mouldwright/internal/geom"
)

type failer interface {
	Helper()
	Fatalf(string, ...any)
}

func must(t failer, pts []r2.Vec, segs [][2]int) *Triangulation {
	t.Helper()
	tr, err := Triangulate(context.Background(), pts, segs)
	if err != nil {
		t.Fatalf("Triangulate: %v", err)
	}
	verify(t, tr, pts, segs)
	return tr
}

// verify checks everything the doc promises.
func verify(t failer, tr *Triangulation, pts []r2.Vec, segs [][2]int) {
	t.Helper()
	used := make([]bool, len(pts))
	covered := make([]float64, len(segs))
	hullEdges, area, size := 0, 0.0, 0.0
	for i, v := range tr.Tris {
		a, b, c := pts[v[0]], pts[v[1]], pts[v[2]]
		if geom.Orient2D(a, b, c) <= 0 {
			t.Fatalf("triangle %d %v is not counter-clockwise", i, v)
		}
		area += geom.PolygonArea([]r2.Vec{a, b, c})
		size += r2.Norm2(r2.Sub(b, a)) + r2.Norm2(r2.Sub(c, b)) // for hulls that are thinner than the rounding of their area
		for k := range 3 {
			used[v[k]] = true
			p, q := v[k], v[(k+1)%3]
			s := tr.Segment[i][k]
			if s != None {
				e := segs[s]
				if geom.Orient2D(pts[e[0]], pts[e[1]], pts[p]) != 0 || geom.Orient2D(pts[e[0]], pts[e[1]], pts[q]) != 0 {
					t.Fatalf("edge %d–%d is said to lie on segment %d", p, q, s)
				}
			}
			o := tr.Neighbours[i][k]
			if o == None {
				hullEdges++
			}
			if o == None || p < q {
				for j, e := range segs {
					if onSegment(pts[e[0]], pts[e[1]], pts[p]) && onSegment(pts[e[0]], pts[e[1]], pts[q]) {
						covered[j] += r2.Norm(r2.Sub(pts[p], pts[q]))
						if s == None {
							t.Fatalf("edge %d–%d lies on segment %d and is not marked", p, q, j)
						}
					}
				}
			}
			if o == None {
				continue
			}
			j := 0
			for tr.Tris[o][j] != q || tr.Tris[o][(j+1)%3] != p {
				if j++; j == 3 {
					t.Fatalf("triangles %d and %d do not share edge %d–%d", i, o, p, q)
				}
			}
			if tr.Neighbours[o][j] != int32(i) || tr.Segment[o][j] != s {
				t.Fatalf("triangles %d and %d disagree on their edge", i, o)
			}
			if s == None && geom.InCircle(a, b, c, pts[tr.Tris[o][(j+2)%3]]) > 0 {
				t.Fatalf("edge %d–%d is not locally Delaunay", p, q)
			}
		}
	}
	for i := range used {
		if !used[i] {
			t.Fatalf("point %d is not in the triangulation", i)
		}
	}
	// Euler's formula for a triangulated disc, and the area of the hull.
	if want := 2*len(pts) - 2 - hullEdges; len(tr.Tris) != want {
		t.Fatalf("%d triangles, want %d", len(tr.Tris), want)
	}
	if hull := geom.PolygonArea(geom.ConvexHull(pts)); math.Abs(area-hull) > 1e-12*hull+1e-15*size {
		t.Fatalf("area %g, hull %g", area, hull)
	}
	for i, e := range segs {
		if l := r2.Norm(r2.Sub(pts[e[0]], pts[e[1]])); math.Abs(covered[i]-l) > 1e-12*l {
			t.Fatalf("edges cover %g of segment %d, length %g", covered[i], i, l)
		}
	}
}

func onSegment(a, b, p r2.Vec) bool {
	return geom.Orient2D(a, b, p) == 0 &&
		p.X >= min(a.X, b.X) && p.X <= max(a.X, b.X) && p.Y >= min(a.Y, b.Y) && p.Y <= max(a.Y, b.Y)
}

func grid(n, m int, step float64) []r2.Vec {
	var pts []r2.Vec
	for i := range n {
		for j := range m {
			pts = append(pts, r2.Vec{X: float64(i) * step, Y: float64(j) * step})
		}
	}
	return pts
}

// circle is a regular polygon and its edges, numbered from first on.
func circle(n int, r float64, first int) ([]r2.Vec, [][2]int) {
	var pts []r2.Vec
	var segs [][2]int
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		pts = append(pts, r2.Vec{X: r * c, Y: r * s})
		segs = append(segs, [2]int{first + i, first + (i+1)%n})
	}
	return pts, segs
}

func random(n int, seed uint64) []r2.Vec {
	rng := rand.New(rand.NewPCG(seed, 0))
	pts := make([]r2.Vec, n)
	for i := range pts {
		pts[i] = r2.Vec{X: rng.Float64() * 100, Y: rng.Float64() * 100}
	}
	return pts
}

func TestGridsAndPolygons(t *testing.T) {
	for _, n := range []int{2, 3, 7, 40} {
		for _, step := range []float64{1, 0.1} {
			tr := must(t, grid(n, n+1, step), nil)
			if want := 2 * (n - 1) * n; step == 1 && len(tr.Tris) != want {
				t.Errorf("%d×%d grid: %d triangles, want %d", n, n+1, len(tr.Tris), want)
			}
		}
	}
	for _, n := range []int{3, 4, 5, 8, 64, 999} {
		pts, segs := circle(n, 25, 0)
		if tr := must(t, pts, segs); len(tr.Tris) != n-2 {
			t.Errorf("regular %d-gon: %d triangles", n, len(tr.Tris))
		}
	}
}

func TestRandomPoints(t *testing.T) {
	for _, n := range []int{3, 4, 5, 10, 100, 5000} {
		must(t, random(n, uint64(n)), nil)
	}
}

// area adds up the triangles of one depth.
func area(tr *Triangulation, pts []r2.Vec, depth int32) float64 {
	sum := 0.0
	for i, d := range tr.Depth() {
		if d == depth {
			v := tr.Tris[i]
			sum += geom.PolygonArea([]r2.Vec{pts[v[0]], pts[v[1]], pts[v[2]]})
		}
	}
	return sum
}

// A ring, an island in its hole, and stray points, against the area of regular polygons,
// n/2·r²·sin(2π/n).
func TestRingWithHole(t *testing.T) {
	const n = 48
	ngon := func(r float64) float64 { return n / 2 * r * r * math.Sin(2*math.Pi/n) }
	var pts []r2.Vec
	var segs [][2]int
	for _, r := range []float64{30, 20, 5} {
		p, s := circle(n, r, len(pts))
		pts, segs = append(pts, p...), append(segs, s...)
	}
	pts = append(pts, r2.Vec{X: 50, Y: 50}, r2.Vec{X: -50, Y: 10}, r2.Vec{Y: -44})
	tr := must(t, pts, segs)
	for d, want := range []float64{
		geom.PolygonArea(geom.ConvexHull(pts)) - ngon(30),
		ngon(30) - ngon(20), ngon(20) - ngon(5), ngon(5),
	} {
		if got := area(tr, pts, int32(d)); math.Abs(got-want) > 1e-10 {
			t.Errorf("depth %d: area %g, want %g", d, got, want)
		}
	}
	for i, in := range tr.Inside() {
		if in != (tr.Depth()[i]%2 == 1) {
			t.Fatal("Inside is not the parity of Depth")
		}
	}
}

// Two squares that share an edge given once for each: the edge counts twice, so both are inside.
func TestSharedEdgeCountsTwice(t *testing.T) {
	pts := []r2.Vec{{}, {X: 1}, {X: 1, Y: 1}, {Y: 1}, {X: 2}, {X: 2, Y: 1}, {X: 3, Y: .5}}
	segs := [][2]int{{0, 1}, {1, 2}, {2, 3}, {3, 0}, {1, 4}, {4, 5}, {5, 2}, {2, 1}}
	tr := must(t, pts, segs)
	if got := area(tr, pts, 1); math.Abs(got-2) > 1e-15 {
		t.Errorf("inside area %g, want 2", got)
	}
}

func TestSegmentThroughPoints(t *testing.T) {
	pts := append(grid(9, 9, 1), r2.Vec{X: 3.5, Y: 4.25})
	segs := [][2]int{{0, 80}, {72, 8}, {4, 76}, {0, 8}, {10, 70}}
	if _, err := Triangulate(context.Background(), pts, segs[:2]); err != nil {
		t.Fatalf("segments that meet in the point at their crossing: %v", err)
	}
	tr := must(t, pts, segs)
	n := 0
	for _, s := range tr.Segment {
		for _, e := range s {
			if e == 0 {
				n++
			}
		}
	}
	if n != 16 { // 8 edges of the diagonal, each seen from both sides
		t.Errorf("the diagonal lies on %d half-edges, want 16", n)
	}
}

// One segment across thousands of triangles, and a comb whose teeth make vertices jut into the gap.
func TestLongSegments(t *testing.T) {
	pts := append(random(3000, 5), r2.Vec{X: -1, Y: 40.1}, r2.Vec{X: 101, Y: 61.7}, r2.Vec{X: 50, Y: -3}, r2.Vec{X: 51, Y: 30})
	must(t, pts, [][2]int{{3000, 3001}, {3002, 3003}})
	var comb []r2.Vec
	var segs [][2]int
	for i := range 40 {
		x := float64(i)
		comb = append(comb, r2.Vec{X: x, Y: 10 + math.Mod(x*7, 3)}, r2.Vec{X: x + .2, Y: 0.01 + math.Mod(x*5, 2)},
			r2.Vec{X: x + .5, Y: -10 - math.Mod(x*3, 4)}, r2.Vec{X: x + .55, Y: -0.01 - math.Mod(x*11, 3)})
		k := 4 * i
		segs = append(segs, [2]int{k, k + 1}, [2]int{k + 2, k + 3})
	}
	comb = append(comb, r2.Vec{X: -5}, r2.Vec{X: 45})
	must(t, comb, append(segs, [2]int{160, 161}))
}

func TestErrors(t *testing.T) {
	sq := []r2.Vec{{}, {X: 2}, {X: 2, Y: 2}, {Y: 2}}
	line := []r2.Vec{{}, {X: 1, Y: 1}, {X: 3, Y: 3}, {X: 2, Y: 2}}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	for _, c := range []struct {
		name string
		ctx  context.Context
		pts  []r2.Vec
		segs [][2]int
		want error
	}{
		{"crossing", nil, sq, [][2]int{{0, 1}, {1, 3}, {0, 2}}, ErrCrossing},
		{"duplicate", nil, append([]r2.Vec{{X: 1, Y: 1}}, append(sq, r2.Vec{X: 2})...), nil, ErrDuplicate},
		{"duplicate first", nil, []r2.Vec{{}, {}, {X: 1}, {Y: 1}}, nil, ErrDuplicate},
		{"flat", nil, line, nil, ErrFlat},
		{"two points", nil, line[:2], nil, ErrFlat},
		{"nothing", nil, nil, nil, ErrFlat},
		{"NaN", nil, append([]r2.Vec{{X: math.NaN()}}, sq...), nil, ErrPoint},
		{"range", nil, sq, [][2]int{{0, 4}}, ErrSegment},
		{"loop", nil, sq, [][2]int{{3, 3}}, ErrSegment},
		{"cancelled", cancelled, sq, nil, context.Canceled},
	} {
		if c.ctx == nil {
			c.ctx = context.Background()
		}
		if _, err := Triangulate(c.ctx, c.pts, c.segs); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
	var cross *CrossingError
	if _, err := Triangulate(context.Background(), sq, [][2]int{{0, 1}, {1, 3}, {0, 2}}); !errors.As(err, &cross) || *cross != (CrossingError{1, 2}) {
		t.Errorf("crossing: %v", err)
	}
	var dup *DuplicateError
	if _, err := Triangulate(context.Background(), append(sq, r2.Vec{X: 2}), nil); !errors.As(err, &dup) || *dup != (DuplicateError{1, 4}) {
		t.Errorf("duplicate: %v", err)
	}
}

// Points on a small integer grid, so that collinear and cocircular sets and points on segments are
// the rule; segments are kept if they cross none before. The error must agree with the exact test.
func TestPropertySmallGrid(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		seen := map[r2.Vec]bool{}
		var pts []r2.Vec
		size := rapid.IntRange(2, 9).Draw(t, "size")
		scale := rapid.SampledFrom([]float64{1, 0.1, 1e-7}).Draw(t, "scale")
		ulps := rapid.IntRange(0, 2).Draw(t, "ulps") // nearly degenerate instead of exactly
		coord := func() float64 {
			x := scale * float64(rapid.IntRange(0, size).Draw(t, "coord"))
			return x * (1 + float64(rapid.IntRange(-ulps, ulps).Draw(t, "nudge"))*0x1p-52)
		}
		for range rapid.IntRange(3, 40).Draw(t, "n") {
			p := r2.Vec{X: coord(), Y: coord()}
			if !seen[p] {
				seen[p] = true
				pts = append(pts, p)
			}
		}
		if len(pts) < 3 || len(geom.ConvexHull(pts)) < 3 {
			return
		}
		var segs [][2]int
		for range rapid.IntRange(0, 20).Draw(t, "segments") {
			s := [2]int{rapid.IntRange(0, len(pts)-1).Draw(t, "from"), rapid.IntRange(0, len(pts)-1).Draw(t, "to")}
			if s[0] == s[1] {
				continue
			}
			crosses := false
			for _, o := range segs {
				crosses = crosses || crossAwayFromPoints(pts, s, o)
			}
			if !crosses {
				segs = append(segs, s)
				continue
			}
			if _, err := Triangulate(context.Background(), pts, append(segs[:len(segs):len(segs)], s)); !errors.Is(err, ErrCrossing) {
				t.Fatalf("crossing segments accepted: %v", err)
			}
		}
		tr := must(t, pts, segs)
		again := must(t, pts, segs)
		if !reflect.DeepEqual(tr, again) {
			t.Fatalf("two runs differ")
		}
	})
}

// crossAwayFromPoints reports whether two segments cross in their interiors at a place where no
// point is.
func crossAwayFromPoints(pts []r2.Vec, s, o [2]int) bool {
	a, b, c, d := pts[s[0]], pts[s[1]], pts[o[0]], pts[o[1]]
	if geom.Orient2D(a, b, c)*geom.Orient2D(a, b, d) >= 0 || geom.Orient2D(c, d, a)*geom.Orient2D(c, d, b) >= 0 {
		return false
	}
	for _, p := range pts {
		if onSegment(a, b, p) && onSegment(c, d, p) {
			return false
		}
	}
	return true
}

// Random points with a random star-shaped loop: its inside has the loop's area.
func TestPropertyLoop(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(3, 60).Draw(t, "n")
		var pts []r2.Vec
		var segs [][2]int
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
			r := rapid.Float64Range(1, 30).Draw(t, "r")
			pts = append(pts, r2.Vec{X: r * c, Y: r * s})
			segs = append(segs, [2]int{i, (i + 1) % n})
		}
		loop := append([]r2.Vec{}, pts...)
		pts = append(pts, random(rapid.IntRange(0, 80).Draw(t, "extra"), rapid.Uint64().Draw(t, "seed"))...)
		tr := must(t, pts, segs)
		if got, want := area(tr, pts, 1), geom.PolygonArea(loop); math.Abs(got-want) > 1e-11*want {
			t.Fatalf("inside %g, loop %g", got, want)
		}
	})
}

func BenchmarkTriangulate(b *testing.B) {
	ctx := context.Background()
	for _, n := range []int{1_000, 10_000, 100_000, 1_000_000} {
		pts := random(n, 1)
		b.Run(fmt.Sprintf("random/%d", n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Triangulate(ctx, pts, nil); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/point")
		})
	}
	g := grid(316, 316, 0.1)
	b.Run("grid/100k", func(b *testing.B) {
		for b.Loop() {
			if _, err := Triangulate(ctx, g, nil); err != nil {
				b.Fatal(err)
			}
		}
	})
	pts, segs := circle(100_000, 25, 0)
	b.Run("circle/100k", func(b *testing.B) {
		for b.Loop() {
			if _, err := Triangulate(ctx, pts, segs); err != nil {
				b.Fatal(err)
			}
		}
	})
}
