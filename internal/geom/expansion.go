package geom

import (
	"math"
	"math/big"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// An expansion is a number written as an exact sum of floats that do not overlap in bits, smallest
// first, zeros left out; its sign is that of its last term (Shewchuk 1997). Every function appends
// to a caller's buffer, so that the exact paths need no heap.
type expansion []float64

func (e expansion) sign() int {
	if len(e) == 0 {
		return 0
	}
	if e[len(e)-1] > 0 {
		return 1
	}
	return -1
}

// twoSum returns x = fl(a+b) and the error y, so that x+y = a+b exactly.
func twoSum(a, b float64) (x, y float64) {
	x = a + b
	bv := x - a
	av := x - bv
	return x, (a - av) + (b - bv)
}

// twoProd returns x = fl(a·b) and the error y, so that x+y = a·b exactly.
func twoProd(a, b float64) (x, y float64) {
	x = float64(a * b)
	return x, math.FMA(a, b, -x)
}

// diff writes a−b as an expansion of at most two terms.
func diff(dst expansion, a, b float64) expansion {
	x, y := twoSum(a, -b)
	if y != 0 {
		dst = append(dst, y)
	}
	if x != 0 {
		dst = append(dst, x)
	}
	return dst
}

// sum writes e+f: the terms merged by magnitude and added from the smallest up. dst must not share
// memory with e or f.
func sum(dst, e, f expansion) expansion {
	var q float64
	i, j := 0, 0
	for i < len(e) || j < len(f) {
		var next float64
		if j == len(f) || (i < len(e) && math.Abs(e[i]) < math.Abs(f[j])) {
			next = e[i]
			i++
		} else {
			next = f[j]
			j++
		}
		var err float64
		q, err = twoSum(q, next)
		if err != 0 {
			dst = append(dst, err)
		}
	}
	if q != 0 {
		dst = append(dst, q)
	}
	return dst
}

// scale writes e·b.
func scale(dst, e expansion, b float64) expansion {
	if b == 0 || len(e) == 0 {
		return dst
	}
	q, err := twoProd(e[0], b)
	if err != 0 {
		dst = append(dst, err)
	}
	for _, t := range e[1:] {
		hi, lo := twoProd(t, b)
		var s float64
		s, err = twoSum(q, lo)
		if err != 0 {
			dst = append(dst, err)
		}
		q, err = twoSum(hi, s)
		if err != 0 {
			dst = append(dst, err)
		}
	}
	if q != 0 {
		dst = append(dst, q)
	}
	return dst
}

// product writes e·f for an f of at most two terms, by way of two scalings.
func product(dst, e, f, tmp expansion) expansion {
	switch len(f) {
	case 0:
		return dst
	case 1:
		return scale(dst, e, f[0])
	}
	lo := scale(tmp[:0], e, f[0])
	hi := scale(lo[len(lo):], e, f[1])
	return sum(dst, lo, hi)
}

func negate(e expansion) expansion {
	for i := range e {
		e[i] = -e[i]
	}
	return e
}

// minor writes p·s − q·r for expansions of at most two terms each: at most 16 terms.
func minor(dst, p, q, r, s expansion) expansion {
	var ps, qr [8]float64
	var tmp [8]float64
	return sum(dst, product(ps[:0], p, s, tmp[:0]), negate(product(qr[:0], q, r, tmp[:0])))
}

// Coordinates whose magnitude is zero or within these limits never overflow or lose bits to
// underflow in an expansion of degree four: a difference is a multiple of 2^-252 and below 2^201.
const (
	expansionMin = 0x1p-200
	expansionMax = 0x1p200
)

// outside reports whether x asks for rational arithmetic instead of expansions.
func outside(x float64) bool {
	m := math.Abs(x)
	return (m < expansionMin && m != 0) || !(m <= expansionMax)
}

func outside2(v r2.Vec) bool { return outside(v.X) || outside(v.Y) }
func outside3(v r3.Vec) bool { return outside(v.X) || outside(v.Y) || outside(v.Z) }

// Equal points are the most frequent reason for a zero (neighbours share corners), and the cheapest
// to see.

func orient2DExact(a, b, c r2.Vec) int {
	if a == b || b == c || c == a {
		return 0
	}
	if outside2(a) || outside2(b) || outside2(c) {
		return bigSign([][]float64{{a.X, a.Y}, {b.X, b.Y}}, []float64{c.X, c.Y}, false)
	}
	var buf [16]float64
	return turnExpansion(buf[:0], a, b, c).sign()
}

func turnExpansion(dst expansion, a, b, c r2.Vec) expansion {
	var ax, ay, bx, by [2]float64
	return minor(dst,
		diff(ax[:0], a.X, c.X), diff(ay[:0], a.Y, c.Y),
		diff(bx[:0], b.X, c.X), diff(by[:0], b.Y, c.Y))
}

// turnExact is the value nearest to the determinant, but for a rounding; coordinates below 2^-200
// may lose bits to underflow.
func turnExact(a, b, c r2.Vec) float64 {
	var buf [16]float64
	v := 0.0
	for _, t := range turnExpansion(buf[:0], a, b, c) {
		v += t
	}
	return v
}

func orient3DExact(a, b, c, d r3.Vec) int {
	if a == b || b == c || c == a || a == d || b == d || c == d {
		return 0
	}
	if outside3(a) || outside3(b) || outside3(c) || outside3(d) {
		return bigSign([][]float64{{a.X, a.Y, a.Z}, {b.X, b.Y, b.Z}, {c.X, c.Y, c.Z}},
			[]float64{d.X, d.Y, d.Z}, false)
	}
	var buf [3][3][2]float64
	var m [3][3]expansion
	for i, v := range [3]r3.Vec{a, b, c} {
		m[i][0] = diff(buf[i][0][:0], v.X, d.X)
		m[i][1] = diff(buf[i][1][:0], v.Y, d.Y)
		m[i][2] = diff(buf[i][2][:0], v.Z, d.Z)
	}
	var row [3][64]float64
	var term [3]expansion
	var tmp [64]float64
	for i := range 3 {
		p, q := m[(i+1)%3], m[(i+2)%3]
		var mb [16]float64
		term[i] = product(row[i][:0], minor(mb[:0], p[0], p[1], q[0], q[1]), m[i][2], tmp[:0])
	}
	var s2 [128]float64
	var s3 [192]float64
	return sum(s3[:0], sum(s2[:0], term[0], term[1]), term[2]).sign()
}

func inCircleExact(a, b, c, d r2.Vec) int {
	if a == b || b == c || c == a || a == d || b == d || c == d {
		return 0
	}
	if outside2(a) || outside2(b) || outside2(c) || outside2(d) {
		return bigSign([][]float64{{a.X, a.Y}, {b.X, b.Y}, {c.X, c.Y}}, []float64{d.X, d.Y}, true)
	}
	var buf [3][2][2]float64
	var m [3][2]expansion
	for i, v := range [3]r2.Vec{a, b, c} {
		m[i][0] = diff(buf[i][0][:0], v.X, d.X)
		m[i][1] = diff(buf[i][1][:0], v.Y, d.Y)
	}
	var row [3][512]float64
	var term [3]expansion
	for i := range 3 {
		p, q := m[(i+1)%3], m[(i+2)%3]
		var mb [16]float64
		mi := minor(mb[:0], p[0], p[1], q[0], q[1])
		term[i] = lifted(row[i][:0], mi, m[i])
	}
	var s2 [1024]float64
	var s3 [1536]float64
	return sum(s3[:0], sum(s2[:0], term[0], term[1]), term[2]).sign()
}

// lifted writes m·(x² + y²): m has at most 16 terms, so the result at most 512. Multiplying by x
// twice keeps every second factor within two terms.
func lifted(dst, m expansion, xy [2]expansion) expansion {
	var once [64]float64
	var twice [2][256]float64
	var tmp [256]float64
	var t [2]expansion
	for k := range 2 {
		t[k] = product(twice[k][:0], product(once[:0], m, xy[k], tmp[:0]), xy[k], tmp[:0])
	}
	return sum(dst, t[0], t[1])
}

// bigSign is the sign of the determinant of the rows minus the origin; with lift, each row gets its
// squared length as a third entry. It serves coordinates too small or too large for expansions, and
// allocates.
func bigSign(rows [][]float64, origin []float64, lift bool) int {
	m := make([][]*big.Rat, len(rows))
	for i, r := range rows {
		sq := new(big.Rat)
		for k, x := range r {
			p, o := new(big.Rat).SetFloat64(x), new(big.Rat).SetFloat64(origin[k])
			if p == nil || o == nil {
				return 0 // NaN or infinity
			}
			p.Sub(p, o)
			m[i] = append(m[i], p)
			sq.Add(sq, new(big.Rat).Mul(p, p))
		}
		if lift {
			m[i] = append(m[i], sq)
		}
	}
	minor := func(i, j int) *big.Rat {
		d := new(big.Rat).Mul(m[i][0], m[j][1])
		return d.Sub(d, new(big.Rat).Mul(m[j][0], m[i][1]))
	}
	if len(m) == 2 {
		return minor(0, 1).Sign()
	}
	det := new(big.Rat)
	for i := range 3 {
		d := minor((i+1)%3, (i+2)%3)
		det.Add(det, d.Mul(d, m[i][2]))
	}
	return det.Sign()
}
