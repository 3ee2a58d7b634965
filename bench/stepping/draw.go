package main

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/bench/corpus"
	"mouldwright/internal/mesh"
)

// maker makes pairs of one kind: specimens in turn, all else from a fixed seed.
type maker struct {
	specimens []corpus.Specimen
	rnd       *rand.Rand
	next      int
}

func newMaker(specimens []corpus.Specimen, seed uint64) *maker {
	return &maker{specimens: specimens, rnd: rand.New(rand.NewPCG(4, seed))}
}

// take is the next specimen.
func (m *maker) take() corpus.Specimen {
	s := m.specimens[m.next%len(m.specimens)]
	m.next++
	return s
}

// direction is along an axis every other time, for there walls stand parallel to it.
func (m *maker) direction() r3.Vec {
	if m.rnd.IntN(2) == 0 {
		return []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}}[m.rnd.IntN(6)]
	}
	return r3.Unit(r3.Vec{X: m.rnd.NormFloat64(), Y: m.rnd.NormFloat64(), Z: m.rnd.NormFloat64()})
}

// tilted leans d by an angle, to a side drawn.
func (m *maker) tilted(d r3.Vec, deg float64) r3.Vec {
	if deg == 0 {
		return d
	}
	return leaned(d, m.sideways(d), deg)
}

// sideways is square to d.
func (m *maker) sideways(d r3.Vec) r3.Vec {
	u := r3.Unit(r3.Cross(d, leastAlong(d)))
	return r3.NewRotation(2*math.Pi*m.rnd.Float64(), d).Rotate(u)
}

// leaned turns d by an angle towards side, which is square to it.
func leaned(d, side r3.Vec, deg float64) r3.Vec {
	s, c := math.Sincos(deg * math.Pi / 180)
	return r3.Unit(r3.Add(r3.Scale(c, d), r3.Scale(s, side)))
}

// span is how far a body reaches along d.
func span(m *mesh.Mesh, d r3.Vec) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range m.Verts {
		t := r3.Dot(v, d)
		low, high = math.Min(low, t), math.Max(high, t)
	}
	return low, high
}

func shifted(m *mesh.Mesh, by r3.Vec) *mesh.Mesh {
	return m.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, by) })
}

func middle(m *mesh.Mesh) r3.Vec { return m.Bounds().Center() }
