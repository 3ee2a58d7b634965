package job

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"

	"mouldwright/internal/material"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// trying goes through the opening directions of one part until one gives a sound mould.
type trying struct {
	folder   string
	part     *part
	file     *File
	material *material.Material
	poured   *material.Material // the same with its filler and thinner, as it flows
	report   *Report
	opt      RunOptions
	font     []byte
	reasons  []Reason // of the direction that came nearest
	caught   []int32  // facets that lock, along that direction
	attempts int
	used     *judged  // the direction that gave the mould
	ventsAt  []r3.Vec // places in the mould that get a vent first
}

// mould judges directions and builds along the first in order that passes everything. It returns nil,
// with the reasons kept for refuse, when there is none.
//
// The order is that of the search, with one change: before a slanted direction comes any of the part's
// own axes that opens as well, with no undercut, and that either has no less of the draft asked for or
// is near. Along an axis the part's flat faces stand square in the block, the parting surface is flat or
// nearly so, and the pieces print without steps on what was drawn level; a slant has to be better to be
// worth that. A lean of a few degrees never is: it takes its draft from a parting surface that climbs
// the walls, as steep as they are. Last come the same axes the other way up, which changes where sprue
// and vents go in.
func (s *trying) mould(ctx context.Context) (*tooling.Mould, error) {
	var err error
	if s.font, err = labelFont(s.folder, s.file); err != nil {
		return nil, err
	}
	cands, err := candidates(ctx, s.part, s.file, s.opt.Workers, s.opt.stage("searching opening directions", 0.1, 0.25))
	if err != nil {
		return nil, err
	}
	var mould *tooling.Mould
	all, err := judgeAll(ctx, s.part, s.file, cands, s.opt.stage("judging directions", 0.25, 0.35), func(j *judged) (bool, error) {
		var err error
		mould, err = s.try(ctx, j)
		return mould != nil, err
	})
	if mould != nil || err != nil {
		return mould, err
	}
	for _, j := range tryOrder(all) {
		if m, err := s.try(ctx, j); m != nil || err != nil {
			return m, err
		}
	}
	return s.flipped(ctx, all)
}

// leanDeg is the lean up to which a slant gives way to the axis: on upright walls its parting surface is
// steeper than the 80° that a mould's check lets through.
const leanDeg = 10

// tryOrder puts axes before the slants that are no better. Directions that lock come last, the one with the least to
// overcome first: it is the one that a maker would choose.
func tryOrder(all []*judged) (order []*judged) {
	taken := map[*judged]bool{}
	take := func(j *judged) {
		if !taken[j] {
			taken[j] = true
			order = append(order, j)
		}
	}
	for _, j := range all {
		if !j.report.OK {
			continue
		}
		for _, a := range all {
			near := r3.Dot(a.d, j.d) > math.Cos(leanDeg*math.Pi/180)
			if !j.axis && a.axis && a.report.OK && (a.drafted || !j.drafted || near) {
				take(a)
			}
		}
		take(j)
	}
	for len(order) < len(all) {
		var easiest *judged
		for _, j := range all {
			if !taken[j] && (easiest == nil || j.burden.Easier(easiest.burden)) {
				easiest = j
			}
		}
		take(easiest)
	}
	return order
}

// flipped tries the axes that open, but gave no sound mould, the other way up.
func (s *trying) flipped(ctx context.Context, all []*judged) (*tooling.Mould, error) {
	for _, j := range all {
		if !j.axis || j.asked || len(j.caught) > 0 {
			continue
		}
		c := j.candidate
		c.d, c.score = opposite(c.d), nil
		up, err := judge(ctx, s.part, s.file, c)
		if err != nil {
			return nil, err
		}
		if m, err := s.try(ctx, up); m != nil || err != nil {
			return m, err
		}
	}
	return nil, nil
}

// try builds along one direction, unless it locks, and puts into the report what became of it. It
// returns nil when no sound mould came of it.
func (s *trying) try(ctx context.Context, j *judged) (*tooling.Mould, error) {
	if j.tried {
		return nil, nil
	}
	j.tried = true
	d := &j.report
	if !d.OK {
		if s.reasons == nil {
			if err := explainLock(ctx, s.opt.Pool, s.part, s.file, d); err != nil {
				return nil, err
			}
			s.reasons, s.caught = lockReasons(*d), j.caught
		}
		s.report.Directions = append(s.report.Directions, *d)
		return nil, nil
	}
	mould, why, err := s.build(ctx, j)
	if err != nil {
		return nil, err
	}
	d.OK, d.Used = why == nil, why == nil
	s.used = j
	if why != nil {
		d.Words = "opens, but makes no sound mould: " + why[0].What + ": " + why[0].Words
		if len(why) > 1 {
			d.Words += fmt.Sprintf(" (and %s more)", plural(len(why)-1, "failed check"))
		}
		if s.reasons == nil { // those that open come first, and are nearer to a mould than those that lock
			s.reasons = why
		}
		mould = nil
	}
	s.report.Directions = append(s.report.Directions, *d)
	return mould, nil
}

// cannot are the causes in package tooling that speak of this part and these settings, not of a fault.
var cannot = []error{tooling.ErrLineOverItself, tooling.ErrLayout, tooling.ErrSprue, tooling.ErrKey, tooling.ErrNoBolt,
	tooling.ErrPry, tooling.ErrSideSplit, tooling.ErrGutter, tooling.ErrLabel, tooling.ErrNoSurface, tooling.ErrCavities,
	tooling.ErrSplit, tooling.ErrBodies, tooling.ErrOpenFace, tooling.ErrRecess, tooling.ErrCarrier, tooling.ErrTabs}

// build makes the mould along a direction, or says why it would be no good.
func (s *trying) build(ctx context.Context, j *judged) (*tooling.Mould, []Reason, error) {
	o := mouldOptions(s.part, s.file, s.material, s.font)
	o.Direction, o.Workers, o.VentsAt = j.d, s.opt.Workers, s.ventsAt
	// Each further attempt takes half of what is left of the span, so that progress never goes back.
	from := 0.85 - 0.5*math.Pow(0.5, float64(s.attempts))
	to := 0.85 - 0.5*math.Pow(0.5, float64(s.attempts+1))
	s.attempts++
	o.Progress = func(stage string, done float64) { s.opt.stage(stage, from, to)(done) }
	mould, err := tooling.TwoHalves(ctx, s.opt.Pool, s.part.mesh, o)
	if errors.Is(err, tooling.ErrMissingGlyph) {
		return nil, nil, s.file.wrong("mould.label", "%w", err)
	}
	if err != nil {
		why, err := layoutReasons(err)
		return nil, why, err
	}
	return mould, checkReasons(mould.Failed()), nil
}

// layoutReasons says why a mould cannot be laid out; what is no cause of the part or the settings stays
// an error.
func layoutReasons(err error) ([]Reason, error) {
	for _, c := range cannot {
		if errors.Is(err, c) {
			return []Reason{{What: "the mould cannot be laid out", Words: causeWords(err)}}, nil
		}
	}
	return nil, err
}

// checkReasons are the failed checks of a mould; nil when there are none.
func checkReasons(failed []tooling.Check) (why []Reason) {
	for _, c := range failed {
		why = append(why, Reason{What: c.Name, Words: failedWords(c)})
	}
	return why
}

// failedWords says by how much a check failed, and what the check found.
func failedWords(c tooling.Check) string {
	if math.IsInf(c.Value, 0) || math.IsNaN(c.Value) {
		return c.Words
	}
	return fmt.Sprintf("%s (%.4g %s, the limit is %.4g)", c.Words, c.Value, c.Unit, c.Limit)
}

// refuse writes the report, and the picture of where the part locks. No mould files are written: they
// must not lie about as if they were good.
func (s *trying) refuse(ctx context.Context, out *results) error {
	s.report.Refused, s.report.Reasons = true, s.reasons
	if len(s.caught) > 0 {
		img, err := lockPicture(ctx, s.part.report.Name, s.part.mesh, s.caught)
		if err != nil {
			return err
		}
		if err := out.picture("pictures/where-it-locks.png", img); err != nil {
			return err
		}
	}
	return out.report(s.report)
}

// causeWords are an error's own, without the name of the package that it comes from.
func causeWords(err error) string { return strings.TrimPrefix(err.Error(), "tooling: ") }
