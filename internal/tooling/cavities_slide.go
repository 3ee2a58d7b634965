package tooling

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// slideRight is the least x by which loop b must be moved so that it stays at least gap mm from loop a
// there and anywhere farther right; −Inf when they never come so near. Exact for polygons: two of them are
// nearest at a corner of one, so it is enough to look where each corner of either meets the other's edges
// grown by the gap.
func slideRight(a, b []r2.Vec, gap float64) float64 {
	most := math.Inf(-1)
	for i, u := range a {
		v := a[(i+1)%len(a)]
		for _, p := range b {
			if x, ok := grownRight(u, v, p.Y, gap); ok {
				most = max(most, x-p.X)
			}
		}
	}
	for i, u := range b {
		// The left side of an edge is the right side of its mirror image.
		v := b[(i+1)%len(b)]
		for _, p := range a {
			if x, ok := grownRight(r2.Vec{X: -u.X, Y: u.Y}, r2.Vec{X: -v.X, Y: v.Y}, p.Y, gap); ok {
				most = max(most, p.X+x)
			}
		}
	}
	return most
}

// grownRight is the greatest x at height y of what lies within gap of segment uv.
func grownRight(u, v r2.Vec, y, gap float64) (x float64, ok bool) {
	x = math.Inf(-1)
	for _, e := range [2]r2.Vec{u, v} {
		if d := gap*gap - (y-e.Y)*(y-e.Y); d >= 0 {
			x = max(x, e.X+math.Sqrt(d))
		}
	}
	n := r2.Vec{X: v.Y - u.Y, Y: u.X - v.X}
	if l := r2.Norm(n); l > 0 {
		if n = r2.Scale(gap/l, n); n.X < 0 {
			n = r2.Scale(-1, n)
		}
		p, q := r2.Add(u, n), r2.Add(v, n)
		if lo, hi := min(p.Y, q.Y), max(p.Y, q.Y); y >= lo && y <= hi && hi > lo {
			x = max(x, p.X+(y-p.Y)/(q.Y-p.Y)*(q.X-p.X))
		}
	}
	return x, !math.IsInf(x, -1)
}

// quarterTurned is a loop turned counter-clockwise by so many quarters about the origin: exactly.
func quarterTurned(loop []r2.Vec, quarters int) []r2.Vec {
	out := make([]r2.Vec, len(loop))
	for i, v := range loop {
		out[i] = quarterTurn(v, quarters)
	}
	return out
}

func quarterTurn(v r2.Vec, quarters int) r2.Vec {
	switch (quarters%4 + 4) % 4 {
	case 1:
		return r2.Vec{X: -v.Y, Y: v.X}
	case 2:
		return r2.Vec{X: -v.X, Y: -v.Y}
	case 3:
		return r2.Vec{X: v.Y, Y: -v.X}
	}
	return v
}

const (
	// fewerMM is how far a loop may stray from its outline when corners are left out for packing. What is
	// packed keeps twice this distance on top of the gap asked.
	fewerMM = 0.03
	// packCorners bounds the corners of a packed loop: pairs of corners cost time.
	packCorners = 160
)

// simplified leaves out corners of a loop that lie within strayMM of the chord over them (Ramer, Douglas
// and Peucker), more where too many are left, and says how far the result strays.
func simplified(loop []r2.Vec) (out []r2.Vec, strayMM float64) {
	for stray := fewerMM; ; stray *= 2 {
		far := 0
		for i, v := range loop {
			if r2.Norm2(r2.Sub(v, loop[0])) > r2.Norm2(r2.Sub(loop[far], loop[0])) {
				far = i
			}
		}
		back := append(append([]r2.Vec(nil), loop[far:]...), loop[0])
		out = append(thinned(loop[:far+1], stray), thinned(back, stray)...)
		if len(out) <= packCorners {
			return out, stray
		}
	}
}

// thinned keeps the corners of an open line that matter, all but the last.
func thinned(line []r2.Vec, stray float64) []r2.Vec {
	if len(line) < 2 {
		return nil
	}
	last := len(line) - 1
	most, at := 0.0, 0
	for i := 1; i < last; i++ {
		if d := pointSegment(line[i], line[0], line[last]); d > most {
			most, at = d, i
		}
	}
	if most <= stray {
		return line[:1:1]
	}
	return append(thinned(line[:at+1], stray), thinned(line[at:], stray)...)
}
