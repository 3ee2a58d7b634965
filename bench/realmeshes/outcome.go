package main

import (
	"context"

	"mouldwright/internal/mesh"
	"mouldwright/internal/tooling"
)

// The verdicts on two rigid halves.
const (
	provenMould = "proven mould"
	refused     = "refused"
)

// Outcome is what the main job made of one mesh.
type Outcome struct {
	Verdict   string // provenMould or refused
	Direction string // opening direction, such as "+z"; empty when the job got no further
	Unusable  bool   // refused because the mesh is not fit for any mould
	Reason    string // why it was refused, in the job's own words, or what a proven mould had to do without

	mould *tooling.Mould // when it is proven
	// Others is what came of the other ways, where two halves are refused for another reason than the mesh.
	Others *found
}

// family is the way in which the part is moulded, or empty.
func (o *Outcome) family() string {
	switch {
	case o.Verdict == provenMould:
		return twoHalves
	case o.Others != nil:
		return o.Others.Family
	}
	return ""
}

const twoHalves = "two rigid halves"

// mainJob runs the main job on a watertight mesh in mm. An error is a failure of the bench or of the
// program, not a verdict on the part.
type mainJob func(ctx context.Context, m *mesh.Mesh) (Outcome, error)
