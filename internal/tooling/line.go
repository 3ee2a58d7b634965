package tooling

import (
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// takeLine notes the parting line and its projection.
func (m *Mould) takeLine(p *mouldability.Parting) {
	for _, l := range p.Loops {
		var line []r3.Vec
		for _, v := range l.Verts {
			line = append(line, p.Mesh.Verts[v])
		}
		m.Line = append(m.Line, line)
		m.Shadow = append(m.Shadow, flat(line))
	}
	m.LineMM, m.LineOnShowMM = p.LengthMM, p.ShowLengthMM
}

// openUpward collects the upper side's facets that lie open upward, where sprues and vents can start, and
// the facets of the part as given that they lie on; nil when there are none.
func openUpward(p *mouldability.Parting) (*HeightField, []int32) {
	tree := geom.NewBVH(p.Mesh.Verts, p.Mesh.Tris)
	m := &mesh.Mesh{Verts: p.Mesh.Verts}
	var source []int32
	for f, t := range p.Mesh.Tris {
		tri := p.Mesh.Facet(f)
		if !p.Upper[f] || tri.Normal().Z <= 0 || tree.AnyHit(tri.Centroid(), r3.Vec{Z: 1}, skinMM, math.Inf(1)) {
			continue
		}
		m.Tris = append(m.Tris, t)
		source = append(source, p.Source[f])
	}
	if len(m.Tris) == 0 {
		return nil, nil
	}
	return NewHeightField(m), source
}
