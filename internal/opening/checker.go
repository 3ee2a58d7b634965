package opening

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// Checker holds prepared bodies for repeated questions, such as the same pieces along many
// directions. It is safe for concurrent use.
//
//	c, err := opening.NewChecker([]opening.Body{{"lower half", lower}, {"upper half", upper}}, opening.Options{})
//	...
//	for _, d := range directions {
//		v, err := c.Check(ctx, "upper half", "lower half", d)
//		...
//	}
type Checker struct {
	opt    Options
	bodies map[string]*prepared
	names  []string

	mu    sync.Mutex
	apart map[[2]string]bool // pairs whose interiors were found apart; names sorted
}

// prepared is a body with what is worked out when it is first asked about.
type prepared struct {
	Body
	mu    sync.Mutex
	probe *probe
	films films
}

// ready builds the tree and looks for films. A cancelled attempt leaves the body as it was.
func (p *prepared) ready(ctx context.Context, opt Options) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.probe != nil {
		return ctx.Err()
	}
	probe := newProbe(p.Mesh)
	films, err := findFilms(ctx, p.Mesh, probe.tree, filmShare*opt.ToleranceMM, opt.Workers)
	if err != nil {
		return err
	}
	p.probe, p.films = probe, films
	return nil
}

// NewChecker checks each body and prepares it. An error matches ErrBody when a body cannot be judged.
func NewChecker(bodies []Body, opt Options) (*Checker, error) {
	opt, err := opt.withDefaults()
	if err != nil {
		return nil, err
	}
	c := &Checker{opt: opt, bodies: make(map[string]*prepared, len(bodies)), apart: make(map[[2]string]bool)}
	for _, b := range bodies {
		if _, ok := c.bodies[b.Name]; ok {
			return nil, fmt.Errorf("%w: two bodies are named %q; give each its own name", ErrBody, b.Name)
		}
		if err := checkBody(b); err != nil {
			return nil, err
		}
		c.bodies[b.Name] = &prepared{Body: b}
		c.names = append(c.names, b.Name)
	}
	return c, nil
}

func (c *Checker) body(name string) (*prepared, error) {
	b, ok := c.bodies[name]
	if !ok {
		return nil, fmt.Errorf("opening: no body named %q; there are %q", name, c.names)
	}
	return b, nil
}

// unit makes d of unit length, leaving the directions of the axes exact.
func unit(d r3.Vec) (r3.Vec, error) {
	l := r3.Norm(d)
	if !(l > 0) || math.IsInf(l, 0) {
		return d, fmt.Errorf("opening: direction (%g, %g, %g) has no length", d.X, d.Y, d.Z)
	}
	if math.Abs(l-1) < 1e-15 {
		return d, nil
	}
	return r3.Scale(1/l, d), nil
}

// Check judges whether moving leaves fixed along d. d need not be of unit length.
func (c *Checker) Check(ctx context.Context, moving, fixed string, d r3.Vec) (*Verdict, error) {
	return c.check(ctx, moving, fixed, d, c.opt.Progress)
}

func (c *Checker) check(ctx context.Context, moving, fixed string, d r3.Vec, progress func(float64)) (*Verdict, error) {
	a, err := c.body(moving)
	if err != nil {
		return nil, err
	}
	b, err := c.body(fixed)
	if err != nil {
		return nil, err
	}
	if moving == fixed {
		return nil, fmt.Errorf("opening: %q cannot be both the moving and the fixed body", moving)
	}
	if d, err = unit(d); err != nil {
		return nil, err
	}
	for _, p := range [...]*prepared{a, b} {
		if err := p.ready(ctx, c.opt); err != nil {
			return nil, err
		}
	}
	frame := geom.FrameTo(d)
	fa, fb := newFramed(a.Mesh, a.films, frame), newFramed(b.Mesh, b.films, frame)
	all, places, err := findOverlaps(ctx, fa, fb, c.opt.ToleranceMM, c.opt.Workers, share(progress, 0.1, 0.6))
	if err != nil {
		return nil, err
	}
	for i, p := range places {
		places[i] = frame.Inverse(p)
	}
	if err := c.checkApart(ctx, a, b, places); err != nil {
		return nil, err
	}
	v := &Verdict{Moving: moving, Fixed: fixed, Direction: d, ToleranceMM: c.opt.ToleranceMM}
	if v.ZeroDraftAreaMM2, err = zeroDraftArea(ctx, fa, fb, c.opt); err != nil {
		return nil, err
	}
	if err := c.judge(ctx, v, all, fa, fb); err != nil {
		return nil, err
	}
	if progress != nil {
		progress(1)
	}
	return v, nil
}

// grazeShare of the tolerance is the width from which an overlap that does not lock is told as a
// graze; below it lies the rounding of files.
const grazeShare = 0.1

func (c *Checker) judge(ctx context.Context, v *Verdict, all []overlap, moving, fixed framed) error {
	frame, by := moving.frame, judge{tolMM: c.opt.ToleranceMM, workers: c.opt.Workers}
	slices.SortFunc(all, byGap)
	found, err := by.lock(ctx, all)
	if err != nil {
		return err
	}
	if found != nil || widest(all) > grazeShare*c.opt.ToleranceMM {
		rest, changed, err := withoutPassed(ctx, all, moving, fixed, c.opt.ToleranceMM, c.opt.Workers)
		if err != nil {
			return err
		}
		if changed {
			all = rest
			slices.SortFunc(all, byGap)
			if found, err = by.lock(ctx, all); err != nil {
				return err
			}
		}
	}
	if found != nil {
		v.State = Blocked
		v.TravelMM, v.At = found.travel, frame.Inverse(found.at)
		v.MovingFacets, v.FixedFacets = found.moving, found.fixed
		v.OverlapDepthMM, v.OverlapDepthErrorMM = found.depth, found.depthError
		v.OverlapAreaMM2 = found.area
		return nil
	}
	if w := widest(all); w > grazeShare*c.opt.ToleranceMM {
		v.GrazeMM = w
	}
	if v.GrazeMM > 0 || v.ZeroDraftAreaMM2 > c.opt.ToleranceMM*c.opt.ToleranceMM {
		v.State = Sliding
	}
	return nil
}

func (c *Checker) checkApart(ctx context.Context, a, b *prepared, places []r3.Vec) error {
	if c.opt.TrustApart {
		return nil
	}
	key := [2]string{min(a.Name, b.Name), max(a.Name, b.Name)}
	c.mu.Lock()
	known := c.apart[key]
	c.mu.Unlock()
	if known {
		return nil
	}
	at, ok, err := overlapPlace(ctx, a.probe, b.probe, c.opt.ToleranceMM, c.opt.Workers, places)
	if err != nil {
		return err
	}
	if ok {
		return &OverlapError{A: a.Name, B: b.Name, At: at}
	}
	c.mu.Lock()
	c.apart[key] = true
	c.mu.Unlock()
	return nil
}
