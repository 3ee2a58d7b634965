package tooling

import (
	"cmp"
	"fmt"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// TrayOptions are the maker's choices for an open-face tray. The zero value is sensible.
type TrayOptions struct {
	// Direction is the way the poured face looks, in the part's coordinates. Zero: the flat face is chosen
	// that leaves least overhang and least show face to the air.
	Direction r3.Vec
	Show      []bool // per facet of the part: better made by the tray than left as the resin levels
	ShrinkPct r3.Vec // of the casting, linear, along the part's x, y, z

	LandMM float64 // brim between the cavity and the overflow moat; default 2
	MoatML float64 // what the moat holds; default a twentieth of the pour, at least 1 mL
	MoatMM float64 // width of the moat; default 4; it grows where the depth is not enough
	WallMM float64 // cavity to the tray's sides, at least; default 10

	Cavities    int     // how many castings at once, each poured by itself; 0 is 1; with a carrier 1 alone
	CavityGapMM float64 // between two cavities; default CavityGapMM, and room for the moat between them

	FloorMM float64 // under the cavity; default 5

	LeastWallMM   float64 // thinnest printed wall let through; default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	Bolt          string  // thread of the three levelling screws; "" is M4, NoBolts for none
	Label         LabelOptions
	BuildVolumeMM r3.Vec // the printer's; zero for no limit

	// Carrier is a rigid part, in the part's coordinates, that the casting is poured round or onto. The
	// part is then the outline of both together: the casting is the part less the carrier.
	Carrier *mesh.Mesh
	CarrierOptions

	// Casting judges how a soft casting lets go; nil: it is rigid, and has to leave by the exact proof.
	Casting  *opening.Flex
	Workers  int
	Progress Progress
}

// CarrierOptions say how a carrier is held, aired and locked to the casting. The zero value is sensible.
type CarrierOptions struct {
	Tabs        int     // that hang the carrier on the tray's rim; default 3, at least 3
	TabMM       float64 // their width; default 6
	TabHighMM   float64 // their thickness; default 3
	TabGapMM    float64 // air between the brim and a tab that crosses it; default 1.2
	NeckMM      float64 // what a score line leaves of a tab; default 1
	SeatMM      float64 // how deep a tab's foot sits in the rim; default 2
	ClearanceMM float64 // round a tab's foot; default 0.2

	AirHoles  int     // −1 for none; default where air would stay
	AirHoleMM float64 // their diameter below; default 2
	// AirReachMM is how far air may lie from an edge or a hole under a level underside; default 10.
	AirReachMM float64

	BondHoles   int     // −1 for none; default as many as BondPitchMM asks for
	BondHoleMM  float64 // their diameter below, where they are narrowest; default 3
	BondPitchMM float64 // no place of the carrier lies further from a hole; default 15
	BondEdgeMM  float64 // left of the carrier round a hole; default 1.5

	ResinGPerML   float64 // default 1.1, typical of polyurethane and epoxy without filler
	CarrierGPerML float64 // of the printed carrier, voids of its infill included; default 1.2, typical of a solid print
}

// Limits of tabs and holes.
const (
	// leastNeckMM is the thinnest neck that prints at all: two lines of 0.4 mm (common practice, no source).
	leastNeckMM = 0.8
	leastHoleMM = 1.0 // smaller holes print shut (common practice, no source)
	leastTabs   = 3   // fewer do not keep a plate level
	mostTabs    = 12
)

func (o TrayOptions) withDefaults() TrayOptions {
	c := &o.CarrierOptions
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.LandMM, 2}, {&o.MoatMM, 4}, {&o.WallMM, 10}, {&o.FloorMM, 5}, {&o.CavityGapMM, CavityGapMM}, {&o.LeastWallMM, LeastWallMM}, {&o.ToleranceMM, opening.DefaultToleranceMM},
		{&c.TabMM, 6}, {&c.TabHighMM, 3}, {&c.TabGapMM, 1.2}, {&c.NeckMM, 1}, {&c.SeatMM, 2}, {&c.ClearanceMM, 0.2}, {&c.AirHoleMM, 2}, {&c.AirReachMM, 10},
		{&c.BondHoleMM, 3}, {&c.BondPitchMM, 15}, {&c.BondEdgeMM, 1.5}, {&c.ResinGPerML, 1.1}, {&c.CarrierGPerML, 1.2}} {
		setDefault(d.v, d.d)
	}
	if c.Tabs == 0 {
		c.Tabs = leastTabs
	}
	if o.Bolt == "" {
		o.Bolt = defaultThreads[0]
	}
	return o
}

func (o TrayOptions) check(facets int) error {
	c := o.CarrierOptions
	err := cmp.Or(checkSizes("tray", map[string]float64{"land": o.LandMM, "gap between cavities": o.CavityGapMM, "overflow": o.MoatML, "moat": o.MoatMM, "wall": o.WallMM, "floor": o.FloorMM, "least wall": o.LeastWallMM,
		"tolerance": o.ToleranceMM, "tab": c.TabMM, "tab's thickness": c.TabHighMM, "tab's gap": c.TabGapMM, "neck": c.NeckMM, "seat": c.SeatMM,
		"clearance": c.ClearanceMM, "air hole": c.AirHoleMM, "air's reach": c.AirReachMM, "bond hole": c.BondHoleMM, "bond holes' pitch": c.BondPitchMM,
		"bond holes' edge": c.BondEdgeMM, "density of the resin": c.ResinGPerML, "density of the carrier": c.CarrierGPerML}),
		checkShow(o.Show, facets))
	switch {
	case err != nil:
		return err
	case short(o.LandMM, o.LeastWallMM):
		return fmt.Errorf("%w: a brim %g mm wide does not print: give %g mm or more", ErrOptions, o.LandMM, o.LeastWallMM)
	case o.MoatMM < 2*moatInMM+leastBottomMM:
		return fmt.Errorf("%w: a moat %g mm wide: give %g mm or more", ErrOptions, o.MoatMM, 2*moatInMM+leastBottomMM)
	case checkCavities(o.Cavities) != nil || o.Carrier == nil:
		return checkCavities(o.Cavities)
	case o.Cavities > 1:
		return fmt.Errorf("%w: %d cavities, and a carrier for one: give 1, or leave the carrier out: %w", ErrOptions, o.Cavities, ErrCavities)
	case c.Tabs < leastTabs || c.Tabs > mostTabs:
		return fmt.Errorf("%w: %d tabs: give %d, which keep the carrier level, to %d", ErrOptions, c.Tabs, leastTabs, mostTabs)
	case short(c.NeckMM, leastNeckMM) || c.NeckMM > c.TabHighMM:
		return fmt.Errorf("%w: a neck of %g mm: give %g mm, which prints, to the tab's %g mm", ErrOptions, c.NeckMM, leastNeckMM, c.TabHighMM)
	case short(c.TabMM, 2*o.LeastWallMM) || short(c.TabHighMM, o.LeastWallMM):
		return fmt.Errorf("%w: a tab of %g × %g mm: give at least %g × %g mm", ErrOptions, c.TabMM, c.TabHighMM, 2*o.LeastWallMM, o.LeastWallMM)
	case short(c.AirHoleMM, leastHoleMM) || short(c.BondHoleMM, leastHoleMM):
		return fmt.Errorf("%w: holes of %g and %g mm: give at least %g mm, smaller ones print shut", ErrOptions, c.AirHoleMM, c.BondHoleMM, leastHoleMM)
	case short(c.BondEdgeMM, o.LeastWallMM):
		return fmt.Errorf("%w: %g mm of carrier round a hole do not print: give %g mm or more", ErrOptions, c.BondEdgeMM, o.LeastWallMM)
	}
	return nil
}
