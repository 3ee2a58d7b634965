package choice

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Change is a change of the part that makes a simpler way to mould work. It was made on a copy of the
// mesh, the copy was analysed anew, and it opens.
type Change struct {
	Key    string  `json:"key"` // of the way that then works
	Name   string  `json:"name"`
	Deg    float64 `json:"deg"` // taper of the held walls, to a tenth of a degree upward
	Places []Place `json:"places"`
	// MaxMoveMM is how far the surface moves at most; AddsML how much material it adds.
	MaxMoveMM float64 `json:"max_move_mm"`
	AddsML    float64 `json:"adds_ml"`
	// Saves is the cost saved on the batch against the best way for the part as it is; negative if the
	// simpler way costs more.
	Saves float64 `json:"saves"`
	Words string  `json:"words"`
	// Part is the changed part, facets in the order of the input.
	Part *mesh.Mesh `json:"-"`
}

// Place is one held wall that is tapered.
type Place struct {
	At    r3.Vec `json:"at"`
	Walls string `json:"walls"` // "inside", "outside" or "one side"
}

const (
	// mostTaperDeg: beyond this a change is no longer a small one.
	mostTaperDeg = 30.0
	// taperStepDeg is the step that the answer is rounded up to; designers draw drafts no finer.
	taperStepDeg = 0.1
)

// addChange looks for the smallest taper that lets a way simpler than the best work.
func (c *comparison) addChange(ctx context.Context, t *Table) error {
	if t.Best == families[0].key || t.Best == "two-rigid-halves" {
		t.NoChange = "none is needed, the simplest ways that suit the part work as it is"
		return nil
	}
	if tried := func(r Row) bool { return r.Basis == Tried }; t.Best == "" && slices.ContainsFunc(t.Rows, tried) {
		t.NoChange = "not looked for: it is not the part's draft that stands in the way, but what the builders name"
		return nil
	}
	for i := range families {
		f := &families[i]
		r := t.Row(f.key)
		if f.key == t.Best {
			break
		}
		if r.Opens || r.Release == nil || c.opt.Carrier != nil && !f.carrier {
			continue
		}
		change, err := c.findTaper(ctx, f, r)
		if err != nil {
			return err
		}
		if change == nil {
			continue
		}
		if t.Best != "" {
			change.Saves = t.Row(t.Best).Cost.Total - r.Cost.Total
		}
		t.Change = change
		return nil
	}
	t.NoChange = fmt.Sprintf("no taper of the held walls up to %.0f° makes a simpler way work", mostTaperDeg)
	return nil
}

// findTaper finds the least taper with which a way opens, by halving between one that does and one
// that does not. Nil when none up to mostTaperDeg does.
func (c *comparison) findTaper(ctx context.Context, f *family, r *Row) (*Change, error) {
	s := c.judged[f.key].stance
	walls := c.leaningWalls(f, r)
	if len(walls) == 0 {
		return nil, nil
	}
	opens := func(deg float64) (bool, error) { return c.opensWhen(ctx, f, s.tapered(walls, deg), trialCells) }
	lo, hi := 0.0, 1.0
	for {
		ok, err := opens(hi)
		if err != nil {
			return nil, err
		}
		if ok {
			break
		}
		if hi >= mostTaperDeg {
			return nil, nil
		}
		lo, hi = hi, min(2*hi, mostTaperDeg)
	}
	for hi-lo > taperStepDeg/2 {
		ok, err := opens((lo + hi) / 2)
		if err != nil {
			return nil, err
		}
		if ok {
			hi = (lo + hi) / 2
		} else {
			lo = (lo + hi) / 2
		}
	}
	return c.confirm(ctx, f, walls, math.Ceil(hi/taperStepDeg-1e-9)*taperStepDeg)
}

// confirm makes the rounded change, and says it only if that part is sound and opens too.
func (c *comparison) confirm(ctx context.Context, f *family, walls []leaningWall, deg float64) (*Change, error) {
	s := c.judged[f.key].stance
	part := s.tapered(walls, deg)
	intake, err := mesh.Inspect(ctx, part)
	if err != nil {
		return nil, err
	}
	if intake.Fatal() != nil {
		return nil, nil
	}
	if ok, err := c.opensWhen(ctx, f, part, depthCells); err != nil || !ok {
		return nil, err
	}
	change := &Change{Key: f.key, Name: f.name, Deg: deg, Part: part, AddsML: (part.VolumeMM3() - s.volume) / mm3PerML}
	for i, v := range part.Verts {
		change.MaxMoveMM = max(change.MaxMoveMM, r3.Norm(r3.Sub(v, s.part.Verts[i])))
	}
	for _, w := range walls {
		change.Places = append(change.Places, Place{w.at, w.name()})
	}
	change.Words = change.words()
	return change, nil
}

func (c *Change) words() string {
	var at []string
	for _, p := range c.Places {
		w := fmt.Sprintf("%s at (%.1f, %.1f, %.1f)", p.Walls, tenth(p.At.X), tenth(p.At.Y), tenth(p.At.Z))
		if len(at) == 0 || at[len(at)-1] != w {
			at = append(at, w)
		}
	}
	return fmt.Sprintf("%.1f° less lean of the held walls (%s), about their narrowest line, lets %s work: the surface moves by up to %.2f mm and the part gains %.2f mL. Analysed again with this change, it opens.",
		c.Deg, strings.Join(at, "; "), c.Name, c.MaxMoveMM, c.AddsML)
}

// tenth rounds to a tenth and has no minus zero.
func tenth(x float64) float64 { return math.Round(10*x)/10 + 0 }

// opensWhen judges one way on a changed part along the same direction.
func (c *comparison) opensWhen(ctx context.Context, f *family, part *mesh.Mesh, cells int) (bool, error) {
	opt := *c.opt
	opt.depthCells = cells
	if !(part.VolumeMM3() > 0) {
		return false, nil
	}
	was := c.judged[f.key]
	s, err := newStance(ctx, part, was.stance.show, was.stance.d, &opt)
	if err != nil {
		return false, err
	}
	a, err := f.arrange(ctx, s, &opt)
	if err != nil {
		return false, err
	}
	if len(a.against) > 0 {
		return false, nil
	}
	r, err := a.judge(ctx, s, &opt)
	if err != nil {
		return false, err
	}
	// A change must not bring flash onto show faces that the way did not leave before.
	return r.Releases && a.showMM <= was.row.ShowFlashMM+showFlashSlackMM, nil
}

// leaningWalls lists the walls behind the holds that do not let go.
func (c *comparison) leaningWalls(f *family, r *Row) []leaningWall {
	was := c.judged[f.key]
	var out []leaningWall
	for _, h := range r.Release.Holds {
		if h.Releases {
			continue
		}
		catch := was.a.catches[h.Catch]
		if catch.Sealed {
			return nil
		}
		if w, ok := was.stance.leaningWall(catch, h.Shape); ok {
			out = append(out, w)
		}
	}
	return out
}
