package tooling

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// hole is an upright hole through the carrier, wider above: resin that cures in it is a rivet, and air
// rises through it.
type hole struct {
	at          r2.Vec
	kind        string  // airHole or bondHole
	low, high   float64 // the carrier there, mm
	rLow, rHigh float64
}

const (
	airHole, bondHole = "air hole", "bond hole"
	// holeDraftDeg widens a hole upward, so that the cured resin in it holds like a rivet.
	holeDraftDeg = 3.0
	// holeDeepMM is the thickest place of a carrier that gets a bond hole: longer ones stay full of air
	// (common practice, no source).
	holeDeepMM = 20.0
	// underMM is the least resin under the carrier for a bond hole to be worth its while.
	underMM = 0.5
	// mostHoles bounds the holes of each kind.
	mostHoles = 60
	// steepZ tells a carrier's sides from its top and underside, by the normal's height.
	steepZ = 0.7
)

func (h hole) solid(k *solid.Kernel) (*solid.Solid, error) {
	slope := math.Tan(holeDraftDeg * math.Pi / 180)
	z0, z1 := h.low-overshootMM, h.high+overshootMM
	n := circleSegments(h.rHigh)
	r := func(z float64) float64 { return (h.rLow + (z-h.low)*slope) / math.Cos(math.Pi/float64(n)) }
	return k.Frustum(r3.Vec{X: h.at.X, Y: h.at.Y, Z: z0}, r3.Vec{Z: z1 - z0}, r(z0), r(z1), n)
}

// steepSides are the carrier's sides seen from above: a hole keeps off them, so that it breaks through
// none.
type steepSides struct {
	segs []r3.Triangle
	tree *geom.BVH
}

func newSteepSides(m *mesh.Mesh) *steepSides {
	flatMesh := &mesh.Mesh{}
	add := func(v r3.Vec) uint32 {
		flatMesh.Verts = append(flatMesh.Verts, r3.Vec{X: v.X, Y: v.Y})
		return uint32(len(flatMesh.Verts) - 1)
	}
	s := &steepSides{}
	for f := range m.Tris {
		t := m.Facet(f)
		n := t.Normal()
		if l := r3.Norm(n); l > 0 && math.Abs(n.Z) < steepZ*l {
			s.segs = append(s.segs, t)
			flatMesh.Tris = append(flatMesh.Tris, [3]uint32{add(t[0]), add(t[1]), add(t[2])})
		}
	}
	s.tree = geom.NewBVH(flatMesh.Verts, flatMesh.Tris)
	return s
}

// distance is how far a place is from the nearest side, in plan.
func (s *steepSides) distance(p r2.Vec) float64 {
	if s.tree.Len() == 0 {
		return math.Inf(1)
	}
	return s.tree.Nearest(r3.Vec{X: p.X, Y: p.Y}).Distance
}

// placeHoles puts holes through the carrier: where air would stand under it, and for the bond.
func (b *trayMould) placeHoles(casting *mesh.Mesh) {
	o := b.opt
	tree := geom.NewBVH(b.carrier.Verts, b.carrier.Tris)
	if o.AirHoles >= 0 {
		b.summitHoles(tree, casting)
	}
	b.under = newUnderside(b.carrier, tree, b.level)
	if o.BondHoles >= 0 {
		b.bondHoles(tree)
	}
	if o.AirHoles >= 0 {
		b.levelHoles(tree)
	}
	c := b.out.Carried
	for _, h := range b.holes {
		name := ""
		if h.kind == airHole {
			c.AirHoles++
			name = fmt.Sprintf("A%d", c.AirHoles)
		} else {
			c.BondHoles++
			name = fmt.Sprintf("H%d", c.BondHoles)
		}
		b.mould.Features = append(b.mould.Features, Feature{Name: name, Kind: h.kind, Piece: CarrierPiece, At: r3.Vec{X: h.at.X, Y: h.at.Y, Z: h.low},
			SizesMM: []Size{{"diameter below", 2 * h.rLow}, {"diameter above", 2 * h.rHigh}, {"length", h.high - h.low}},
			Words:   fmt.Sprintf("%s through the carrier, %.1f mm below, %.1f mm above, %.1f mm long", h.kind, 2*h.rLow, 2*h.rHigh, h.high-h.low)})
	}
}

// through is a hole of a given diameter at a place: ok says that the carrier is there.
func (b *trayMould) through(tree *geom.BVH, at r2.Vec, kind string, mm float64) (h hole, ok bool) {
	h = hole{at: at, kind: kind, low: math.Inf(1), high: math.Inf(-1), rLow: mm / 2}
	box := b.carrier.Bounds()
	from := r3.Vec{X: at.X, Y: at.Y, Z: box.Min.Z - 1}
	tree.EachHit(from, r3.Vec{Z: 1}, 0, math.Inf(1), func(hit geom.Hit) bool {
		h.low, h.high = min(h.low, from.Z+hit.T), max(h.high, from.Z+hit.T)
		return true
	})
	h.rHigh = h.rLow + (h.high-h.low)*math.Tan(holeDraftDeg*math.Pi/180)
	return h, h.high > h.low
}

// fits says whether a hole leaves enough of the carrier round it: sides, tabs and other holes.
func (b *trayMould) fits(h hole) bool {
	edge := b.opt.BondEdgeMM
	if short(b.sides.distance(h.at), h.rHigh+edge) {
		return false
	}
	for _, t := range b.tabs {
		if t.leg && short(gap(disc(h.at, h.rHigh), shape{core: t.legPlan}), b.opt.LeastWallMM) {
			return false
		}
		// A bar is let into the side; over it a hole would cut its root.
		bar := strip(r2.Add(t.from, r2.Scale(t.root, t.out)), t.out, t.end-t.root, t.wide)
		if short(gap(disc(h.at, h.rHigh), shape{core: bar}), b.opt.LeastWallMM) {
			return false
		}
	}
	for _, g := range b.holes {
		if short(r2.Norm(r2.Sub(h.at, g.at)), h.rHigh+g.rHigh+edge) {
			return false
		}
	}
	return true
}

// summitHoles opens the closed tops of the room under the carrier: places of its underside that stand
// higher than all round, under the poured face.
func (b *trayMould) summitHoles(tree *geom.BVH, casting *mesh.Mesh) {
	for _, p := range airPockets(casting, b.level) {
		if near := tree.Nearest(p.at); near.Distance > flatFaceMM {
			continue // under the tray's own overhang: verify names it
		}
		h, ok := b.through(tree, p.middle, airHole, b.opt.AirHoleMM)
		if !ok {
			continue
		}
		if len(b.holes) == mostHoles {
			b.note("the carrier's underside has more than %d hollows: fill some in the model, or air stays in those that got no hole", mostHoles)
			return
		}
		b.holes = append(b.holes, h)
	}
}

func (b *trayMould) note(format string, a ...any) {
	b.mould.Notes = append(b.mould.Notes, fmt.Sprintf(format, a...))
}

// bondHoles spreads the bond holes: each as far as can be from those that are there, where resin lies
// under the carrier.
func (b *trayMould) bondHoles(tree *geom.BVH) {
	want, asked := b.opt.BondHoles, b.opt.BondHoles > 0
	if !asked {
		want = mostHoles
	}
	floor := geom.NewBVH(b.mould.Part.Verts, b.mould.Part.Tris)
	var can []hole
	for _, at := range b.under.places {
		h, ok := b.through(tree, at, bondHole, b.opt.BondHoleMM)
		if !ok || h.low >= b.level || h.high-h.low > holeDeepMM || !b.fits(h) {
			continue
		}
		if down, ok := floor.FirstHit(r3.Vec{X: at.X, Y: at.Y, Z: h.low}, r3.Vec{Z: -1}, skinMM, math.Inf(1)); ok && down.T >= underMM {
			can = append(can, h)
		}
	}
	// The first stands where the carrier is widest.
	slices.SortStableFunc(can, func(p, q hole) int {
		return cmp.Compare(math.Floor(b.sides.distance(q.at)), math.Floor(b.sides.distance(p.at)))
	})
	for n := range want {
		at, most := -1, 0.0
		for i, h := range can {
			d := math.Inf(1)
			for _, g := range b.holes {
				d = min(d, r2.Norm(r2.Sub(h.at, g.at)))
			}
			if d > most && b.fits(h) {
				at, most = i, d
			}
		}
		if at < 0 || !asked && most < b.opt.BondPitchMM {
			if asked {
				b.note("only %d of the %d bond holes asked for found a place with %.1f mm of carrier round it", n, want, b.opt.BondEdgeMM)
			}
			return
		}
		b.holes = append(b.holes, can[at])
	}
}

// levelHoles let the air out from under a level underside: no place of it may lie further than the air's
// reach from where it rises to the side, or from a hole.
func (b *trayMould) levelHoles(tree *geom.BVH) {
	for range mostHoles {
		at, most := hole{}, b.opt.AirReachMM
		b.under.each(b.holes, func(p r2.Vec, mm float64) {
			if mm <= most {
				return
			}
			if h, ok := b.through(tree, p, airHole, b.opt.AirHoleMM); ok && b.fits(h) {
				at, most = h, mm
			}
		})
		if at.kind == "" {
			return
		}
		b.holes = append(b.holes, at)
	}
}
