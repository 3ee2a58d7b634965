package tooling

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Names of a trimming jig's pieces.
const (
	TrimNest = "trim nest"
	TrimCap  = "trim cap"
)

// TrimOptions are the maker's choices for a trimming jig. The zero value is sensible.
type TrimOptions struct {
	Show          []bool  // per facet of the part: kept clear of the jig where that can be
	BladeGapMM    float64 // from the flash to the guide over it and to the one under it; default 0.3
	ClearanceMM   float64 // round the casting; default 0.4
	GuideMM       float64 // how far the guides reach outside the parting line; default 8
	FloorMM       float64 // under and over the casting; default 4
	ReliefMM      float64 // more than the clearance over show faces; default 1
	ErrorMM       float64 // how far the nest's shape may stray; default 0.08
	LeastWallMM   float64 // default LeastWallMM
	ToleranceMM   float64 // of the opening proof; default opening.DefaultToleranceMM
	BuildVolumeMM r3.Vec  // the printer's; zero for no limit
	Workers       int
	Progress      Progress
}

func (o TrimOptions) withDefaults() TrimOptions {
	for _, d := range []struct {
		v *float64
		d float64
	}{{&o.BladeGapMM, 0.3}, {&o.ClearanceMM, 0.4}, {&o.GuideMM, 8}, {&o.FloorMM, 4}, {&o.ReliefMM, 1}, {&o.ErrorMM, 0.08}, {&o.LeastWallMM, LeastWallMM},
		{&o.ToleranceMM, opening.DefaultToleranceMM}} {
		setDefault(d.v, d.d)
	}
	return o
}

func (o TrimOptions) check(facets int) error {
	err := cmp.Or(checkSizes("trimming jig", map[string]float64{"blade gap": o.BladeGapMM, "clearance": o.ClearanceMM, "guide": o.GuideMM, "floor": o.FloorMM, "relief": o.ReliefMM,
		"error": o.ErrorMM, "least wall": o.LeastWallMM, "tolerance": o.ToleranceMM}),
		checkShow(o.Show, facets))
	switch {
	case err != nil:
		return err
	case o.BladeGapMM < leastBladeGapMM || o.BladeGapMM > mostBladeGapMM:
		return fmt.Errorf("%w: a blade gap of %g mm: give %g to %g mm, half of the blade's thickness or a little more", ErrOptions, o.BladeGapMM, leastBladeGapMM, mostBladeGapMM)
	case o.ClearanceMM < 3*o.ErrorMM:
		return fmt.Errorf("%w: a clearance of %g mm round the casting: give %g mm, three times the error of the nest's shape, or more", ErrOptions, o.ClearanceMM, 3*o.ErrorMM)
	}
	return nil
}

// Blades for trimming are 0.25 to 1 mm thick (common practice, no source).
const leastBladeGapMM, mostBladeGapMM = 0.1, 1.5

// ErrTrim is the cause when a mould leaves no flash that a jig can guide a blade along.
var ErrTrim = errors.New("no trimming jig")

// TrimJig is a printed guide for cutting the flash off a casting. The casting lies in the nest, the cap on
// it; between their rims runs a slot along the parting line, open outward, with the flash in its middle. A
// blade laid flat into the slot can neither rise nor dip. Pieces are in the mould frame, at the size of
// the casting: what shrank is smaller than the mould's cavity.
type TrimJig struct {
	Pieces  []Piece
	Casting *mesh.Mesh // as it lies in the jig
	Block   r3.Box     // round both pieces, closed on the casting
	// GuidedMM is the length of parting line along which the slot runs; HandMM what lies in holes, where no
	// blade gets in from the side.
	GuidedMM, HandMM float64
	// StandMM is how far the guides stand back from the parting line at most.
	StandMM float64
	// ShowTouchMM2 is the area of show faces that the jig bears on because that side has hardly any other.
	ShowTouchMM2 float64
	Stages       []Stage
	Ledger       []LedgerLine
	Checks       []Check
	Notes        []string
}

// Failed returns the checks that do not hold.
func (j *TrimJig) Failed() []Check { return (&Mould{Checks: j.Checks}).Failed() }

// NewTrimJig builds the jig for the castings of a mould with a parting surface: two halves, halves with a
// side piece, an insert, a skin. It follows the mould's outer parting line. The jig comes back even when
// checks fail.
func NewTrimJig(ctx context.Context, pool *solid.Pool, m *Mould, opt TrimOptions) (*TrimJig, error) {
	o := opt.withDefaults()
	if err := o.check(len(m.Part.Tris)); err != nil {
		return nil, err
	}
	if m.Surface == nil || len(m.Surface.Rim) == 0 || len(m.Shadow) == 0 {
		return nil, fmt.Errorf("tooling: %w: this mould has no parting surface, so its castings carry no flash that a guide could follow", ErrTrim)
	}
	j := &trimJig{opt: o, out: &TrimJig{}, mould: &Mould{}}
	j.take(m)
	if err := j.shape(ctx); err != nil {
		return nil, err
	}
	o.Progress.tell("cutting the jig", 0.6)
	if err := buildPlanned(ctx, pool, j, o.Progress); err != nil {
		return nil, err
	}
	return j.out, nil
}

// trimJig is a jig under construction.
type trimJig struct {
	opt          TrimOptions
	out          *TrimJig
	mould        *Mould // collects pieces, checks and notes
	part         *mesh.Mesh
	cast         *mesh.Mesh // with what stands in sprue and vents
	surface      *Surface
	field        *HeightField
	rim          []r2.Vec
	line         [][]r2.Vec
	lineZ        [2]float64      // lowest and highest place of the parting line
	rooms        [2][]*mesh.Mesh // room for the casting in the nest, and in the cap: closed bodies that may cross
	plan         [][]r2.Vec
	bottom, roof float64
}

// take brings the casting and the parting surface to the size of the casting.
func (j *trimJig) take(m *Mould) {
	to := func(v r3.Vec) r3.Vec { return v }
	if m.Place.Scale != (r3.Vec{X: 1, Y: 1, Z: 1}) && m.Place.Scale != (r3.Vec{}) {
		shrunk := m.Place
		shrunk.Scale = r3.Vec{X: 1, Y: 1, Z: 1}
		to = func(v r3.Vec) r3.Vec { return shrunk.Into(m.Place.Back(v)) }
	}
	j.part, j.cast = m.Part.Map(to), m.Part.Map(to)
	if m.Cast != nil {
		j.cast = m.Cast.Map(to)
	}
	j.out.Casting = j.part
	j.surface = &Surface{Verts: m.Surface.asMesh().Map(to).Verts, Tris: m.Surface.Tris, Rim: m.Surface.Rim, Flat: m.Surface.Flat}
	j.field = NewHeightField(j.surface.asMesh())
	for _, v := range j.surface.Rim {
		j.rim = append(j.rim, r2.Vec{X: j.surface.Verts[v].X, Y: j.surface.Verts[v].Y})
	}
	j.lineZ = [2]float64{math.Inf(1), math.Inf(-1)}
	for _, l := range m.Line {
		var loop []r3.Vec
		long := 0.0
		for i, v := range l {
			loop = append(loop, to(v))
			long += r3.Norm(r3.Sub(to(l[(i+1)%len(l)]), loop[i]))
			j.lineZ = [2]float64{min(j.lineZ[0], loop[i].Z), max(j.lineZ[1], loop[i].Z)}
		}
		j.line = append(j.line, flat(loop))
		if loopArea(flat(loop)) > 0 {
			j.out.GuidedMM += long
		} else {
			j.out.HandMM += long
		}
	}
}
