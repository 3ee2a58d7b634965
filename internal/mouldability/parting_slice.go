package mouldability

import (
	"math"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// isWall says whether a facet is so close to vertical that either half may take it: it must be narrow
// seen along z, or the proof of the opening would stop at it, and to give it away must be able to pay.
func isWall(t r3.Triangle) bool {
	return widthAlongZ(t) <= mostWallMM && mislabelCost(t) < perimeter(t)
}

// mostWallMM is the widest that a wall facet may be seen along z. Two such facets side by side stay
// under the 5 µm that the proof lets slide.
const mostWallMM = 2 * WallWidthMM

// widthAlongZ is the width of the facet's projection: twice its area over its longest side there.
func widthAlongZ(t r3.Triangle) float64 {
	longest := 0.0
	for i := range 3 {
		d := r3.Sub(t[(i+1)%3], t[i])
		longest = max(longest, math.Hypot(d.X, d.Y))
	}
	if longest == 0 {
		return 0
	}
	return 2 * math.Abs(projected(t)) / longest
}

// mislabelCost is what it costs, in mm of parting line, to give a facet to the half that it turns
// away from: its projected area over WallWidthMM. A facet whose cost exceeds its perimeter could
// never earn that back in a shorter line, so its half is settled.
func mislabelCost(t r3.Triangle) float64 { return math.Abs(projected(t)) / WallWidthMM }

// projected is the signed area of the facet seen along z: positive when it faces up.
func projected(t r3.Triangle) float64 {
	a, b := r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0])
	return (a.X*b.Y - a.Y*b.X) / 2
}

func perimeter(t r3.Triangle) float64 {
	return r3.Norm(r3.Sub(t[1], t[0])) + r3.Norm(r3.Sub(t[2], t[1])) + r3.Norm(r3.Sub(t[0], t[2]))
}

// cutWalls splits every wall facet that reaches across height z along that height, and the
// neighbours' shared edges with them, so that the surface stays closed. The shape is unchanged up to
// the rounding of the new vertices.
func cutWalls(m *mesh.Mesh, source []int32, z float64) (*mesh.Mesh, []int32) {
	type edge struct{ a, b uint32 }
	key := func(a, b uint32) edge { return edge{min(a, b), max(a, b)} }
	mid := map[edge]uint32{}
	verts := m.Verts[:len(m.Verts):len(m.Verts)]
	const snap = 1e-9 // closer than this to the height, a vertex is on it: no sliver facets
	side := func(v uint32) int {
		switch d := m.Verts[v].Z - z; {
		case d > snap:
			return 1
		case d < -snap:
			return -1
		}
		return 0
	}
	for f, t := range m.Tris {
		if !isWall(m.Facet(f)) {
			continue
		}
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if side(a)*side(b) >= 0 {
				continue
			}
			e := key(a, b)
			if _, ok := mid[e]; ok {
				continue
			}
			p, q := m.Verts[e.a], m.Verts[e.b]
			v := r3.Add(p, r3.Scale((z-p.Z)/(q.Z-p.Z), r3.Sub(q, p)))
			v.Z = z
			mid[e] = uint32(len(verts))
			verts = append(verts, v)
		}
	}
	if len(mid) == 0 {
		return m, source
	}
	out := &mesh.Mesh{Verts: verts}
	var src []int32
	for f, t := range m.Tris {
		var at [3]uint32
		var cut [3]bool
		n := 0
		for k := range 3 {
			if at[k], cut[k] = mid[key(t[k], t[(k+1)%3])]; cut[k] {
				n++
			}
		}
		for _, s := range splitFacet(t, at, cut, n) {
			out.Tris = append(out.Tris, s)
			src = append(src, source[f])
		}
	}
	return out, src
}

// splitFacet retriangulates a facet with new vertices on one or two of its edges. A plane crosses at
// most two edges of a triangle.
func splitFacet(t [3]uint32, at [3]uint32, cut [3]bool, n int) [][3]uint32 {
	switch n {
	case 0:
		return [][3]uint32{t}
	case 1:
		for k := range 3 {
			if cut[k] {
				a, b, c := t[k], t[(k+1)%3], t[(k+2)%3]
				return [][3]uint32{{a, at[k], c}, {at[k], b, c}}
			}
		}
	}
	for k := range 3 {
		if !cut[k] {
			// Edges b–c and c–a are cut; c is the lone corner.
			a, b, c := t[k], t[(k+1)%3], t[(k+2)%3]
			p, q := at[(k+1)%3], at[(k+2)%3]
			return [][3]uint32{{p, c, q}, {a, b, p}, {a, p, q}}
		}
	}
	return nil
}
