package fill

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
)

// NoSpaceError says that a mesh encloses no space to fill.
type NoSpaceError struct {
	VolumeMM3 float64 // signed
	Why       string
}

func (e *NoSpaceError) Error() string {
	return fmt.Sprintf("the cavity holds %.4g mm³: %s", e.VolumeMM3, e.Why)
}

// OutsideError says that a pour point or vent does not touch the cavity.
type OutsideError struct {
	What       string // "pour point 1"
	Point      r3.Vec
	Nearest    r3.Vec // of the cavity
	DistanceMM float64
}

func (e *OutsideError) Error() string {
	return fmt.Sprintf("%s at %s is outside the cavity, %.2f mm from it; the nearest place is %s: move it there",
		e.What, place(e.Point), e.DistanceMM, place(e.Nearest))
}

// ShowFaceError says that a vent or pour point would leave its mark on a show face.
type ShowFaceError struct {
	What  string
	Point r3.Vec
	Facet int // of the cavity mesh
}

func (e *ShowFaceError) Error() string {
	return fmt.Sprintf("%s at %s lies on a show face (facet %d) and would leave a mark; move it, or unmark the face",
		e.What, place(e.Point), e.Facet)
}

// SealedError says that a space has no pour point, so that nothing can run into it.
type SealedError struct {
	VolumeMM3 float64
	At        r3.Vec // its highest point
	Spaces    int    // how many separate spaces the cavity has
}

func (e *SealedError) Error() string {
	return fmt.Sprintf("a space of %.4g mm³ with its top at %s is cut off from every pour point (the cavity has %d separate spaces); give it a pour point, or fill it in",
		e.VolumeMM3, place(e.At), e.Spaces)
}

// UnventedError says that air in a space has no way out at all.
type UnventedError struct {
	VolumeMM3 float64
	At        r3.Vec
}

func (e *UnventedError) Error() string {
	return fmt.Sprintf("the air in a space of %.4g mm³ has no way out: no vent, and the pour point is closed; put a vent at its top, %s",
		e.VolumeMM3, place(e.At))
}

// TooFineError says that a grid would not fit in the memory allowed.
type TooFineError struct {
	PitchMM, AtLeastMM float64
	Columns            float64
}

func (e *TooFineError) Error() string {
	return fmt.Sprintf("a pitch of %.4g mm makes %.3g columns; use at least %.3g mm", e.PitchMM, e.Columns, e.AtLeastMM)
}

// OptionError says that a setting cannot be used.
type OptionError struct {
	Option string
	Value  float64
	Want   string
}

func (e *OptionError) Error() string {
	return fmt.Sprintf("%s is %g; it must be %s", e.Option, e.Value, e.Want)
}

// amount puts a volume into words: mm³, or mL from 1 mL up.
func amount(mm3 float64) string {
	if mm3 >= 1000 {
		return fmt.Sprintf("%.3g mL", mm3/1000)
	}
	if mm3 < 1e-3 {
		return "0 mm³"
	}
	return fmt.Sprintf("%.3g mm³", mm3)
}

// count puts a number of things into words.
func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func place(v r3.Vec) string { return fmt.Sprintf("(%.2f, %.2f, %.2f)", v.X, v.Y, v.Z) }
