package opening

import (
	"context"
	"errors"
	"fmt"
	"runtime"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// DefaultToleranceMM is the widest sideways overlap that still counts as sliding. Coordinates that
// went through a 32-bit file are off by up to 4 µm on a 100 mm part, and no printed or cast wall is
// true to 5 µm.
const DefaultToleranceMM = 0.005

// DefaultWallDraftDeg is the draft below which a wall in contact counts as having none: over a
// height of 20 mm such a wall clears by 35 µm, less than the roughness of a printed mould.
const DefaultWallDraftDeg = 0.1

// Body is a named closed mesh in mm, facets turned outward.
type Body struct {
	Name string
	Mesh *mesh.Mesh
}

// Options tune the proof; the zero value is the sensible default.
type Options struct {
	ToleranceMM  float64 // 0 means DefaultToleranceMM
	WallDraftDeg float64 // 0 means DefaultWallDraftDeg
	Workers      int     // parallel workers; 0 means one a processor. Results do not depend on it.
	// Progress, if set, is called from one goroutine at a time with the share done, 0 to 1.
	Progress func(done float64)
	// TrustApart skips the check that the bodies' interiors are apart at the start.
	TrustApart bool
}

func (o Options) withDefaults() (Options, error) {
	if o.ToleranceMM == 0 {
		o.ToleranceMM = DefaultToleranceMM
	}
	if o.WallDraftDeg == 0 {
		o.WallDraftDeg = DefaultWallDraftDeg
	}
	if !(o.ToleranceMM > 0 && o.ToleranceMM < 1) {
		return o, fmt.Errorf("opening: tolerance %g mm is not between 0 and 1 mm", o.ToleranceMM)
	}
	if !(o.WallDraftDeg > 0 && o.WallDraftDeg < 45) {
		return o, fmt.Errorf("opening: wall draft limit %g° is not between 0 and 45°", o.WallDraftDeg)
	}
	if o.Workers <= 0 {
		o.Workers = runtime.GOMAXPROCS(0)
	}
	return o, nil
}

// State says how one body leaves another.
type State int

// The states, from best to worst.
const (
	Free    State = iota // leaves without rubbing
	Sliding              // leaves, but a wall without draft rubs, or an overlap within the tolerance grazes
	Blocked              // does not leave
)

// String is the state in a word.
func (s State) String() string {
	switch s {
	case Free:
		return "free"
	case Sliding:
		return "sliding"
	case Blocked:
		return "blocked"
	}
	return fmt.Sprintf("State(%d)", int(s))
}

// Verdict is the answer for one moving and one fixed body.
type Verdict struct {
	Moving, Fixed string
	Direction     r3.Vec // unit, the way the moving body travels
	State         State
	ToleranceMM   float64

	// The rest, but for the zero draft, is set only when State is Blocked.

	// TravelMM is how far the moving body goes before it hits: the smallest travel at which the
	// facets already met overlap by more than the tolerance. 0 for a lock that is already closed.
	TravelMM float64
	// At is the place of that contact on the fixed body, in input coordinates.
	At r3.Vec
	// MovingFacets and FixedFacets are the facets that hit at any travel, sorted.
	MovingFacets, FixedFacets []int32
	// OverlapDepthMM is the diameter of the largest disc that fits in the overlap, seen along the
	// direction: how far material would have to give sideways. The disc of that diameter does fit;
	// the largest is at most OverlapDepthErrorMM wider.
	OverlapDepthMM, OverlapDepthErrorMM float64
	// OverlapAreaMM2 is the area of the overlap seen along the direction.
	OverlapAreaMM2 float64

	// ZeroDraftAreaMM2 is the area of the moving body's walls, leaning less than the wall draft limit
	// from the direction, that touch walls of the fixed body within the tolerance.
	ZeroDraftAreaMM2 float64
	// GrazeMM is the width of the widest single overlap polygon when the whole overlap is within the
	// tolerance; 0 when there is none above a tenth of the tolerance.
	GrazeMM float64
}

// ErrBody marks a body that cannot be judged: empty, open, inside out, not finite.
var ErrBody = errors.New("opening: body cannot be judged")

// ErrOverlap marks two bodies that overlap before anything moves.
var ErrOverlap = errors.New("opening: bodies overlap before moving")

// OverlapError says which bodies overlap and where. It matches ErrOverlap.
type OverlapError struct {
	A, B string
	At   r3.Vec // mm, a point inside both
}

func (e *OverlapError) Error() string {
	return fmt.Sprintf("opening: %q and %q overlap before moving, for one at (%.3f, %.3f, %.3f) mm: cut one from the other first",
		e.A, e.B, e.At.X, e.At.Y, e.At.Z)
}

// Is makes errors.Is(err, ErrOverlap) true.
func (e *OverlapError) Is(target error) bool { return target == ErrOverlap }

// Translate judges whether moving leaves fixed along d. d need not be of unit length.
func Translate(ctx context.Context, moving, fixed Body, d r3.Vec, opt Options) (*Verdict, error) {
	c, err := NewChecker([]Body{moving, fixed}, opt)
	if err != nil {
		return nil, err
	}
	return c.Check(ctx, moving.Name, fixed.Name, d)
}
