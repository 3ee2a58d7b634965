package solid

import (
	"errors"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
)

// polygonArea is that of a regular n-gon with corners on a circle of radius r.
func polygonArea(r float64, n int) float64 {
	return float64(n) / 2 * r * r * math.Sin(2*math.Pi/float64(n))
}

func TestFrustum(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		for _, axis := range []r3.Vec{xyz(0, 0, 3), xyz(0, 0, -3), xyz(2, 0, 0), xyz(0, -5, 0), xyz(1, 2, 3), xyz(-4, 1e-3, 2)} {
			for _, c := range []struct {
				r0, r1 float64
				n      int
			}{{2, 2, 6}, {2, 1, 7}, {2, 0, 64}, {0, 1.5, 3}} {
				s := ok[*Solid](t)(k.Frustum(xyz(0.1, 0.2, 0.3), axis, c.r0, c.r1, c.n))
				h := r3.Norm(axis)
				a := polygonArea(1, c.n)
				want := a * h / 3 * (c.r0*c.r0 + c.r0*c.r1 + c.r1*c.r1)
				near(t, "frustum", ok[float64](t)(s.VolumeMM3()), want, 1e-13, want)
				requireManifold(t, "frustum", ok[*mesh.Mesh](t)(s.Mesh()))
			}
		}
		// Along z, heights and the first corner are exact.
		m := ok[*mesh.Mesh](t)(ok[*Solid](t)(k.Cylinder(xyz(0.1, 0.2, 0.3), xyz(0, 0, 0.5), 0.25, 12)).Mesh())
		if b := m.Bounds(); b.Min.Z != 0.3 || b.Max.Z != 0.8 || !slices.Contains(m.Verts, xyz(0.1+0.25, 0.2, 0.3)) {
			t.Errorf("bounds %v, first corner missing or inexact", b)
		}
	})
}

func TestSphere(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		const r = 10.0
		last := math.Inf(1)
		for _, n := range []int{16, 64, 256} {
			s := ok[*Solid](t)(k.Sphere(xyz(1, 2, 3), r, n))
			v := ok[float64](t)(s.VolumeMM3())
			lack := 1 - v/(4.0/3*math.Pi*r*r*r)
			// A facet of edge e lies inside by up to e²/(6r)·…: the lack falls with the square of n.
			if lack <= 0 || lack > last/12 {
				t.Errorf("%d segments lack %g of the ball's volume, before %g", n, lack, last)
			}
			last = lack
			m := ok[*mesh.Mesh](t)(s.Mesh())
			requireManifold(t, "sphere", m)
			for _, p := range m.Verts {
				near(t, "distance from the centre", r3.Norm(r3.Sub(p, xyz(1, 2, 3))), r, 1e-14, r)
			}
		}
	})
}

func TestPrismKeepsCoordinates(t *testing.T) {
	outer := star(40, func(i int) float64 { return 10 + float64(i%3)/7 })
	hole := reversed(rectangle(-0.1, -0.3, 0.7, 0.9))
	withKernel(t, func(k *Kernel) {
		s := ok[*Solid](t)(k.Prism([][]r2.Vec{outer, hole}, 0.1, 0.3))
		want := signedArea([][]r2.Vec{outer, hole})
		near(t, "volume", ok[float64](t)(s.VolumeMM3()), want*(0.3-0.1), 1e-14, want)
		m := ok[*mesh.Mesh](t)(s.Mesh())
		requireManifold(t, "prism", m)
		have := map[r3.Vec]bool{}
		for _, v := range m.Verts {
			have[v] = true
		}
		n := 0
		for _, l := range [][]r2.Vec{outer, hole} {
			for _, p := range l {
				n += 2
				if !have[xyz(p.X, p.Y, 0.1)] || !have[xyz(p.X, p.Y, 0.3)] {
					t.Errorf("point %v is not exact", p)
				}
			}
		}
		if len(m.Verts) != n {
			t.Errorf("%d vertices, want %d", len(m.Verts), n)
		}
		if g := ok[int](t)(s.Genus()); g != 1 {
			t.Errorf("genus %d, want 1", g)
		}
	})
}

func TestPrismRefusesCrossingLoops(t *testing.T) {
	bow := []r2.Vec{{X: 0, Y: 0}, {X: 4, Y: 3}, {X: 4, Y: 0}, {X: 0, Y: 2}}
	withKernel(t, func(k *Kernel) {
		for name, loops := range map[string][][]r2.Vec{
			"crosses itself":  {bow},
			"overlap":         {rectangle(0, 0, 2, 2), rectangle(1, 1, 3, 3)},
			"inside another":  {rectangle(0, 0, 9, 9), rectangle(1, 1, 3, 3)},
			"twice":           {rectangle(0, 0, 2, 2), rectangle(0, 0, 2, 2)},
			"hole sticks out": {rectangle(0, 0, 2, 2), reversed(rectangle(1, 1, 3, 2.5))},
			"clockwise":       {reversed(rectangle(0, 0, 1, 1))},
			"two points":      {{{X: 1}, {Y: 1}}},
			"not a number":    {{{X: math.NaN()}, {X: 1}, {Y: 1}}},
			"no loops":        {},
		} {
			if _, err := k.Prism(loops, 0, 1); !errors.Is(err, ErrArgument) {
				t.Errorf("%s: %v", name, err)
			} else {
				t.Log(name, ": ", err)
			}
		}
		if _, err := k.Prism([][]r2.Vec{rectangle(0, 0, 1, 1)}, 1, 1); !errors.Is(err, ErrArgument) {
			t.Errorf("no height: %v", err)
		}
	})
}

func TestBadArguments(t *testing.T) {
	inf, nan := math.Inf(1), math.NaN()
	withKernel(t, func(k *Kernel) {
		s := ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		r := ok[*Region](t)(k.Region([][]r2.Vec{rectangle(0, 0, 1, 1)}))
		for name, err := range map[string]error{
			"flat box":       second(k.Box(r3.Box{Max: xyz(1, 0, 1)})),
			"NaN box":        second(k.Box(r3.Box{Max: xyz(1, nan, 1)})),
			"no axis":        second(k.Cylinder(r3.Vec{}, r3.Vec{}, 1, 8)),
			"negative cone":  second(k.Frustum(r3.Vec{}, xyz(0, 0, 1), -1, 2, 8)),
			"two segments":   second(k.Cylinder(r3.Vec{}, xyz(0, 0, 1), 1, 2)),
			"sphere":         second(k.Sphere(r3.Vec{}, 0, 8)),
			"fine sphere":    second(k.Sphere(r3.Vec{}, 1, 1<<20)),
			"plane":          second(s.TrimByPlane(r3.Vec{}, 0)),
			"plane offset":   second(s.TrimByPlane(xyz(0, 0, 1), inf)),
			"section":        second(s.Slice(nan)),
			"translation":    second(s.Translate(xyz(inf, 0, 0))),
			"flat transform": second(s.Transform(Affine{X: xyz(1, 0, 0), Y: xyz(0, 1, 0)})),
			"tolerance":      second(s.WithTolerance(-1)),
			"simplify":       second(s.Simplify(nan)),
			"hull":           second(k.Hull([]r3.Vec{xyz(nan, 0, 0)})),
			"offset":         second(r.Offset(nan, true)),
			"region":         second(k.Region([][]r2.Vec{{{X: inf}, {}, {Y: 1}}})),
			"gap":            second(s.GapMM(s, 0)),
		} {
			if !errors.Is(err, ErrArgument) {
				t.Errorf("%s: %v", name, err)
			}
		}
	})
}

func second[T any](_ T, err error) error { return err }

func TestTransforms(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		S, F := ok[*Solid](t), ok[float64](t)
		c := S(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		moved := ok[r3.Box](t)(S(c.Translate(xyz(0.1, 0.2, 0.3))).Bounds())
		if moved.Min != xyz(0.1, 0.2, 0.3) {
			t.Errorf("moved to %v", moved)
		}
		s := S(c.Transform(Affine{xyz(2, 0, 0), xyz(0, 3, 0), xyz(0, 0, 0.1), xyz(0.1, 0.2, 0.3)}))
		near(t, "scaled", F(s.VolumeMM3()), 0.6, 1e-15, 1)
		if b := ok[r3.Box](t)(s.Bounds()); b.Min != xyz(0.1, 0.2, 0.3) {
			t.Errorf("scaled to %v", b)
		}
		mirror := S(s.Transform(Affine{xyz(-1, 0, 0), xyz(0, 1, 0), xyz(0, 0, 1), r3.Vec{}}))
		near(t, "mirrored", F(mirror.VolumeMM3()), 0.6, 1e-15, 1)
		requireManifold(t, "mirrored", ok[*mesh.Mesh](t)(mirror.Mesh()))
		near(t, "turned", F(S(c.Transform(turned(xyz(1, 2, 3), 1, xyz(4, 5, 6)))).VolumeMM3()), 1, 1e-14, 1)

		two := S(c.Union(S(c.Translate(xyz(2, 0, 0)))))
		near(t, "hull", F(S(two.Hull()).VolumeMM3()), 3, 1e-14, 1)
		tetra := S(k.Hull([]r3.Vec{{}, {X: 0.1}, {Y: 0.2}, {Z: 0.3}, {X: 0.01, Y: 0.01, Z: 0.01}}))
		near(t, "hull of points", F(tetra.VolumeMM3()), 0.1*0.2*0.3/6, 1e-14, 0.001)
		near(t, "gap", F(c.GapMM(S(c.Translate(xyz(2, 0, 0))), 5)), 1, 1e-14, 1)
	})
}

func TestTolerance(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		S, F := ok[*Solid](t), ok[float64](t)
		s := S(k.FromMesh(globe(r3.Vec{}, 100, 30, 30)))
		if tol := F(s.ToleranceMM()); tol > 1e-9 {
			t.Errorf("a sphere of 100 mm comes in with tolerance %g mm", tol)
		}
		loose := S(s.WithTolerance(0.5))
		near(t, "tolerance", F(loose.ToleranceMM()), 0.5, 1e-15, 1)
		fewer := S(s.Simplify(0.5))
		before, after := ok[int](t)(s.Facets()), ok[int](t)(fewer.Facets())
		if after >= before {
			t.Errorf("simplified from %d to %d facets", before, after)
		}
		near(t, "simplified volume", F(fewer.VolumeMM3()), F(s.VolumeMM3()), 0.5, F(s.AreaMM2()))
		requireManifold(t, "simplified", ok[*mesh.Mesh](t)(fewer.Mesh()))
	})
}

// A cut along a coordinate plane lies exactly at the offset, and the pieces add up.
func TestAxisCutsAreExact(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		rapid.Check(t, func(t *rapid.T) {
			F := ok[float64](t)
			body := drawBody(t, k, "body")
			axis := rapid.IntRange(0, 2).Draw(t, "axis")
			at := rapid.Float64Range(-1.5, 1.5).Draw(t, "at")
			own := map[r3.Vec]bool{}
			for _, v := range ok[*mesh.Mesh](t)(body.Mesh()).Verts {
				own[v] = true
			}
			n, sign := [3]float64{}, 1.0
			if rapid.Bool().Draw(t, "towards minus") {
				sign = -1
			}
			n[axis] = sign * 2 // length does not matter
			above, below, err := body.SplitByPlane(xyz(n[0], n[1], n[2]), sign*at)
			if err != nil {
				t.Fatal(err)
			}
			// A slab thinner than the library's tolerance may vanish: 1e-12 mm times the area of the cut.
			near(t, "volumes", F(above.VolumeMM3())+F(below.VolumeMM3()), F(body.VolumeMM3()), identityTolerance, F(body.VolumeMM3())+F(body.AreaMM2()))
			coordinate := func(v r3.Vec) float64 { return [3]float64{v.X, v.Y, v.Z}[axis] }
			for i, s := range []*Solid{above, below} {
				side := sign * float64(1-2*i)
				for _, v := range ok[*mesh.Mesh](t)(s.Mesh()).Verts {
					if d := side * (coordinate(v) - at); d < 0 || d > 0 && d < 1e-13 && !own[v] {
						t.Errorf("vertex %v lies %g from the cut at %.17g", v, d, at)
					}
				}
				s.Free()
			}
			body.Free()
		})
	})
}

func TestObliqueCut(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		c := ok[*Solid](t)(k.Box(r3.Box{Max: xyz(1, 1, 1)}))
		// The plane x+y+z = 1/2 cuts a corner of volume (1/2)³/6 off.
		above, below, err := c.SplitByPlane(xyz(1, 1, 1), 0.5/math.Sqrt(3))
		if err != nil {
			t.Fatal(err)
		}
		near(t, "corner", ok[float64](t)(below.VolumeMM3()), 0.125/6, 1e-13, 1)
		near(t, "rest", ok[float64](t)(above.VolumeMM3()), 1-0.125/6, 1e-13, 1)
	})
}

func TestSlice(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		ring := [][]r2.Vec{rectangle(0.1, 0.1, 4.1, 3.1), reversed(rectangle(1.1, 1.1, 2.1, 2.1))}
		s := ok[*Solid](t)(k.Prism(ring, 0, 2))
		for _, c := range []struct {
			z    float64
			area float64
		}{{0, 11}, {1.234, 11}, {2, 0}, {-1, 0}, {3, 0}} {
			loops := ok[[][]r2.Vec](t)(s.Slice(c.z))
			near(t, "section", signedArea(loops), c.area, 1e-14, 11)
			if c.area > 0 && len(loops) != 2 {
				t.Errorf("section at %g has %d loops", c.z, len(loops))
			}
		}
		// A ball's section is the exact polygon of its facets: at the equator, of its edges.
		ball := ok[*Solid](t)(k.FromMesh(globe(r3.Vec{}, 5, 32, 48)))
		loops := ok[[][]r2.Vec](t)(ball.Slice(0))
		near(t, "equator", signedArea(loops), polygonArea(5, 48), 1e-13, 1)
		shadow := ok[*Region](t)(k.Region(ok[[][]r2.Vec](t)(ball.Project())))
		near(t, "shadow", ok[float64](t)(shadow.AreaMM2()), polygonArea(5, 48), 1e-6, 1)
	})
}

func TestParts(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		S := ok[*Solid](t)
		volume := func(c float64, n int) float64 { return globe(r3.Vec{}, c, n, n).VolumeMM3() }
		// A ball in a cavity of a ball that itself has another empty cavity; and a body apart.
		outer := joined(globe(r3.Vec{}, 10, 24, 24), []*mesh.Mesh{
			globe(r3.Vec{}, 5, 16, 16).Flipped(), globe(xyz(7, 0, 0), 1, 8, 8).Flipped(),
			globe(r3.Vec{}, 3, 12, 12),
			globe(r3.Vec{}, 1, 8, 8).Flipped(),
			globe(xyz(30, 0, 0), 2, 12, 12),
		})
		parts := ok[[]*Solid](t)(S(k.FromMesh(outer)).Parts())
		var got []float64
		for _, p := range parts {
			requireManifold(t, "part", ok[*mesh.Mesh](t)(p.Mesh()))
			got = append(got, ok[float64](t)(p.VolumeMM3()))
		}
		slices.Sort(got)
		want := []float64{volume(2, 12), volume(3, 12) - volume(1, 8), volume(10, 24) - volume(5, 16) - volume(1, 8)}
		slices.Sort(want)
		if len(got) != len(want) {
			t.Fatalf("parts of %v mm³, want %v", got, want)
		}
		for i := range want {
			near(t, "part", got[i], want[i], 1e-12, want[i])
		}
		if parts := ok[[]*Solid](t)(ok[*Solid](t)(k.Union()).Parts()); len(parts) != 0 {
			t.Errorf("the empty solid has %d parts", len(parts))
		}
	})
}

func TestGenus(t *testing.T) {
	withKernel(t, func(k *Kernel) {
		S := ok[*Solid](t)
		block := S(k.Box(r3.Box{Max: xyz(10, 10, 10)}))
		for i := range 3 {
			if g := ok[int](t)(block.Genus()); g != i {
				t.Errorf("%d through-holes: genus %d", i, g)
			}
			drill := S(k.Cylinder(xyz(2+3*float64(i), 5, -1), xyz(0, 0, 12), 1, 24))
			block = S(block.Subtract(drill))
		}
		near(t, "drilled", ok[float64](t)(block.VolumeMM3()), 1000-3*10*polygonArea(1, 24), 1e-13, 1000)
	})
}
