package tooling

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/solid"
)

// bothSides is the piece of a feature that lies in both side pieces.
const bothSides = "side piece"

// sideTool is a solid to cut from pieces, or to add to one. to says for which pieces: the whole half, the
// first and the second side piece.
type sideTool struct {
	to  [3]bool
	add bool
	s   *solid.Solid
}

var (
	ofWhole = [3]bool{true, false, false}
	ofOne   = [3]bool{false, true, false}
	ofTwo   = [3]bool{false, false, true}
	ofSides = [3]bool{false, true, true}
)

// sideShare is a line of the ledger with the tools that make its space.
type sideToolShare struct {
	name  string
	tools []sideTool
}

// forLedger is the share as the ledger takes it: what it cuts.
func (s sideToolShare) forLedger() share {
	out := share{name: s.name}
	for _, t := range s.tools {
		out.tools = append(out.tools, Tool{Add: t.add, Solid: t.s})
	}
	return out
}

// dryTools are the features that hold no part of the casting. over is what stands on the whole half.
func (b *sideSplit) dryTools(k *solid.Kernel, over *solid.Solid) ([]sideToolShare, error) {
	var out []sideToolShare
	for _, f := range []func(*solid.Kernel) (sideToolShare, error){b.clampTools, b.crossTools, b.coneTools, b.railTools, b.pryTools, b.labelTools} {
		s, err := f(k)
		if err != nil {
			return nil, fmt.Errorf("tooling: %w", err)
		}
		if len(s.tools) > 0 {
			out = append(out, s)
		}
	}
	if b.row == nil {
		return out, nil
	}
	s, err := b.numberTools(k, over)
	return append(out, s), err
}

// clampTools are the upright bolts that hold the side pieces on the whole half.
func (b *sideSplit) clampTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "upright bolt holes and nut pockets"}
	m := b.mould
	for i, at := range b.plan.clamps {
		tools, err := b.plan.clamp.Tools(k, at, m.Block)
		if err != nil {
			return s, err
		}
		for _, t := range tools {
			to := ofWhole
			if t.Half == Upper {
				to = ofSides
			}
			s.tools = append(s.tools, sideTool{to, t.Add, t.Solid})
		}
		c, err := b.plan.clamp.Walls(at, m.Block, b.field)
		if err != nil {
			return s, err
		}
		m.Checks = append(m.Checks, c)
		m.Features = append(m.Features, b.plan.clamp.Feature(fmt.Sprintf("B%d", i+1), at, m.Block))
	}
	return s, nil
}

// alongX takes (y, z, x) to (x, y, z): tools made upright come out along x.
var alongX = solid.Affine{X: r3.Vec{Y: 1}, Y: r3.Vec{Z: 1}, Z: r3.Vec{X: 1}}

// crossTools are the bolts that hold the side pieces together, their heads in side piece 1.
func (b *sideSplit) crossTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "cross bolt holes and nut pockets"}
	m := b.mould
	lo, hi := m.Block.Min, m.Block.Max
	turned := r3.Box{Min: r3.Vec{X: lo.Y, Y: lo.Z, Z: lo.X}, Max: r3.Vec{X: hi.Y, Y: hi.Z, Z: hi.X}}
	for i, at := range b.plan.across {
		bolt := b.plan.cross
		tools, err := bolt.Tools(k, at, turned)
		if err != nil {
			return s, err
		}
		for _, t := range tools {
			across, err := t.Solid.Transform(alongX)
			if err != nil {
				return s, err
			}
			to := ofTwo
			if t.Half == Upper {
				to = ofOne
			}
			s.tools = append(s.tools, sideTool{to, t.Add, across})
		}
		seat := min(b.splitX-(lo.X+bolt.PocketMM), hi.X-bolt.CounterboreMM-b.splitX)
		m.Checks = append(m.Checks, Check{Name: "cross bolt seat wall", OK: !short(seat, bolt.Options.MinWallMM), Value: seat, Limit: bolt.Options.MinWallMM, Unit: "mm",
			Words: fmt.Sprintf("cross bolt at y %.1f, z %.1f mm: %.1f mm of mould between a seat and the side split", at.X, at.Y, seat)})
		f := bolt.Feature(fmt.Sprintf("C%d", i+1), r2.Vec{}, turned)
		f.Kind, f.Piece, f.At = "cross bolt", bothSides, r3.Vec{X: hi.X, Y: at.X, Z: at.Y}
		m.Features = append(m.Features, f)
	}
	return s, nil
}

// coneTools are the keys between the side pieces.
func (b *sideSplit) coneTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "clearance round the cones"}
	slope := math.Tan(coneDraftDeg * math.Pi / 180)
	c := b.opt.KeyClearance
	for i, q := range b.plan.cones {
		from := r3.Vec{X: b.splitX - coneRootMM, Y: q.at.X, Z: q.at.Y}
		base, n := q.base+coneRootMM*slope, circleSegments(q.base)
		long := coneRootMM + coneHighMM
		male, err := k.Frustum(from, r3.Vec{X: long}, base, base-long*slope, n)
		if err != nil {
			return s, err
		}
		female, err := k.Frustum(from, r3.Vec{X: long + c}, base+c, base+c-(long+c)*slope, n)
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, sideTool{ofTwo, true, male}, sideTool{ofOne, false, female})
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("K%d", i+1), Kind: "cone key", Piece: bothSides,
			At:      r3.Vec{X: b.splitX, Y: q.at.X, Z: q.at.Y},
			SizesMM: []Size{{"base diameter", 2 * q.base}, {"rise", coneHighMM}, {"clearance", c}},
			Words:   fmt.Sprintf("cone of side piece 2 in side piece 1, %.1f mm at the split, %g° draft, %.2f mm clearance", 2*q.base, coneDraftDeg, c)})
	}
	return s, nil
}

// railTools are the keys between the whole half and the side pieces.
func (b *sideSplit) railTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "clearance round the rails"}
	c := b.opt.KeyClearance
	for i, r := range b.plan.rails {
		lo, hi, whole := b.field.Range(r.plan(b.splitX, c))
		if !whole {
			return s, fmt.Errorf("rail at y %.1f mm: the parting surface does not run under all of it: %w", r.y, ErrKey)
		}
		male, err := k.Hull(r.body(b.splitX, lo-railRootMM, hi+railHighMM, 0))
		if err != nil {
			return s, err
		}
		female, err := k.Hull(r.body(b.splitX, lo-railRootMM, hi+railHighMM+c, c))
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, sideTool{ofWhole, true, male}, sideTool{ofSides, false, female})
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("R%d", i+1), Kind: "rail", Piece: WholeHalf,
			At:      r3.Vec{X: b.splitX, Y: r.y, Z: hi + railHighMM},
			SizesMM: []Size{{"width under the split", 2 * r.half}, {"width at its ends", 2 * r.endHalf(b.splitX)}, {"length", r.to - r.from}, {"rise", railHighMM}, {"clearance", c}},
			Words: fmt.Sprintf("rail along the side, %.1f mm wide under the split and %.1f mm at its ends, %.1f mm high, %.2f mm clearance",
				2*r.half, 2*r.endHalf(b.splitX), railHighMM, c)})
	}
	return s, nil
}

// endHalf is half the width at the ends: the taper asked for, or as much as leaves a sound end.
func (r sideRail) endHalf(splitX float64) float64 {
	long := max(r.to-splitX, splitX-r.from)
	return max(r.half-long*math.Tan(railTaperDeg*math.Pi/180), railTipMM)
}

// plan is the outline at the foot, grown by c, which also runs past the ends by it.
func (r sideRail) plan(splitX, c float64) []r2.Vec {
	e := r.endHalf(splitX) + c
	return []r2.Vec{{X: r.from - c, Y: r.y - e}, {X: splitX, Y: r.y - r.half - c}, {X: r.to + c, Y: r.y - e},
		{X: r.to + c, Y: r.y + e}, {X: splitX, Y: r.y + r.half + c}, {X: r.from - c, Y: r.y + e}}
}

// body is the outline at the foot and, narrower by the draft, at the top: convex, so its hull is it.
func (r sideRail) body(splitX, z0, z1, c float64) []r3.Vec {
	in := (z1 - z0) * math.Tan(railDraftDeg*math.Pi/180)
	slim := r
	slim.half = max(r.half-in, railTipMM/2)
	var out []r3.Vec
	e, eTop := r.endHalf(splitX), 0.0
	eTop = max(e-in, railTipMM/2)
	for _, p := range r.plan(splitX, c) {
		out = append(out, r3.Vec{X: p.X, Y: p.Y, Z: z0})
		off := p.Y - r.y
		half := eTop
		if p.X == splitX {
			half = slim.half
		}
		out = append(out, r3.Vec{X: p.X, Y: r.y + math.Copysign(half+c, off), Z: z1})
	}
	return out
}

// pryTools are the slots at the top of the side split that take a flat blade.
func (b *sideSplit) pryTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "pry slots"}
	top := b.mould.Block.Max.Z
	for i, y := range b.plan.pries {
		var pts []r3.Vec
		for _, q := range []struct{ half, z float64 }{{sidePryOpenMM + (sidePryOpenMM-sidePryEndMM)/sidePryDeepMM*overshootMM, top + overshootMM}, {sidePryEndMM, top - sidePryDeepMM}} {
			for _, x := range []float64{-q.half, q.half} {
				for _, w := range []float64{-sidePryWideMM / 2, sidePryWideMM / 2} {
					pts = append(pts, r3.Vec{X: b.splitX + x, Y: y + w, Z: q.z})
				}
			}
		}
		slot, err := k.Hull(pts)
		if err != nil {
			return s, err
		}
		s.tools = append(s.tools, sideTool{ofSides, false, slot})
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("P%d", i+1), Kind: "split pry slot", Piece: bothSides, At: r3.Vec{X: b.splitX, Y: y, Z: top},
			SizesMM: []Size{{"width", sidePryWideMM}, {"depth", sidePryDeepMM}, {"opening in each piece", sidePryOpenMM}},
			Words:   fmt.Sprintf("pry slot for a flat blade in the top of the side split, %.1f mm wide, %.1f mm deep", sidePryWideMM, sidePryDeepMM)})
	}
	return s, nil
}

// labelTools letter the front of each piece.
func (b *sideSplit) labelTools(k *solid.Kernel) (sideToolShare, error) {
	s := sideToolShare{name: "labels"}
	if b.opt.Label.Text == "" {
		return s, nil
	}
	lo, hi := b.mould.Block.Min, b.mould.Block.Max
	seamLow, seamHigh := math.Inf(1), math.Inf(-1)
	for _, v := range b.mould.Surface.Rim {
		z := b.mould.Surface.Verts[v].Z
		seamLow, seamHigh = min(seamLow, z), max(seamHigh, z)
	}
	for _, f := range []struct {
		piece, mark    string
		to             [3]bool
		x0, x1, z0, z1 float64
	}{{WholeHalf, "whole half", ofWhole, lo.X, hi.X, lo.Z, seamLow}, {SideOne, "side 1", ofOne, b.splitX, hi.X, seamHigh, hi.Z}, {SideTwo, "side 2", ofTwo, lo.X, b.splitX, seamHigh, hi.Z}} {
		face := LabelFace{Centre: r3.Vec{X: (f.x0 + f.x1) / 2, Y: lo.Y, Z: (f.z0 + f.z1) / 2}, Normal: r3.Vec{Y: -1},
			WidthMM: f.x1 - f.x0 - 2*aroundMM, HeightMM: f.z1 - f.z0, BehindMM: min(aroundMM, b.opt.WallMM)}
		opt := b.opt.Label
		opt.Text += " " + f.mark
		l, err := NewLabel(face, opt)
		if errors.Is(err, ErrLabel) { // a side piece has half the width: what tells it from the other must be on it
			opt.Text = f.mark
			l, err = NewLabel(face, opt)
		}
		if err != nil {
			return s, err
		}
		tools, err := l.Tools(k, Lower)
		if err != nil {
			return s, err
		}
		for _, t := range tools {
			s.tools = append(s.tools, sideTool{f.to, t.Add, t.Solid})
		}
		q := l.Feature(fmt.Sprintf("L%d", len(s.tools)), Lower)
		q.Piece = f.piece
		b.mould.Features = append(b.mould.Features, q)
	}
	return s, nil
}
