package job

import (
	"context"
	"slices"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"

	"gonum.org/v1/gonum/spatial/r3"
)

// Judgement is what becomes of a part along the direction that a run would try first.
type Judgement struct {
	Direction r3.Vec               // the way the upper half leaves
	Asked     bool                 // job.toml gives it
	Report    *mouldability.Report // the exact answer
	Found     []FoundDirection     // of the search: the one above, then the others, best first; empty when one was asked for
}

// FoundDirection is a direction of the search, turned as a run would take it.
type FoundDirection struct {
	Direction r3.Vec
	Of        mouldability.Candidate // its estimates; Direction there may be the opposite
}

// Judge searches and judges directions just as Run does before it builds. m is the inspected mesh, show
// its marks or nil. progress may be nil.
func Judge(ctx context.Context, m *mesh.Mesh, show []bool, f *File, progress func(stage string, done float64)) (*Judgement, error) {
	if !slices.Contains(show, true) {
		show = nil
	}
	p := &part{mesh: m, show: show}
	stage := RunOptions{Progress: progress}.stage
	cands, err := candidates(ctx, p, f, 0, stage("searching opening directions", 0, 0.6))
	if err != nil {
		return nil, err
	}
	all, err := judgeAll(ctx, p, f, cands, stage("judging directions", 0.6, 0.9), nil)
	if err != nil {
		return nil, err
	}
	best := tryOrder(all)[0]
	out := &Judgement{Direction: best.d, Asked: best.asked}
	for _, c := range cands {
		if c.found == nil {
			continue
		}
		out.Found = append(out.Found, FoundDirection{c.d, *c.found})
		if n := len(out.Found) - 1; c.d == best.d { // it was judged exactly, so it stands before the estimates
			copy(out.Found[1:], out.Found[:n])
			out.Found[0] = FoundDirection{c.d, *c.found}
		}
	}
	// Once more for its marks on each facet: those of all directions together would take much memory.
	stage("judging directions", 0.9, 1)(0)
	out.Report, err = analyse(ctx, p, f, best.d)
	return out, err
}

// judgeAll judges directions in order, up to one that nothing can come before. sure, if not nil, is called
// with that one; when it says that it will not do, judging goes on.
func judgeAll(ctx context.Context, p *part, f *File, cands []candidate, progress func(float64), sure func(*judged) (good bool, err error)) ([]*judged, error) {
	var all []*judged
	for i, c := range cands {
		progress(float64(i) / float64(len(cands)))
		j, err := judge(ctx, p, f, c)
		if err != nil {
			return nil, err
		}
		all = append(all, j)
		if i > 0 || !j.report.OK || !j.axis {
			continue
		}
		if sure == nil {
			return all, nil
		}
		if good, err := sure(j); good || err != nil {
			return all, err
		}
	}
	return all, nil
}
