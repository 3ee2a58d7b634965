package web

import (
	"context"
	"errors"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// part is a job's part in mm as a run would take it: inspected, slivers dropped.
type part struct {
	object mesh.Object // as read
	intake *mesh.Intake
	mesh   *mesh.Mesh // intake.Mesh
	notes  []string
	fatal  error // why no mould can be made of it; it can still be looked at
}

func openPart(ctx context.Context, folder string, f *job.File) (*job.OpenedPart, error) {
	return job.OpenPartContext(ctx, filepath.Join(folder, f.Part.File), f.Part.Unit, f.Part.Object)
}

func inspect(ctx context.Context, opened *job.OpenedPart) (*part, error) {
	in, err := mesh.Inspect(ctx, opened.Object.Mesh)
	if err != nil {
		return nil, err
	}
	p := &part{object: opened.Object, intake: in, mesh: in.Mesh, notes: append([]string{}, opened.Notes...), fatal: in.Fatal()}
	for _, q := range in.Problems() {
		p.notes = append(p.notes, q.String())
	}
	if len(p.mesh.Tris) == 0 {
		return nil, errors.New("the part has no facet with an area")
	}
	return p, nil
}

// workingFacets gives the facet of the working mesh for each facet of a view of the part as read; −1
// where it was dropped.
func (p *part) workingFacets(v *view) []int32 {
	var moved []int32 // facet as read → working facet
	if s := p.intake.Source; s != nil {
		moved = make([]int32, len(p.object.Mesh.Tris))
		for i := range moved {
			moved[i] = -1
		}
		for w, r := range s {
			moved[r] = int32(w)
		}
	}
	out := make([]int32, len(v.mesh.Tris))
	for i := range out {
		f := int32(i)
		if v.source != nil {
			f = v.source[i]
		}
		if moved != nil {
			f = moved[f]
		}
		out[i] = f
	}
	return out
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
