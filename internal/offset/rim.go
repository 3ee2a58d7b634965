package offset

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// rim finds the outline of the swept body at the top by marching triangles over a grid in plan, and the
// grid's points well inside it.
func (u *under) rim(ctx context.Context) (loops [][]r2.Vec, inner []r2.Vec, err error) {
	h := u.opt.PitchMM
	size := r2.Sub(u.box.Max, u.box.Min)
	nx, ny := int(math.Ceil(size.X/h))+1, int(math.Ceil(size.Y/h))+1
	at := func(i int) r2.Vec {
		return r2.Vec{X: u.box.Min.X + float64(i%nx)*h, Y: u.box.Min.Y + float64(i/nx)*h}
	}
	value := make([]float64, nx*ny)
	if err := each(ctx, u.opt.Workers, nx*ny, func(i int) { value[i] = u.top(at(i)) }); err != nil {
		return nil, nil, err
	}
	next := map[[2]int][2]int{} // an edge of the grid that the outline crosses → the one it crosses next
	var order [][2]int
	key := func(a, b int) [2]int { return [2]int{min(a, b), max(a, b)} }
	for y := range ny - 1 {
		for x := range nx - 1 {
			a := y*nx + x
			for _, t := range [2][3]int{{a, a + 1, a + nx + 1}, {a, a + nx + 1, a + nx}} {
				for k := range 3 {
					v, p, q := t[k], t[(k+1)%3], t[(k+2)%3]
					in := value[v] < 0
					if (value[p] < 0) == in || (value[q] < 0) == in {
						continue
					}
					from, to := key(v, p), key(v, q) // v on the left
					if !in {
						from, to = to, from
					}
					next[from] = to
					order = append(order, from)
				}
			}
		}
	}
	done := map[[2]int]bool{}
	for _, start := range order {
		var loop []r2.Vec
		for e := start; !done[e]; e = next[e] {
			done[e] = true
			a, b := at(e[0]), at(e[1])
			d := r2.Sub(b, a)
			s := zero(func(s float64) float64 { return u.top(r2.Add(a, r2.Scale(s, d))) }, value[e[0]], value[e[1]])
			loop = append(loop, r2.Add(a, r2.Scale(s, d)))
		}
		if loop = spaced(loop, rimSpacing*h); len(loop) > 2 {
			loops = append(loops, u.rounded(loop))
		}
	}
	for i, v := range value {
		if v < -rimClear*h*u.s.cos {
			inner = append(inner, at(i))
		}
	}
	return loops, inner, ctx.Err()
}

const (
	// rimSpacing is the share of the pitch that rim points keep at least, so that no needles start there.
	rimSpacing = 0.2
	// rimClear is the share of it that the first inner points keep from the rim.
	rimClear = 0.4
	// rimRounds of halving bring the rim's chords within the error.
	rimRounds = 7
)

// spaced drops points that follow the one before too closely.
func spaced(loop []r2.Vec, least float64) (out []r2.Vec) {
	for _, p := range loop {
		if len(out) == 0 || r2.Norm(r2.Sub(p, out[len(out)-1])) >= least {
			out = append(out, p)
		}
	}
	for len(out) > 3 && r2.Norm(r2.Sub(out[0], out[len(out)-1])) < least {
		out = out[:len(out)-1]
	}
	return out
}

// rounded halves chords that stray, onto the outline.
func (u *under) rounded(loop []r2.Vec) []r2.Vec {
	for range rimRounds {
		var out []r2.Vec
		for i, a := range loop {
			out = append(out, a)
			b := loop[(i+1)%len(loop)]
			d := r2.Sub(b, a)
			mid := r2.Scale(0.5, r2.Add(a, b))
			if math.Abs(u.top(mid)) <= goalShare/2*u.opt.ErrorMM || r2.Norm(d) < u.opt.ErrorMM {
				continue
			}
			side := r2.Vec{X: -d.Y / 2, Y: d.X / 2}
			lo, hi := r2.Sub(mid, side), r2.Add(mid, side)
			flo, fhi := u.top(lo), u.top(hi)
			if (flo < 0) == (fhi < 0) {
				continue
			}
			s := zero(func(s float64) float64 { return u.top(r2.Add(lo, r2.Scale(s, r2.Sub(hi, lo)))) }, flo, fhi)
			out = append(out, r2.Add(lo, r2.Scale(s, r2.Sub(hi, lo))))
		}
		if len(out) == len(loop) {
			return out
		}
		loop = out
	}
	return loop
}
