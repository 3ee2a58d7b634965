package tooling

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/solid"
)

// trench is a straight channel along the parting surface, of trapezoid section: as wide as asked at the
// surface, and narrowing away from it, so that its half leaves what cures in it.
type trench struct {
	from, dir                   r2.Vec // unit direction
	lengthMM, widthMM, heightMM float64
	draftDeg                    float64
	closedStart, closedEnd      bool // that end leans as the sides do; else it is upright
}

// plan is the rectangle that the trench takes.
func (t trench) plan() []r2.Vec { return strip(t.from, t.dir, t.lengthMM, t.widthMM) }

// solid is the cutter for one half. facing is the raw half across the parting surface.
func (t trench) solid(k *solid.Kernel, facing *solid.Solid, in Half) (*solid.Solid, error) {
	steep := 1 / math.Tan(max(t.draftDeg, leastDraftDeg)*math.Pi/180)
	lean := func(inward r2.Vec, roomMM float64) func(p r2.Vec) float64 {
		return func(p r2.Vec) float64 { return steep * (roomMM + r2.Dot(inward, r2.Sub(p, t.from))) }
	}
	side := r2.Vec{X: -t.dir.Y, Y: t.dir.X}
	walls := []func(r2.Vec) float64{func(r2.Vec) float64 { return t.heightMM }, lean(r2.Scale(-1, side), t.widthMM/2), lean(side, t.widthMM/2)}
	if t.closedStart {
		walls = append(walls, lean(t.dir, 0))
	}
	if t.closedEnd {
		walls = append(walls, lean(r2.Scale(-1, t.dir), t.lengthMM))
	}
	return follow(k, facing, Upper+Lower-in, [][]r2.Vec{t.plan()}, walls...)
}
