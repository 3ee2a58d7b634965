package choice

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
)

// Compare judges every way to mould the part and ranks them. show marks the facets that must carry no
// flash, or is nil. The part must be closed and in mm. The same input gives the same table.
func Compare(ctx context.Context, part *mesh.Mesh, show []bool, opt Options) (*Table, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	if err := checkPart(part, show); err != nil {
		return nil, err
	}
	opt.report("looking for opening directions", 0)
	dirs, err := directions(ctx, part, show, &opt)
	if err != nil {
		return nil, err
	}
	c := &comparison{opt: &opt}
	for _, d := range dirs {
		s, err := newStance(ctx, part, show, d, &opt)
		if err != nil {
			return nil, err
		}
		c.stances = append(c.stances, s)
	}
	for i := range families {
		opt.report("judging "+families[i].name, 0.2+0.2*float64(i)/float64(len(families)))
		if err := c.judge(ctx, &families[i]); err != nil {
			return nil, fmt.Errorf("%s: %w", families[i].name, err)
		}
	}
	t, err := c.proven(ctx)
	if err != nil {
		return nil, err
	}
	if !opt.NoChange {
		opt.report("looking for the smallest change", 0.9)
		if err := c.addChange(ctx, t); err != nil {
			return nil, err
		}
	}
	opt.report("done", 1)
	return t, nil
}

func checkPart(part *mesh.Mesh, show []bool) error {
	if part == nil || len(part.Tris) == 0 {
		return fmt.Errorf("choice: the part: %w", mesh.ErrNoFacets)
	}
	if show != nil && len(show) != len(part.Tris) {
		return fmt.Errorf("%w: %d show marks for %d facets", ErrOptions, len(show), len(part.Tris))
	}
	if err := part.CheckWritable(); err != nil {
		return fmt.Errorf("choice: the part: %w", err)
	}
	if v := part.VolumeMM3(); !(v > 0) {
		return fmt.Errorf("choice: the part has a volume of %g mm³; it is open, flat or inside out: inspect the file first", v)
	}
	return nil
}

const (
	// exactCandidates is how many of the search's directions are analysed exactly: its ranking is an
	// estimate, and beyond the first few the estimates are far apart.
	exactCandidates = 4
	// mostStances is how many directions the ways are judged along when none is free of undercuts.
	mostStances = 3
)

// directions lists what the ways are judged along: the direction asked for; or the first of the
// search's best that is free of undercuts; or, where there is none, the few with the least to overcome.
func directions(ctx context.Context, part *mesh.Mesh, show []bool, opt *Options) ([]r3.Vec, error) {
	if opt.Direction != (r3.Vec{}) {
		return []r3.Vec{opt.Direction}, nil
	}
	search, err := mouldability.NewSearcher(part, show)
	if err != nil {
		return nil, err
	}
	found, err := search.Search(ctx, mouldability.SearchOptions{Directions: opt.Directions, Keep: exactCandidates, Workers: opt.Workers,
		Progress: func(done float64) { opt.report("looking for opening directions", 0.2*done) }})
	if err != nil {
		return nil, err
	}
	type candidate struct {
		d      r3.Vec
		burden mouldability.Burden
	}
	var list []candidate
	for _, c := range found {
		report, err := mouldability.Analyse(ctx, part, c.Direction, opt.analysis(trialCells))
		if err != nil {
			return nil, err
		}
		if len(report.Undercuts) == 0 {
			return []r3.Vec{c.Direction}, nil
		}
		list = append(list, candidate{c.Direction, report.Burden()})
	}
	var out []r3.Vec
	for len(out) < mostStances && len(list) > 0 {
		easiest := 0
		for i := range list {
			if list[i].burden.Easier(list[easiest].burden) {
				easiest = i
			}
		}
		out = append(out, list[easiest].d)
		list = slices.Delete(list, easiest, easiest+1)
	}
	return out, nil
}

// comparison collects the rows.
type comparison struct {
	opt     *Options
	stances []*stance
	rows    []Row
	// judged keeps how each way holds the part, by key.
	judged map[string]judgement
}

// judgement is one way on one stance.
type judgement struct {
	stance *stance
	a      *arrangement
	row    Row
}

// judge judges a way along each direction and keeps the best: by what a maker looks at first, then by
// cost or, where it locks everywhere, by how little is held.
func (c *comparison) judge(ctx context.Context, f *family) error {
	var best *judgement
	for _, s := range c.stances {
		j, err := c.judgeAlong(ctx, f, s)
		if err != nil {
			return err
		}
		if best == nil || j.beats(best) {
			best = j
		}
	}
	best.row.Verdict = best.row.verdict()
	if c.judged == nil {
		c.judged = map[string]judgement{}
	}
	c.judged[f.key] = *best
	c.rows = append(c.rows, best.row)
	return nil
}

func (j *judgement) beats(o *judgement) bool {
	if a, b := j.row.class(), o.row.class(); a != b {
		return a < b
	}
	if !j.row.Opens {
		return false
	}
	if a, b := j.row.ShowFlashMM, o.row.ShowFlashMM; max(a, b) > showFlashSlackMM && (a < clearlyLess*b || b < clearlyLess*a) {
		return a < b
	}
	return j.row.Cost.Total < clearlyLess*o.row.Cost.Total
}

// clearlyLess: a later direction has to be better by a tenth, or the part's own axis is kept.
const clearlyLess = 0.9

func (c *comparison) judgeAlong(ctx context.Context, f *family, s *stance) (*judgement, error) {
	a, err := f.arrange(ctx, s, c.opt)
	if err != nil {
		return nil, err
	}
	lies := s
	if a.turned != nil {
		lies = a.turned
	}
	r := Row{Key: f.key, Name: f.name, Direction: lies.d, Basis: Estimated, FlashMM: a.lineMM, ShowFlashMM: a.showMM, Reasons: a.against}
	if len(a.against) == 0 {
		if r.Release, err = a.judge(ctx, s, c.opt); err != nil {
			return nil, err
		}
		r.Opens = r.Release.Releases
		r.Reasons = append(r.Reasons, holdReasons(r.Release.Holds)...)
	}
	if c.opt.Carrier != nil && !f.carrier {
		r.Opens = false
		r.Reasons = append(r.Reasons, "it has no place to hold the carrier's tabs level")
	}
	r.Reasons = append(r.Reasons, a.notes...)
	r.price(f, newShapeOf(lies, a, c.opt), c.opt)
	return &judgement{s, a, r}, nil
}

// mostReasons is how many holds a row spells out; Row.Release has them all.
const mostReasons = 5

// holdReasons says the holds that decide: those that do not let go, then the tightest.
func holdReasons(holds []opening.Hold) []string {
	order := slices.Clone(holds)
	slices.SortStableFunc(order, func(a, b opening.Hold) int {
		if a.Releases != b.Releases {
			if b.Releases {
				return -1
			}
			return 1
		}
		return cmp.Compare(a.Margin, b.Margin)
	})
	var out []string
	for i, h := range order {
		if i == mostReasons {
			return append(out, fmt.Sprintf("and at %d more places", len(order)-i))
		}
		out = append(out, h.Words)
	}
	return out
}
