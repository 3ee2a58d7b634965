package opening

import (
	"context"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

// Random convex polygons on a coarse grid, so that corners and edges coincide often, with hair-thin
// slivers along some of them.
var heaps = rapid.Custom(func(t *rapid.T) [][]r2.Vec {
	n := rapid.IntRange(1, 24).Draw(t, "n")
	var out [][]r2.Vec
	for range n {
		x, y := float64(rapid.IntRange(0, 8).Draw(t, "x")), float64(rapid.IntRange(0, 8).Draw(t, "y"))
		w, h := float64(rapid.IntRange(1, 4).Draw(t, "w")), float64(rapid.IntRange(1, 4).Draw(t, "h"))
		switch rapid.IntRange(0, 3).Draw(t, "kind") {
		case 0:
			out = append(out, []r2.Vec{v2(x, y), v2(x+w, y), v2(x+w, y+h), v2(x, y+h)})
		case 1:
			out = append(out, []r2.Vec{v2(x, y), v2(x+w, y), v2(x, y+h)})
		case 2:
			out = append(out, []r2.Vec{v2(x, y), v2(x+w, y+h), v2(x-1, y+h)})
		default:
			thin := math.Pow(10, -float64(rapid.IntRange(3, 9).Draw(t, "thin")))
			out = append(out, []r2.Vec{v2(x, y), v2(x+w, y), v2(x+w, y+thin)})
		}
	}
	return out
})

// distanceOutside is the distance from p to the nearest place outside all polygons, by brute force
// over places close to every edge: its ends, its crossings with other edges, and the foot of p.
func distanceOutside(p r2.Vec, polys [][]r2.Vec) float64 {
	const aside = 1e-3 // beyond the growth of the polygons under test
	best := math.Inf(1)
	covered := func(q r2.Vec) bool {
		for _, poly := range polys {
			if signedInside(poly, q) > -aside/4 {
				return true
			}
		}
		return false
	}
	for _, poly := range polys {
		for i, a := range poly {
			b := poly[(i+1)%len(poly)]
			e := r2.Sub(b, a)
			l := r2.Norm(e)
			n := r2.Scale(aside/l, v2(e.Y, -e.X))
			const parts = 400
			for k := range parts + 1 {
				q := r2.Add(a, r2.Scale(float64(k)/parts, e))
				if d := r2.Norm(r2.Sub(q, p)); d < best && !covered(r2.Add(q, n)) {
					best = d
				}
			}
		}
	}
	return best
}

// signedInside is the least signed distance of q to the lines of the polygon's edges.
func signedInside(poly []r2.Vec, q r2.Vec) float64 {
	d := math.Inf(1)
	for i, a := range poly {
		e := r2.Sub(poly[(i+1)%len(poly)], a)
		d = min(d, r2.Cross(e, r2.Sub(q, a))/r2.Norm(e))
	}
	return d
}

func TestDepthInUnionAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		polys := heaps.Draw(t, "polygons")
		u, err := newRegionUnion(context.Background(), polys, DefaultToleranceMM, 1)
		if err != nil {
			t.Fatal(err)
		}
		home := rapid.SampledFrom(polys).Draw(t, "home")
		p := r2.Add(home[0], r2.Scale(length(0.1, 0.9).Draw(t, "to"), r2.Sub(polygonMiddle(home), home[0])))
		// Samples of an edge lie at most 4·√2/400/2 mm apart from its nearest point.
		got, want := u.depthAt(p), distanceOutside(p, polys)
		if got > want+2e-3 || got < want-0.01 {
			t.Fatalf("depth at %v: %g, want %g", p, got, want)
		}
	})
}

// The area of a heap against the sum over a fine grid of lines, each exact along its length.
func TestUnionAreaAgainstLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		polys := heaps.Draw(t, "polygons")
		u, err := newRegionUnion(context.Background(), polys, DefaultToleranceMM, 1)
		if err != nil {
			t.Fatal(err)
		}
		const lines = 4000
		lo, hi := -2.0, 14.0
		step := (hi - lo) / lines
		var want float64
		for k := range lines {
			var w edgeWalk
			y := lo + (float64(k)+0.5)*step
			for _, poly := range polys {
				if a, b := clipLine(v2(0, y), v2(1, 0), -9, 99, grownPlanes(poly, 0, nil), 0, -1); a < b {
					w.spans = append(w.spans, span{a, b})
				}
			}
			w.emit(v2(0, y), v2(1, 0), -9, 99, 0)
			length := 108.0
			for _, e := range w.out {
				length -= e.B.X - e.A.X
			}
			want += step * length
		}
		if got := u.areaMM2(); math.Abs(got-want) > 0.02 {
			t.Fatalf("area %g mm², want %g", got, want)
		}
	})
}

func TestLargestDiscClosedForms(t *testing.T) {
	ctx := context.Background()
	for name, c := range map[string]struct {
		polys [][]r2.Vec
		want  float64
	}{
		"3-4-5 triangle": {[][]r2.Vec{{v2(0, 0), v2(4, 0), v2(0, 3)}}, 1},
		"square in four": {[][]r2.Vec{
			{v2(0, 0), v2(1, 0), v2(1, 1), v2(0, 1)}, {v2(1, 0), v2(2, 0), v2(2, 1), v2(1, 1)},
			{v2(0, 1), v2(1, 1), v2(1, 2), v2(0, 2)}, {v2(1, 1), v2(2, 1), v2(2, 2), v2(1, 2)}}, 1},
		"two apart":  {[][]r2.Vec{{v2(0, 0), v2(1, 0), v2(1, 1), v2(0, 1)}, {v2(5, 0), v2(7, 0), v2(7, 9), v2(5, 9)}}, 1},
		"long strip": {[][]r2.Vec{{v2(0, 0), v2(300, 0), v2(300, 0.02), v2(0, 0.02)}}, 0.01},
		"cross":      {[][]r2.Vec{{v2(-9, -1), v2(9, -1), v2(9, 1), v2(-9, 1)}, {v2(-1, -9), v2(1, -9), v2(1, 9), v2(-1, 9)}}, math.Sqrt2},
	} {
		u, err := newRegionUnion(ctx, c.polys, DefaultToleranceMM, 1)
		if err != nil {
			t.Fatal(err)
		}
		d, err := u.largestDisc(ctx, []r2.Vec{polygonMiddle(c.polys[0])}, judge{tolMM: DefaultToleranceMM}.goal())
		if err != nil {
			t.Fatal(err)
		}
		if d.Lo-u.eps*math.Sqrt2 > c.want || d.Hi < c.want || d.Hi-d.Lo > 0.006*c.want+2e-4 {
			t.Errorf("%s: radius in [%g, %g], want %g", name, d.Lo, d.Hi, c.want)
		}
	}
}
