package web

import (
	"context"
	"fmt"
	"path/filepath"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// part is a job's part in mm as a run would take it: inspected, slivers dropped.
type part struct {
	object *mesh.Object
	mesh   *mesh.Mesh
	source []int32 // facet of the file for each facet of mesh; nil when they are the same
	notes  []string
	fatal  error // why no mould can be made of it; it can still be looked at
}

// units are the names that job.toml takes for a part's unit.
var units = map[string]mesh.Unit{"mm": mesh.Millimetre, "micron": mesh.Micron, "cm": mesh.Centimetre,
	"m": mesh.Metre, "inch": mesh.Inch, "foot": mesh.Foot}

// unitOrder lists them as a maker would look for them.
var unitOrder = []string{"mm", "cm", "m", "inch", "foot", "micron"}

func unitName(u mesh.Unit) string {
	for _, n := range unitOrder {
		if units[n] == u {
			return n
		}
	}
	return fmt.Sprintf("%g mm", float64(u))
}

func readPart(ctx context.Context, folder string, f *job.File, maxFacets int) (*part, error) {
	path := filepath.Join(folder, f.Part.File)
	model, err := meshfile.Open(path, mesh.Limits{Facets: maxFacets})
	if err != nil {
		return nil, err
	}
	if f.Part.Unit != "" {
		model.Unit = units[f.Part.Unit] // the check of job.toml has made sure of it
	}
	notes := model.Notes
	model = model.InMM()
	for i := range model.Objects {
		o := &model.Objects[i]
		if o.Name == f.Part.Object && f.Part.Object != "" || f.Part.Object == "" && len(model.Objects) == 1 {
			return inspected(ctx, o, notes)
		}
	}
	return nil, fmt.Errorf("%s holds %d objects; name one as part.object in job.toml", f.Part.File, len(model.Objects))
}

func inspected(ctx context.Context, o *mesh.Object, notes []string) (*part, error) {
	in, err := mesh.Inspect(ctx, o.Mesh)
	if err != nil {
		return nil, err
	}
	p := &part{object: o, mesh: in.Mesh, source: in.Source, notes: notes, fatal: in.Fatal()}
	for _, q := range in.Problems() {
		p.notes = append(p.notes, q.String())
	}
	if len(p.mesh.Tris) == 0 {
		return nil, fmt.Errorf("%q has no facet with an area", o.Name)
	}
	return p, nil
}

// showMarks marks the facets of the working mesh that the rules name, grown as they say.
func (p *part) showMarks(rules job.ShowRules) ([]bool, error) {
	marks := make([]bool, len(p.mesh.Tris))
	add := func(on func(f int) bool) {
		for f := range marks {
			marks[f] = marks[f] || on(f)
		}
	}
	for _, c := range rules.Colours {
		of := mouldability.ShowByColour(*p.object, colour(c))
		add(func(f int) bool {
			if p.source != nil {
				f = int(p.source[f])
			}
			return of[f]
		})
	}
	for _, t := range rules.Towards {
		of, err := mouldability.ShowByDirection(p.mesh, vec(t.Direction), t.WithinDeg)
		if err != nil {
			return nil, err
		}
		add(func(f int) bool { return of[f] })
	}
	for _, b := range rules.Boxes {
		of := mouldability.ShowByBox(p.mesh, r3.Box{Min: vec(b.Min), Max: vec(b.Max)})
		add(func(f int) bool { return of[f] })
	}
	if rules.GrowDeg > 0 {
		return mouldability.GrowSmooth(p.mesh, marks, rules.GrowDeg)
	}
	return marks, nil
}

// colour reads "#rrggbb", whose form the check of job.toml has made sure of.
func colour(s string) mesh.RGBA {
	var r, g, b uint8
	_, _ = fmt.Sscanf(s, "#%02x%02x%02x", &r, &g, &b)
	return mesh.RGBA{R: r, G: g, B: b, A: 255}
}

func vec(a [3]float64) r3.Vec   { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
func array(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
