// Package lantern makes the parts of the demo scenario: a hand lantern cast in a two-person
// workshop. Every part is a function without arguments that returns a closed mesh with a name for
// each facet; sizes and draft angles are the constants beside it.
//
// A part is a section (corners in the half-plane of radius and height, each with its rounding)
// turned about z. A section may change with the angle, which gives the foot ring its finger notches
// and its wavy parting line. Flat annular faces may carry round holes.
//
// Curves are cut into chords that stray from the true curve by at most ChordErrorMM. The closed
// form of a turned section's volume (section.volumeMM3) is what the tests hold the meshes against.
package lantern
