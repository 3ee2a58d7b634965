package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// TwoHalfOptions are the maker's choices for a mould of two rigid halves. The zero value of every field
// but Direction is the sensible default.
type TwoHalfOptions struct {
	Direction     r3.Vec   // the way the upper half leaves, in the part's coordinates
	Show          []bool   // per facet of the part: takes no flash, sprue or vent
	ShrinkPct     r3.Vec   // linear, along the part's x, y, z
	PartingZMM    *float64 // asked height of the parting line, mould frame
	WallMM        float64  // cavity to the block's sides; default 12
	FloorMM       float64  // cavity to the block's top and bottom; default 8
	LeastWallMM   float64  // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64  // of the opening proof; default opening.DefaultToleranceMM
	Bolt          string   // thread; "" is M4, NoBolts for none
	BoltPitchMM   float64  // default 80
	Keys          int      // default 4; −1 for none
	KeyClearance  float64  // mm; default 0.15
	PrySlots      int      // default 2; −1 for none
	Gutter        *GutterOptions
	Cavities      int     // how many castings at once; 0 is 1
	CavityGapMM   float64 // between two cavities; default CavityGapMM
	RunnerMM      float64 // section of the runner between cavities, as of a round one of this diameter; default the sprue's
	SprueMM       float64 // diameter at the top; default 5, more for several cavities; a smaller one is used, with a note, where it finds no place
	Vents         int     // how many at most, of each cavity; −1 for none; default 1
	VentMM        float64 // diameter at the top; default 1.2
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit
	Workers       int
	// VentsAt are places on the cavity, mould frame, that get a vent before any other, in this order and
	// no more than Vents of them. A vent goes to the nearest place of the upper faces, off the show faces,
	// where it fits, at most VentMoveMM away; a note names each place that finds none.
	VentsAt []r3.Vec
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress

	anySprue bool // SprueMM is the default
}

// VentMoveMM is how far a vent may be from the place it is asked for: two or three vents' width, beyond
// which it may let another pocket out than the one meant.
const VentMoveMM = 3.0

// NoBolts asks for a mould held by clamps or bands.
const NoBolts = "none"

// LeastWallMM is the thinnest wall that a common filament printer makes soundly: three lines of 0.4 mm
// (common practice, no source).
const LeastWallMM = 1.2

func (o TwoHalfOptions) withDefaults() TwoHalfOptions {
	setDefault(&o.WallMM, 12)
	setDefault(&o.FloorMM, 8)
	setDefault(&o.LeastWallMM, LeastWallMM)
	setDefault(&o.BoltPitchMM, 80)
	setDefault(&o.KeyClearance, 0.15)
	o.anySprue = o.SprueMM == 0
	setDefault(&o.SprueMM, sprueFor(o.Cavities))
	setDefault(&o.CavityGapMM, CavityGapMM)
	setDefault(&o.RunnerMM, o.SprueMM)
	setDefault(&o.VentMM, VentOptions().TopDiameterMM)
	if o.Vents == 0 {
		o.Vents = 1
	}
	if o.Gutter != nil && o.Gutter.Steps == 0 {
		g := *o.Gutter
		g.Steps = gutterSteps
		o.Gutter = &g
	}
	return o
}

// sprueFor is the default sprue for n cavities: what passes goes with the fourth power of the diameter
// (Hagen and Poiseuille), so n cavities fill as fast as one. Rounded to half a millimetre.
func sprueFor(n int) float64 { return math.Round(2*5*math.Pow(float64(max(1, n)), 0.25)) / 2 }

// gutterSteps make the slope of the gutter's sides: joining steps is the dearest operation of a build,
// and two already let a cured overflow lift out.
const gutterSteps = 2

// ErrOptions is the cause when a choice makes no sense for any part.
var ErrOptions = errors.New("tooling: bad option")

// checkSizes refuses a size that is negative or no number.
func checkSizes(what string, sizes map[string]float64) error {
	if err := finite(what, sizes); err != nil {
		return fmt.Errorf("%w: %w", ErrOptions, err)
	}
	return nil
}

// checkShow wants a mark for each facet, or none.
func checkShow(show []bool, facets int) error {
	if show != nil && len(show) != facets {
		return fmt.Errorf("%w: %d show marks for %d facets", ErrOptions, len(show), facets)
	}
	return nil
}

// checkCavities bounds how many castings come out at once; 0 and 1 are one.
func checkCavities(n int) error {
	if n < 0 || n > MostCavities {
		return fmt.Errorf("%w: %d cavities: give 1 to %d: %w", ErrOptions, n, MostCavities, ErrCavities)
	}
	return nil
}

// checkSilicone bounds how much a silicone shrinks.
func checkSilicone(shrinkPct float64) error {
	if math.IsNaN(shrinkPct) || shrinkPct < 0 || shrinkPct > 5 {
		return fmt.Errorf("%w: the silicone shrinks by %g %%: give 0 to 5", ErrOptions, shrinkPct)
	}
	return nil
}

func (o TwoHalfOptions) check(facets int) error {
	if err := checkSizes("mould", map[string]float64{"wall": o.WallMM, "floor": o.FloorMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM,
		"bolt pitch": o.BoltPitchMM, "key clearance": o.KeyClearance, "sprue diameter": o.SprueMM, "vent diameter": o.VentMM,
		"gap between cavities": o.CavityGapMM, "runner": o.RunnerMM}); err != nil {
		return err
	}
	if err := checkCavities(o.Cavities); err != nil {
		return err
	}
	if r3.Norm(o.Direction) == 0 {
		return fmt.Errorf("%w: the opening direction has no length", ErrOptions)
	}
	for _, v := range o.VentsAt {
		if !(r3.Norm(v) < math.Inf(1)) {
			return fmt.Errorf("%w: a vent is asked for at %v, which is no place", ErrOptions, v)
		}
	}
	return checkShow(o.Show, facets)
}
