package tooling

import (
	"cmp"
	"fmt"

	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// BlockOptions are the maker's choices for a two-part block of silicone. The zero value is the sensible
// default.
type BlockOptions struct {
	// Direction is the way the upper block leaves, in the part's coordinates. Zero: away from the show
	// faces or, without any, along the part's axis that gives the shortest line and the least undercut.
	Direction r3.Vec
	Show      []bool // per facet of the part: takes no flash, sprue or vent
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z
	// SiliconeShrinkPct is that of the blocks: master, board and box are larger by it.
	SiliconeShrinkPct float64

	BlockMM      float64 // least silicone round the part; default 12
	DraftDeg     float64 // of the box's bore; default 1
	WallMM       float64 // of the box; default 4
	FreeMM       float64 // box over the silicone, at both ends; default 5
	BoardClearMM float64 // board to box, and board to master; default 0.2
	SprueMM      float64 // diameter at the top; default 6; a smaller one is used, with a note, where it finds no place
	Vents        int     // how many at most; −1 for none; default 2
	VentMM       float64 // diameter at the top; default 1.6
	Keys         int     // domes of one block in the other; default 4; −1 for none

	// Cavities are the castings at once, each with a master, sprue and vents of its own in the one box; 0
	// and 1 are one. CavityGapMM is the silicone between two of them; default CavityGapMM.
	Cavities    int
	CavityGapMM float64

	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	ErrorMM       float64 // how far the board's hollow may stray; default 0.05
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Silicone judges the releases by strain; nil leaves them named but unjudged. Casting nil stands for
	// a rigid one: then the silicone has to give way.
	Casting, Silicone *opening.Flex
	Workers           int
	// Progress is called with the stage's name and the share of the whole that is done.
	Progress Progress
}

const (
	// leastBlockMM is the least silicone that keeps a block's shape without a backing (common practice,
	// no source).
	leastBlockMM = 5.0
	// mostBoxDraftDeg: a steeper box no longer holds the block.
	mostBoxDraftDeg = 10.0
)

func (o BlockOptions) withDefaults() BlockOptions {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.BlockMM, 12}, {&o.DraftDeg, 1}, {&o.WallMM, 4}, {&o.FreeMM, 5}, {&o.BoardClearMM, 0.2}, {&o.SprueMM, 6}, {&o.VentMM, 1.6}, {&o.CavityGapMM, CavityGapMM},
		{&o.LeastWallMM, LeastWallMM}, {&o.ErrorMM, 0.05}, {&o.ToleranceMM, opening.DefaultToleranceMM}} {
		setDefault(d.v, d.d)
	}
	if o.Vents == 0 {
		o.Vents = 2
	}
	if o.Keys == 0 {
		o.Keys = 4
	}
	return o
}

func (o BlockOptions) check(facets int) error {
	if err := finite("block", map[string]float64{"board clearance": o.BoardClearMM, "error": o.ErrorMM}); err != nil {
		return fmt.Errorf("%w: %w", ErrOptions, err)
	}
	if o.BoardClearMM <= 2*o.ErrorMM {
		return fmt.Errorf("%w: a board %g mm clear of the master, whose hollow may stray by %g mm, jams: give a clearance over %g mm", ErrOptions, o.BoardClearMM, o.ErrorMM, 2*o.ErrorMM)
	}
	if err := checkBlockCavities(o.Cavities, o.CavityGapMM); err != nil {
		return err
	}
	return checkBlock(o.Show, facets, o.SiliconeShrinkPct, map[string]float64{"silicone": o.BlockMM, "box draft": o.DraftDeg, "wall": o.WallMM, "free height": o.FreeMM,
		"cavity gap": o.CavityGapMM, "sprue": o.SprueMM, "vent": o.VentMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM})
}

// checkBlock is what both sorts of block ask of their options.
func checkBlock(show []bool, facets int, siliconeShrinkPct float64, sizes map[string]float64) error {
	err := cmp.Or(checkSizes("block", sizes), checkShow(show, facets), checkSilicone(siliconeShrinkPct))
	switch {
	case err != nil:
		return err
	case sizes["silicone"] < leastBlockMM:
		return fmt.Errorf("%w: %g mm of silicone round the part do not keep their shape: give %g mm or more", ErrOptions, sizes["silicone"], leastBlockMM)
	case sizes["box draft"] > mostBoxDraftDeg:
		return fmt.Errorf("%w: a box with a draft of %g°: give at most %g°", ErrOptions, sizes["box draft"], mostBoxDraftDeg)
	case sizes["free height"] < leastFreeMM:
		return fmt.Errorf("%w: a box that ends %g mm over the silicone: give %g mm or more", ErrOptions, sizes["free height"], leastFreeMM)
	}
	return nil
}

// leastFreeMM leaves room for a height mark.
const leastFreeMM = 2.0
