package lantern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Part is a part of the lantern: a closed mesh in mm, z up.
type Part struct {
	Name string
	Mesh *mesh.Mesh
	// Face names the face each facet belongs to ("top", "bore", ...).
	Face []string
	// ShowFaces are the names of the faces that may carry no flash, vent or mark.
	ShowFaces []string
}

// Show tells for each facet whether it lies on a show face.
func (p *Part) Show() []bool {
	named := map[string]bool{}
	for _, f := range p.ShowFaces {
		named[f] = true
	}
	out := make([]bool, len(p.Face))
	for i, f := range p.Face {
		out[i] = named[f]
	}
	return out
}

// builder collects vertices and named facets. Rows and loops are lists of vertex indices.
type builder struct {
	mesh mesh.Mesh
	face []string
}

func (b *builder) vertex(v r3.Vec) uint32 {
	b.mesh.Verts = append(b.mesh.Verts, v)
	return uint32(len(b.mesh.Verts) - 1)
}

func (b *builder) facet(name string, i, j, k uint32) {
	b.mesh.Tris = append(b.mesh.Tris, [3]uint32{i, j, k})
	b.face = append(b.face, name)
}

// quad adds the facets of a four-cornered face, corners counter-clockwise seen from outside.
func (b *builder) quad(name string, i, j, k, l uint32) {
	b.facet(name, i, j, k)
	b.facet(name, i, k, l)
}

func (b *builder) part(name string, show ...string) *Part {
	return &Part{Name: name, Mesh: &b.mesh, Face: b.face, ShowFaces: show}
}

// polar is the point at a radius and angle, at height z. Angles that are whole quarter turns are
// exact to rounding only; parts are lofted by index, so nothing relies on more.
func polar(r, angle, z float64) r3.Vec {
	sin, cos := math.Sincos(angle)
	return r3.Vec{X: r * cos, Y: r * sin, Z: z}
}

// circle adds n vertices on a circle about (cx, cy) at height z, counter-clockwise seen from above.
func (b *builder) circle(cx, cy, r, z float64, n int) []uint32 {
	out := make([]uint32, n)
	for i := range out {
		v := polar(r, 2*math.Pi*float64(i)/float64(n), z)
		out[i] = b.vertex(r3.Vec{X: v.X + cx, Y: v.Y + cy, Z: z})
	}
	return out
}

// strip joins two rows of vertices that run the same way round; seen from outside, row from lies on
// the right of row to when looking along the rows' direction turned a quarter clockwise. For rows
// of a section walked counter-clockwise this makes facets point out of the solid.
func (b *builder) strip(name string, from, to []uint32) {
	n := len(from)
	for j := range n {
		k := (j + 1) % n
		b.quad(name, from[j], from[k], to[k], to[j])
	}
}

// cone joins a row to one vertex: outward as in strip, with the vertex as the row from (start true)
// or the row to.
func (b *builder) cone(name string, row []uint32, apex uint32, start bool) {
	n := len(row)
	for j := range n {
		k := (j + 1) % n
		if start {
			b.facet(name, apex, row[k], row[j])
		} else {
			b.facet(name, row[j], row[k], apex)
		}
	}
}

func (b *builder) plan(i uint32) r2.Vec {
	v := b.mesh.Verts[i]
	return r2.Vec{X: v.X, Y: v.Y}
}

// turn is twice the signed area of a facet seen from above.
func (b *builder) turn(i, j, k uint32) float64 {
	p := b.plan(i)
	return r2.Cross(r2.Sub(b.plan(j), p), r2.Sub(b.plan(k), p))
}

// ringFace fills the flat face between an outer loop and a hole, both counter-clockwise seen from
// above. Every facet has a side on one loop and a corner on the other, so a filling is a walk round
// both loops together; of all walks from the first corner it takes the one whose facets are least
// thin in sum (Fuchs, Kedem and Uselton 1977 stitch contours this way). up tells which way the face
// looks.
func (b *builder) ringFace(name string, outer, hole []uint32, up bool) {
	first := 0
	for j := range hole {
		if b.planDistance2(outer[0], hole[j]) < b.planDistance2(outer[0], hole[first]) {
			first = j
		}
	}
	o := func(i int) uint32 { return outer[i%len(outer)] }
	h := func(j int) uint32 { return hole[(first+j)%len(hole)] }

	rows := len(hole) + 1
	cost := make([]float64, (len(outer)+1)*rows) // of reaching corner i of outer and j of hole
	alongOuter := make([]bool, len(cost))        // the last facet of the cheapest walk there
	for i := range len(outer) + 1 {
		for j := range rows {
			if i == 0 && j == 0 {
				continue
			}
			viaOuter, viaHole := math.Inf(1), math.Inf(1)
			if i > 0 {
				viaOuter = cost[(i-1)*rows+j] + b.thinness(o(i-1), o(i), h(j))
			}
			if j > 0 {
				viaHole = cost[i*rows+j-1] + b.thinness(h(j-1), o(i), h(j))
			}
			cost[i*rows+j], alongOuter[i*rows+j] = min(viaOuter, viaHole), viaOuter <= viaHole
		}
	}
	for i, j := len(outer), len(hole); i > 0 || j > 0; {
		x, y, z := uint32(0), o(i), h(j)
		if i > 0 && (j == 0 || alongOuter[i*rows+j]) {
			i--
			x = o(i)
		} else {
			j--
			x = h(j)
		}
		if !up {
			y, z = z, y
		}
		b.facet(name, x, y, z)
	}
}

func (b *builder) planDistance2(i, j uint32) float64 {
	return r2.Norm2(r2.Sub(b.plan(i), b.plan(j)))
}

// thinness is the square of a facet's longest side over its area, seen from above; infinite for a
// facet that is turned over.
func (b *builder) thinness(i, j, k uint32) float64 {
	area := b.turn(i, j, k) / 2
	if area <= 0 {
		return math.Inf(1)
	}
	return max(b.planDistance2(i, j), b.planDistance2(j, k), b.planDistance2(k, i)) / area
}

// window is a stretch of an annular face that holds one hole: rows' columns First to Last (taken
// round the ring) and the loop of the hole.
type window struct {
	First, Last int
	Hole        []uint32
}

// annulus fills the flat face between two rows with the same columns, leaving the windows' holes
// open. inner and outer run counter-clockwise seen from above.
func (b *builder) annulus(name string, inner, outer []uint32, windows []window, up bool) {
	n := len(inner)
	covered := make([]bool, n)
	for _, w := range windows {
		var loop []uint32
		for c := w.First; c <= w.Last; c++ {
			loop = append(loop, outer[(c+n)%n])
			if c < w.Last {
				covered[(c+n)%n] = true
			}
		}
		for c := w.Last; c >= w.First; c-- {
			loop = append(loop, inner[(c+n)%n])
		}
		b.ringFace(name, loop, w.Hole, up)
	}
	for c := range n {
		if covered[c] {
			continue
		}
		d := (c + 1) % n
		if up {
			b.quad(name, outer[c], outer[d], inner[d], inner[c])
		} else {
			b.quad(name, inner[c], inner[d], outer[d], outer[c])
		}
	}
}
