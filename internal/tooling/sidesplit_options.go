package tooling

import (
	"fmt"
	"math"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// SideSplitOptions are the maker's choices for a mould of a whole half and two side pieces. The zero value
// is sensible.
type SideSplitOptions struct {
	// Direction is the way the casting leaves the whole half, in the part's coordinates. Zero: the axis of
	// the part along which least is held.
	Direction r3.Vec
	// Side is the way the first side piece leaves; the second leaves the other way. What of it runs along
	// Direction is dropped. Zero: of twelve ways across Direction the one in which least is held.
	Side      r3.Vec
	Show      []bool // per facet of the part: takes no sprue and no vent, and flash at a high price
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z

	WallMM        float64 // cavity to the block's sides; default 12
	FloorMM       float64 // cavity to the block's top and bottom; default 8
	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	Bolt          string  // thread; "" takes the first of M4, M5, M6, M8 that comes long enough; NoBolts for none
	BoltPitchMM   float64 // default 80
	Keys          int     // cones between the side pieces; default 2; −1 for none, rails included
	KeyClearance  float64 // mm, of cones and rails; default 0.15
	PrySlots      int     // at the top of the side split; default 2; −1 for none
	SprueMM       float64 // diameter at the outside; default 5; a smaller one is used, with a note, where it finds no place
	Vents         int     // how many at most; default 2; −1 for none
	VentMM        float64 // diameter at the outside; default 1.2
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Cavities is how many castings are made at once, in a row along the side split, each poured through a
	// sprue of its own; 0 is 1. CavityGapMM is the least between two of them; default CavityGapMM.
	Cavities    int
	CavityGapMM float64

	// Casting judges by strain whether a casting that catches on a piece lets go; nil is a rigid one,
	// which does not.
	Casting *opening.Flex
	Workers int
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress
}

func (o SideSplitOptions) withDefaults() SideSplitOptions {
	setDefault(&o.WallMM, 12)
	setDefault(&o.FloorMM, 8)
	setDefault(&o.LeastWallMM, LeastWallMM)
	setDefault(&o.ToleranceMM, opening.DefaultToleranceMM)
	setDefault(&o.BoltPitchMM, 80)
	setDefault(&o.KeyClearance, 0.15)
	setDefault(&o.SprueMM, 5)
	setDefault(&o.CavityGapMM, CavityGapMM)
	setDefault(&o.VentMM, VentOptions().TopDiameterMM)
	for _, n := range []*int{&o.Keys, &o.PrySlots, &o.Vents} {
		if *n == 0 {
			*n = 2
		}
	}
	return o
}

func (o SideSplitOptions) check(facets int) error {
	if err := checkSizes("mould", map[string]float64{"wall": o.WallMM, "floor": o.FloorMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM,
		"bolt pitch": o.BoltPitchMM, "key clearance": o.KeyClearance, "sprue diameter": o.SprueMM, "vent diameter": o.VentMM,
		"gap between cavities": o.CavityGapMM}); err != nil {
		return err
	}
	if err := checkCavities(o.Cavities); err != nil {
		return err
	}
	for _, d := range []struct {
		name string
		v    r3.Vec
	}{{"opening direction", o.Direction}, {"side", o.Side}} {
		if !(r3.Norm(d.v) < math.Inf(1)) {
			return fmt.Errorf("%w: the %s is %v, which is no direction", ErrOptions, d.name, d.v)
		}
	}
	return checkShow(o.Show, facets)
}
