package mesh

import (
	"math"

	"mouldwright/internal/geom"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mesh is an indexed triangle mesh. Vertices are shared by index, not by position.
type Mesh struct {
	Verts []r3.Vec
	Tris  [][3]uint32
}

// Facet returns the corners of facet i.
func (m *Mesh) Facet(i int) r3.Triangle {
	t := m.Tris[i]
	return r3.Triangle{m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]]}
}

// Bounds is the smallest box around the vertices that facets use; the zero box if there are none.
func (m *Mesh) Bounds() r3.Box {
	if len(m.Tris) == 0 {
		return r3.Box{}
	}
	inf := math.Inf(1)
	b := r3.Box{Min: r3.Vec{X: inf, Y: inf, Z: inf}, Max: r3.Vec{X: -inf, Y: -inf, Z: -inf}}
	for _, t := range m.Tris {
		for _, i := range t {
			v := m.Verts[i]
			b.Min = r3.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y), Z: min(b.Min.Z, v.Z)}
			b.Max = r3.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y), Z: max(b.Max.Z, v.Z)}
		}
	}
	return b
}

// VolumeMM3 is the signed volume inside the mesh in mm³: negative when the mesh is inside out,
// meaningless when it is open. Terms are taken about the centre of the bounds and summed with
// compensation, so the relative error stays near 1e-15 for a part far from the origin.
func (m *Mesh) VolumeMM3() float64 {
	b := m.Bounds()
	c := r3.Scale(0.5, r3.Add(b.Min, b.Max))
	var s kahan
	for i := range m.Tris {
		t := m.Facet(i)
		s.add(r3.Dot(r3.Sub(t[0], c), r3.Cross(r3.Sub(t[1], c), r3.Sub(t[2], c))))
	}
	return s.sum() / 6
}

// AreaMM2 is the area of all facets in mm².
func (m *Mesh) AreaMM2() float64 {
	var s kahan
	for i := range m.Tris {
		s.add(geom.Area(m.Facet(i)))
	}
	return s.sum()
}

// Map returns the mesh with f applied to every vertex. When f mirrors space the caller must pass
// the result through Flipped to keep normals outward.
func (m *Mesh) Map(f func(r3.Vec) r3.Vec) *Mesh {
	out := &Mesh{Verts: make([]r3.Vec, len(m.Verts)), Tris: m.Tris}
	for i, v := range m.Verts {
		out.Verts[i] = f(v)
	}
	return out
}

// Flipped returns the mesh with every facet turned over.
func (m *Mesh) Flipped() *Mesh {
	out := &Mesh{Verts: m.Verts, Tris: make([][3]uint32, len(m.Tris))}
	for i, t := range m.Tris {
		out.Tris[i] = [3]uint32{t[0], t[2], t[1]}
	}
	return out
}

// kahan is Neumaier's compensated sum.
type kahan struct{ s, c float64 }

func (k *kahan) add(x float64) {
	t := k.s + x
	if math.Abs(k.s) >= math.Abs(x) {
		k.c += (k.s - t) + x
	} else {
		k.c += (x - t) + k.s
	}
	k.s = t
}

func (k *kahan) sum() float64 { return k.s + k.c }
