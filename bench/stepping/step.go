package main

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"
)

// pair is one question: does Moving leave Fixed along D?
type pair struct {
	Kind, Name    string
	Moving, Fixed *mesh.Mesh
	D             r3.Vec // unit
	Barely        bool   // made to clear, or to catch, by very little
}

const (
	// leastStepMM is the travel from one intersection to the next where the bodies are that near or nearer;
	// elsewhere it is the distance between them, within which nothing can collide.
	leastStepMM = 0.1
	// lookMM is how far the distance is looked for, and so the longest step.
	lookMM = 1.0
	// nothingMM3 is the volume up to which two bodies have nothing in common: the booleans' rounding on
	// hand-sized bodies is below 1e-9 mm³.
	nothingMM3 = 1e-7
	// widthMM is the sideways overlap from which material is in the way, the proof's own definition.
	widthMM = opening.DefaultToleranceMM
)

// path is what stepping found.
type path struct {
	ReachMM float64 // travel after which the bodies are past each other
	Steps   int
	// Touches: at TouchMM, for the first time, they have more than nothing in common; at BeforeMM, the step
	// before, they did not.
	Touches           bool
	TouchMM, BeforeMM float64
	// Blocked: at BlockedMM, for the first time, the shadow of all that was in the way so far holds a disc as
	// wide as widthMM.
	Blocked   bool
	BlockedMM float64
	MostMM3   float64 // the largest volume in common at any step
}

// stepper walks one pair.
type stepper struct {
	k             *solid.Kernel
	moving, fixed *solid.Solid
	d, u, v       r3.Vec // the direction, and two square to it
	shadow        *solid.Region
	path
}

// walk steps the moving body along, from a travel to another, or until it is blocked. least is the
// shortest step.
func walk(ctx context.Context, k *solid.Kernel, p pair, from, to, least float64) (*path, error) {
	s := &stepper{k: k, d: p.D}
	s.u = r3.Unit(r3.Cross(p.D, leastAlong(p.D)))
	s.v = r3.Cross(p.D, s.u)
	var err error
	if s.moving, err = k.FromMesh(p.Moving); err != nil {
		return nil, err
	}
	defer s.moving.Free()
	if s.fixed, err = k.FromMesh(p.Fixed); err != nil {
		return nil, err
	}
	defer s.fixed.Free()
	if s.shadow, err = k.Region(nil); err != nil {
		return nil, err
	}
	defer func() { s.shadow.Free() }()
	s.ReachMM = math.Min(to, reach(p))
	for t := from; !s.Blocked && t < s.ReachMM; {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		gap, err := s.at(t)
		if err != nil {
			return nil, err
		}
		t += math.Max(gap, least)
	}
	return &s.path, nil
}

// reach is the travel after which the moving body is wholly past the fixed one.
func reach(p pair) float64 {
	low, _ := span(p.Moving, p.D)
	_, high := span(p.Fixed, p.D)
	return high - low
}

// leastAlong is the axis least along d.
func leastAlong(d r3.Vec) r3.Vec {
	x, y, z := math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z)
	switch {
	case x <= y && x <= z:
		return r3.Vec{X: 1}
	case y <= z:
		return r3.Vec{Y: 1}
	}
	return r3.Vec{Z: 1}
}

// at intersects at one travel and returns the distance between the bodies, 0 where they touch.
func (s *stepper) at(t float64) (gap float64, err error) {
	s.Steps++
	moved, err := s.moving.Translate(r3.Scale(t, s.d))
	if err != nil {
		return 0, err
	}
	defer moved.Free()
	if gap, err = moved.GapMM(s.fixed, lookMM); err != nil || gap > 0 {
		s.before(t)
		return gap, err
	}
	both, err := moved.Intersect(s.fixed)
	if err != nil {
		return 0, err
	}
	defer both.Free()
	common, err := both.VolumeMM3()
	if err != nil {
		return 0, err
	}
	s.MostMM3 = math.Max(s.MostMM3, common)
	if common <= nothingMM3 {
		s.before(t)
		return 0, nil
	}
	if !s.Touches {
		s.Touches, s.TouchMM = true, t
	}
	if s.Blocked, err = s.wide(both); s.Blocked {
		s.BlockedMM = t
	}
	return 0, err
}

func (s *stepper) before(t float64) {
	if !s.Touches {
		s.BeforeMM = t
	}
}

// wide adds what is in the way to the shadow, and tells whether a disc of widthMM now fits in it: whether
// anything is left when its outline is moved inward by half of that.
func (s *stepper) wide(both *solid.Solid) (bool, error) {
	flat, err := both.Transform(solid.Affine{X: r3.Vec{X: s.u.X, Y: s.v.X, Z: s.d.X}, Y: r3.Vec{X: s.u.Y, Y: s.v.Y, Z: s.d.Y}, Z: r3.Vec{X: s.u.Z, Y: s.v.Z, Z: s.d.Z}})
	if err != nil {
		return false, err
	}
	defer flat.Free()
	loops, err := flat.Project()
	if err != nil {
		return false, err
	}
	more, err := s.k.Region(loops)
	if err != nil {
		return false, err
	}
	defer more.Free()
	all, err := s.shadow.Union(more)
	if err != nil {
		return false, err
	}
	s.shadow.Free()
	s.shadow = all
	inner, err := all.Offset(-widthMM/2, false)
	if err != nil {
		return false, err
	}
	defer inner.Free()
	none, err := inner.IsEmpty()
	return !none, err
}
