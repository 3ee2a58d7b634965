package tooling

import (
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// stitchHalves makes the two raw halves of a block without any boolean operation: each is bounded by
// its share of the part's own facets turned over, by the parting surface, and by the block's sides
// and lid. The facets of the cavity are thus the part's, bit for bit.
func stitchHalves(p *mouldability.Parting, s *Surface, block r3.Box) (upper, lower *mesh.Mesh, err error) {
	u, l := &mesh.Mesh{Verts: s.Verts}, &mesh.Mesh{Verts: s.Verts}
	for f, t := range p.Mesh.Tris {
		turned := [3]uint32{t[0], t[2], t[1]}
		if p.Upper[f] {
			u.Tris = append(u.Tris, turned)
		} else {
			l.Tris = append(l.Tris, turned)
		}
	}
	for _, t := range s.Tris {
		u.Tris = append(u.Tris, [3]uint32{t[0], t[2], t[1]})
		l.Tris = append(l.Tris, t)
	}
	for _, v := range s.Rim {
		if z := s.Verts[v].Z; z <= block.Min.Z || z >= block.Max.Z {
			return nil, nil, fmt.Errorf("tooling: the parting surface leaves the block at height %.3f mm (block %.3f to %.3f mm)", z, block.Min.Z, block.Max.Z)
		}
	}
	u.Verts, u.Tris = closeBlock(u, s.Rim, block.Max.Z, true)
	l.Verts, l.Tris = closeBlock(l, s.Rim, block.Min.Z, false)
	u, l = compact(u), compact(l)
	if err := closed("upper", u); err != nil {
		return nil, nil, err
	}
	return u, l, closed("lower", l)
}

func closed(name string, m *mesh.Mesh) error {
	for f, n := range m.Adjacency() {
		for _, g := range n {
			if g == mesh.NoFacet {
				v := m.Facet(f).Centroid()
				return fmt.Errorf("tooling: %w at x %.3f, y %.3f, z %.3f mm: the %s half does not close there", ErrLineOverItself, v.X, v.Y, v.Z, name)
			}
		}
	}
	return nil
}

// closeBlock adds the block's sides from the rim to height z and the lid there.
func closeBlock(m *mesh.Mesh, rim []uint32, z float64, up bool) ([]r3.Vec, [][3]uint32) {
	verts := append([]r3.Vec(nil), m.Verts...)
	tris := m.Tris
	add := func(a, b, c uint32) {
		if !up {
			b, c = c, b
		}
		tris = append(tris, [3]uint32{a, b, c})
	}
	first := uint32(len(verts))
	centre := r3.Vec{Z: z}
	for _, v := range rim {
		p := verts[v]
		verts = append(verts, r3.Vec{X: p.X, Y: p.Y, Z: z})
		centre.X += p.X / float64(len(rim))
		centre.Y += p.Y / float64(len(rim))
	}
	hub := uint32(len(verts))
	verts = append(verts, centre)
	n := uint32(len(rim))
	for i := range n {
		j := (i + 1) % n
		add(rim[i], rim[j], first+j)
		add(rim[i], first+j, first+i)
		add(first+i, first+j, hub)
	}
	return verts, tris
}

// aprons are the halves without the part: what lies over and under the parting surface, with upright
// walls round the part's shadow. Features that follow the surface are shaped from these, which have a
// fraction of the facets of the halves.
func aprons(s *Surface, block r3.Box) (upper, lower *mesh.Mesh) {
	return compact(apron(s, block.Max.Z, true)), compact(apron(s, block.Min.Z, false))
}

// apron fills the space between the surface and height z, by a copy of the surface's triangles there
// and a wall along each of its open edges.
func apron(s *Surface, z float64, up bool) *mesh.Mesh {
	n := uint32(len(s.Verts))
	m := &mesh.Mesh{Verts: append([]r3.Vec(nil), s.Verts...)}
	for _, v := range s.Verts {
		m.Verts = append(m.Verts, r3.Vec{X: v.X, Y: v.Y, Z: z})
	}
	add := func(a, b, c uint32) {
		if up {
			b, c = c, b
		}
		m.Tris = append(m.Tris, [3]uint32{a, b, c})
	}
	for f, adj := range s.asMesh().Adjacency() {
		t := s.Tris[f]
		add(t[0], t[1], t[2])
		add(t[0]+n, t[2]+n, t[1]+n)
		for k, g := range adj {
			if a, b := t[k], t[(k+1)%3]; g == mesh.NoFacet {
				add(b, a, a+n)
				add(b, a+n, b+n)
			}
		}
	}
	return m
}

// compact drops vertices that no facet uses and numbers the rest in their old order.
func compact(m *mesh.Mesh) *mesh.Mesh {
	const unused = ^uint32(0)
	id := make([]uint32, len(m.Verts))
	for i := range id {
		id[i] = unused
	}
	for _, t := range m.Tris {
		for _, v := range t {
			id[v] = 0
		}
	}
	out := &mesh.Mesh{Tris: make([][3]uint32, len(m.Tris))}
	for i, v := range m.Verts {
		if id[i] != unused {
			id[i] = uint32(len(out.Verts))
			out.Verts = append(out.Verts, v)
		}
	}
	for i, t := range m.Tris {
		out.Tris[i] = [3]uint32{id[t[0]], id[t[1]], id[t[2]]}
	}
	return out
}
