package fill

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// TiltOptions of a search; the zero value of every field but Pour is sensible.
type TiltOptions struct {
	// Rest points up when the mould stands flat; zero means +z. A tilt raises the sides to which the
	// frame's x and y point; for +z those are the cavity's own x and y.
	Rest r3.Vec
	// MaxXDeg and MaxYDeg bound the tilt each way; 0 means 20: a mould full of liquid is propped no
	// steeper, common practice. A negative bound keeps that axis flat.
	MaxXDeg, MaxYDeg float64
	// Directions is how many tilts are looked at; 0 means 500.
	Directions int

	Pour, Vents []r3.Vec // as in Setup
	PourClosed  bool
	MarksOnShow bool
	// OnlyThese proposes no vents beside Vents: the mould is built, only its tilt is open.
	OnlyThese    bool
	VentRadiusMM float64 // of a proposed vent; 0 means 1 mm
}

const (
	defaultMaxTiltDeg = 20
	defaultDirections = 500
)

// TiltPoint is one tilt that was looked at.
type TiltPoint struct {
	XDeg       float64 `json:"x_deg"` // how far the +x side is raised
	YDeg       float64 `json:"y_deg"`
	TrappedMM3 float64 `json:"trapped_mm3"` // with the new vents
	BareMM3    float64 `json:"bare_mm3"`    // without
	Vents      int     `json:"vents"`       // new ones
}

// TiltChoice is a tilt with all that follows from it.
type TiltChoice struct {
	TiltPoint
	TiltDeg float64    `json:"tilt_deg"` // from upright
	Up      r3.Vec     `json:"up"`       // against gravity, in the cavity's coordinates
	Spots   []VentSpot `json:"spots"`    // the new vents
	Words   string     `json:"words"`
}

// TiltResult of a search: Best is never worse than Flat in trapped air.
type TiltResult struct {
	Best TiltChoice  `json:"best"`
	Flat TiltChoice  `json:"flat"`
	Map  []TiltPoint `json:"map"` // all that were looked at, by x then y

	step r2.Vec // of the grid, degrees
}

// UpAt is the direction against gravity of a mould that stands up along rest when flat, and whose
// sides toward the frame's x and y are raised by the given angles.
func UpAt(rest r3.Vec, xDeg, yDeg float64) r3.Vec {
	f := geom.FrameTo(rest)
	return r3.Unit(f.Inverse(r3.Vec{X: math.Tan(xDeg * math.Pi / 180), Y: math.Tan(yDeg * math.Pi / 180), Z: 1}))
}

// SearchTilt looks for the tilt with the least trapped air, then the fewest new vents, then the least
// tilt. Differences in trapped air below the smallest pocket worth a vent do not count, except that
// the best is never worse than flat.
//
// The air is that of the tree of peaks: exact, for a resin with one level. It takes no count of air
// that leaves a high point by way of a lower, still dry bend; Fill does.
//
// A square grid over the two angles comes first, then ever closer neighbours of the best. Errors are
// those of Fill.
func (c *Cavity) SearchTilt(ctx context.Context, opt TiltOptions) (*TiltResult, error) {
	s, err := c.tiltSearch(opt)
	if err != nil {
		return nil, err
	}
	if err := s.run(ctx); err != nil {
		return nil, err
	}
	return s.result(), nil
}

// Proposal is what one direction needs.
type Proposal struct {
	Spots      []VentSpot `json:"spots"`
	TrappedMM3 float64    `json:"trapped_mm3"` // with the new vents
	BareMM3    float64    `json:"bare_mm3"`    // without
}

// Propose puts vents for one direction against gravity, off the show faces: at the top of every pocket
// worth one that the given openings leave. Of the options, Pour, Vents, PourClosed, MarksOnShow and
// VentRadiusMM count. Errors are those of Fill.
func (c *Cavity) Propose(up r3.Vec, opt TiltOptions) (*Proposal, error) {
	if !(r3.Norm(up) > 0) {
		return nil, &OptionError{"the length of the upward direction", r3.Norm(up), "above 0"}
	}
	opt.OnlyThese = false
	s, err := c.tiltSearch(opt)
	if err != nil {
		return nil, err
	}
	p := c.propose(up, s.given, s.opt.VentRadiusMM, false)
	return &Proposal{p.vents, p.trapped, p.before}, nil
}

// tiltSearch checks the options and gathers the openings.
func (c *Cavity) tiltSearch(opt TiltOptions) (*tiltSearch, error) {
	if err := opt.complete(); err != nil {
		return nil, err
	}
	// While vents may still be proposed, a space without one is no error.
	set := Setup{Pour: opt.Pour, Vents: opt.Vents, PourClosed: opt.PourClosed && opt.OnlyThese, MarksOnShow: opt.MarksOnShow}
	pours, vents, err := c.points(&set)
	if err != nil {
		return nil, err
	}
	s := &tiltSearch{c: c, opt: opt}
	for _, v := range vents {
		s.given = append(s.given, v.at)
	}
	if !opt.PourClosed {
		for _, v := range pours {
			s.given = append(s.given, v.at)
		}
	}
	return s, nil
}

func (o *TiltOptions) complete() error {
	if r3.Norm(o.Rest) == 0 {
		o.Rest = r3.Vec{Z: 1}
	}
	for _, a := range []struct {
		name string
		at   *float64
	}{{"the greatest tilt in x, degrees", &o.MaxXDeg}, {"the greatest tilt in y, degrees", &o.MaxYDeg}} {
		switch {
		case *a.at == 0:
			*a.at = defaultMaxTiltDeg
		case *a.at < 0:
			*a.at = 0
		case !(*a.at < 80):
			return &OptionError{a.name, *a.at, "below 80"}
		}
	}
	if o.Directions <= 0 {
		o.Directions = defaultDirections
	}
	if o.VentRadiusMM == 0 {
		o.VentRadiusMM = defaultVentRadiusMM
	}
	if !(o.VentRadiusMM > 0) {
		return &OptionError{"the radius of a vent in mm", o.VentRadiusMM, "above 0"}
	}
	return nil
}

type tiltSearch struct {
	c     *Cavity
	opt   TiltOptions
	given []r3.Vec
	done  []TiltPoint
	seen  map[[2]float64]bool
	step  r2.Vec
}

// run looks at the grid, then halves the step round the best until the directions are used up.
func (s *tiltSearch) run(ctx context.Context) error {
	s.seen = map[[2]float64]bool{}
	flatX, flatY := s.opt.MaxXDeg == 0, s.opt.MaxYDeg == 0
	side := int(math.Sqrt(gridShare * float64(s.opt.Directions)))
	if flatX || flatY {
		side = int(gridShare * float64(s.opt.Directions))
	}
	half := max(1, (side-1)/2)
	hx, hy := half, half
	if flatX {
		hx = 0
	}
	if flatY {
		hy = 0
	}
	var batch [][2]float64
	for i := -hx; i <= hx; i++ {
		for j := -hy; j <= hy; j++ {
			batch = append(batch, [2]float64{float64(i) / float64(half) * s.opt.MaxXDeg, float64(j) / float64(half) * s.opt.MaxYDeg})
		}
	}
	if err := s.look(ctx, batch); err != nil {
		return err
	}
	dx, dy := s.opt.MaxXDeg/float64(half), s.opt.MaxYDeg/float64(half)
	s.step = r2.Vec{X: cmp.Or(dx, dy, 1), Y: cmp.Or(dy, dx, 1)}
	for len(s.done) < s.opt.Directions && max(dx, dy) > leastStepDeg {
		dx, dy = dx/2, dy/2
		best := s.best()
		batch = batch[:0]
		for i := -1.0; i <= 1; i++ {
			for j := -1.0; j <= 1; j++ {
				batch = append(batch, [2]float64{clampTo(best.XDeg+i*dx, s.opt.MaxXDeg), clampTo(best.YDeg+j*dy, s.opt.MaxYDeg)})
			}
		}
		if err := s.look(ctx, batch); err != nil {
			return err
		}
	}
	return nil
}

const (
	// gridShare of the directions go to the grid, the rest to closing in.
	gridShare = 0.9
	// leastStepDeg: a wedge is not printed, nor a bench level, to better than this.
	leastStepDeg = 0.05
)

func clampTo(v, limit float64) float64 { return min(max(v, -limit), limit) }

// look measures a batch of tilts on all workers.
func (s *tiltSearch) look(ctx context.Context, batch [][2]float64) error {
	var todo [][2]float64
	for _, b := range batch {
		b = [2]float64{b[0] + 0, b[1] + 0}
		if !s.seen[b] && len(s.done)+len(todo) < s.opt.Directions {
			s.seen[b] = true
			todo = append(todo, b)
		}
	}
	out := make([]TiltPoint, len(todo))
	var next, ready atomic.Int64
	var wg sync.WaitGroup
	for range min(s.c.opt.Workers, len(todo)) {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(todo) || ctx.Err() != nil {
					return
				}
				p := s.propose(todo[i][0], todo[i][1])
				out[i] = TiltPoint{todo[i][0], todo[i][1], p.trapped, p.before, len(p.vents)}
				ready.Add(1)
			}
		})
	}
	wg.Wait()
	if err := ctx.Err(); err != nil {
		return fmt.Errorf("search the tilt: %w", err)
	}
	s.done = append(s.done, out...)
	if s.c.opt.Progress != nil {
		s.c.opt.Progress(float64(len(s.done)) / float64(s.opt.Directions))
	}
	return nil
}

func (s *tiltSearch) propose(xDeg, yDeg float64) proposal {
	return s.c.propose(UpAt(s.opt.Rest, xDeg, yDeg), s.given, s.opt.VentRadiusMM, s.opt.OnlyThese)
}

// flat is the untilted point; the grid always holds it.
func (s *tiltSearch) flat() TiltPoint {
	for _, p := range s.done {
		if p.XDeg == 0 && p.YDeg == 0 {
			return p
		}
	}
	return s.done[0]
}

func (s *tiltSearch) best() TiltPoint {
	flat := s.flat()
	best := flat
	for _, p := range s.done {
		if p.TrappedMM3 <= flat.TrappedMM3 && s.better(p, best) {
			best = p
		}
	}
	return best
}

func (s *tiltSearch) better(a, b TiltPoint) bool {
	worth := func(p TiltPoint) float64 { return math.Floor(p.TrappedMM3 / s.c.opt.MinPocketMM3) }
	tilt := func(p TiltPoint) float64 {
		return math.Round(tiltDeg(p.XDeg, p.YDeg) / leastStepDeg)
	}
	c := cmp.Or(cmp.Compare(worth(a), worth(b)), cmp.Compare(a.Vents, b.Vents), cmp.Compare(tilt(a), tilt(b)),
		cmp.Compare(a.TrappedMM3, b.TrappedMM3), cmp.Compare(a.XDeg, b.XDeg), cmp.Compare(a.YDeg, b.YDeg))
	return c < 0
}

// tiltDeg is the angle from upright.
func tiltDeg(xDeg, yDeg float64) float64 {
	return math.Atan(math.Hypot(math.Tan(xDeg*math.Pi/180), math.Tan(yDeg*math.Pi/180))) * 180 / math.Pi
}

func (s *tiltSearch) result() *TiltResult {
	r := &TiltResult{Best: s.choice(s.best()), Flat: s.choice(s.flat()), Map: slices.Clone(s.done), step: s.step}
	slices.SortFunc(r.Map, func(a, b TiltPoint) int { return cmp.Or(cmp.Compare(a.XDeg, b.XDeg), cmp.Compare(a.YDeg, b.YDeg)) })
	return r
}

func (s *tiltSearch) choice(p TiltPoint) TiltChoice {
	c := TiltChoice{TiltPoint: p, TiltDeg: tiltDeg(p.XDeg, p.YDeg), Up: UpAt(s.opt.Rest, p.XDeg, p.YDeg), Spots: s.propose(p.XDeg, p.YDeg).vents}
	side := func(deg float64, axis string) string {
		if deg < 0 {
			return fmt.Sprintf("the −%s side %.1f°", axis, -deg)
		}
		return fmt.Sprintf("the +%s side %.1f°", axis, deg)
	}
	switch {
	case p.XDeg == 0 && p.YDeg == 0:
		c.Words = "stand the mould flat"
	case p.YDeg == 0:
		c.Words = "raise " + side(p.XDeg, "x")
	case p.XDeg == 0:
		c.Words = "raise " + side(p.YDeg, "y")
	default:
		c.Words = "raise " + side(p.XDeg, "x") + " and " + side(p.YDeg, "y")
	}
	c.Words += "; "
	if p.Vents > 0 {
		c.Words += "with " + count(p.Vents, "new vent") + " "
	}
	c.Words += amount(p.TrappedMM3) + " of air stays"
	return c
}
