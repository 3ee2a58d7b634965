package opening

import (
	"errors"
	"fmt"
	"math"
)

// Fractions of the elongation at break that a release may use (common practice, no source): a
// casting is stretched once, a mould at every shot.
const (
	CastingStrainFraction = 0.5
	MouldStrainFraction   = 0.35
)

// DefaultFriction is the coefficient of friction between a casting and a mould with a coat of release
// agent. Typical of rubber on a waxed or oiled surface (common practice, no source); dry rubber
// grips two to four times as hard.
const DefaultFriction = 0.5

// Gent's relation was fitted to rubbers of medium hardness; outside these readings it is a guess.
const (
	GentLeastShoreA = 20.0
	GentMostShoreA  = 80.0
	// GentErrorFactor is how far the modulus may lie from the relation: another published fit,
	// lg E = 0.0235·S − 0.6403, gives the same at 30 Shore A and 1.63 times as much at 60.
	GentErrorFactor = 1.7
)

// ErrFlex marks values of a flexible material that make no sense.
var ErrFlex = errors.New("opening: flexible material cannot be used")

// Flex is what a release asks of a flexible material. The zero value is no material.
type Flex struct {
	ElongationPct float64 `json:"elongation_pct"` // at break
	ShoreA        float64 `json:"shore_a"`
	// Fraction of the elongation at break that a release may use; 0 means CastingStrainFraction for
	// the casting and MouldStrainFraction for a piece of the mould.
	Fraction float64 `json:"fraction,omitempty"`
	// PullN is the most that may be pulled to make the body give way; 0 means DefaultPullN.
	PullN float64 `json:"pull_n,omitempty"`
}

// DefaultPullN is what one person pulls on a casting by hand, steadily and without a tool: about 20 kg (common
// practice, no source).
const DefaultPullN = 200.0

// Check reports what is wrong with the values; the error matches ErrFlex.
func (f Flex) Check() error {
	switch {
	case !(f.ElongationPct > 0) || math.IsInf(f.ElongationPct, 0):
		return fmt.Errorf("%w: elongation at break %g %% is not above 0; take it from the data sheet, or call the body rigid", ErrFlex, f.ElongationPct)
	case !(f.PullN >= 0) || math.IsInf(f.PullN, 0):
		return fmt.Errorf("%w: a pull of %g N is not 0 (for the default) or more", ErrFlex, f.PullN)
	case !(f.Fraction >= 0 && f.Fraction <= 1):
		return fmt.Errorf("%w: allowed fraction of the elongation %g is not between 0 and 1", ErrFlex, f.Fraction)
	}
	_, err := GentModulusMPa(f.ShoreA)
	return err
}

// allowed is the largest strain that a release may use.
func (f Flex) allowed(fraction float64) float64 {
	if f.Fraction > 0 {
		fraction = f.Fraction
	}
	return f.ElongationPct / 100 * fraction
}

// GentModulusMPa is Young's modulus from the Shore A reading S by the relation of A. N. Gent, "On the
// relation between indentation hardness and Young's modulus", Rubber Chemistry and Technology 31
// (1958) 896: a blunt cone of 0.79 mm and a linear spring pressed into an elastic half space with
// Poisson's ratio 1/2,
//
//	E = 0.0981·(56 + 7.62336·S) / (0.137505·(254 − 2.54·S))
//
// It has no value at S = 100, where the needle does not enter at all.
func GentModulusMPa(shoreA float64) (float64, error) {
	if !(shoreA >= 0 && shoreA < 100) {
		return 0, fmt.Errorf("%w: Shore A %g is not from 0 to below 100; give the reading on the A scale, or call the body rigid", ErrFlex, shoreA)
	}
	return 0.0981 * (56 + 7.62336*shoreA) / (0.137505 * (254 - 2.54*shoreA)), nil
}
