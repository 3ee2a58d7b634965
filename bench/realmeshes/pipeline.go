package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/solid"
	"mouldwright/internal/tooling"
)

// tries is how many of the most promising directions are analysed exactly and, if nothing is caught,
// built.
const tries = 3

// newPipeline returns the main job for a mesh: intake, direction, undercuts, two halves, checks.
func newPipeline(pool *solid.Pool) func(ctx context.Context, name string, m *mesh.Mesh) (Outcome, error) {
	return func(ctx context.Context, name string, m *mesh.Mesh) (Outcome, error) {
		intake, err := mesh.Inspect(ctx, m)
		if err != nil {
			return Outcome{}, err
		}
		if err := intake.Fatal(); err != nil {
			return Outcome{Verdict: refused, Reason: "intake: " + firstLine(err)}, nil
		}
		directions, err := promising(ctx, intake.Mesh)
		if err != nil {
			return Outcome{}, err
		}
		var best Outcome
		for i, d := range directions {
			out, err := try(ctx, pool, name, intake.Mesh, d)
			if err != nil {
				return Outcome{}, err
			}
			if out.Verdict == provenMould {
				return out, nil
			}
			if i == 0 {
				best = out
			}
		}
		return best, nil
	}
}

// try runs the job along one direction.
func try(ctx context.Context, pool *solid.Pool, name string, m *mesh.Mesh, d r3.Vec) (Outcome, error) {
	out := Outcome{Verdict: refused, Direction: directionWords(d)}
	report, err := mouldability.Analyse(ctx, m, d, mouldability.AnalyseOptions{})
	if err != nil {
		return Outcome{}, err
	}
	if len(report.Undercuts) > 0 {
		worst := slices.MaxFunc(report.Undercuts, func(a, b mouldability.Undercut) int { return cmp.Compare(a.AreaMM2, b.AreaMM2) })
		out.Reason = fmt.Sprintf("undercut: %d places, %.1f mm² in all; the largest %.1f mm², %.2f mm deep, at (%.1f, %.1f, %.1f) mm",
			len(report.Undercuts), report.UndercutAreaMM2, worst.AreaMM2, worst.DepthMM, worst.Centroid.X, worst.Centroid.Y, worst.Centroid.Z)
		return out, nil
	}
	for _, c := range choices {
		opt := c.options
		opt.Direction = d
		mould, err := tooling.TwoHalves(ctx, pool, m, opt)
		if ctx.Err() != nil {
			return Outcome{}, ctx.Err()
		}
		if err != nil {
			out.Reason = "build: " + firstLine(err)
			continue
		}
		if failed := mould.Failed(); len(failed) > 0 {
			f := failed[0]
			out.Reason = fmt.Sprintf("check: %s: %s (%.4g, limit %.4g %s)", f.Name, f.Words, f.Value, f.Limit, f.Unit)
			break
		}
		return Outcome{Verdict: provenMould, Direction: out.Direction, Reason: c.words}, nil
	}
	return out, nil
}

// choices are what a maker would ask for next when a build says that something does not fit.
var choices = []struct {
	words   string
	options tooling.TwoHalfOptions
}{
	{"", tooling.TwoHalfOptions{}},
	{"clamped", tooling.TwoHalfOptions{Bolt: tooling.NoBolts}},
	{"clamped, 3 mm sprue", tooling.TwoHalfOptions{Bolt: tooling.NoBolts, SprueMM: 3}},
}

// firstLine is the first line of an error's text; the others list further problems.
func firstLine(err error) string {
	line, _, _ := strings.Cut(err.Error(), "\n")
	return line
}

// directionWords names an axis, or gives the direction's components.
func directionWords(d r3.Vec) string {
	switch d {
	case r3.Vec{X: 1}:
		return "x"
	case r3.Vec{Y: 1}:
		return "y"
	case r3.Vec{Z: 1}:
		return "z"
	}
	return fmt.Sprintf("(%.3f, %.3f, %.3f)", d.X, d.Y, d.Z)
}

// promising ranks opening directions by the area caught along them, and by height where that is
// equal, and returns the best few. A mould that opens along d opens along −d, so half the sphere
// will do.
func promising(ctx context.Context, m *mesh.Mesh) ([]r3.Vec, error) {
	searcher, err := mouldability.NewSearcher(m, nil)
	if err != nil {
		return nil, err
	}
	directions := append([]r3.Vec{{Z: 1}, {Y: 1}, {X: 1}}, faceNormals(m)...)
	directions = append(directions, spread()...)
	order := searcher.Order()
	area := make([]float64, len(directions))
	err = searcher.Caught(ctx, directions, 0, func(i int, caught []bool) {
		for k, c := range caught {
			if c {
				area[i] += m.Facet(int(order[k])).Area()
			}
		}
	})
	if err != nil {
		return nil, err
	}
	height := make([]float64, len(directions))
	for i, d := range directions {
		height[i] = heightAlong(m, d)
	}
	rank := make([]int, len(directions))
	for i := range rank {
		rank[i] = i
	}
	// Caught is asked at the middle of facets: areas closer than a thousandth of the surface are as
	// good as equal.
	step := m.AreaMM2() / 1000
	slices.SortStableFunc(rank, func(a, b int) int {
		return cmp.Or(cmp.Compare(math.Floor(area[a]/step), math.Floor(area[b]/step)), cmp.Compare(math.Round(height[a]*100), math.Round(height[b]*100)))
	})
	var out []r3.Vec
	for _, i := range rank[:min(tries, len(rank))] {
		out = append(out, directions[i])
	}
	return out, nil
}

func heightAlong(m *mesh.Mesh, d r3.Vec) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range m.Verts {
		low, high = min(low, r3.Dot(v, d)), max(high, r3.Dot(v, d))
	}
	return high - low
}

// faceNormals are the normals of the ten largest facets: flat faces often lie across the opening.
func faceNormals(m *mesh.Mesh) []r3.Vec {
	facets := make([]int, len(m.Tris))
	for i := range facets {
		facets[i] = i
	}
	slices.SortStableFunc(facets, func(a, b int) int { return cmp.Compare(m.Facet(b).Area(), m.Facet(a).Area()) })
	var out []r3.Vec
	for _, f := range facets {
		n := r3.Unit(m.Facet(f).Normal())
		if !mesh.Finite(n) || slices.ContainsFunc(out, func(o r3.Vec) bool { return math.Abs(r3.Dot(o, n)) > 1-1e-9 }) {
			continue
		}
		if out = append(out, n); len(out) == 10 {
			break
		}
	}
	return out
}

// spread are 200 directions spread evenly over half the sphere by the golden angle.
func spread() []r3.Vec {
	const n = 200
	golden := math.Pi * (3 - math.Sqrt(5))
	var out []r3.Vec
	for i := range n {
		z := (float64(i) + 0.5) / n
		sin, cos := math.Sincos(golden * float64(i))
		r := math.Sqrt(1 - z*z)
		out = append(out, r3.Vec{X: r * cos, Y: r * sin, Z: z})
	}
	return out
}
