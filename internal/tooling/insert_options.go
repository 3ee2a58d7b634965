package tooling

import (
	"cmp"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// InsertOptions are the maker's choices for a mould of a cradle, a silicone insert and two caps. The zero
// value is sensible for a part with show faces.
type InsertOptions struct {
	// Direction is the way the caps leave, in the part's coordinates. Zero: away from the show faces or,
	// without any, along the part's axis that gives the shortest line and the least undercut.
	Direction r3.Vec
	Show      []bool // per facet of the part: made by the silicone, takes no flash and no vent
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z
	// SiliconeShrinkPct is that of the insert: the master and the cradle are larger by it.
	SiliconeShrinkPct float64

	Cavities    int     // castings at once, in one insert, each poured by itself; 0 and 1: one
	CavityGapMM float64 // least distance between two of them; default CavityGapMM, or what land, overflow and silicone need

	InsertMM    float64 // thickness of the silicone; default 6
	DraftDeg    float64 // of the insert's outer face against the cradle; default 5
	LandMM      float64 // casting cap on silicone, between the part and the overflow; default 2
	OverflowMM  float64 // width of the overflow gutter in the casting cap; default 4
	OverflowDMM float64 // its depth; default 1.5
	SoftKeys    int     // pegs of the insert in the cradle; default 3; −1 for none
	PortMM      float64 // diameter of the silicone's fill port at the top; default 8
	PortVents   int     // vents of the pattern cap round each cavity; default 2
	PortVentMM  float64 // their diameter at the top; default 2.5
	Vents       int     // vents of the casting cap for each cavity, at the highest places off the show faces; default 2; −1 for none
	VentMM      float64 // their diameter at the top; default 1.2

	WallMM        float64 // insert to the cradle's sides; default 10
	FloorMM       float64 // cradle under the insert, caps over the part; default 8
	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	ErrorMM       float64 // how far the insert's outer face may stray; default 0.04
	Bolt          string  // thread; "" is M4, NoBolts for none
	BoltPitchMM   float64 // default 80
	Keys          int     // cones of the cradle in the caps; default 4; −1 for none
	KeyClearance  float64 // mm; default 0.15
	PrySlots      int     // default 2; −1 for none
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Casting and Silicone judge the soft releases by strain; nil leaves them named but unjudged.
	Casting, Silicone *opening.Flex
	Workers           int
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress
}

func (o InsertOptions) withDefaults() InsertOptions {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.InsertMM, 6}, {&o.DraftDeg, 5}, {&o.LandMM, 2}, {&o.OverflowMM, 4}, {&o.OverflowDMM, 1.5}, {&o.PortMM, 8}, {&o.PortVentMM, 2.5},
		{&o.VentMM, VentOptions().TopDiameterMM}, {&o.WallMM, 10}, {&o.FloorMM, 8}, {&o.LeastWallMM, LeastWallMM}, {&o.BoltPitchMM, 80},
		{&o.KeyClearance, 0.15}, {&o.ErrorMM, 0.04}, {&o.ToleranceMM, opening.DefaultToleranceMM}} {
		setDefault(d.v, d.d)
	}
	for _, d := range []struct {
		v *int
		d int
	}{{&o.SoftKeys, 3}, {&o.PortVents, 2}, {&o.Vents, 2}} {
		if *d.v == 0 {
			*d.v = d.d
		}
	}
	if o.Bolt == "" {
		o.Bolt = "M4"
	}
	return o
}

func (o InsertOptions) check(facets int) error {
	err := cmp.Or(checkSizes("insert", map[string]float64{"thickness": o.InsertMM, "draft": o.DraftDeg, "land": o.LandMM, "overflow width": o.OverflowMM,
		"overflow depth": o.OverflowDMM, "fill port": o.PortMM, "fill port's vent": o.PortVentMM, "vent": o.VentMM, "wall": o.WallMM, "floor": o.FloorMM,
		"least wall": o.LeastWallMM, "tolerance": o.ToleranceMM, "error": o.ErrorMM, "bolt pitch": o.BoltPitchMM, "key clearance": o.KeyClearance}),
		checkShow(o.Show, facets), checkSilicone(o.SiliconeShrinkPct))
	switch {
	case err != nil:
		return err
	case o.InsertMM < leastInsertMM:
		return fmt.Errorf("%w: an insert of %g mm tears when it is peeled: give %g mm or more", ErrOptions, o.InsertMM, leastInsertMM)
	case o.OverflowMM <= 2*overflowStepMM:
		return fmt.Errorf("%w: an overflow gutter %g mm wide: give more than %g mm", ErrOptions, o.OverflowMM, 2*overflowStepMM)
	case o.DraftDeg > 30:
		return fmt.Errorf("%w: a draft of %g° on the insert: give 1° to 30°", ErrOptions, o.DraftDeg)
	}
	return o.gap().check(o.Cavities, o.CavityGapMM)
}

// gap is the span for several cavities: neighbours share a stretch of the overflow between their lands.
func (o InsertOptions) gap() softGap {
	return webGap(2*o.LandMM+o.OverflowMM, o.ringMM(), o.InsertMM)
}

// leastInsertMM is the thinnest skin of silicone that lasts (common practice, no source).
const leastInsertMM = 2.0

// ringMM is how far the silicone reaches past the parting line with its full thickness under it: under
// the land, the overflow gutter and a margin as wide as the land.
func (o InsertOptions) ringMM() float64 { return 2*o.LandMM + o.OverflowMM }
