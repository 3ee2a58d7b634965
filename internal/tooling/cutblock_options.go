package tooling

import (
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// CutBlockOptions are the maker's choices for a block of silicone poured in one and cut open. The zero
// value is the sensible default.
type CutBlockOptions struct {
	// Direction is the way the upper lip opens, in the part's coordinates. Zero: away from the show faces
	// or, without any, along the part's axis that gives the shortest line and the least undercut; where the
	// lips do not open that way, along the axis along which they do.
	Direction r3.Vec
	Show      []bool // per facet of the part: takes no seam, sprue or vent
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z
	// SiliconeShrinkPct is that of the block: master and box are larger by it.
	SiliconeShrinkPct float64

	BlockMM      float64 // least silicone round the part; default 12
	DraftDeg     float64 // of the box's bore; default 1
	WallMM       float64 // of the box; default 4
	FreeMM       float64 // thickness of the base plate, and box over the silicone; default 5
	BoardClearMM float64 // base plate to box; default 0.2
	HingeMM      float64 // least silicone left uncut behind the part; default half of BlockMM
	SprueMM      float64 // diameter of a round sprue of the same section; default 5; a smaller one is used, with a note, where it finds no place
	Vents        int     // how many at most, beside the sprue; −1 for none; default 1
	VentMM       float64 // likewise; default 2

	// Cavities are the castings at once, in a row across the front, each with a master, sprue, vents and a
	// cut of its own; 0 and 1 are one. CavityGapMM is the silicone between two of them, with a slit in its
	// middle; default CavityGapMM.
	Cavities    int
	CavityGapMM float64

	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Silicone judges the releases and the lips by strain; nil leaves them named but unjudged. Casting nil
	// stands for a rigid one: then the silicone has to give way.
	Casting, Silicone *opening.Flex
	Workers           int
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress
}

func (o CutBlockOptions) withDefaults() CutBlockOptions {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.BlockMM, 12}, {&o.DraftDeg, 1}, {&o.WallMM, 4}, {&o.FreeMM, 5}, {&o.BoardClearMM, 0.2}, {&o.SprueMM, 5}, {&o.VentMM, 2}, {&o.CavityGapMM, CavityGapMM},
		{&o.LeastWallMM, LeastWallMM}, {&o.ToleranceMM, opening.DefaultToleranceMM}} {
		setDefault(d.v, d.d)
	}
	setDefault(&o.HingeMM, o.BlockMM/2)
	if o.Vents == 0 {
		o.Vents = 1
	}
	return o
}

func (o CutBlockOptions) check(facets int) error {
	if err := checkBlock(o.Show, facets, o.SiliconeShrinkPct, map[string]float64{"silicone": o.BlockMM, "box draft": o.DraftDeg, "wall": o.WallMM, "free height": o.FreeMM,
		"plate clearance": o.BoardClearMM, "uncut silicone": o.HingeMM, "cavity gap": o.CavityGapMM, "sprue": o.SprueMM, "vent": o.VentMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM}); err != nil {
		return err
	}
	if err := checkBlockCavities(o.Cavities, o.CavityGapMM); err != nil {
		return err
	}
	if o.Cavities > 1 && o.CavityGapMM < 2*leastTongueMM {
		return fmt.Errorf("%w: %g mm between cavities, slit in the middle, leave %g mm of silicone beside each: give %g mm or more", ErrOptions, o.CavityGapMM, o.CavityGapMM/2, 2*leastTongueMM)
	}
	if o.HingeMM > o.BlockMM {
		return fmt.Errorf("%w: %g mm left uncut are more than the %g mm of silicone behind the part: give less", ErrOptions, o.HingeMM, o.BlockMM)
	}
	return nil
}
