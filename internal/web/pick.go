package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"strings"

	"mouldwright/internal/geom"
	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// A pick on the view becomes a rule of job.toml: a point on the picked face, and the angle of the edges
// over which it grows. So it survives in a text file that a maker can read, and a run marks just what the
// view showed.

const (
	// pickGrowDeg is the edge angle up to which a picked face grows: facets of a curved face bend by a few
	// degrees, faces meet at far more (common practice, no source).
	pickGrowDeg = 20
	// pickReach is how far from the surface a click may lie, as a share of the part's size: the view may
	// be a thinned one.
	pickReach = 0.05
)

// pick adds the face at a point to the show faces, or takes it away if a pick put it there.
func pick(src []byte, f *job.File, sc *scene, marks []bool, at r3.Vec) ([]byte, error) {
	m := sc.part.mesh
	hit, ok := sc.tree().NearestWithin(at, pickReach*r3.Norm(m.Bounds().Size()))
	if !ok {
		return nil, problem(http.StatusUnprocessableEntity, "the point lies off the part")
	}
	seed := make([]bool, len(marks))
	seed[hit.Facet] = true
	face, err := mouldability.GrowSmooth(m, seed, pickGrowDeg)
	if err != nil {
		return nil, err
	}
	if marks[hit.Facet] {
		return withoutPick(src, f, sc.part, face)
	}
	point, err := pointOn(m, face, hit)
	if err != nil {
		return nil, err
	}
	return replaceList(src, "show.pick", pickRows(append(slices.Clone(f.Show.Picks), job.Pick{At: point, GrowDeg: pickGrowDeg})))
}

// pointOn is a point that names the face: where the click met it, or the middle of the facet there, in
// as few digits as still lead back to the face.
func pointOn(m *mesh.Mesh, face []bool, hit geom.NearestHit) ([]float64, error) {
	for _, digits := range []float64{1e2, 1e4, 1e8} {
		for _, v := range []r3.Vec{hit.Point, m.Facet(hit.Facet).Centroid()} {
			round := func(x float64) float64 { return math.Round(x*digits) / digits }
			p := job.Pick{At: []float64{round(v.X), round(v.Y), round(v.Z)}}
			if found, err := job.PickedFace(m, p); err == nil && only(found, face) {
				return p.At, nil
			}
		}
	}
	return nil, problem(http.StatusUnprocessableEntity, "this face lies too close to another to be told apart by a point; mark it by colour in the part's file, or by direction in job.toml")
}

// withoutPick takes out the picks, and boxes of one face's size, that mark facets of the face.
func withoutPick(src []byte, f *job.File, p *part, face []bool) ([]byte, error) {
	var picks []job.Pick
	for _, k := range f.Show.Picks {
		if found, err := job.PickedFace(p.mesh, k); err != nil || !meets(found, face) {
			picks = append(picks, k)
		}
	}
	var boxes []job.Box
	for _, b := range f.Show.Boxes {
		if !meets(mouldability.ShowByBox(p.mesh, r3.Box{Min: vec(b.Min), Max: vec(b.Max)}), face) {
			boxes = append(boxes, b)
		}
	}
	if len(picks) == len(f.Show.Picks) && len(boxes) == len(f.Show.Boxes) {
		return nil, problem(http.StatusConflict, "this face is marked by a colour or direction rule of job.toml; take that rule out of the list to unmark it")
	}
	src, err := replaceList(src, "show.pick", pickRows(picks))
	if err != nil {
		return nil, err
	}
	return replaceList(src, "show.box", boxRows(boxes))
}

func meets(a, b []bool) bool {
	for i := range a {
		if a[i] && b[i] {
			return true
		}
	}
	return false
}

func only(marks, face []bool) bool {
	for i, on := range marks {
		if on && !face[i] {
			return false
		}
	}
	return true
}

func pickRows(picks []job.Pick) []string {
	var rows []string
	for _, p := range picks {
		rows = append(rows, fmt.Sprintf("[[show.pick]]\nat = %s\ngrow_deg = %v", numbers([3]float64(p.At)), p.GrowDeg))
	}
	return rows
}

func boxRows(boxes []job.Box) []string {
	var rows []string
	for _, b := range boxes {
		rows = append(rows, "[[show.box]]\nmin = "+numbers(b.Min)+"\nmax = "+numbers(b.Max))
	}
	return rows
}

func towardsRows(all []job.Towards) []string {
	var rows []string
	for _, t := range all {
		rows = append(rows, fmt.Sprintf("[[show.towards]]\ndirection = %s\nwithin_deg = %v", numbers(t.Direction), t.WithinDeg))
	}
	return rows
}

func numbers(v [3]float64) string {
	s := make([]string, 3)
	for i, x := range v {
		s[i] = fmt.Sprintf("%v", x)
	}
	return "[" + strings.Join(s, ", ") + "]"
}

// removeRule takes rule i of a kind out of the show rules.
func removeRule(src []byte, f *job.File, kind string, i int) ([]byte, error) {
	gone := problem(http.StatusConflict, "that rule is not there any more; load the job again")
	switch kind {
	case "colour":
		if i < 0 || i >= len(f.Show.Colours) {
			return nil, gone
		}
		return edited(src, []setting{{"show.colours", slices.Delete(slices.Clone(f.Show.Colours), i, i+1)}})
	case "towards":
		if i < 0 || i >= len(f.Show.Towards) {
			return nil, gone
		}
		return replaceList(src, "show.towards", towardsRows(slices.Delete(slices.Clone(f.Show.Towards), i, i+1)))
	case "pick":
		if i < 0 || i >= len(f.Show.Picks) {
			return nil, gone
		}
		return replaceList(src, "show.pick", pickRows(slices.Delete(slices.Clone(f.Show.Picks), i, i+1)))
	case "box":
		if i < 0 || i >= len(f.Show.Boxes) {
			return nil, gone
		}
		return replaceList(src, "show.box", boxRows(slices.Delete(slices.Clone(f.Show.Boxes), i, i+1)))
	}
	return nil, problem(http.StatusUnprocessableEntity, "a rule is a colour, a pick, towards or a box")
}
