package main

import (
	"context"

	"mouldwright/internal/mesh"
	"mouldwright/internal/tooling"
)

// The verdicts.
const (
	provenMould = "proven mould"
	refused     = "refused"
)

// Outcome is what the main job made of one mesh.
type Outcome struct {
	Verdict   string // provenMould or refused
	Direction string // opening direction, such as "+z"; empty when the job got no further
	Reason    string // why it was refused, in the job's own words, or what a proven mould had to do without

	mould *tooling.Mould // when it is proven
}

// job runs the main job on a watertight mesh in mm. An error is a failure of the bench or of the
// program, not a verdict on the part.
type job func(ctx context.Context, m *mesh.Mesh) (Outcome, error)
