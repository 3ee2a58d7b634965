package cli

import (
	"context"
	"fmt"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
)

// partFlags say which part a command is about.
type partFlags struct {
	Part   string `arg:"" help:"The part: STL, 3MF, OBJ or PLY."`
	Unit   string `placeholder:"UNIT" help:"The unit of the file's numbers: mm, micron, cm, m, inch, foot; left out: the file's own, or mm."`
	Object string `placeholder:"NAME" help:"Which object, when the file holds several: its name, or #2 for the second."`
}

func (f partFlags) open(ctx context.Context) (*job.OpenedPart, error) {
	if f.Unit != "" {
		if _, err := mesh.UnitNamed(f.Unit); err != nil {
			return nil, fmt.Errorf("--unit: %w", err)
		}
	}
	return job.OpenPartContext(ctx, f.Part, f.Unit, f.Object)
}
