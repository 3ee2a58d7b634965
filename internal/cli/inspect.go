package cli

import (
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
)

type inspectCmd struct {
	partFlags
	Direction   string   `placeholder:"DIR" help:"Judge this way of opening alone: +z, -z (as --direction=-z), or three numbers as in 0,0.2,1; left out: search all directions."`
	Best        int      `default:"3" help:"How many of the directions found to list."`
	MinDraft    float64  `default:"1" placeholder:"DEG" help:"The draft to ask for, degrees; left out: 1."`
	ShowColour  []string `placeholder:"#RRGGBB" help:"Facets of this colour in the file are show faces, which flash should keep off. May be given again."`
	Picture     string   `placeholder:"FILE" help:"Write a picture of the part, undercuts marked, as PNG."`
	SurfaceOnly bool     `help:"Look at the surface alone; judge no direction."`
}

// inspection is what inspect prints; its JSON form is described in docs/cli.md.
type inspection struct {
	Part       partView        `json:"part"`
	Problems   []problemView   `json:"problems"`
	Usable     bool            `json:"usable"`
	Directions []directionView `json:"directions"`
	Judged     *judgedView     `json:"judged,omitempty"`
}

func (c inspectCmd) Run(s *session) error {
	if !(c.MinDraft >= 0.1 && c.MinDraft <= 30) || c.Best < 1 || c.Best > 100 {
		return errors.New("--min-draft must be from 0.1 to 30 degrees, and --best from 1 to 100")
	}
	part, err := c.open(s.ctx)
	if err != nil {
		return err
	}
	intake, err := mesh.Inspect(s.ctx, part.Object.Mesh)
	if err != nil {
		return err
	}
	v := &inspection{Part: viewPart(c.Part, part, intake), Problems: viewProblems(intake), Usable: intake.Fatal() == nil, Directions: []directionView{}}
	if v.Usable && !c.SurfaceOnly {
		show, err := c.showFaces(part, intake, v)
		if err != nil {
			return err
		}
		if err := c.judge(s, intake, show, v); err != nil {
			return err
		}
	}
	if err := s.result(v, func(w io.Writer) { printInspection(w, v) }); err != nil {
		return err
	}
	if !v.Usable {
		return fmt.Errorf("%s: the surface cannot be used as it is; the findings say what to do", c.Part)
	}
	if !c.SurfaceOnly {
		s.hint("mouldwright new FOLDER %s", c.Part)
	}
	return nil
}

// showFaces marks the facets of the colours asked for. A colour that marks nothing is a mistake.
func (c inspectCmd) showFaces(part *job.OpenedPart, in *mesh.Intake, v *inspection) ([]bool, error) {
	if len(c.ShowColour) == 0 {
		return nil, nil
	}
	rules := job.ShowRules{Colours: c.ShowColour}
	if err := rules.Check(); err != nil {
		return nil, fmt.Errorf("--show-colour: %w", err)
	}
	show, err := job.ShowFaces(part.Object, in, rules)
	if err != nil {
		return nil, err
	}
	if show == nil {
		return nil, fmt.Errorf("--show-colour: no facet of %s has the colour %s; of the formats read, 3MF holds colours", c.Part, strings.Join(c.ShowColour, " or "))
	}
	for f, on := range show {
		if on {
			v.Part.ShowMM2 += geom.Area(in.Mesh.Facet(f))
		}
	}
	return show, nil
}

// judge fills in the directions, and the exact answer for the one that a run would take.
func (c inspectCmd) judge(s *session, in *mesh.Intake, show []bool, v *inspection) error {
	report, end := s.progress()
	defer end()
	m := in.Mesh
	f := &job.File{}
	f.Opening.MinDraftDeg = c.MinDraft
	if c.Direction != "" {
		d, err := parseDirection(c.Direction)
		if err != nil {
			return err
		}
		f.Opening.Direction = []float64{d.X, d.Y, d.Z}
	}
	j, err := job.Judge(s.ctx, m, show, f, report)
	if err != nil {
		return err
	}
	r := j.Report
	for _, d := range j.Found[:min(c.Best, len(j.Found))] {
		v.Directions = append(v.Directions, viewDirection(d))
	}
	v.Judged = viewJudged(r, c.MinDraft, in.Source)
	if c.Picture == "" {
		return nil
	}
	return writePicture(s.ctx, c.Picture, filepath.Base(c.Part), m, r)
}

type partView struct {
	File      string     `json:"file"`
	Object    string     `json:"object"`
	Unit      string     `json:"unit"`
	UnitKnown bool       `json:"unit_from_file"`
	Notes     []string   `json:"notes"`
	SizeMM    [3]float64 `json:"size_mm"`
	VolumeMM3 *float64   `json:"volume_mm3"` // null when not closed
	AreaMM2   float64    `json:"area_mm2"`
	ShowMM2   float64    `json:"show_area_mm2"`
	Facets    int        `json:"facets"`
	Vertices  int        `json:"vertices"`
	Shells    int        `json:"shells"`
	Closed    bool       `json:"closed"`
	Handles   int        `json:"handles"` // −1 when not closed
	Joined    int        `json:"vertices_joined"`
	Dropped   int        `json:"facets_dropped"`
}

func viewPart(path string, p *job.OpenedPart, in *mesh.Intake) partView {
	size := r3.Sub(in.Bounds.Max, in.Bounds.Min)
	v := partView{File: path, Object: p.Object.Name, Unit: p.Unit.Name(), UnitKnown: p.UnitFromFile, Notes: append([]string{}, p.Notes...), SizeMM: triple(size),
		AreaMM2: in.AreaMM2, Facets: in.Facets, Vertices: in.Vertices, Shells: len(in.Shells),
		Closed: in.Closed, Handles: in.Genus, Joined: in.Joined, Dropped: in.Dropped}
	if in.Closed {
		v.VolumeMM3 = &in.VolumeMM3
	}
	return v
}

type problemView struct {
	Kind     mesh.Kind   `json:"kind"`
	Severity string      `json:"severity"`
	Count    int         `json:"count"`
	AtLeast  bool        `json:"at_least,omitempty"`
	Words    string      `json:"words"`
	Remedy   string      `json:"remedy"`
	Places   []placeView `json:"places"`
}

type placeView struct {
	AtMM   [3]float64 `json:"at_mm"`
	Facets []int32    `json:"facets"`
}

func viewProblems(in *mesh.Intake) []problemView {
	out := []problemView{}
	for _, p := range in.Problems() {
		v := problemView{Kind: p.Kind, Severity: p.Severity.String(), Count: p.Count, AtLeast: p.AtLeast, Words: p.Words, Remedy: p.Remedy, Places: []placeView{}}
		for _, w := range p.Where {
			if mesh.Finite(w.At) { // a vertex that is not finite has no place, and JSON no NaN
				v.Places = append(v.Places, placeView{triple(w.At), append([]int32{}, w.Facets...)})
			}
		}
		out = append(out, v)
	}
	return out
}

type judgedView struct {
	Direction       [3]float64     `json:"direction"`
	HeightMM        float64        `json:"height_mm"`
	ProjectedMM2    float64        `json:"projected_area_mm2"`
	PartingMM       float64        `json:"parting_line_mm"` // estimate
	MinDraftDeg     float64        `json:"min_draft_deg"`
	AskedDraftDeg   float64        `json:"asked_draft_deg"`
	UndercutMM2     float64        `json:"undercut_area_mm2"`
	TrappedMM3      float64        `json:"trapped_mm3"`
	ToleranceMM     float64        `json:"tolerance_mm"`
	Undercuts       []undercutView `json:"undercuts"`
	DraftClasses    []classView    `json:"draft_classes"`
	RigidHalvesOpen bool           `json:"rigid_halves_open"`
}

type undercutView struct {
	AreaMM2      float64    `json:"area_mm2"`
	VolumeMM3    float64    `json:"volume_mm3"`
	DepthMM      *float64   `json:"depth_mm"` // null when sealed
	DepthErrorMM float64    `json:"depth_error_mm"`
	Sealed       bool       `json:"sealed"`
	Holds        string     `json:"holds"`
	AtMM         [3]float64 `json:"at_mm"`
	Facets       []int32    `json:"facets"`
}

type classView struct {
	Name    string  `json:"name"`
	FromDeg float64 `json:"from_deg"`
	ToDeg   float64 `json:"to_deg"`
	AreaMM2 float64 `json:"area_mm2"`
}

// viewJudged names facets as the file does: source is their number there, nil when nothing changed.
func viewJudged(r *mouldability.Report, asked float64, source []int32) *judgedView {
	v := &judgedView{Direction: triple(r.Direction), HeightMM: r.HeightMM, ProjectedMM2: r.ProjectedAreaMM2, PartingMM: r.PartingMM,
		MinDraftDeg: r.MinDraftDeg, AskedDraftDeg: asked, UndercutMM2: r.UndercutAreaMM2, TrappedMM3: r.TrappedMM3, ToleranceMM: r.ToleranceMM,
		Undercuts: []undercutView{}, DraftClasses: []classView{}, RigidHalvesOpen: len(r.Undercuts) == 0}
	for _, u := range r.Undercuts {
		w := undercutView{AreaMM2: u.AreaMM2, VolumeMM3: u.VolumeMM3, DepthErrorMM: u.DepthErrorMM, Sealed: u.Sealed,
			Holds: u.Holds.String(), AtMM: triple(u.Centroid), Facets: append([]int32{}, u.Facets...)}
		if source != nil {
			for i, f := range w.Facets {
				w.Facets[i] = source[f]
			}
		}
		if !u.Sealed && !math.IsInf(u.DepthMM, 0) {
			d := u.DepthMM
			w.DepthMM = &d
		}
		v.Undercuts = append(v.Undercuts, w)
	}
	for _, c := range r.Classes {
		v.DraftClasses = append(v.DraftClasses, classView{c.Name, c.FromDeg, c.ToDeg, c.AreaMM2})
	}
	return v
}
