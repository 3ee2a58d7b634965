package job

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// part is a part as read and judged, ready to be moulded.
type part struct {
	mesh     *mesh.Mesh
	show     []bool // nil when no rule marks anything
	source   []int32
	report   PartReport
	warnings []string
}

// readPart reads the part that the job names and looks it over. A mesh that cannot be moulded is an
// error that names each problem, its place and what to do.
func readPart(ctx context.Context, folder string, f *File, progress func(float64)) (*part, error) {
	path, err := f.inside(folder, "part.file", f.Part.File)
	if err != nil {
		return nil, err
	}
	o, err := OpenPartContext(ctx, path, f.Part.Unit, f.Part.Object)
	var choice *ChoiceError
	if errors.As(err, &choice) {
		return nil, f.wrong("part.object", "%w", err)
	}
	if err != nil {
		return nil, err
	}
	in, err := mesh.InspectProgress(ctx, o.Object.Mesh, progress)
	if err != nil {
		return nil, err
	}
	if err := in.Fatal(); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	p := &part{warnings: o.Notes, mesh: in.Mesh, source: in.Source}
	for _, q := range in.Problems() {
		p.warnings = append(p.warnings, q.String()+unitAdvice(q))
	}
	p.show, err = ShowFaces(o.Object, in, f.Show)
	var off *PickError
	if errors.As(err, &off) {
		return nil, f.wrong("show.pick", "%w", err)
	}
	if err != nil {
		return nil, err
	}
	p.measure(f, o)
	return p, nil
}

// unitAdvice says how a wrong unit is put right in a job.
func unitAdvice(q mesh.Problem) string {
	if q.Kind != mesh.Size {
		return ""
	}
	return " (set part.unit in job.toml)"
}

// ShowFaces marks the facets of the inspected mesh that any rule names; nil when none is. o is the
// object that was inspected, which holds the colours.
func ShowFaces(o mesh.Object, in *mesh.Intake, rules ShowRules) ([]bool, error) {
	show, any := make([]bool, len(in.Mesh.Tris)), false
	add := func(marks []bool) {
		for f, on := range marks {
			show[f] = show[f] || on
			any = any || on
		}
	}
	for _, c := range rules.Colours {
		marks := mouldability.ShowByColour(o, colour(c))
		if in.Source == nil {
			add(marks)
			continue
		}
		moved := make([]bool, len(in.Source))
		for f, s := range in.Source {
			moved[f] = marks[s]
		}
		add(moved)
	}
	for _, t := range rules.Towards {
		marks, err := mouldability.ShowByDirection(in.Mesh, vec(t.Direction), t.WithinDeg)
		if err != nil {
			return nil, err
		}
		add(marks)
	}
	for _, b := range rules.Boxes {
		add(mouldability.ShowByBox(in.Mesh, r3.Box{Min: vec(b.Min), Max: vec(b.Max)}))
	}
	if any && rules.GrowDeg > 0 {
		var err error
		if show, err = mouldability.GrowSmooth(in.Mesh, show, rules.GrowDeg); err != nil {
			return nil, err
		}
	}
	for _, p := range rules.Picks { // after the others have grown: a picked face ends where its own edges do
		marks, err := PickedFace(in.Mesh, p)
		if err != nil {
			return nil, err
		}
		add(marks)
	}
	if !any {
		return nil, nil
	}
	return show, nil
}

// colour reads "#rrggbb"; the check of the file has made sure of its form.
func colour(s string) mesh.RGBA {
	v, _ := strconv.ParseUint(strings.TrimPrefix(s, "#"), 16, 32)
	return mesh.RGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

func vec(a [3]float64) r3.Vec   { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
func array(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// vecOf is a direction as job.toml gives it; zero where it is left out.
func vecOf(d []float64) r3.Vec {
	if len(d) != 3 {
		return r3.Vec{}
	}
	return vec([3]float64(d))
}

func (p *part) measure(f *File, o *OpenedPart) {
	size := p.mesh.Bounds().Size()
	p.report = PartReport{Name: f.Part.Name, File: f.Part.File, Object: o.Object.Name, Unit: o.Unit.Name(), Facets: len(p.mesh.Tris), SizeMM: array(size),
		VolumeMM3: p.mesh.VolumeMM3(), AreaMM2: p.mesh.AreaMM2()}
	if p.report.Name == "" {
		p.report.Name = strings.TrimSuffix(f.Part.File, filepath.Ext(f.Part.File))
	}
	for i, on := range p.show {
		if on {
			p.report.ShowCount++
			p.report.ShowMM2 += geom.Area(p.mesh.Facet(i))
		}
	}
	if len(f.Show.Colours)+len(f.Show.Towards)+len(f.Show.Boxes) > 0 && p.report.ShowCount == 0 {
		p.warnings = append(p.warnings, "the rules for show faces mark no facet; check [show] in job.toml")
	}
}

// original turns facet numbers of the working mesh into those of the part file.
func (p *part) original(facets []int32) []int32 {
	if p.source == nil {
		return facets
	}
	out := make([]int32, len(facets))
	for i, f := range facets {
		out[i] = p.source[f]
	}
	return out
}
