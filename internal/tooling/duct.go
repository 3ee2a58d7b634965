package tooling

import "math"

// ductMM4 is how well a long straight channel of trapezoid section conducts: a liquid of viscosity μ runs
// through it at Q = ductMM4·Δp/(μ·L), as Hagen and Poiseuille's π·d⁴/128 says of a round bore. The section
// is widthMM at the open side and narrows by the draft on each side down to depthMM.
//
// The speed u over the section, for a unit of Δp/(μ·L), solves ∇²u = −1 with u = 0 on the wall (White,
// Viscous Fluid Flow, from memory), and the flow is its integral. It is solved with linear elements on two
// lattices, whose results are extrapolated: the error is under ductTol.
func ductMM4(widthMM, depthMM, draftDeg float64) float64 {
	lean := depthMM * math.Tan(draftDeg*math.Pi/180)
	coarse := ductOn(ductLattice, widthMM, depthMM, lean)
	return (4*ductOn(2*ductLattice, widthMM, depthMM, lean) - coarse) / 3
}

const (
	ductLattice = 8
	// ductTol bounds the relative error of ductMM4 for sections between 1 : 3 and 3 : 1.
	ductTol = 1e-3
)

// ductOn solves on a lattice of n × n cells, each halved into two triangles.
func ductOn(n int, width, depth, lean float64) float64 {
	at := func(i, j int) (x, y float64) {
		t := float64(j) / float64(n)
		return (float64(i)/float64(n) - 0.5) * (width - 2*lean*t), depth * t
	}
	m := n - 1 // unknowns in a row
	a := newBand(m*m, m+1)
	load := make([]float64, m*m)
	unknown := func(i, j int) int {
		if i == 0 || j == 0 || i == n || j == n {
			return -1
		}
		return (j-1)*m + i - 1
	}
	for j := range n {
		for i := range n {
			for _, t := range [2][3][2]int{{{i, j}, {i + 1, j}, {i + 1, j + 1}}, {{i, j}, {i + 1, j + 1}, {i, j + 1}}} {
				var x, y [3]float64
				var id [3]int
				for c, v := range t {
					x[c], y[c] = at(v[0], v[1])
					id[c] = unknown(v[0], v[1])
				}
				area2 := (x[1]-x[0])*(y[2]-y[0]) - (x[2]-x[0])*(y[1]-y[0])
				if !(area2 > 0) {
					continue // the point of a section that narrows to nothing
				}
				for c := range 3 {
					if id[c] < 0 {
						continue
					}
					load[id[c]] += area2 / 6
					p, q := (c+1)%3, (c+2)%3
					for d := range 3 {
						if id[d] < 0 || id[d] > id[c] {
							continue
						}
						r, s := (d+1)%3, (d+2)%3
						a.add(id[c], id[d], ((y[p]-y[q])*(y[r]-y[s])+(x[q]-x[p])*(x[s]-x[r]))/(2*area2))
					}
				}
			}
		}
	}
	u := a.solve(load)
	flow := 0.0
	for i, v := range u {
		flow += v * load[i]
	}
	return flow
}

// band is a symmetric positive matrix whose entries lie within w of the diagonal; the lower half is kept.
type band struct {
	n, w int
	val  []float64 // row i, column i−w+k at val[i·(w+1)+k]
}

func newBand(n, w int) *band { return &band{n, w, make([]float64, n*(w+1))} }

func (b *band) add(i, j int, v float64) { b.val[i*(b.w+1)+b.w+j-i] += v }

func (b *band) at(i, j int) float64 { return b.val[i*(b.w+1)+b.w+j-i] }

// solve factors the matrix in place (Cholesky) and solves for one right side, which it returns as a new
// slice.
func (b *band) solve(rhs []float64) []float64 {
	for i := range b.n {
		lo := max(0, i-b.w)
		for j := lo; j <= i; j++ {
			s := b.at(i, j)
			for k := max(lo, j-b.w); k < j; k++ {
				s -= b.at(i, k) * b.at(j, k)
			}
			if i == j {
				s = math.Sqrt(s)
			} else {
				s /= b.at(j, j)
			}
			b.val[i*(b.w+1)+b.w+j-i] = s
		}
	}
	x := append([]float64(nil), rhs...)
	for i := range b.n {
		for k := max(0, i-b.w); k < i; k++ {
			x[i] -= b.at(i, k) * x[k]
		}
		x[i] /= b.at(i, i)
	}
	for i := b.n - 1; i >= 0; i-- {
		for k := i + 1; k <= min(b.n-1, i+b.w); k++ {
			x[i] -= b.at(k, i) * x[k]
		}
		x[i] /= b.at(i, i)
	}
	return x
}
