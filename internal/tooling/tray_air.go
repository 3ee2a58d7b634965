package tooling

import (
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// airPocket is a closed top of the room that is filled: air stays there.
type airPocket struct {
	at     r3.Vec  // its highest corner
	middle r2.Vec  // of its roof
	rise   float64 // how far it stands over the lowest ridge by which air could leave
}

// airPockets are the high points of a casting's surface that lie under the poured face and have the
// casting below them. The other high points of a surface are the tips of what stands up into the casting.
func airPockets(casting *mesh.Mesh, level float64) (out []airPocket) {
	up := make([]float64, len(casting.Verts))
	byPlace := map[r3.Vec]uint32{}
	for f, t := range casting.Tris {
		n := casting.Facet(f).Normal()
		for _, v := range t {
			up[v] += n.Z
			byPlace[casting.Verts[v]] = v
		}
	}
	for _, p := range highPoints(casting) {
		v := byPlace[p.at]
		if p.at.Z > level-pocketMM || up[v] <= 0 {
			continue
		}
		out = append(out, airPocket{p.at, roofMiddle(casting, v), p.rise})
	}
	return out
}

// roofMiddle is the middle of the level roof that a corner belongs to, or of its largest facet where that
// lies beside the roof, as in a ring; the corner itself where there is no such roof.
func roofMiddle(m *mesh.Mesh, v uint32) r2.Vec {
	z := m.Verts[v].Z
	level := make([]bool, len(m.Tris))
	first := mesh.NoFacet
	for f, t := range m.Tris {
		level[f] = true
		for _, w := range t {
			if math.Abs(m.Verts[w].Z-z) > heightStepMM {
				level[f] = false
			}
		}
		if level[f] && (t[0] == v || t[1] == v || t[2] == v) {
			first = int32(f)
		}
	}
	at := r2.Vec{X: m.Verts[v].X, Y: m.Verts[v].Y}
	if first == mesh.NoFacet {
		return at
	}
	adj := m.Adjacency()
	level[first] = false
	roof := []int32{first}
	for i := 0; i < len(roof); i++ {
		for _, g := range adj[roof[i]] {
			if g != mesh.NoFacet && level[g] {
				level[g] = false
				roof = append(roof, g)
			}
		}
	}
	var sum, widest r2.Vec
	area, most := 0.0, 0.0
	for _, f := range roof {
		t := m.Facet(int(f))
		c, a := t.Centroid(), geom.Area(t)
		sum, area = r2.Add(sum, r2.Scale(a, r2.Vec{X: c.X, Y: c.Y})), area+a
		if a > most {
			widest, most = r2.Vec{X: c.X, Y: c.Y}, a
		}
	}
	if area == 0 {
		return at
	}
	middle := r2.Scale(1/area, sum)
	for _, f := range roof {
		if _, ok := heightOn(m.Facet(int(f)), middle); ok {
			return middle
		}
	}
	return widest
}

const (
	// underCells is how many cells the underside's raster has along its longer side at most.
	underCells = 160
	// underStepMM is the finest raster: about the radius of a hole.
	underStepMM = 1.0
	// underRiseMM is how much higher the next place of a raster must lie for air to rise to it at once.
	underRiseMM = 0.05
)

// underside is a raster of the carrier's underside below the poured face: how far air has to creep along
// level places before it can rise.
type underside struct {
	places []r2.Vec
	room   []int     // per place: the level room it belongs to
	way    []float64 // per place: mm to where air rises out of the room at the side; +Inf where it nowhere does
}

func newUnderside(m *mesh.Mesh, tree *geom.BVH, level float64) *underside {
	box := m.Bounds()
	size := box.Size()
	step := max(underStepMM, max(size.X, size.Y)/underCells)
	nx, ny := int(size.X/step)+3, int(size.Y/step)+3 // a cell of air all round
	at := func(i, j int) r2.Vec {
		return r2.Vec{X: box.Min.X + (float64(i)-0.5)*step, Y: box.Min.Y + (float64(j)-0.5)*step}
	}
	z := make([]float64, nx*ny)
	for c := range z {
		p := at(c%nx, c/nx)
		z[c] = math.Inf(1)
		if hit, ok := tree.FirstHit(r3.Vec{X: p.X, Y: p.Y, Z: box.Min.Z - 1}, r3.Vec{Z: 1}, 0, math.Inf(1)); ok && box.Min.Z-1+hit.T < level {
			z[c] = box.Min.Z - 1 + hit.T
		}
	}
	u := &underside{}
	rooms := 0
	room := make([]int, len(z))
	for c := range z {
		if room[c] != 0 || math.IsInf(z[c], 1) {
			continue
		}
		rooms++
		room[c] = rooms
		list := []int{c}
		var ways []r2.Vec
		for i := 0; i < len(list); i++ {
			d := list[i]
			p := at(d%nx, d/nx)
			u.places, u.room = append(u.places, p), append(u.room, rooms)
			for _, e := range [4]int{d - 1, d + 1, d - nx, d + nx} {
				switch rise := z[e] - z[d]; {
				case rise > underRiseMM:
					ways = append(ways, r2.Scale(0.5, r2.Add(p, at(e%nx, e/nx))))
				case rise >= -underRiseMM && room[e] == 0:
					room[e] = rooms
					list = append(list, e)
				}
			}
		}
		for _, p := range u.places[len(u.way):] {
			d := math.Inf(1)
			for _, w := range ways {
				d = min(d, r2.Norm(r2.Sub(w, p)))
			}
			u.way = append(u.way, d)
		}
	}
	return u
}

// each visits every place with its way to where air rises: at a side or in a hole of the same room.
func (u *underside) each(holes []hole, visit func(p r2.Vec, mm float64)) {
	rooms := make([]int, len(holes))
	for k, h := range holes {
		near := math.Inf(1)
		for i, p := range u.places {
			if d := r2.Norm(r2.Sub(h.at, p)); d < near {
				near, rooms[k] = d, u.room[i]
			}
		}
	}
	for i, p := range u.places {
		d := u.way[i]
		for k, h := range holes {
			if rooms[k] == u.room[i] {
				d = min(d, max(0, r2.Norm(r2.Sub(h.at, p))-h.rLow))
			}
		}
		visit(p, d)
	}
}
