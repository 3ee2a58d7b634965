package job

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"strings"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// candidate is an opening direction to be judged.
type candidate struct {
	d     r3.Vec
	asked bool
	axis  bool // of the part's own shape or drawing, not found by a search
	score *float64
	found *mouldability.Candidate // what the search says of it; nil when it comes from elsewhere
}

// mostCandidates bounds how many directions of the search are judged exactly before the part is refused.
// The search ranks by an estimate, so the exact answer may turn the first few over; beyond those the
// estimates are far apart.
const mostCandidates = 6

// candidates lists directions to try: the one asked for, or the best of a search, and after them those
// of the part's own axes that the search left out. A part mostly leaves along an axis of its shape, and
// there the parting surface is simplest, so that later checks are passed which a slant fails. That holds
// for an axis near one found, too: upright walls, or a lean of two degrees on all of them, is just what
// makes the difference.
func candidates(ctx context.Context, p *part, f *File, workers int, progress func(float64)) ([]candidate, error) {
	if d := f.asked(); d != (r3.Vec{}) {
		u := r3.Unit(d)
		return []candidate{{d: u, asked: true, axis: true}}, nil
	}
	s, err := mouldability.NewSearcher(p.mesh, p.show)
	if err != nil {
		return nil, err
	}
	found, err := s.Search(ctx, mouldability.SearchOptions{MinDraftDeg: f.Opening.MinDraftDeg, Keep: mostCandidates, Workers: workers, Progress: progress})
	if err != nil {
		return nil, err
	}
	out := make([]candidate, len(found))
	for i, c := range found {
		score := c.Total
		d := p.showDown(c.Direction)
		out[i] = candidate{d: d, score: &score, axis: c.Origin.Exact(), found: &found[i]}
	}
	return out, nil
}

// alongAxis says whether a unit vector is one of ±x, ±y, ±z, to a hundredth of a degree.
func alongAxis(d r3.Vec) bool {
	return max(math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)) > math.Cos(0.01*math.Pi/180)
}

// opposite is −d, with plain zeros.
func opposite(d r3.Vec) r3.Vec { return r3.Vec{X: 0 - d.X, Y: 0 - d.Y, Z: 0 - d.Z} }

// showDown picks, of a direction and its opposite, the one that turns the show faces to the lower half:
// air and bubbles collect under the upper half, and sprue and vents go through it (common practice, no
// source). Without show faces the direction with its largest component positive is taken, so that a
// part usually keeps the way up that it was drawn with.
func (p *part) showDown(d r3.Vec) r3.Vec {
	facing := 0.0
	for f, on := range p.show {
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
		return opposite(d)
	}
	return d
}

// mostUndercuts bounds the undercuts and the facets of each that a report lists, largest first.
const (
	mostUndercuts = 12
	mostFacets    = 24
)

// judged is a candidate with its exact judgement.
type judged struct {
	candidate
	report  DirectionReport
	burden  mouldability.Burden
	drafted bool // every wall has the draft asked for
	tried   bool
	caught  []int32 // facets of all undercuts, of the working mesh
}

// judge analyses one direction exactly.
func judge(ctx context.Context, p *part, f *File, c candidate) (*judged, error) {
	rep, err := analyse(ctx, p, f, c.d)
	if err != nil {
		return nil, err
	}
	j := &judged{candidate: c, burden: rep.Burden(), drafted: rep.MinDraftDeg >= askedDraft(f)}
	for _, u := range rep.Undercuts {
		j.caught = append(j.caught, u.Facets...)
	}
	out := &j.report
	*out = DirectionReport{Direction: array(c.d), Asked: c.asked, Score: c.score, OK: len(rep.Undercuts) == 0, MinDraftDeg: rep.MinDraftDeg,
		HeightMM: rep.HeightMM, ShadowMM2: rep.ProjectedAreaMM2, UndercutAreaMM2: rep.UndercutAreaMM2, TrappedMM3: rep.TrappedMM3, ToleranceMM: rep.ToleranceMM}
	for i, u := range rep.Undercuts {
		if i == mostUndercuts {
			break
		}
		q := UndercutReport{AreaMM2: u.AreaMM2, VolumeMM3: u.VolumeMM3, DepthErrorMM: u.DepthErrorMM, Sealed: u.Sealed, Holds: u.Holds.String(),
			AtMM: array(placeOf(p.mesh, u.Facets)), LowMM: array(u.Bounds.Min), HighMM: array(u.Bounds.Max), FacetCount: len(u.Facets), Facets: p.original(u.Facets[:min(mostFacets, len(u.Facets))])}
		if !u.Sealed {
			depth := u.DepthMM
			q.DepthMM = &depth
		}
		out.Undercuts = append(out.Undercuts, q)
	}
	out.Words = directionWords(rep, f)
	return j, nil
}

func analyse(ctx context.Context, p *part, f *File, d r3.Vec) (*mouldability.Report, error) {
	return mouldability.Analyse(ctx, p.mesh, d, mouldability.AnalyseOptions{Show: p.show, MinDraftDeg: f.Opening.MinDraftDeg, ToleranceMM: f.Opening.ToleranceMM})
}

// placeOf is the middle of the largest of some facets: a place that really lies on the surface, which
// the middle of a whole ring does not.
func placeOf(m *mesh.Mesh, facets []int32) (at r3.Vec) {
	largest := -1.0
	for _, f := range facets {
		if t := m.Facet(int(f)); geom.Area(t) > largest {
			largest, at = geom.Area(t), t.Centroid()
		}
	}
	return at
}

func directionWords(rep *mouldability.Report, f *File) string {
	if n := len(rep.Undercuts); n > 0 {
		deepest, sealed := 0.0, 0
		for _, u := range rep.Undercuts {
			if u.Sealed {
				sealed++
				continue
			}
			deepest = math.Max(deepest, u.DepthMM)
		}
		w := fmt.Sprintf("locks: %s", plural(n, "undercut"))
		if deepest > 0 {
			w += fmt.Sprintf(", the deepest %.3g mm", deepest)
		}
		if sealed > 0 {
			w += fmt.Sprintf(", %d of them a sealed hollow", sealed)
		}
		return w + fmt.Sprintf("; %.1f mm² of surface is caught", rep.UndercutAreaMM2)
	}
	asked := askedDraft(f)
	if rep.MinDraftDeg < asked {
		return fmt.Sprintf("opens; the least draft is %.2f°, less than the %.3g° asked for: those walls rub", rep.MinDraftDeg, asked)
	}
	return fmt.Sprintf("opens, with at least %.2f° of draft", rep.MinDraftDeg)
}

// askedDraft is the draft that walls should have, degrees.
func askedDraft(f *File) float64 {
	return cmp.Or(f.Opening.MinDraftDeg, mouldability.DefaultMinDraftDeg)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// explainLock proves on a flat split what the undercuts of a direction do, in words.
func explainLock(ctx context.Context, pool *solid.Pool, p *part, f *File, d *DirectionReport) error {
	for _, u := range d.Undercuts {
		if u.Sealed {
			return nil // no split reaches a sealed hollow
		}
	}
	t, err := tooling.TryFlatSplit(ctx, pool, p.mesh, vec(d.Direction), f.Opening.ToleranceMM)
	if err != nil {
		return err
	}
	d.FlatSplit = fmt.Sprintf("split flat %.1f mm over its lowest point: %s", t.SplitMM, strings.ReplaceAll(t.Opening.Words(), "\n", "\n  "))
	if t.Opening.State() != opening.Blocked {
		d.FlatSplit += "\n  (the flat split itself slides; the undercuts named above are what keeps the casting)"
	}
	return nil
}

// lockReasons turns the undercuts of a direction into reasons.
func lockReasons(d DirectionReport) []Reason {
	var out []Reason
	for _, u := range d.Undercuts {
		at := u.AtMM
		r := Reason{What: "undercut", At: &at, Facets: u.Facets, Of: u.FacetCount}
		switch {
		case u.Sealed:
			r.What = "sealed hollow"
			r.Words = fmt.Sprintf("%.1f mm³ inside the part that no mould piece reaches, round x %.2f, y %.2f, z %.2f mm", u.VolumeMM3, at[0], at[1], at[2])
			r.Remedy = "open the hollow to the outside, fill it, or cast the part in two"
		default:
			r.Words = fmt.Sprintf("%.3f ± %.3f mm deep, %.1f mm² caught on %s (%s); one place is x %.2f, y %.2f, z %.2f mm; it holds %s",
				*u.DepthMM, u.DepthErrorMM, u.AreaMM2, plural(u.FacetCount, "facet"), first(u.Facets), at[0], at[1], at[2], holdsWords(u.Holds))
			r.Remedy = "turn its draft the other way, or mould it with a flexible insert"
		}
		out = append(out, r)
	}
	return out
}

// holdsWords puts the article to one half.
func holdsWords(half string) string {
	if strings.HasSuffix(half, " half") {
		return "the " + half
	}
	return half
}

// first names the first few facets.
func first(facets []int32) string {
	const most = 5
	s := make([]string, 0, most)
	for i, f := range facets {
		if i == most {
			s = append(s, "…")
			break
		}
		s = append(s, fmt.Sprint(f))
	}
	return strings.Join(s, ", ")
}
