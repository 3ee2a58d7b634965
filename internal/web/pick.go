package web

import (
	"fmt"
	"math"
	"net/http"
	"slices"
	"sort"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// A pick on the view becomes a rule of job.toml: a small box round one facet of the picked face, which
// the job's own grow_deg then grows over gentle edges. So the picked face survives in a text file that
// a maker can read, and a run marks just what the view showed.

const (
	// pickGrowDeg is the edge angle up to which a picked face grows, unless job.toml says otherwise:
	// facets of a curved face bend by a few degrees, faces meet at far more (common practice, no source).
	pickGrowDeg = 20
	// boxMarginMM keeps a facet inside its box through the rounding of printed numbers.
	boxMarginMM = 1e-4
	// seedsTried bounds the search for a facet whose box holds none of another face.
	seedsTried = 64
	// pickReachMM is how far from the surface a click may lie, as a share of the part's size: the view
	// may be a thinned one.
	pickReach = 0.05
)

// pick adds the face at a point to the show faces, or takes it away if a pick put it there.
func pick(src []byte, f *job.File, sc *scene, marks []bool, at r3.Vec) ([]byte, error) {
	size := sc.part.mesh.Bounds().Size()
	hit, ok := sc.tree().NearestWithin(at, pickReach*r3.Norm(size))
	if !ok {
		return nil, problem(http.StatusUnprocessableEntity, "the point lies off the part")
	}
	grow := f.Show.GrowDeg
	if grow == 0 {
		grow = pickGrowDeg
	}
	seed := make([]bool, len(marks))
	seed[hit.Facet] = true
	face, err := mouldability.GrowSmooth(sc.part.mesh, seed, grow)
	if err != nil {
		return nil, err
	}
	boxes := slices.Clone(f.Show.Boxes)
	if marks[hit.Facet] {
		if boxes, err = withoutPick(sc.part, boxes, face); err != nil {
			return nil, err
		}
	} else {
		b, err := seedBox(sc.part.mesh, face)
		if err != nil {
			return nil, err
		}
		boxes = append(boxes, b)
		if f.Show.GrowDeg == 0 {
			if src, err = edited(src, []setting{{"show.grow_deg", float64(pickGrowDeg)}}); err != nil {
				return nil, err
			}
		}
	}
	return replaceList(src, "show.box", boxRows(boxes))
}

// withoutPick takes out the boxes that mark facets of the face.
func withoutPick(p *part, boxes []job.Box, face []bool) ([]job.Box, error) {
	kept := boxes[:0]
	for _, b := range boxes {
		if !meets(mouldability.ShowByBox(p.mesh, r3.Box{Min: vec(b.Min), Max: vec(b.Max)}), face) {
			kept = append(kept, b)
		}
	}
	if len(kept) == len(boxes) {
		return nil, problem(http.StatusConflict, "this face is marked by a colour or direction rule of job.toml; take that rule out of the list to unmark it")
	}
	return kept, nil
}

func meets(a, b []bool) bool {
	for i := range a {
		if a[i] && b[i] {
			return true
		}
	}
	return false
}

// seedBox is a box that holds a facet of the face and none of any other face: the smallest facets are
// tried first.
func seedBox(m *mesh.Mesh, face []bool) (job.Box, error) {
	var facets []int
	for f, on := range face {
		if on {
			facets = append(facets, f)
		}
	}
	extent := make(map[int]float64, len(facets))
	for _, f := range facets {
		extent[f] = r3.Norm2(facetBox(m, f).Size())
	}
	sort.SliceStable(facets, func(i, j int) bool { return extent[facets[i]] < extent[facets[j]] })
	for _, f := range facets[:min(len(facets), seedsTried)] {
		b := rounded(facetBox(m, f))
		inside := mouldability.ShowByBox(m, r3.Box{Min: vec(b.Min), Max: vec(b.Max)})
		if inside[f] && only(inside, face) {
			return b, nil
		}
	}
	return job.Box{}, problem(http.StatusUnprocessableEntity, "this face lies too close to another to be told apart by a box; mark it by colour in the part's file, or by direction in job.toml")
}

func only(marks, face []bool) bool {
	for i, on := range marks {
		if on && !face[i] {
			return false
		}
	}
	return true
}

func facetBox(m *mesh.Mesh, f int) r3.Box {
	t := m.Facet(f)
	b := r3.Box{Min: t[0], Max: t[0]}
	for _, v := range t[1:] {
		b.Min = r3.Vec{X: math.Min(b.Min.X, v.X), Y: math.Min(b.Min.Y, v.Y), Z: math.Min(b.Min.Z, v.Z)}
		b.Max = r3.Vec{X: math.Max(b.Max.X, v.X), Y: math.Max(b.Max.Y, v.Y), Z: math.Max(b.Max.Z, v.Z)}
	}
	return b
}

// rounded widens a box to numbers that are short to read.
func rounded(b r3.Box) job.Box {
	down := func(x float64) float64 { return math.Floor((x-boxMarginMM)*1e4) / 1e4 }
	up := func(x float64) float64 { return math.Ceil((x+boxMarginMM)*1e4) / 1e4 }
	return job.Box{Min: [3]float64{down(b.Min.X), down(b.Min.Y), down(b.Min.Z)}, Max: [3]float64{up(b.Max.X), up(b.Max.Y), up(b.Max.Z)}}
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
	case "box":
		if i < 0 || i >= len(f.Show.Boxes) {
			return nil, gone
		}
		return replaceList(src, "show.box", boxRows(slices.Delete(slices.Clone(f.Show.Boxes), i, i+1)))
	}
	return nil, problem(http.StatusUnprocessableEntity, "a rule is a colour, towards or a box")
}
