package mouldability

import (
	"fmt"
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// ShowByDirection marks the facets whose outward normal is within angleDeg of dir: the faces seen
// from there. Facets without area are not marked.
func ShowByDirection(m *mesh.Mesh, dir r3.Vec, angleDeg float64) ([]bool, error) {
	d, err := unitDirection(dir)
	if err != nil {
		return nil, err
	}
	if !(angleDeg >= 0 && angleDeg <= 180) {
		return nil, fmt.Errorf("mouldability: show angle %g° is not within 0…180°", angleDeg)
	}
	// A hair's tolerance, so that an angle of 0 marks a face that looks straight at dir.
	limit := math.Cos(angleDeg*math.Pi/180) - 1e-12
	show := make([]bool, len(m.Tris))
	for f := range m.Tris {
		n := m.Facet(f).Normal()
		l := r3.Norm(n)
		show[f] = l > 0 && r3.Dot(n, d) >= limit*l
	}
	return show, nil
}

// ShowByBox marks the facets that lie wholly inside the box.
func ShowByBox(m *mesh.Mesh, box r3.Box) []bool {
	show := make([]bool, len(m.Tris))
	for f := range m.Tris {
		show[f] = true
		for _, v := range m.Facet(f) {
			show[f] = show[f] && v.X >= box.Min.X && v.X <= box.Max.X && v.Y >= box.Min.Y &&
				v.Y <= box.Max.Y && v.Z >= box.Min.Z && v.Z <= box.Max.Z
		}
	}
	return show
}

// ShowByColour marks the facets that the file gives the colour c; none if the file has no colours.
func ShowByColour(o mesh.Object, c mesh.RGBA) []bool {
	show := make([]bool, len(o.Mesh.Tris))
	for f, k := range o.FacetColour {
		show[f] = k >= 0 && o.Colours[k] == c
	}
	return show
}

// GrowSmooth returns the seed with all facets that it reaches across edges where the surface bends by
// at most angleDeg. The seed is not changed.
func GrowSmooth(m *mesh.Mesh, seed []bool, angleDeg float64) ([]bool, error) {
	if len(seed) != len(m.Tris) {
		return nil, fmt.Errorf("mouldability: %d show marks for %d facets", len(seed), len(m.Tris))
	}
	if !(angleDeg >= 0 && angleDeg <= 180) {
		return nil, fmt.Errorf("mouldability: bend of %g° is not within 0…180°", angleDeg)
	}
	adj := m.Adjacency()
	limit := math.Cos(angleDeg*math.Pi/180) - 1e-12
	out := append([]bool(nil), seed...)
	var todo []int32
	for f, on := range seed {
		if on {
			todo = append(todo, int32(f))
		}
	}
	for len(todo) > 0 {
		f := todo[len(todo)-1]
		todo = todo[:len(todo)-1]
		a := m.Facet(int(f)).Normal()
		for _, n := range adj[f] {
			if n == mesh.NoFacet || out[n] {
				continue
			}
			b := m.Facet(int(n)).Normal()
			if r3.Dot(a, b) >= limit*r3.Norm(a)*r3.Norm(b) {
				out[n] = true
				todo = append(todo, n)
			}
		}
	}
	return out, nil
}
