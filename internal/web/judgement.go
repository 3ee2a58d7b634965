package web

import (
	"cmp"
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
	Candidates []candidateView `json:"candidates" doc:"Directions of the search, best first; empty when one was asked for. A run may take one of the part's own axes before them"`
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

	facets facetMarks
	loops  [][]r3.Vec // the parting line, closed, in the part's coordinates
}

// facetMarks are what the view shows of each facet of the working mesh.
type facetMarks struct {
	draft []int16  // hundredths of a degree
	reach []uint8  // mouldability.Reach
	under []uint16 // the undercut it belongs to, counted from 1
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

// judge searches and analyses as a run does before it builds.
func judge(ctx context.Context, p *part, show []bool, f *job.File, progress func(string, float64)) (*judgement, error) {
	found, err := job.Judge(ctx, p.mesh, show, f, progress)
	if err != nil {
		return nil, err
	}
	rep := found.Report
	j := &judgement{Direction: array(found.Direction), Asked: found.Asked, Opens: len(rep.Undercuts) == 0, MinDraft: rep.MinDraftDeg,
		DraftAsked: cmp.Or(f.Opening.MinDraftDeg, mouldability.DefaultMinDraftDeg), HeightMM: rep.HeightMM, ShadowMM2: rep.ProjectedAreaMM2,
		CaughtMM2: rep.UndercutAreaMM2, ToleranceM: rep.ToleranceMM, Candidates: []candidateView{}, Undercuts: []undercutView{}, facets: marksOf(rep)}
	for _, c := range found.Found {
		v := candidateView{Direction: array(c.Direction), Origin: c.Of.Origin.String(), Score: c.Of.Total, Terms: []termView{}}
		for _, t := range c.Of.Terms {
			v.Terms = append(v.Terms, termView{t.Name, t.Points, t.Words})
		}
		j.Candidates = append(j.Candidates, v)
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
	return j, j.trace(ctx, p, show, f, found.Direction)
}

func marksOf(rep *mouldability.Report) facetMarks {
	m := facetMarks{make([]int16, len(rep.Reach)), make([]uint8, len(rep.Reach)), make([]uint16, len(rep.Reach))}
	for i, u := range rep.Undercuts {
		for _, f := range u.Facets {
			m.under[f] = uint16(min(i+1, math.MaxUint16))
		}
	}
	for f, r := range rep.Reach {
		m.draft[f], m.reach[f] = int16(math.Round(100*rep.DraftDeg[f])), uint8(r)
	}
	return m
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

// addFacets packs what the view needs of each of its facets, given as facets of the part.
func (j *judgement) addFacets(p *pack, facets []int32) {
	draft, reach, cut := make([]int16, len(facets)), make([]uint8, len(facets)), make([]uint16, len(facets))
	for i, f := range facets {
		if f >= 0 {
			draft[i], reach[i], cut[i] = j.facets.draft[f], j.facets.reach[f], j.facets.under[f]
		}
	}
	add(p, "draft", draft)
	add(p, "reach", reach)
	add(p, "undercut", cut)
}
