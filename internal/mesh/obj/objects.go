package obj

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// model splits the facets by name, joins what shares vertices, and numbers vertices anew.
func (p *parser) model() (*mesh.Model, error) {
	for f, t := range p.tris {
		for _, v := range t {
			if int(v) >= len(p.verts) {
				return nil, &mesh.ReadError{Format: "OBJ", Line: int(p.lines[f]), Facet: f + 1, Do: exportAgain,
					What: fmt.Sprintf("vertex %d is used, but the file has only %d", v+1, len(p.verts))}
			}
		}
	}
	out := &mesh.Model{Unit: mesh.Millimetre, Notes: p.notes}
	names, of := p.named()
	root := joinSharing(len(names), of, p.tris, len(p.verts))
	object := make([]int32, len(names)) // +1; 0 is none yet
	number := make([]uint32, len(p.verts))
	for i := range number {
		number[i] = unseen
	}
	joined := 0
	for f, t := range p.tris {
		r := root[of[f]]
		if object[r] == 0 {
			out.Objects = append(out.Objects, mesh.Object{Name: names[r], Mesh: &mesh.Mesh{}})
			object[r] = int32(len(out.Objects))
		}
		m := out.Objects[object[r]-1].Mesh
		m.Tris = append(m.Tris, renumber(t, number, p.verts, m))
	}
	for i, r := range root {
		if int32(i) != r {
			joined++
		}
	}
	if joined > 0 {
		out.Note(fmt.Sprintf("%d named groups share vertices with others and were kept together with them", joined))
	}
	return out, nil
}

const unseen = ^uint32(0)

// renumber gives the facet's vertices their numbers in m. Objects share none, so one table serves.
func renumber(t [3]uint32, number []uint32, verts []r3.Vec, m *mesh.Mesh) (out [3]uint32) {
	for k, v := range t {
		if number[v] == unseen {
			number[v] = uint32(len(m.Verts))
			m.Verts = append(m.Verts, verts[v])
		}
		out[k] = number[v]
	}
	return out
}

// named lists the names and, for each facet, which it has. A name that comes again goes on.
func (p *parser) named() (names []string, of []int32) {
	useO := false
	for _, q := range p.parts {
		useO = useO || q.byO
	}
	index := map[string]int32{}
	current := int32(-1)
	enter := func(name string) {
		i, known := index[name]
		if !known {
			i = int32(len(names))
			index[name] = i
			names = append(names, name)
		}
		current = i
	}
	next := 0
	of = make([]int32, len(p.tris))
	for f := range p.tris {
		for ; next < len(p.parts) && p.parts[next].first <= f; next++ {
			if q := p.parts[next]; q.byO == useO {
				enter(q.name)
			}
		}
		if current < 0 {
			enter("")
		}
		of[f] = current
	}
	return names, of
}

// joinSharing gives for each name the first name that it is joined to by common vertices.
func joinSharing(names int, of []int32, tris [][3]uint32, verts int) []int32 {
	sets := mesh.NewDisjointSets(names)
	owner := make([]int32, verts) // name + 1 that first used the vertex
	for f, t := range tris {
		for _, v := range t {
			if owner[v] == 0 {
				owner[v] = of[f] + 1
				continue
			}
			sets.Join(owner[v]-1, of[f])
		}
	}
	root := make([]int32, names)
	for i := range root {
		root[i] = sets.Root(int32(i))
	}
	return root
}
