package mesh

import "gonum.org/v1/gonum/spatial/r3"

// Unit is a length unit of a file, as mm per unit.
type Unit float64

// The units that 3MF names, and metres and inches for formats that carry none.
const (
	Micron     Unit = 0.001
	Millimetre Unit = 1
	Centimetre Unit = 10
	Inch       Unit = 25.4
	Foot       Unit = 304.8
	Metre      Unit = 1000
)

// Model is what a file holds: named objects, already placed by their transforms.
type Model struct {
	Unit      Unit // mm per file unit; coordinates below are still in file units
	UnitKnown bool // false when the format carries no unit and Unit is the assumed Millimetre
	Objects   []Object
	// Notes say in plain words what the reader left out or had to assume.
	Notes []string
}

// maxNotes keeps a file from filling memory with notes about itself.
const maxNotes = 100

// Note adds to Notes, up to a hundred.
func (m *Model) Note(text string) {
	switch {
	case len(m.Notes) < maxNotes:
		m.Notes = append(m.Notes, text)
	case len(m.Notes) == maxNotes:
		m.Notes = append(m.Notes, "there is more to note than is kept here")
	}
}

// Facets counts the facets of all objects.
func (m *Model) Facets() int {
	n := 0
	for i := range m.Objects {
		n += len(m.Objects[i].Mesh.Tris)
	}
	return n
}

// InMM returns the model with coordinates in mm. Meshes are shared when the unit already is mm.
func (m *Model) InMM() *Model {
	out := &Model{Unit: Millimetre, UnitKnown: m.UnitKnown, Notes: m.Notes}
	for _, o := range m.Objects {
		if k := float64(m.Unit); k != 1 {
			o.Mesh = o.Mesh.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) })
		}
		out.Objects = append(out.Objects, o)
	}
	return out
}

// Merge joins all objects into one mesh, in order, in the model's own unit. Vertices are not welded.
func (m *Model) Merge() *Mesh {
	if len(m.Objects) == 1 {
		return m.Objects[0].Mesh
	}
	out := &Mesh{}
	for i := range m.Objects {
		o := m.Objects[i].Mesh
		base := uint32(len(out.Verts))
		out.Verts = append(out.Verts, o.Verts...)
		for _, t := range o.Tris {
			out.Tris = append(out.Tris, [3]uint32{t[0] + base, t[1] + base, t[2] + base})
		}
	}
	return out
}

// Object is one placed body of a Model. A reader keeps vertices as the file shares them; Weld joins
// those that only coincide.
type Object struct {
	Name string
	Mesh *Mesh
	// Colours are the distinct display colours in the file, and FacetColour the index into it of
	// each facet, -1 for none; FacetColour is nil when the file has no colours.
	Colours     []RGBA
	FacetColour []int32
}

// RGBA is an sRGB colour as files write it.
type RGBA struct{ R, G, B, A uint8 }
