package sheet

import (
	"image/color"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Leaving is a piece and the way it leaves the mould. A zero Exit stays where it is.
type Leaving struct {
	Name   string
	Mesh   *mesh.Mesh
	Exit   r3.Vec // unit
	Colour color.RGBA
}

// Exploded shifts each piece along its exit until it is clear, along that direction, of the pieces
// before it and of itself by gap mm: the assembly as it comes apart.
func Exploded(pieces []Leaving, gapMM float64) []Shown {
	out := make([]Shown, len(pieces))
	for i, p := range pieces {
		out[i] = Shown{Name: p.Name, Mesh: p.Mesh, Colour: p.Colour}
		if p.Exit == (r3.Vec{}) {
			continue
		}
		lo, _ := extent(p.Mesh, p.Exit)
		shift := gapMM
		for _, o := range out[:i] {
			_, hi := extent(o.Mesh, p.Exit)
			shift = max(shift, hi+r3.Dot(o.Offset, p.Exit)-lo+gapMM)
		}
		for _, q := range pieces[i+1:] {
			if q.Exit == (r3.Vec{}) {
				_, hi := extent(q.Mesh, p.Exit)
				shift = max(shift, hi-lo+gapMM)
			}
		}
		out[i].Offset = r3.Scale(shift, p.Exit)
	}
	return out
}

// extent is the least and the greatest place of a mesh along a direction.
func extent(m *mesh.Mesh, d r3.Vec) (lo, hi float64) {
	for i, t := range m.Tris {
		for k := range 3 {
			s := r3.Dot(m.Verts[t[k]], d)
			if i == 0 && k == 0 {
				lo, hi = s, s
			}
			lo, hi = min(lo, s), max(hi, s)
		}
	}
	return lo, hi
}
