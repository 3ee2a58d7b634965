package tooling

import (
	"context"
	"errors"
	"math"

	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r2"
)

// heights gives every point of the sketch its z. On the line it is the line's own; elsewhere the
// surface is harmonic, the shape of a soap film of small slope: no hills or hollows of its own, as
// level as the line allows, and level where the line is. The block's sides are left free.
//
// The film is solved with linear elements on the triangles (cotangent weights; Pinkall and Polthier
// 1993, from memory) by conjugate gradients.
func (sk *sketch) heights(ctx context.Context, p *mouldability.Parting, keep [][3]int32, flat bool) ([]float64, error) {
	z := make([]float64, len(sk.pts))
	mean := 0.0
	for i, post := range sk.posts {
		for _, v := range post.verts {
			z[i] += p.Mesh.Verts[v].Z / float64(len(post.verts))
		}
		mean += z[i] / float64(len(sk.posts))
	}
	for i := len(sk.posts); i < len(sk.pts); i++ {
		z[i] = mean
	}
	if flat {
		for i := len(sk.posts); i < len(sk.pts); i++ {
			z[i] = p.MinZ
		}
		return z, nil
	}
	if p.MaxZ-p.MinZ <= levelMM {
		return z, nil // the mean: the facets at the line take up the noise
	}
	k := filmMatrix(sk.pts, keep)
	return z, k.relax(ctx, z, len(sk.posts))
}

// levelMM: a line that varies less in height is level but for the rounding of a float32 file and of a
// turn, which reach 3e-5 mm at 400 mm. Beyond its own corners the surface is then made flat: features
// cut out of a surface with slopes of 1e-7 leave facets that no file format holds.
const levelMM = 1e-4

// film is the symmetric matrix of the film's stiffness in compressed rows.
type film struct {
	start []int
	col   []int
	val   []float64
	diag  []float64
}

func filmMatrix(pts []r2.Vec, tris [][3]int32) *film {
	type entry struct {
		a, b int
		w    float64
	}
	var es []entry
	for _, t := range tris {
		for c := range 3 {
			o, a, b := pts[t[c]], int(t[(c+1)%3]), int(t[(c+2)%3])
			u, v := r2.Sub(pts[a], o), r2.Sub(pts[b], o)
			// Half the cotangent of the angle across the edge a–b. Rounding in needles must not
			// turn a spring into a push: a negative sum is dropped below.
			w := r2.Dot(u, v) / (2 * r2.Cross(u, v))
			es = append(es, entry{a, b, w}, entry{b, a, w})
		}
	}
	n := len(pts)
	k := &film{start: make([]int, n+1), diag: make([]float64, n)}
	for _, e := range es {
		k.start[e.a+1]++
	}
	for i := range n {
		k.start[i+1] += k.start[i]
	}
	at := append([]int(nil), k.start[:n]...)
	k.col, k.val = make([]int, len(es)), make([]float64, len(es))
	for _, e := range es {
		k.col[at[e.a]], k.val[at[e.a]] = e.b, e.w
		at[e.a]++
	}
	for i := range n {
		k.join(i)
	}
	return k
}

// join adds up the two entries that the triangles on both sides of an edge left in row i.
func (k *film) join(i int) {
	for p := k.start[i]; p < k.start[i+1]; p++ {
		for q := p + 1; q < k.start[i+1]; q++ {
			if k.col[q] == k.col[p] {
				k.val[p] += k.val[q]
				k.val[q] = 0
			}
		}
	}
	for p := k.start[i]; p < k.start[i+1]; p++ {
		k.val[p] = max(k.val[p], 0)
		k.diag[i] += k.val[p]
	}
}

var errFilm = errors.New("tooling: the parting surface's heights did not settle")

// relax solves for the heights from index fixed on, the first ones being given.
func (k *film) relax(ctx context.Context, z []float64, fixed int) error {
	n := len(z)
	res, dir, kd := make([]float64, n), make([]float64, n), make([]float64, n)
	span := 0.0
	for i := range fixed {
		span = max(span, math.Abs(z[i]-z[0]))
	}
	apply := func(x, y []float64) {
		for i := fixed; i < n; i++ {
			s := k.diag[i] * x[i]
			for p := k.start[i]; p < k.start[i+1]; p++ {
				s -= k.val[p] * x[k.col[p]]
			}
			y[i] = s
		}
	}
	apply(z, kd)
	rr := 0.0
	for i := fixed; i < n; i++ {
		if k.diag[i] == 0 {
			continue // a point that no kept triangle uses
		}
		res[i] = -kd[i]
		dir[i] = res[i] / k.diag[i]
		rr += res[i] * dir[i]
	}
	goal := 1e-20 * span * span * float64(n)
	for it := 0; rr > goal; it++ {
		if it%64 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		if it > 20*n+1000 {
			return errFilm
		}
		apply(dir, kd)
		dk := 0.0
		for i := fixed; i < n; i++ {
			dk += dir[i] * kd[i]
		}
		if dk <= 0 {
			return errFilm
		}
		a, was := rr/dk, rr
		rr = 0
		for i := fixed; i < n; i++ {
			z[i] += a * dir[i]
			res[i] -= a * kd[i]
			if k.diag[i] > 0 {
				rr += res[i] * res[i] / k.diag[i]
			}
		}
		for i := fixed; i < n; i++ {
			if k.diag[i] > 0 {
				dir[i] = res[i]/k.diag[i] + rr/was*dir[i]
			}
		}
	}
	return nil
}
