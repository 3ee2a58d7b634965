package geom

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// The predicates return the exact sign of a determinant. Each one first computes the determinant in
// floating point together with a bound on its error (the static filter of Shewchuk, "Adaptive
// Precision Floating-Point Arithmetic and Fast Robust Geometric Predicates", 1997); only when the
// bound leaves the sign open is the determinant computed without error.
//
// Domain: every finite coordinate of magnitude up to 2^200 (about 1.6e60), however small. Beyond
// that the sign can be wrong; a NaN or an infinity gives 0.
//
// In the derivations below u = 2^-53 is the unit roundoff, every δ is a rounding with |δ| ≤ u, and
// the differences of coordinates are rounded once each. A determinant is a sum of elementary
// products; π stands for such a product taken of the ROUNDED differences, which is what both the
// computed determinant and its permanent P = Σ|π| are made of. The last addition of the
// determinant cannot change a sign, so it is not counted among the errors, but it relates the
// computed value to the one that the bound speaks of: one factor (1+u). Multiplying the bound by P
// and adding the underflow allowance cost two more.
const unitRoundoff = 0x1p-53

// orient2DBound: D = (ax−cx)(by−cy) − (ay−cy)(bx−cx). The exact product is π(1+δ)^-2, the computed
// one π(1+δ), where π has two rounded factors: they differ by at most
// |π|·((1−u)^-2 − (1−u)) ≤ |π|(3u + 3u² + O(u³)). The computed P is at least Σ|π|(1−u)², counting
// its own products and sum. So the bound must be at least
// (3u + 3u²)(1−u)^-2 · (1+u)(1−u)^-2 = 3u + 18u² + O(u³); 24u² leaves room.
const orient2DBound = (3 + 24*unitRoundoff) * unitRoundoff

// orient3DBound: D = Σ (az−dz)·((bx−dx)(cy−dy) − (cx−dx)(by−dy)) over three rows. The exact product
// is π(1+δ)^-3; the computed one has the inner product, its difference, the outer product and one
// counted sum: π(1+δ)^4. They differ by at most |π|(7u + O(u³)). The computed P has five
// roundings: P ≥ Σ|π|(1−u)^5. So the bound must be at least
// 7u·(1−u)^-5 · (1+u)(1−u)^-2 = 7u + 56u² + O(u³); 64u² leaves room.
const orient3DBound = (7 + 64*unitRoundoff) * unitRoundoff

// inCircleBound: D = Σ ((ax−dx)² + (ay−dy)²)·((bx−dx)(cy−dy) − (cx−dx)(by−dy)) over three rows. The
// exact product is π(1+δ)^-4; the computed one has inner product, difference, square, sum of
// squares, outer product and one counted sum: π(1+δ)^6. They differ by at most |π|(10u + 5u² +
// O(u³)). The computed P has seven roundings: P ≥ Σ|π|(1−u)^7. So the bound must be at least
// (10u + 5u²)(1−u)^-7 · (1+u)(1−u)^-2 = 10u + 105u² + O(u³); 112u² leaves room.
const inCircleBound = (10 + 112*unitRoundoff) * unitRoundoff

// Allowances for underflow. A product that falls below the normal range is off by at most 2^-1075
// instead of by a factor; the later factors of its row can raise that. With coordinates up to 2^200
// a difference is below 2^202 and a lifted one below 2^405.
const (
	orient2DTiny = 0x1p-1070 // two products: 2·2^-1075, and one for the bound itself
	orient3DTiny = 0x1p-860  // six inner products times 2^202, three outer ones
	inCircleTiny = 0x1p-660  // six inner products times 2^405; a lost square times 2^405 likewise
)

// Orient2D is +1 if a, b, c turn counter-clockwise (c lies left of the line from a to b), −1 if they
// turn clockwise, and 0 if they lie on one line. The sign is exact.
func Orient2D(a, b, c r2.Vec) int {
	left := float64((a.X - c.X) * (b.Y - c.Y))
	right := float64((a.Y - c.Y) * (b.X - c.X))
	det := left - right
	bound := float64(orient2DBound*(math.Abs(left)+math.Abs(right))) + orient2DTiny
	if det > bound {
		return 1
	}
	if det < -bound {
		return -1
	}
	return orient2DExact(a, b, c)
}

// turn is the determinant of Orient2D (twice the signed area of a, b, c) with a relative error of at
// most turnError, however close to zero.
func turn(a, b, c r2.Vec) float64 {
	left := float64((a.X - c.X) * (b.Y - c.Y))
	right := float64((a.Y - c.Y) * (b.X - c.X))
	det := left - right
	bound := float64(orient2DBound*(math.Abs(left)+math.Abs(right))) + orient2DTiny
	if math.Abs(det)*turnError > bound {
		return det
	}
	return turnExact(a, b, c)
}

const turnError = 32 * unitRoundoff

// Orient3D is +1 if d lies below the plane through a, b, c, where above is the side from which a, b,
// c are seen to run counter-clockwise; −1 if d lies above; 0 if the four lie in one plane. For an
// outward facet (a, b, c) of a solid, +1 therefore means that d is on the inner side. The sign is
// exact.
func Orient3D(a, b, c, d r3.Vec) int {
	adx, ady, adz := a.X-d.X, a.Y-d.Y, a.Z-d.Z
	bdx, bdy, bdz := b.X-d.X, b.Y-d.Y, b.Z-d.Z
	cdx, cdy, cdz := c.X-d.X, c.Y-d.Y, c.Z-d.Z
	bc, cb := float64(bdx*cdy), float64(cdx*bdy)
	ca, ac := float64(cdx*ady), float64(adx*cdy)
	ab, ba := float64(adx*bdy), float64(bdx*ady)
	det := float64(adz*(bc-cb)) + float64(bdz*(ca-ac)) + float64(cdz*(ab-ba))
	perm := float64(math.Abs(adz)*(math.Abs(bc)+math.Abs(cb))) +
		float64(math.Abs(bdz)*(math.Abs(ca)+math.Abs(ac))) +
		float64(math.Abs(cdz)*(math.Abs(ab)+math.Abs(ba)))
	bound := float64(orient3DBound*perm) + orient3DTiny
	if det > bound {
		return 1
	}
	if det < -bound {
		return -1
	}
	return orient3DExact(a, b, c, d)
}

// InCircle is +1 if d lies inside the circle through a, b, c, −1 if outside, 0 if on it, provided
// that a, b, c turn counter-clockwise; the sign is reversed if they turn clockwise. The sign is
// exact.
func InCircle(a, b, c, d r2.Vec) int {
	adx, ady := a.X-d.X, a.Y-d.Y
	bdx, bdy := b.X-d.X, b.Y-d.Y
	cdx, cdy := c.X-d.X, c.Y-d.Y
	bc, cb := float64(bdx*cdy), float64(cdx*bdy)
	ca, ac := float64(cdx*ady), float64(adx*cdy)
	ab, ba := float64(adx*bdy), float64(bdx*ady)
	la := float64(adx*adx) + float64(ady*ady)
	lb := float64(bdx*bdx) + float64(bdy*bdy)
	lc := float64(cdx*cdx) + float64(cdy*cdy)
	det := float64(la*(bc-cb)) + float64(lb*(ca-ac)) + float64(lc*(ab-ba))
	perm := float64(la*(math.Abs(bc)+math.Abs(cb))) +
		float64(lb*(math.Abs(ca)+math.Abs(ac))) +
		float64(lc*(math.Abs(ab)+math.Abs(ba)))
	bound := float64(inCircleBound*perm) + inCircleTiny
	if det > bound {
		return 1
	}
	if det < -bound {
		return -1
	}
	return inCircleExact(a, b, c, d)
}
