package main

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// apartMM is the distance along the way between bodies that lie apart.
const apartMM = 3.0

// clearances are by how much the outlines of two bodies that lie one over the other clear each other;
// negative where they catch. NaN stands for one straight over the other.
var clearances = []float64{math.NaN(), 2, -2, 0.2, -0.2, 0.05, -0.05, 0.02, -0.02, 0.01}

// passing puts one specimen over another so that their outlines, seen along the way, just miss each other
// or just overlap at their outermost vertices.
func passing(m *maker, count int) (out []pair) {
	for len(out) < count {
		a, b := m.take(), m.specimens[m.rnd.IntN(len(m.specimens))]
		d := m.direction()
		_, top := span(a.Mesh, d)
		low, _ := span(b.Mesh, d)
		c := clearances[len(out)%len(clearances)]
		p := pair{Kind: "passing", Name: a.Name + " past " + b.Name, Moving: a.Mesh, D: d}
		over := r3.Scale(top+apartMM-low, d)
		if math.IsNaN(c) {
			by := r3.Sub(middle(a.Mesh), middle(b.Mesh))
			by = r3.Sub(by, r3.Scale(r3.Dot(by, d), d))
			p.Fixed = shifted(b.Mesh, r3.Add(by, over))
		} else {
			side := m.sideways(d)
			by := r3.Sub(outermost(a.Mesh, side), outermost(b.Mesh, r3.Scale(-1, side)))
			by = r3.Sub(by, r3.Scale(r3.Dot(by, d), d))
			p.Fixed = shifted(b.Mesh, r3.Add(r3.Add(by, over), r3.Scale(c, side)))
			p.Barely = math.Abs(c) < 0.3
		}
		out = append(out, p)
	}
	return out
}

// outermost is the vertex farthest along a direction.
func outermost(m *mesh.Mesh, side r3.Vec) (at r3.Vec) {
	most := math.Inf(-1)
	for _, v := range m.Verts {
		if t := r3.Dot(v, side); t > most {
			most, at = t, v
		}
	}
	return at
}
