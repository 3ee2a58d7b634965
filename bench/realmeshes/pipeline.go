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

// newPipeline returns the main job for a mesh: intake, direction, undercuts, two halves, checks. It
// goes through the directions of the search, best first, until one ends in a proven mould; the reason
// of a refusal is that of the best direction.
func newPipeline(pool *solid.Pool) mainJob {
	return func(ctx context.Context, m *mesh.Mesh) (Outcome, error) {
		intake, err := mesh.Inspect(ctx, m)
		if err != nil {
			return Outcome{}, err
		}
		if err := intake.Fatal(); err != nil {
			return Outcome{Verdict: refused, Unusable: true, Reason: "intake: " + firstLine(err)}, nil
		}
		searcher, err := mouldability.NewSearcher(intake.Mesh, nil)
		if err != nil {
			return Outcome{}, err
		}
		candidates, err := searcher.Search(ctx, mouldability.SearchOptions{})
		if err != nil {
			return Outcome{}, err
		}
		var directions []r3.Vec
		for _, c := range candidates {
			directions = append(directions, c.Direction)
		}
		// The file's own axes last: the search may prefer a slant that leaves more draft but makes
		// the parting surface too steep.
		directions = append(directions, r3.Vec{Z: 1}, r3.Vec{Y: 1}, r3.Vec{X: 1})
		var best Outcome
		for i, d := range directions {
			out, err := try(ctx, pool, intake.Mesh, d)
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
func try(ctx context.Context, pool *solid.Pool, m *mesh.Mesh, d r3.Vec) (Outcome, error) {
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
		return Outcome{Verdict: provenMould, Direction: out.Direction, Reason: c.words, mould: mould}, nil
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
	for i, c := range [3]float64{d.X, d.Y, d.Z} {
		if math.Abs(c) > 1-1e-9 {
			return [3]string{"x", "y", "z"}[i]
		}
	}
	return fmt.Sprintf("(%.3f, %.3f, %.3f)", d.X, d.Y, d.Z)
}
