package web

import (
	"context"
	"math"

	"mouldwright/internal/geom"
	"mouldwright/internal/job"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// judgement is what becomes of a part along the direction that its mould would open.
type judgement struct {
	Direction  [3]float64      `json:"direction" doc:"The way the upper half leaves, in the part's coordinates"`
	Asked      bool            `json:"asked" doc:"Whether job.toml gives the direction"`
	Opens      bool            `json:"opens"`
	Candidates []candidateView `json:"candidates" doc:"Directions of the search, best first; empty when one was asked for"`
	MinDraft   float64         `json:"min_draft_deg"`
	DraftAsked float64         `json:"draft_asked_deg"`
	HeightMM   float64         `json:"height_mm"`
	ShadowMM2  float64         `json:"projected_area_mm2"`
	CaughtMM2  float64         `json:"undercut_area_mm2"`
	ToleranceM float64         `json:"tolerance_mm"`
	Undercuts  []undercutView  `json:"undercuts"`
	Classes    []draftClass    `json:"draft_classes"`
	LineMM     float64         `json:"parting_line_mm" doc:"0 when the part locks: then it has no line that opens"`
	LineShowMM float64         `json:"parting_line_on_show_mm"`

	analysed *mouldability.Report
	loops    [][]r3.Vec // the parting line, closed, in the part's coordinates
}

type candidateView struct {
	Direction [3]float64 `json:"direction"`
	Origin    string     `json:"origin" doc:"Why this direction was looked at"`
	Score     float64    `json:"score" doc:"Less is better"`
	Terms     []termView `json:"terms"`
}

type termView struct {
	Name   string  `json:"name"`
	Points float64 `json:"points"`
	Words  string  `json:"words"`
}

type undercutView struct {
	AreaMM2  float64    `json:"area_mm2"`
	Volume   float64    `json:"volume_mm3"`
	DepthMM  *float64   `json:"depth_mm" doc:"null for a sealed hollow"`
	ErrorMM  float64    `json:"depth_error_mm"`
	Sealed   bool       `json:"sealed"`
	Holds    string     `json:"holds"`
	Facets   int        `json:"facets"`
	Centroid [3]float64 `json:"centroid_mm"`
	Low      [3]float64 `json:"low_mm"`
	High     [3]float64 `json:"high_mm"`
}

type draftClass struct {
	Name    string  `json:"name"`
	FromDeg float64 `json:"from_deg"`
	ToDeg   float64 `json:"to_deg"`
	AreaMM2 float64 `json:"area_mm2"`
}

// judgedAtMost is how many directions are analysed exactly before the best of them, which locks, is
// shown: as many as a run tries.
const judgedAtMost = 6

// judge searches and analyses as a run does before it builds.
func judge(ctx context.Context, p *part, show []bool, f *job.File, progress func(string, float64)) (*judgement, error) {
	o := f.Opening
	opt := mouldability.AnalyseOptions{Show: show, MinDraftDeg: o.MinDraftDeg, ToleranceMM: o.ToleranceMM}
	if len(o.Direction) == 3 {
		progress("judging the direction asked for", 0.1)
		return judgeAlong(ctx, p, show, f, r3.Unit(r3.Vec{X: o.Direction[0], Y: o.Direction[1], Z: o.Direction[2]}), opt)
	}
	s, err := mouldability.NewSearcher(p.mesh, show)
	if err != nil {
		return nil, err
	}
	found, err := s.Search(ctx, mouldability.SearchOptions{MinDraftDeg: o.MinDraftDeg, Keep: judgedAtMost,
		Progress: func(d float64) { progress("searching opening directions", 0.7*d) }})
	if err != nil {
		return nil, err
	}
	var first *judgement
	var views []candidateView
	for _, c := range found {
		v := candidateView{Direction: array(p.showDown(c.Direction, show)), Origin: c.Origin.String(), Score: c.Total}
		for _, t := range c.Terms {
			v.Terms = append(v.Terms, termView{t.Name, t.Points, t.Words})
		}
		views = append(views, v)
	}
	for i, v := range views {
		progress("judging a direction", 0.7+0.3*float64(i)/float64(len(views)))
		j, err := judgeAlong(ctx, p, show, f, vec(v.Direction), opt)
		if err != nil {
			return nil, err
		}
		j.Asked, j.Candidates = false, views
		if j.Opens {
			return j, nil
		}
		if first == nil {
			first = j
		}
	}
	return first, nil
}

func judgeAlong(ctx context.Context, p *part, show []bool, f *job.File, d r3.Vec, opt mouldability.AnalyseOptions) (*judgement, error) {
	rep, err := mouldability.Analyse(ctx, p.mesh, d, opt)
	if err != nil {
		return nil, err
	}
	j := &judgement{Direction: array(d), Asked: true, Opens: len(rep.Undercuts) == 0, MinDraft: rep.MinDraftDeg, DraftAsked: opt.MinDraftDeg,
		HeightMM: rep.HeightMM, ShadowMM2: rep.ProjectedAreaMM2, CaughtMM2: rep.UndercutAreaMM2, ToleranceM: rep.ToleranceMM, analysed: rep,
		Candidates: []candidateView{}, Undercuts: []undercutView{}}
	if j.DraftAsked == 0 {
		j.DraftAsked = mouldability.DefaultMinDraftDeg
	}
	for _, u := range rep.Undercuts {
		v := undercutView{AreaMM2: u.AreaMM2, Volume: u.VolumeMM3, ErrorMM: u.DepthErrorMM, Sealed: u.Sealed, Holds: u.Holds.String(),
			Facets: len(u.Facets), Centroid: array(u.Centroid), Low: array(u.Bounds.Min), High: array(u.Bounds.Max)}
		if !u.Sealed && !math.IsInf(u.DepthMM, 0) {
			depth := u.DepthMM
			v.DepthMM = &depth
		}
		j.Undercuts = append(j.Undercuts, v)
	}
	for _, c := range rep.Classes {
		j.Classes = append(j.Classes, draftClass(c))
	}
	if !j.Opens {
		return j, nil
	}
	return j, j.trace(ctx, p, show, f, d)
}

// trace finds the parting line of a part that opens along d.
func (j *judgement) trace(ctx context.Context, p *part, show []bool, f *job.File, d r3.Vec) error {
	frame := geom.FrameTo(d)
	m := p.mesh.Map(frame.Apply)
	opt := mouldability.PartOptions{Show: show}
	if h := f.Parting.HeightMM; h != nil {
		// job.toml gives the height in the mould frame, whose origin is the middle of the cavity. The
		// allowance for shrinkage, well under a per cent, is left out of this preview.
		b := m.Bounds()
		z := *h + (b.Min.Z+b.Max.Z)/2
		opt.AtZMM = &z
	}
	parting, err := mouldability.Part(ctx, m, opt)
	if err != nil {
		return err
	}
	j.LineMM, j.LineShowMM = parting.LengthMM, parting.ShowLengthMM
	for _, l := range parting.Loops {
		loop := make([]r3.Vec, len(l.Verts))
		for i, v := range l.Verts {
			loop[i] = frame.Inverse(parting.Mesh.Verts[v])
		}
		j.loops = append(j.loops, loop)
	}
	return nil
}

// showDown turns a direction so that the show faces come to lie in the lower half, as a run does: air
// collects under the upper half, and sprue and vents go through it (common practice, no source).
func (p *part) showDown(d r3.Vec, show []bool) r3.Vec {
	facing := 0.0
	for f, on := range show {
		if on {
			facing += r3.Dot(p.mesh.Facet(f).Normal(), d) / 2
		}
	}
	largest := d.X
	for _, c := range []float64{d.Y, d.Z} {
		if math.Abs(c) > math.Abs(largest)+1e-12 {
			largest = c
		}
	}
	if facing > 1e-9 || (math.Abs(facing) <= 1e-9 && largest < 0) {
		return r3.Scale(-1, d)
	}
	return d
}

// addFacets packs what the view needs of each of its facets, given as facets of the part: draft in
// hundredths of a degree, reach, and the undercut it belongs to, counted from 1.
func (j *judgement) addFacets(p *pack, facets []int32) {
	under := make([]uint16, len(j.analysed.Reach))
	for i, u := range j.analysed.Undercuts {
		for _, f := range u.Facets {
			under[f] = uint16(min(i+1, math.MaxUint16))
		}
	}
	draft, reach, cut := make([]int16, len(facets)), make([]uint8, len(facets)), make([]uint16, len(facets))
	for i, f := range facets {
		if f < 0 {
			continue
		}
		draft[i] = int16(math.Round(100 * j.analysed.DraftDeg[f]))
		reach[i] = uint8(j.analysed.Reach[f])
		cut[i] = under[f]
	}
	add(p, "draft", draft)
	add(p, "reach", reach)
	add(p, "undercut", cut)
}
