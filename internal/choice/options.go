package choice

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
)

// ErrOptions is the cause when a choice makes no sense.
var ErrOptions = errors.New("choice: bad option")

// Prover builds the mould of one way along a direction and proves that it opens. ok is false, with
// the reason in words, when the mould does not pass its checks.
type Prover func(ctx context.Context, part *mesh.Mesh, show []bool, d r3.Vec) (words string, ok bool, err error)

// Options steer Compare. The zero value is the sensible default: a rigid casting, a batch of ten.
type Options struct {
	// Direction in which the mould opens; zero looks for the best.
	Direction r3.Vec
	// ToleranceMM is how far a wall may lean the wrong way and still slide; 0 means that of package mouldability.
	ToleranceMM float64
	Batch       int           // castings wanted; 0 means DefaultBatch
	Casting     *opening.Flex // what the casting stands; nil for rigid
	Silicone    *opening.Flex // nil means TypicalSilicone
	DemouldH    float64       // hours from pour to demoulding; 0 means DefaultDemouldH
	// Carrier is a rigid part that the casting is poured round, in the part's coordinates; nil for none.
	Carrier *mesh.Mesh

	WallMM     float64 // printed wall round the cavity; 0 means DefaultWallMM
	FloorMM    float64 // printed floor and roof; 0 means DefaultFloorMM
	InsertMM   float64 // thickness of a silicone insert; 0 means DefaultInsertMM
	SkinMM     float64 // thickness of a silicone skin; 0 means DefaultSkinMM
	BlockMM    float64 // silicone round the part in a block; 0 means DefaultBlockMM
	Prices     Prices
	Provers    map[string]Prover // by Row.Key; nil leaves every verdict an estimate. They run in rank order until the best way is proven
	ProveAll   bool              // run the provers of all ways that open
	NoChange   bool              // leave out the search for the smallest change
	Directions int               // of the search; 0 means DefaultDirections
	Workers    int               // 0 means one per processor; the answer does not depend on it
	Progress   func(stage string, done float64)

	depthCells int // cells for the depth of an undercut
}

// Sizes that makers start from (common practice, no source).
const (
	DefaultBatch      = 10
	DefaultDemouldH   = 16.0 // overnight
	DefaultWallMM     = 12.0
	DefaultFloorMM    = 8.0
	DefaultInsertMM   = 6.0
	DefaultSkinMM     = 6.0
	DefaultBlockMM    = 12.0
	DefaultDirections = 300 // about 8° apart; the search refines the best
)

// TypicalSilicone is a pourable mould silicone: typical values, no data sheet.
func TypicalSilicone() *opening.Flex { return &opening.Flex{ElongationPct: 400, ShoreA: 28} }

// Prices are in the maker's own currency. Zero fields take typical values, which are not quotes
// (common practice, no source).
type Prices struct {
	Currency        string  `json:"currency,omitempty"`
	PrintPerML      float64 `json:"print_per_ml"`       // printed material; default 0.05
	SiliconePerML   float64 `json:"silicone_per_ml"`    // default 0.04
	CastingPerML    float64 `json:"casting_per_ml"`     // default 0.02
	LabourPerH      float64 `json:"labour_per_h"`       // default 20
	PieceMin        float64 `json:"piece_min"`          // hands on a printed piece: set up, clean, sand; default 10
	PourMin         float64 `json:"pour_min"`           // a one-time silicone pour: wall in, mix, degas, pour, free; default 30
	TrimMinPer100MM float64 `json:"trim_min_per_100mm"` // default 0.5
	ShowTrimTimes   float64 `json:"show_trim_times"`    // flash on a show face takes this many times as long; default 10
	Typical         bool    `json:"typical"`            // at least one value is a default
}

func orDefault(x *float64, def float64, used *bool) {
	if *x == 0 {
		*x = def
		*used = true
	}
}

func (o Options) withDefaults() (Options, error) {
	if o.Batch == 0 {
		o.Batch = DefaultBatch
	}
	if o.Silicone == nil {
		o.Silicone = TypicalSilicone()
	}
	if o.Directions == 0 {
		o.Directions = DefaultDirections
	}
	o.depthCells = depthCells
	var ignored bool
	orDefault(&o.DemouldH, DefaultDemouldH, &ignored)
	orDefault(&o.WallMM, DefaultWallMM, &ignored)
	orDefault(&o.FloorMM, DefaultFloorMM, &ignored)
	orDefault(&o.InsertMM, DefaultInsertMM, &ignored)
	orDefault(&o.SkinMM, DefaultSkinMM, &ignored)
	orDefault(&o.BlockMM, DefaultBlockMM, &ignored)
	o.Prices = o.Prices.WithTypical()
	return o, o.check()
}

// WithTypical fills in typical values, and says so in Typical.
func (p Prices) WithTypical() Prices {
	for _, d := range []struct {
		to  *float64
		def float64
	}{{&p.PrintPerML, 0.05}, {&p.SiliconePerML, 0.04}, {&p.CastingPerML, 0.02}, {&p.LabourPerH, 20}, {&p.PieceMin, 10},
		{&p.PourMin, 30}, {&p.TrimMinPer100MM, 0.5}, {&p.ShowTrimTimes, 10}} {
		orDefault(d.to, d.def, &p.Typical)
	}
	return p
}

func (o *Options) check() error {
	if o.Batch < 1 || o.Batch > 1e6 {
		return fmt.Errorf("%w: a batch of %d; give 1 to 1,000,000", ErrOptions, o.Batch)
	}
	p := o.Prices
	for _, v := range []struct {
		name string
		x    float64
	}{{"demould time", o.DemouldH}, {"wall", o.WallMM}, {"floor", o.FloorMM}, {"insert thickness", o.InsertMM}, {"skin thickness", o.SkinMM},
		{"block wall", o.BlockMM}, {"print price", p.PrintPerML}, {"silicone price", p.SiliconePerML}, {"casting price", p.CastingPerML},
		{"labour", p.LabourPerH}, {"time a piece", p.PieceMin}, {"time a pour", p.PourMin}, {"trim time", p.TrimMinPer100MM},
		{"trim time on show faces", p.ShowTrimTimes}} {
		if !(v.x >= 0) || math.IsInf(v.x, 0) {
			return fmt.Errorf("%w: %s is %g; give a number that is not negative", ErrOptions, v.name, v.x)
		}
	}
	if err := o.Silicone.Check(); err != nil {
		return fmt.Errorf("silicone: %w", err)
	}
	if o.Casting != nil {
		if err := o.Casting.Check(); err != nil {
			return fmt.Errorf("casting: %w", err)
		}
	}
	if d := o.Direction; d != (r3.Vec{}) && (!mesh.Finite(d) || !(r3.Norm(d) > 0)) {
		return fmt.Errorf("%w: the direction is not finite", ErrOptions)
	}
	return nil
}

func (o *Options) report(stage string, done float64) {
	if o.Progress != nil {
		o.Progress(stage, done)
	}
}

// analysis is how the part is analysed along a direction, with so many cells for a depth.
func (o *Options) analysis(depthCells int) mouldability.AnalyseOptions {
	return mouldability.AnalyseOptions{ToleranceMM: o.ToleranceMM, DepthCells: depthCells, Workers: o.Workers}
}
