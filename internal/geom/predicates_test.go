package geom

import (
	"math"
	"math/big"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// ratDet is the sign of a determinant of any size by the Leibniz expansion in rationals. It takes
// the full homogeneous matrix, without the subtraction that the predicates begin with.
func ratDet(m [][]*big.Rat) *big.Rat {
	if len(m) == 1 {
		return new(big.Rat).Set(m[0][0])
	}
	sum := new(big.Rat)
	for c := range m[0] {
		var sub [][]*big.Rat
		for _, row := range m[1:] {
			r := append([]*big.Rat{}, row[:c]...)
			sub = append(sub, append(r, row[c+1:]...))
		}
		t := ratDet(sub)
		t.Mul(t, m[0][c])
		if c%2 == 1 {
			t.Neg(t)
		}
		sum.Add(sum, t)
	}
	return sum
}

func rat(x float64) *big.Rat { return new(big.Rat).SetFloat64(x) }

func ratOrient2D(p ...r2.Vec) int {
	var m [][]*big.Rat
	for _, v := range p {
		m = append(m, []*big.Rat{rat(v.X), rat(v.Y), rat(1)})
	}
	return ratDet(m).Sign()
}

func ratOrient3D(p ...r3.Vec) int {
	var m [][]*big.Rat
	for _, v := range p {
		m = append(m, []*big.Rat{rat(v.X), rat(v.Y), rat(v.Z), rat(1)})
	}
	return ratDet(m).Sign()
}

func ratInCircle(p ...r2.Vec) int {
	var m [][]*big.Rat
	for _, v := range p {
		x, y := rat(v.X), rat(v.Y)
		l := new(big.Rat).Mul(x, x)
		l.Add(l, new(big.Rat).Mul(y, y))
		m = append(m, []*big.Rat{x, y, l, rat(1)})
	}
	return ratDet(m).Sign()
}

// nudge moves x by up to three representable steps: the inputs for which a plain float determinant
// has the wrong sign.
func nudge(t *rapid.T, x float64) float64 {
	n := rapid.IntRange(-3, 3).Draw(t, "ulps")
	for ; n > 0; n-- {
		x = math.Nextafter(x, math.Inf(1))
	}
	for ; n < 0; n++ {
		x = math.Nextafter(x, math.Inf(-1))
	}
	return x
}

// coord draws a coordinate from one of several scales, many of them degenerate together.
func coord(t *rapid.T) float64 {
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		return float64(rapid.IntRange(-4, 4).Draw(t, "small"))
	case 1:
		return nudge(t, float64(rapid.IntRange(-4, 4).Draw(t, "near"))*0.1)
	case 2:
		return nudge(t, 12+12*float64(rapid.IntRange(0, 1).Draw(t, "far")))
	case 3:
		return rapid.Float64Range(-1000, 1000).Draw(t, "any")
	default:
		e := rapid.IntRange(-400, 199).Draw(t, "exp")
		return math.Ldexp(rapid.Float64Range(-1, 1).Draw(t, "mant"), e)
	}
}

func pt2(t *rapid.T) r2.Vec { return r2.Vec{X: coord(t), Y: coord(t)} }
func pt3(t *rapid.T) r3.Vec { return r3.Vec{X: coord(t), Y: coord(t), Z: coord(t)} }

func TestOrient2DClosedForm(t *testing.T) {
	o, x, y := r2.Vec{}, r2.Vec{X: 1}, r2.Vec{Y: 1}
	for _, c := range []struct {
		a, b, c r2.Vec
		want    int
	}{{o, x, y, 1}, {o, y, x, -1}, {o, x, r2.Vec{X: 7}, 0}, {x, y, r2.Vec{X: 0.5, Y: 0.5}, 0}} {
		if got := Orient2D(c.a, c.b, c.c); got != c.want {
			t.Errorf("Orient2D(%v, %v, %v) = %d, want %d", c.a, c.b, c.c, got, c.want)
		}
	}
}

func TestOrient3DClosedForm(t *testing.T) {
	a, b, c := r3.Vec{}, r3.Vec{X: 1}, r3.Vec{Y: 1} // counter-clockwise seen from +z
	for z, want := range map[float64]int{-1: 1, 0: 0, 1: -1, 5e-324: -1, -5e-324: 1} {
		if got := Orient3D(a, b, c, r3.Vec{X: 0.25, Y: 0.25, Z: z}); got != want {
			t.Errorf("point at z = %g: %d, want %d", z, got, want)
		}
	}
}

func TestInCircleClosedForm(t *testing.T) {
	a, b, c := r2.Vec{X: 5}, r2.Vec{X: 3, Y: 4}, r2.Vec{X: -4, Y: 3} // on x²+y² = 25
	for _, k := range []struct {
		d    r2.Vec
		want int
	}{
		{r2.Vec{}, 1}, {r2.Vec{X: 6}, -1}, {r2.Vec{X: 0, Y: -5}, 0}, {r2.Vec{X: -3, Y: -4}, 0},
		{r2.Vec{Y: math.Nextafter(-5, 0)}, 1}, {r2.Vec{Y: math.Nextafter(-5, -6)}, -1},
	} {
		if got := InCircle(a, b, c, k.d); got != k.want {
			t.Errorf("InCircle(…, %v) = %d, want %d", k.d, got, k.want)
		}
		if got := InCircle(c, b, a, k.d); got != -k.want {
			t.Errorf("clockwise InCircle(…, %v) = %d, want %d", k.d, got, -k.want)
		}
	}
}

// The grid of one-ulp steps around a line is the picture by which Kettner et al. ("Classroom
// examples of robustness problems in geometric computations", 2008) show plain floats failing.
func TestOrient2DUlpGrid(t *testing.T) {
	q, r := r2.Vec{X: 12, Y: 12}, r2.Vec{X: 24, Y: 24}
	wrongInFloats := 0
	for i := range 64 {
		for j := range 64 {
			p := r2.Vec{X: 0.5 + float64(i)*0x1p-53, Y: 0.5 + float64(j)*0x1p-53}
			want := ratOrient2D(p, q, r)
			if got := Orient2D(p, q, r); got != want {
				t.Fatalf("step %d,%d: %d, want %d", i, j, got, want)
			}
			naive := (q.X-p.X)*(r.Y-p.Y) - (q.Y-p.Y)*(r.X-p.X)
			if (naive > 0) != (want > 0) || (naive < 0) != (want < 0) {
				wrongInFloats++
			}
		}
	}
	if wrongInFloats == 0 {
		t.Error("the grid no longer contains a case that floats get wrong: it tests nothing")
	}
}

func TestPredicatesAgainstRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c, d := pt2(t), pt2(t), pt2(t), pt2(t)
		if got, want := Orient2D(a, b, c), ratOrient2D(a, b, c); got != want {
			t.Fatalf("Orient2D(%v, %v, %v) = %d, want %d", a, b, c, got, want)
		}
		if got, want := InCircle(a, b, c, d), ratInCircle(a, b, c, d); got != want {
			t.Fatalf("InCircle(%v, %v, %v, %v) = %d, want %d", a, b, c, d, got, want)
		}
		p, q, r, s := pt3(t), pt3(t), pt3(t), pt3(t)
		if got, want := Orient3D(p, q, r, s), ratOrient3D(p, q, r, s); got != want {
			t.Fatalf("Orient3D(%v, %v, %v, %v) = %d, want %d", p, q, r, s, got, want)
		}
	})
}

// Nearly coplanar and nearly cocircular points: the exact paths must run, and agree.
func TestPredicatesNearDegenerate(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	jitter := func(x float64) float64 { return x + float64(rng.IntN(5)-2)*0x1p-51*x }
	zero := 0
	for range 4000 {
		n := r3.Vec{X: rng.Float64(), Y: rng.Float64(), Z: 1}
		var p [4]r3.Vec
		for i := range p {
			x, y := rng.Float64()*50, rng.Float64()*50
			p[i] = r3.Vec{X: x, Y: y, Z: jitter(n.X*x + n.Y*y)}
		}
		if got, want := Orient3D(p[0], p[1], p[2], p[3]), ratOrient3D(p[:]...); got != want {
			t.Fatalf("Orient3D(%v) = %d, want %d", p, got, want)
		}
		var q [4]r2.Vec
		for i := range q {
			s, c := math.Sincos(rng.Float64() * 2 * math.Pi)
			q[i] = r2.Vec{X: jitter(3 + 20*c), Y: jitter(-7 + 20*s)}
		}
		got, want := InCircle(q[0], q[1], q[2], q[3]), ratInCircle(q[:]...)
		if got != want {
			t.Fatalf("InCircle(%v) = %d, want %d", q, got, want)
		}
		if got == 0 {
			zero++
		}
	}
	t.Logf("%d of 4000 circles exactly degenerate", zero)
}

func TestPredicatesAntisymmetry(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a, b, c, d := pt2(t), pt2(t), pt2(t), pt2(t)
		s := Orient2D(a, b, c)
		if Orient2D(b, c, a) != s || Orient2D(b, a, c) != -s || Orient2D(a, c, b) != -s {
			t.Fatal("Orient2D is not antisymmetric")
		}
		s = InCircle(a, b, c, d)
		if InCircle(b, a, c, d) != -s || InCircle(a, b, d, c) != -s || InCircle(d, b, c, a) != -s {
			t.Fatal("InCircle is not antisymmetric")
		}
		p, q, r, w := pt3(t), pt3(t), pt3(t), pt3(t)
		s = Orient3D(p, q, r, w)
		if Orient3D(q, p, r, w) != -s || Orient3D(p, q, w, r) != -s || Orient3D(w, q, r, p) != -s {
			t.Fatal("Orient3D is not antisymmetric")
		}
	})
}

func TestPredicatesNotFinite(t *testing.T) {
	for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		v2, v3 := r2.Vec{X: x}, r3.Vec{X: x}
		if Orient2D(v2, r2.Vec{X: 1}, r2.Vec{Y: 1}) != 0 ||
			InCircle(v2, r2.Vec{X: 1}, r2.Vec{Y: 1}, r2.Vec{}) != 0 ||
			Orient3D(v3, r3.Vec{X: 1}, r3.Vec{Y: 1}, r3.Vec{Z: 1}) != 0 {
			t.Errorf("%g: sign is not 0", x)
		}
	}
}

func TestPredicatesDoNotAllocate(t *testing.T) {
	line := [3]r2.Vec{{X: 0.1, Y: 0.1}, {X: 0.2, Y: 0.2}, {X: 0.3, Y: 0.3}}
	ring := [4]r2.Vec{{X: 5.1, Y: .1}, {X: 3.1, Y: 4.1}, {X: -3.9, Y: 3.1}, {X: .1, Y: -4.9}}
	flat := [4]r3.Vec{{X: .1, Y: .2, Z: .3}, {X: 1.1, Y: .2, Z: .3}, {X: .1, Y: 1.2, Z: .3}, {X: .7, Y: .7, Z: .3}}
	if n := testing.AllocsPerRun(100, func() {
		Orient2D(line[0], line[1], line[2])
		InCircle(ring[0], ring[1], ring[2], ring[3])
		Orient3D(flat[0], flat[1], flat[2], flat[3])
	}); n != 0 {
		t.Errorf("%g allocations in the exact paths", n)
	}
}

var sink int

func BenchmarkPredicates(b *testing.B) {
	p := [4]r2.Vec{{X: 1, Y: 2}, {X: 8, Y: 3}, {X: 4, Y: 9}, {X: 5, Y: 5}}
	q := [4]r3.Vec{{X: 1, Y: 2, Z: 3}, {X: 8, Y: 3, Z: 1}, {X: 4, Y: 9, Z: 2}, {X: 5, Y: 5, Z: 7}}
	ring := [4]r2.Vec{{X: 5.1, Y: .1}, {X: 3.1, Y: 4.1}, {X: -3.9, Y: 3.1}, {X: .1, Y: -4.9}}
	flat := [4]r3.Vec{{X: .1, Y: .2, Z: .3}, {X: 1.1, Y: .2, Z: .3}, {X: .1, Y: 1.2, Z: .3}, {X: .7, Y: .7, Z: .3}}
	for _, c := range []struct {
		name string
		f    func() int
	}{
		{"Orient2D/fast", func() int { return Orient2D(p[0], p[1], p[2]) }},
		{"Orient3D/fast", func() int { return Orient3D(q[0], q[1], q[2], q[3]) }},
		{"InCircle/fast", func() int { return InCircle(p[0], p[1], p[2], p[3]) }},
		{"Orient3D/exact", func() int { return Orient3D(flat[0], flat[1], flat[2], flat[3]) }},
		{"InCircle/exact", func() int { return InCircle(ring[0], ring[1], ring[2], ring[3]) }},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				sink += c.f()
			}
		})
	}
}
