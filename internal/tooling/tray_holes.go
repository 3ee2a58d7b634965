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
	// holeBelowMM is how far under a hole's mouth nothing of the carrier may stand in its way.
	holeBelowMM = 0.3
	// mostHoles bounds the holes of each kind.
	mostHoles = 60
)

// radiusAt is its radius at a height.
func (h hole) radiusAt(z float64) float64 {
	return h.rLow + (z-h.low)*math.Tan(holeDraftDeg*math.Pi/180)
}

func (h hole) solid(k *solid.Kernel) (*solid.Solid, error) {
	z0, z1 := h.low-overshootMM, h.high+overshootMM
	n := circleSegments(h.rHigh)
	r := func(z float64) float64 { return h.radiusAt(z) / math.Cos(math.Pi/float64(n)) }
	return k.Frustum(r3.Vec{X: h.at.X, Y: h.at.Y, Z: z0}, r3.Vec{Z: z1 - z0}, r(z0), r(z1), n)
}

// besideMM is the least of the carrier left round a hole: along rays from its axis, what of the carrier
// lies behind its wall before the next surface. It is 0 where the hole crosses a surface, as that of a
// groove, and where it leaves the carrier in its upper half. A hole out of a hollow of the underside is
// none of these: below, all its wall is air.
func (b *trayMould) besideMM(tree *geom.BVH, h hole) float64 {
	const ways, heights = 16, 6
	least := math.Inf(1)
	var hits []float64
	for i := -1; i < heights; i++ {
		z := h.low + (h.high-h.low)*(float64(i)+0.5)/heights
		if i < 0 {
			z = h.low - holeBelowMM // where the wall of a hollow would stand
		}
		air := 0
		for j := range ways {
			sin, cos := math.Sincos(2 * math.Pi * float64(j) / ways)
			hits = hits[:0]
			tree.EachHit(r3.Vec{X: h.at.X, Y: h.at.Y, Z: z}, r3.Vec{X: cos, Y: sin}, 0, math.Inf(1), func(hit geom.Hit) bool {
				hits = append(hits, hit.T)
				return true
			})
			slices.Sort(hits)
			k := slices.IndexFunc(hits, func(t float64) bool { return t > h.radiusAt(z) })
			// A ray that ends outside has an odd number of surfaces before it as long as it is inside.
			if k < 0 || (len(hits)-k)%2 == 0 {
				air++
				continue
			}
			least = min(least, hits[k]-h.radiusAt(z))
		}
		if air > 0 && (air < ways || 2*i >= heights) || air < ways && i < 0 {
			return 0
		}
	}
	return least
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
	h.rHigh = h.radiusAt(h.high)
	return h, h.high > h.low
}

// clearOfTabs says whether a hole leaves the tabs' roots alone.
func (b *trayMould) clearOfTabs(h hole) bool {
	for _, t := range b.tabs {
		if t.leg && short(gap(disc(h.at, h.rHigh), shape{core: t.legPlan}), b.opt.LeastWallMM) {
			return false
		}
		// A bar is let into the side; over it a hole would cut its root.
		if short(gap(disc(h.at, h.rHigh), shape{core: t.plan()}), b.opt.LeastWallMM) {
			return false
		}
	}
	return true
}

// clearOfHoles says whether a hole leaves enough of the carrier to the others.
func (b *trayMould) clearOfHoles(h hole) bool {
	for _, g := range b.holes {
		if short(r2.Norm(r2.Sub(h.at, g.at)), h.rHigh+g.rHigh+b.opt.BondEdgeMM) {
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
	type spot struct {
		hole
		beside float64
	}
	var can []spot
	for _, at := range b.under.places {
		h, ok := b.through(tree, at, bondHole, b.opt.BondHoleMM)
		if !ok || h.low >= b.level || h.high-h.low > holeDeepMM || !b.clearOfTabs(h) {
			continue
		}
		if down, ok := floor.FirstHit(r3.Vec{X: at.X, Y: at.Y, Z: h.low}, r3.Vec{Z: -1}, skinMM, math.Inf(1)); !ok || down.T < underMM {
			continue
		}
		if beside := b.besideMM(tree, h); !short(beside, b.opt.BondEdgeMM) {
			can = append(can, spot{h, beside})
		}
	}
	// The first stands where most of the carrier is round it.
	slices.SortStableFunc(can, func(p, q spot) int { return cmp.Compare(math.Floor(q.beside), math.Floor(p.beside)) })
	for n := range want {
		at, most := -1, 0.0
		for i, h := range can {
			d := math.Inf(1)
			for _, g := range b.holes {
				d = min(d, r2.Norm(r2.Sub(h.at, g.at)))
			}
			if d > most && b.clearOfHoles(h.hole) {
				at, most = i, d
			}
		}
		if at < 0 || !asked && most < b.opt.BondPitchMM {
			if asked {
				b.note("only %d of the %d bond holes asked for found a place with %.1f mm of carrier round it", n, want, b.opt.BondEdgeMM)
			}
			return
		}
		b.holes = append(b.holes, can[at].hole)
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
			h, ok := b.through(tree, p, airHole, b.opt.AirHoleMM)
			if ok && b.clearOfTabs(h) && b.clearOfHoles(h) && !short(b.besideMM(tree, h), b.opt.BondEdgeMM) {
				at, most = h, mm
			}
		})
		if at.kind == "" {
			return
		}
		b.holes = append(b.holes, at)
	}
}
