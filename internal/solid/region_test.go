package solid

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"pgregory.net/rapid"
)

func TestRegionAreas(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		R, F := ok[*Region](t), ok[float64](t)
		area := func(r *Region) float64 { return F(r.AreaMM2()) }
		a := R(k.Region([][]r2.Vec{rectangle(0, 0, 10, 6)}))
		b := R(k.Region([][]r2.Vec{rectangle(6, 2, 14, 10)}))
		for _, c := range []struct {
			what string
			r    *Region
			want float64
		}{
			{"a", a, 60},
			{"union", R(a.Union(b)), 60 + 64 - 16},
			{"intersection", R(a.Intersect(b)), 16},
			{"difference", R(a.Subtract(b)), 44},
			{"three", R(a.Union(b, R(k.Region([][]r2.Vec{rectangle(20, 0, 21, 1)})))), 109},
			{"non-zero winding: clockwise counts", R(k.Region([][]r2.Vec{reversed(rectangle(0, 0, 2, 2))})), 4},
			{"overlapping loops", R(k.Region([][]r2.Vec{rectangle(0, 0, 2, 2), rectangle(1, 1, 3, 3)})), 7},
			{"hole", R(k.Region([][]r2.Vec{rectangle(0, 0, 3, 3), reversed(rectangle(1, 1, 2, 2))})), 8},
			{"none", R(k.Region(nil)), 0},
			{"mitre out", R(a.Offset(1, false)), 12 * 8},
			{"mitre in", R(a.Offset(-1, false)), 8 * 4},
			{"vanishes", R(a.Offset(-3.5, true)), 0},
		} {
			near(t, c.what, area(c.r), c.want, 1e-7, 1)
			if empty := ok[bool](t)(c.r.IsEmpty()); empty != (c.want == 0) {
				t.Errorf("%s: empty is %v", c.what, empty)
			}
			if loops := ok[[][]r2.Vec](t)(c.r.Loops()); math.Abs(signedArea(loops)-c.want) > 1e-7 {
				t.Errorf("%s: loops enclose %g", c.what, signedArea(loops))
			}
		}
		// Steiner's formula: a convex region of area A and perimeter P grows to A + P·d + π·d². The
		// corner polygons lie inside the arcs by at most arcStepMM.
		for _, d := range []float64{0.05, 1, 5} {
			got, want := area(R(a.Offset(d, true))), 60+32*d+math.Pi*d*d
			if lack := want - got; lack < -1e-6 || lack > 2*math.Pi*d*arcStepMM {
				t.Errorf("round offset by %g: area %g, want %g", d, got, want)
			}
		}
	})
}

// The library keeps regions on a grid of 2^-27 mm; the documents rely on it.
func TestRegionPrecision(t *testing.T) {
	worst := 0.0
	withKernel(t, func(k *Kernel) {
		rapid.Check(t, func(t *rapid.T) {
			x, y := rapid.Float64Range(-500, 500).Draw(t, "x"), rapid.Float64Range(-500, 500).Draw(t, "y")
			in := rectangle(x, y, x+10.1, y+7.7)
			r := ok[*Region](t)(k.Region([][]r2.Vec{in}))
			loops := ok[[][]r2.Vec](t)(r.Loops())
			if len(loops) != 1 || len(loops[0]) != 4 {
				t.Fatalf("loops %v", loops)
			}
			for _, p := range loops[0] {
				near := math.Inf(1)
				for _, q := range in {
					near = min(near, max(math.Abs(p.X-q.X), math.Abs(p.Y-q.Y)))
				}
				worst = max(worst, near)
				for _, c := range []float64{p.X, p.Y} {
					if g := c / RegionStepMM; g != math.Round(g) {
						t.Errorf("%.17g is not on the grid", c)
					}
				}
			}
			r.Free()
		})
	})
	t.Logf("worst rounding %.3g mm", worst)
	if worst > RegionStepMM/2 || worst < RegionStepMM/8 {
		t.Errorf("rounding by up to %g mm, documented as half of %g", worst, RegionStepMM)
	}
}

// Any two regions: areas by inclusion and exclusion, to the rounding of their boundaries.
func TestRegionIdentities(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		rapid.Check(t, func(t *rapid.T) {
			R, F := ok[*Region](t), ok[float64](t)
			draw := func(label string) *Region {
				l := star(rapid.IntRange(3, 15).Draw(t, label), func(int) float64 { return rapid.Float64Range(1, 9).Draw(t, label) })
				dx, dy := rapid.Float64Range(-5, 5).Draw(t, label), rapid.Float64Range(-5, 5).Draw(t, label)
				for i := range l {
					l[i] = r2.Add(l[i], r2.Vec{X: dx, Y: dy})
				}
				return R(k.Region([][]r2.Vec{l}))
			}
			a, b := draw("a"), draw("b")
			u, x, d := R(a.Union(b)), R(a.Intersect(b)), R(a.Subtract(b))
			va, vb, vu, vx, vd := F(a.AreaMM2()), F(b.AreaMM2()), F(u.AreaMM2()), F(x.AreaMM2()), F(d.AreaMM2())
			// Boundaries of up to some 500 mm, off by a step.
			near(t, "union and intersection", vu+vx, va+vb, 500*RegionStepMM, 1)
			near(t, "difference and intersection", vd+vx, va, 500*RegionStepMM, 1)
			for _, r := range []*Region{a, b, u, x, d} {
				r.Free()
			}
		})
	})
}
