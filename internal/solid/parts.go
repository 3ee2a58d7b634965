package solid

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// shell is one connected piece of a surface; a cavity has a negative volume.
type shell struct {
	solid  *Solid
	mesh   *mesh.Mesh
	volume float64
	inside []*mesh.Mesh // cavities of this outer shell
}

// Parts returns the bodies of which the solid consists, each with its cavities, in the order in
// which the library finds their outer shells. Films without thickness (see Clean) are left out.
func (s *Solid) Parts() ([]*Solid, error) {
	shells, _, err := s.shells()
	if err != nil {
		return nil, err
	}
	for i := range shells {
		if c := &shells[i]; c.volume < 0 {
			if o := smallestAround(shells, c.mesh.Verts[0]); o != nil {
				o.inside = append(o.inside, c.mesh)
			}
		}
	}
	var parts []*Solid
	for _, o := range shells {
		if o.volume < 0 {
			continue
		}
		p := o.solid
		if len(o.inside) > 0 {
			// Joined as meshes: a boolean would take the cavity for an inside-out body.
			if p, err = s.k.FromMesh(joined(o.mesh, o.inside)); err != nil {
				return nil, err
			}
		}
		parts = append(parts, p)
	}
	return parts, nil
}

func joined(outer *mesh.Mesh, cavities []*mesh.Mesh) *mesh.Mesh {
	m := &mesh.Mesh{Verts: slices.Clone(outer.Verts), Tris: slices.Clone(outer.Tris)}
	for _, c := range cavities {
		first := uint32(len(m.Verts))
		m.Verts = append(m.Verts, c.Verts...)
		for _, t := range c.Tris {
			m.Tris = append(m.Tris, [3]uint32{first + t[0], first + t[1], first + t[2]})
		}
	}
	return m
}

// shells returns the connected pieces of the surface, and how many films it left out.
func (s *Solid) shells() (shells []shell, films int, err error) {
	if s == nil {
		return nil, 0, ErrFreed
	}
	var solids []*Solid
	err = s.k.do("divide into parts", func(h *host) (err error) {
		if err := s.usable(s.k); err != nil {
			return err
		}
		if h.method(clsManifold, "isEmpty", s.a) == true {
			return nil
		}
		solids, err = s.k.takeList(h, h.method(clsManifold, "_Decompose", s.a).(address))
		return err
	})
	if err != nil {
		return nil, 0, err
	}
	for _, p := range solids {
		m, err := p.Mesh()
		if err != nil {
			return nil, 0, err
		}
		v := m.VolumeMM3()
		if isFilm(v, m.AreaMM2(), reachOf(m)) {
			p.Free()
			films++
			continue
		}
		shells = append(shells, shell{solid: p, mesh: m, volume: v})
	}
	return shells, films, nil
}

// smallestAround is the outer shell of least volume that encloses p, nil if none does.
func smallestAround(shells []shell, p r3.Vec) (best *shell) {
	for i := range shells {
		o := &shells[i]
		if o.volume > 0 && (best == nil || o.volume < best.volume) && windingNumber(o.mesh, p) > 0.5 {
			best = o
		}
	}
	return best
}

// windingNumber is the solid angle under which m is seen from p, over 4π: 1 inside, 0 outside.
// Formula: van Oosterom and Strackee, "The solid angle of a plane triangle", 1983.
func windingNumber(m *mesh.Mesh, p r3.Vec) float64 {
	sum := 0.0
	for i := range m.Tris {
		t := m.Facet(i)
		a, b, c := r3.Sub(t[0], p), r3.Sub(t[1], p), r3.Sub(t[2], p)
		la, lb, lc := r3.Norm(a), r3.Norm(b), r3.Norm(c)
		num := r3.Dot(a, r3.Cross(b, c))
		den := la*lb*lc + r3.Dot(a, b)*lc + r3.Dot(b, c)*la + r3.Dot(c, a)*lb
		sum += math.Atan2(num, den)
	}
	return sum / (2 * math.Pi)
}
