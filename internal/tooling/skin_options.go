package tooling

import (
	"cmp"
	"fmt"
	"math"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// SkinOptions are the maker's choices for two silicone skins in a mother mould. The zero value is sensible.
type SkinOptions struct {
	// Direction is the way the upper shell leaves, in the part's coordinates. Zero: away from the show
	// faces or, without any, along the part's axis that gives the shortest line and the least undercut.
	Direction r3.Vec
	Show      []bool // per facet of the part: takes no flash, sprue or vent where that can be had
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z
	// SiliconeShrinkPct is that of the skins: the master and the shells are larger by it.
	SiliconeShrinkPct float64

	Cavities    int     // castings at once, in two skins, each with a sprue of its own; 0 and 1: one
	CavityGapMM float64 // least distance between two of them; default CavityGapMM, or what the silicone needs

	SkinMM   float64 // thickness of the silicone; default 6
	DraftDeg float64 // of its outer face against the shells; default 5
	LandMM   float64 // how far the skins reach past the parting line at full thickness; default 4
	ShellMM  float64 // thickness of the shells round the skins; default 5
	FlangeMM float64 // of each shell's flange, at least; default 8
	PlateMM  float64 // of the plate that carries the master; default 4
	SoftKeys int     // pegs of each skin in its shell; default 3; −1 for none

	SprueMM    float64  // diameter of the resin's sprue at the top; default 6
	Vents      int      // vents of each cavity for the resin's air; default one for each high point, 1 to 4; −1 for none
	VentMM     float64  // their diameter at the top: a printed pin stands in it; default 2
	VentsAt    []r3.Vec // places on the cavity, mould frame, that get a vent before any other
	SleeveMM   float64  // silicone round sprue and vents; default 3
	PortMM     float64  // diameter of the silicone's fill ports; default 10
	PortVents  int      // vents beside each port, for each cavity; default one for each high point without a way out, to 4; −1 for none
	PortVentMM float64  // their diameter; default 3

	WallMM        float64 // from the shells to the flanges' sides, at least; default 8
	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	ErrorMM       float64 // how far the skins' outer faces may stray; default 0.04
	Bolt          string  // thread; "" is M4, NoBolts for none
	BoltPitchMM   float64 // default 80
	Keys          int     // cones of the lower flange in the upper; default 4; −1 for none
	KeyClearance  float64 // mm; default 0.15
	PrySlots      int     // default 2; −1 for none
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Casting and Silicone judge the soft releases by strain. Without Silicone they are named but
	// unjudged; without Casting the casting counts as rigid.
	Casting, Silicone *opening.Flex
	Workers           int
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress
}

func (o SkinOptions) withDefaults() SkinOptions {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.SkinMM, 6}, {&o.DraftDeg, 5}, {&o.LandMM, 4}, {&o.ShellMM, 5}, {&o.FlangeMM, 8}, {&o.PlateMM, 4}, {&o.SprueMM, 6}, {&o.VentMM, 2},
		{&o.SleeveMM, 3}, {&o.PortMM, 10}, {&o.PortVentMM, 3}, {&o.WallMM, 8}, {&o.LeastWallMM, LeastWallMM}, {&o.BoltPitchMM, 80},
		{&o.KeyClearance, 0.15}, {&o.ErrorMM, 0.04}, {&o.ToleranceMM, opening.DefaultToleranceMM}} {
		setDefault(d.v, d.d)
	}
	if o.SoftKeys == 0 {
		o.SoftKeys = 3
	}
	if o.Bolt == "" {
		o.Bolt = "M4"
	}
	return o
}

func (o SkinOptions) check(facets int) error {
	err := cmp.Or(checkSizes("skin", map[string]float64{"thickness": o.SkinMM, "draft": o.DraftDeg, "land": o.LandMM, "shell": o.ShellMM, "flange": o.FlangeMM,
		"plate": o.PlateMM, "sprue": o.SprueMM, "vent": o.VentMM, "sleeve": o.SleeveMM, "fill port": o.PortMM, "fill port's vent": o.PortVentMM,
		"wall": o.WallMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM, "error": o.ErrorMM, "bolt pitch": o.BoltPitchMM, "key clearance": o.KeyClearance}),
		checkShow(o.Show, facets), checkSilicone(o.SiliconeShrinkPct))
	switch {
	case err != nil:
		return err
	case o.SkinMM < leastInsertMM:
		return fmt.Errorf("%w: a skin of %g mm tears when it is peeled: give %g mm or more", ErrOptions, o.SkinMM, leastInsertMM)
	case o.ShellMM < o.LeastWallMM:
		return fmt.Errorf("%w: shells of %g mm are thinner than the thinnest wall that prints, %g mm", ErrOptions, o.ShellMM, o.LeastWallMM)
	case o.DraftDeg > 30:
		return fmt.Errorf("%w: a draft of %g° on the skins: give 1° to 30°", ErrOptions, o.DraftDeg)
	case o.Keys >= 0 && o.keyDraftDeg() > mostKeyDraftDeg:
		return fmt.Errorf("%w: a plate of %g mm is too thin for keys that nest in each other: give %.1f mm or more, or no keys", ErrOptions, o.PlateMM, o.leastPlateMM())
	}
	return o.gap().check(o.Cavities, o.CavityGapMM)
}

// gap is the span for several cavities: neighbours meet with their lands.
func (o SkinOptions) gap() softGap { return webGap(0, o.LandMM, o.SkinMM) }

// mostKeyDraftDeg is the flattest cone that still locates (common practice, no source).
const mostKeyDraftDeg = 30

// nestedWallMM is the wall between two cones of the same shape, one the plate's thickness over the other
// and narrower by the clearance.
func nestedWallMM(plateMM, clearanceMM, draftDeg float64) float64 {
	s, c := math.Sincos(draftDeg * math.Pi / 180)
	return plateMM*s - clearanceMM*c
}

// keyDraftDeg is the least draft, in whole degrees, of keys that the plate can pass on: it wears a cone
// over the lower flange's cone, and the upper flange wears its own over that.
func (o SkinOptions) keyDraftDeg() float64 {
	d := KeyOptions{}.withDefaults().DraftDeg
	for d <= mostKeyDraftDeg && nestedWallMM(o.PlateMM, o.KeyClearance, d) < o.LeastWallMM {
		d++
	}
	return d
}

func (o SkinOptions) leastPlateMM() float64 {
	s, c := math.Sincos(mostKeyDraftDeg * math.Pi / 180)
	return math.Ceil((o.LeastWallMM+o.KeyClearance*c)/s*10) / 10
}

// skinKeyRadiusMM makes the keys wider than other families' are: with so much draft they narrow fast.
const skinKeyRadiusMM = 5

func (o SkinOptions) key() KeyOptions {
	return KeyOptions{RadiusMM: skinKeyRadiusMM, DraftDeg: o.keyDraftDeg(), ClearanceMM: o.KeyClearance}.withDefaults()
}
