package mesh

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func tri(c ...float64) r3.Triangle {
	return r3.Triangle{{X: c[0], Y: c[1], Z: c[2]}, {X: c[3], Y: c[4], Z: c[5]}, {X: c[6], Y: c[7], Z: c[8]}}
}

func TestMeet(t *testing.T) {
	floor := tri(0, 0, 0, 10, 0, 0, 0, 10, 0)
	for _, c := range []struct {
		name   string
		a, b   r3.Triangle
		shared [][2]int
		want   contact
	}{
		{"far above", floor, tri(0, 0, 1, 10, 0, 1, 0, 10, 1), nil, apart},
		{"through the inside", floor, tri(1, 1, -1, 2, 1, 1, 1, 2, 1), nil, crosses},
		{"an edge through an edge's side", floor, tri(2, -1, -1, 2, -1, 1, 2, 3, 0), nil, crosses},
		{"plane is cut, but beside", floor, tri(20, 1, -1, 22, 1, 1, 21, 2, 1), nil, apart},
		{"a corner on the inside", floor, tri(2, 2, 0, 3, 2, 5, 2, 3, 5), nil, touches},
		{"an edge on the inside", floor, tri(2, 2, 0, 3, 2, 0, 2, 3, 5), nil, touches},
		{"a corner on a corner, unshared", floor, tri(0, 0, 0, -1, 0, 3, 0, -1, 3), nil, touches},
		{"edge across edge", floor, tri(5, 0, -1, 5, 0, 1, 5, -3, 0), nil, touches},
		{"covering, facing the same way", floor, tri(1, 1, 0, 4, 1, 0, 1, 4, 0), nil, crosses},
		{"covering, back to back", floor, tri(1, 1, 0, 1, 4, 0, 4, 1, 0), nil, touches},
		{"in one plane, edge on edge", floor, tri(0, 0, 0, 10, 0, 0, 0, -10, 0), nil, touches},
		{"in one plane, apart", floor, tri(0, -1, 0, 10, -1, 0, 0, -10, 0), nil, apart},
		{"a hinge", floor, tri(10, 0, 0, 0, 0, 0, 0, 5, 5), [][2]int{{0, 1}, {1, 0}}, apart},
		{"a flat hinge", floor, tri(10, 0, 0, 0, 0, 0, 0, -5, 0), [][2]int{{0, 1}, {1, 0}}, apart},
		{"folded onto itself", floor, tri(10, 0, 0, 0, 0, 0, 1, 5, 0), [][2]int{{0, 1}, {1, 0}}, touches},
		{"a shared corner only", floor, tri(0, 0, 0, -1, 0, 3, 0, -1, 3), [][2]int{{0, 0}}, apart},
		{"a shared corner, then through", floor, tri(0, 0, 0, 4, 4, 5, 4, 4, -5), [][2]int{{0, 0}}, crosses},
		{"a shared corner, an edge along", floor, tri(0, 0, 0, 2, 2, 0, 2, 2, 5), [][2]int{{0, 0}}, touches},
		{"a fan in one plane", floor, tri(0, 0, 0, 0, 10, 0, -10, 0, 0), [][2]int{{0, 0}, {2, 1}}, apart},
		{"a shared corner in one plane, covering", floor, tri(0, 0, 0, 5, 1, 0, 1, 5, 0), [][2]int{{0, 0}}, crosses},
	} {
		if got := meet(&c.a, &c.b, c.shared); got != c.want {
			t.Errorf("%s: %d, want %d", c.name, got, c.want)
		}
		back := make([][2]int, len(c.shared))
		for i, s := range c.shared {
			back[i] = [2]int{s[1], s[0]}
		}
		if got := meet(&c.b, &c.a, back); got != c.want {
			t.Errorf("%s, the other way: %d, want %d", c.name, got, c.want)
		}
	}
}

// The same question answered by clipping in rational numbers: cut one triangle by the plane of the
// other, clip what remains by the three edges, and look whether nothing, a point, a line or an area
// is left. Coordinates from a small grid make every special case frequent.
func TestMeetAgainstClipping(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	point := func() r3.Vec {
		return r3.Vec{X: float64(rng.IntN(5)), Y: float64(rng.IntN(5)), Z: float64(rng.IntN(4))}
	}
	count := map[contact]int{}
	for n := range 9_000 {
		a, b := r3.Triangle{point(), point(), point()}, r3.Triangle{point(), point(), point()}
		if n%3 == 1 {
			b[rng.IntN(3)] = a[rng.IntN(3)]
		}
		if isFlat(a) || isFlat(b) {
			continue
		}
		var shared [][2]int
		for i := range a {
			for j := range b {
				if n%3 == 1 && a[i] == b[j] {
					shared = append(shared, [2]int{i, j})
				}
			}
		}
		if len(shared) == 3 {
			continue
		}
		want := meetByClipping(a, b, len(shared))
		count[want]++
		if got := meet(&a, &b, shared); got != want {
			t.Fatalf("%v and %v, shared %v: %d, want %d", a, b, shared, got, want)
		}
	}
	for _, c := range []contact{apart, touches, crosses} {
		if count[c] < 200 {
			t.Errorf("only %d trials of kind %d", count[c], c)
		}
	}
}

type ratVec [3]*big.Rat

func toRat(v r3.Vec) ratVec {
	return ratVec{new(big.Rat).SetFloat64(v.X), new(big.Rat).SetFloat64(v.Y), new(big.Rat).SetFloat64(v.Z)}
}

func (a ratVec) sub(b ratVec) (o ratVec) {
	for k := range o {
		o[k] = new(big.Rat).Sub(a[k], b[k])
	}
	return o
}

func (a ratVec) dot(b ratVec) *big.Rat {
	s := new(big.Rat)
	for k := range a {
		s.Add(s, new(big.Rat).Mul(a[k], b[k]))
	}
	return s
}

func (a ratVec) cross(b ratVec) (o ratVec) {
	for k := range o {
		i, j := (k+1)%3, (k+2)%3
		o[k] = new(big.Rat).Sub(new(big.Rat).Mul(a[i], b[j]), new(big.Rat).Mul(a[j], b[i]))
	}
	return o
}

func (a ratVec) equal(b ratVec) bool {
	return a[0].Cmp(b[0]) == 0 && a[1].Cmp(b[1]) == 0 && a[2].Cmp(b[2]) == 0
}

// clipRat keeps the part of a convex polygon with n·(p−o) ≥ 0, or = 0 if flat.
func clipRat(poly []ratVec, o, n ratVec, flat bool) (out []ratVec) {
	for i, p := range poly {
		q := poly[(i+1)%len(poly)]
		dp, dq := n.dot(p.sub(o)), n.dot(q.sub(o))
		if dp.Sign() == 0 || dp.Sign() > 0 && !flat {
			out = append(out, p)
		}
		if dp.Sign()*dq.Sign() < 0 {
			f := new(big.Rat).Quo(dp, new(big.Rat).Sub(dp, dq))
			var x ratVec
			for k := range x {
				x[k] = new(big.Rat).Add(p[k], new(big.Rat).Mul(f, new(big.Rat).Sub(q[k], p[k])))
			}
			out = append(out, x)
		}
	}
	return out
}

// dimension is −1 for nothing, 0 for a point, 1 for a line, 2 for an area.
func dimension(p []ratVec) int {
	if len(p) == 0 {
		return -1
	}
	d := 0
	var along ratVec
	for _, q := range p[1:] {
		e := q.sub(p[0])
		switch {
		case q.equal(p[0]):
		case d == 0:
			d, along = 1, e
		case d == 1:
			if c := along.cross(e); c[0].Sign() != 0 || c[1].Sign() != 0 || c[2].Sign() != 0 {
				return 2
			}
		}
	}
	return d
}

func meetByClipping(a, b r3.Triangle, shared int) contact {
	var ra, rb []ratVec
	for k := range 3 {
		ra, rb = append(ra, toRat(a[k])), append(rb, toRat(b[k]))
	}
	na := ra[1].sub(ra[0]).cross(ra[2].sub(ra[0]))
	nb := rb[1].sub(rb[0]).cross(rb[2].sub(rb[0]))
	both := clipRat(rb, ra[0], na, true)
	for k := range 3 {
		both = clipRat(both, ra[k], na.cross(ra[(k+1)%3].sub(ra[k])), false)
	}
	d := dimension(both)
	parallel := dimension([]ratVec{na.sub(na), na, nb}) == 1
	if parallel {
		switch {
		case d == 2 && na.dot(nb).Sign() > 0:
			return crosses
		case d == 2 || d >= 0 && shared == 0:
			return touches
		}
		return apart
	}
	splits := func(p []ratVec, o, n ratVec) bool {
		low, high := false, false
		for _, v := range p {
			s := n.dot(v.sub(o)).Sign()
			low, high = low || s < 0, high || s > 0
		}
		return low && high
	}
	switch {
	case d < 0, d == 0 && shared == 1, d == 1 && shared == 2:
		return apart
	case d == 1 && splits(ra, rb[0], nb) && splits(rb, ra[0], na):
		return crosses
	}
	return touches
}
