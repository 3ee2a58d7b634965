package web

import (
	"context"
	"fmt"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// part is a job's part in mm as a run would take it: inspected, slivers dropped.
type part struct {
	object mesh.Object
	intake *mesh.Intake
	mesh   *mesh.Mesh // intake.Mesh
	unit   mesh.Unit
	notes  []string
	fatal  error // why no mould can be made of it; it can still be looked at
}

func readPart(ctx context.Context, folder string, f *job.File) (*part, error) {
	opened, err := job.OpenPart(filepath.Join(folder, f.Part.File), f.Part.Unit, f.Part.Object)
	if err != nil {
		return nil, err
	}
	in, err := mesh.Inspect(ctx, opened.Object.Mesh)
	if err != nil {
		return nil, err
	}
	p := &part{object: opened.Object, intake: in, mesh: in.Mesh, unit: opened.Unit, notes: append([]string{}, opened.Notes...), fatal: in.Fatal()}
	for _, q := range in.Problems() {
		p.notes = append(p.notes, q.String())
	}
	if len(p.mesh.Tris) == 0 {
		return nil, fmt.Errorf("%s has no facet with an area", f.Part.File)
	}
	return p, nil
}

// showMarks marks the facets of the working mesh that the rules name; all false when they name none.
func (p *part) showMarks(rules job.ShowRules) ([]bool, error) {
	marks, err := job.ShowFaces(p.object, p.intake, rules)
	if marks == nil {
		marks = make([]bool, len(p.mesh.Tris))
	}
	return marks, err
}

func vec(a [3]float64) r3.Vec   { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
func array(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
