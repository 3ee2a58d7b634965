package tooling

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// flatFaceMM is how far from its plane a corner of the poured face may lie: within the rounding of a
	// 32-bit file, and of any printed brim. Such corners are brought into the plane.
	flatFaceMM = 0.005
	// flatFaceSine: facets whose normals differ by less than 0.06° lie in one flat face.
	flatFaceSine = 1e-3
	// openShare is the least share of what is seen from above that the poured face must be: under it the
	// "face" is a rim, and nearly all of the part would lie under the tray's overhang.
	openShare = 0.05
	// openFaces is how many of the largest flat faces are tried.
	openFaces = 24
	// belowTrayCost makes a face dear under which the carrier would stand out of the tray's floor.
	belowTrayCost = 10.0
)

// ErrOpenFace is the cause when a part has no flat face that a tray can be filled to.
var ErrOpenFace = errors.New("no flat face to pour to")

// openFace is one flat face that bounds the part on its side.
type openFace struct {
	out             r3.Vec
	areaMM2         float64
	overMM2, showMM float64 // seen from above: what looks up besides; and show faces in the face itself
	shadowMM2       float64
}

// cost is what an open face loses: overhang, which soft castings must be stretched out of and rigid ones
// never leave; show face left as the resin levels; and a carrier on the wrong side.
func (f openFace) cost(part, carrier *mesh.Mesh) float64 {
	c := (f.overMM2 + f.showMM) / f.shadowMM2
	if carrier != nil {
		_, low := along(part, f.out)
		_, lowest := along(carrier, f.out)
		if lowest < low-flatFaceMM {
			c += belowTrayCost
		}
	}
	return c
}

// along is the greatest and the least reach of a mesh along a direction.
func along(m *mesh.Mesh, d r3.Vec) (high, low float64) {
	high, low = math.Inf(-1), math.Inf(1)
	for _, t := range m.Tris {
		for _, v := range t {
			h := r3.Dot(m.Verts[v], d)
			high, low = max(high, h), min(low, h)
		}
	}
	return high, low
}

// openFaceTo measures what a part offers in a direction: the flat face that bounds it there.
func openFaceTo(part *mesh.Mesh, show []bool, d r3.Vec) openFace {
	f := openFace{out: r3.Unit(d)}
	top, _ := along(part, f.out)
	for i := range part.Tris {
		t := part.Facet(i)
		n := r3.Scale(0.5, r3.Cross(r3.Sub(t[1], t[0]), r3.Sub(t[2], t[0])))
		up, area := r3.Dot(n, f.out), r3.Norm(n)
		f.shadowMM2 += max(0, -up)
		switch least := min(r3.Dot(t[0], f.out), r3.Dot(t[1], f.out), r3.Dot(t[2], f.out)); {
		case up > 0 && least >= top-flatFaceMM:
			f.areaMM2 += area
			if show != nil && show[i] {
				f.showMM += area
			}
		case up > catchLean*area:
			f.overMM2 += up
		}
	}
	return f
}

// findOpenFace chooses the face that the tray is filled to.
func findOpenFace(part, carrier *mesh.Mesh, opt TrayOptions) (openFace, error) {
	if d := opt.Direction; r3.Norm(d) > 0 {
		f := openFaceTo(part, opt.Show, d)
		if f.areaMM2 < openShare*f.shadowMM2 {
			return f, fmt.Errorf("tooling: tray: %w: what bounds the part along %s is flat over %.1f of the %.1f mm² seen from there; turn it so that a flat face looks up, or leave the direction out",
				ErrOpenFace, directionWords(f.out), f.areaMM2, f.shadowMM2)
		}
		return f, nil
	}
	var best *openFace
	least := math.Inf(1)
	for _, d := range flatNormals(part) {
		f := openFaceTo(part, opt.Show, d)
		if f.areaMM2 < openShare*f.shadowMM2 {
			continue
		}
		if c := f.cost(part, carrier); c < least-1e-9 {
			best, least = &f, c
		}
	}
	if best == nil {
		return openFace{}, fmt.Errorf("tooling: tray: %w: no flat face bounds the part on any side; choose a mould that closes, or give the part a flat back", ErrOpenFace)
	}
	return *best, nil
}

func directionWords(d r3.Vec) string { return fmt.Sprintf("(%.3g, %.3g, %.3g)", d.X, d.Y, d.Z) }

// flatNormals lists the ways in which the largest flat faces look, largest first. Those along an axis of
// the part are snapped to it, so that a part modelled square keeps its coordinates to the last bit.
func flatNormals(m *mesh.Mesh) []r3.Vec {
	type face struct {
		n    r3.Vec
		area float64
	}
	var faces []face
	order := make([]int, len(m.Tris))
	area := make([]float64, len(m.Tris))
	for f := range m.Tris {
		order[f], area[f] = f, geom.Area(m.Facet(f))
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(area[b], area[a]) })
	for _, f := range order {
		if area[f] == 0 {
			break
		}
		n := snapped(r3.Unit(m.Facet(f).Normal()))
		k := slices.IndexFunc(faces, func(x face) bool { return r3.Norm(r3.Sub(x.n, n)) < flatFaceSine })
		switch {
		case k >= 0:
			faces[k].area += area[f]
		case len(faces) < 4*openFaces:
			faces = append(faces, face{n, area[f]})
		}
	}
	slices.SortStableFunc(faces, func(a, b face) int { return cmp.Compare(b.area, a.area) })
	var out []r3.Vec
	for _, f := range faces[:min(len(faces), openFaces)] {
		out = append(out, f.n)
	}
	return out
}

// snapped is the axis that a direction lies within flatFaceSine of, or the direction.
func snapped(n r3.Vec) r3.Vec {
	for _, a := range []r3.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {Z: 1}, {Z: -1}} {
		if r3.Norm(r3.Sub(n, a)) < flatFaceSine {
			return a
		}
	}
	return n
}

// levelled brings the corners of the poured face into its plane exactly, and returns its height and its
// facets.
func levelled(m *mesh.Mesh) (out *mesh.Mesh, level float64, top []bool) {
	level = m.Bounds().Max.Z
	out = m.Map(func(v r3.Vec) r3.Vec {
		if v.Z >= level-flatFaceMM {
			v.Z = level
		}
		return v
	})
	top = make([]bool, len(out.Tris))
	for f := range out.Tris {
		t := out.Facet(f)
		top[f] = t[0].Z == level && t[1].Z == level && t[2].Z == level
	}
	return out, level, top
}

// borders lists the loops round some facets, the facets on their left.
func borders(m *mesh.Mesh, in []bool) (loops [][]uint32) {
	next := map[uint32][]uint32{}
	var starts []uint32
	for f, adj := range m.Adjacency() {
		if !in[f] {
			continue
		}
		for k, g := range adj {
			if g == mesh.NoFacet || !in[g] {
				a, b := m.Tris[f][k], m.Tris[f][(k+1)%3]
				next[a] = append(next[a], b)
				starts = append(starts, a)
			}
		}
	}
	for _, s := range starts {
		var loop []uint32
		for v := s; len(next[v]) > 0; {
			loop = append(loop, v)
			w := next[v][0]
			next[v] = next[v][1:]
			v = w
		}
		if len(loop) > 2 {
			loops = append(loops, loop)
		}
	}
	return loops
}
