package tooling

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// bar is a frame of 50 × 36 mm outside, w wide all round, h high, without draft.
func bar(t *testing.T, w, h float64) *mesh.Mesh {
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		hole := rect(-25+w, -18+w, 25-w, 18-w)
		return k.Prism([][]r2.Vec{rect(-25, -18, 25, 18), {hole[0], hole[3], hole[2], hole[1]}}, 0, h)
	})
}

// On a frame 5.9 mm wide a 5 mm sprue fits on the middle line alone: its foot, wider by its draft down
// from the block's top, is 5 + 2·8·tan 1.5° = 5.42 mm, and 0.2 mm are kept on each side.
func TestSprueOnTheMiddleLineOfANarrowPart(t *testing.T) {
	m := build(t, bar(t, 5.9, 8), TwoHalfOptions{})
	for _, f := range m.Features {
		if f.Kind == "sprue" {
			near(t, "diameter", f.SizesMM[0].MM, 5, 1e-12)
			at := shape{core: []r2.Vec{{X: f.At.X, Y: f.At.Y}}, radius: f.SizesMM[1].MM / 2}
			if !Outline(m.Shadow).Contains(at.core[0]) {
				t.Errorf("sprue at %v, not over the frame", f.At)
			}
			for _, loop := range m.Shadow {
				for i, p := range loop {
					if g := gap(at, shape{core: []r2.Vec{p, loop[(i+1)%len(loop)]}}); g < 0.2-footSlackMM {
						t.Errorf("sprue at %v: its foot comes within %.3f mm of the edge", f.At, g)
					}
				}
			}
		}
	}
	if noted(m, "no place") {
		t.Errorf("notes %q", m.Notes)
	}
}

// A narrower frame takes a 3 mm, a yet narrower one a 2 mm sprue, and the maker is told.
func TestSmallerSprue(t *testing.T) {
	for w, want := range map[float64]float64{4: 3, 3: 2} {
		m := build(t, bar(t, w, 8), TwoHalfOptions{})
		for _, f := range m.Features {
			if f.Kind == "sprue" {
				near(t, "diameter", f.SizesMM[0].MM, want, 1e-12)
			}
		}
		if !noted(m, "no place on the upper faces takes a sprue of 5.0 mm") {
			t.Errorf("frame %g mm wide: notes %q", w, m.Notes)
		}
	}
}

// A frame 1.5 mm wide takes no upright sprue at all: it is fed along the parting surface. Every volume
// is still accounted for, the gutter stays clear, and the casting reaches the block's side.
func TestSideSprueFeedsAThinPart(t *testing.T) {
	m := build(t, bar(t, 1.5, 8), TwoHalfOptions{Gutter: &GutterOptions{DepthMM: 1.5}})
	if count(m, "side sprue") != 1 || count(m, "sprue") != 0 {
		t.Fatalf("features %v", m.Features)
	}
	if count(m, "side vent") != 1 {
		t.Errorf("%d side vents, want 1", count(m, "side vent"))
	}
	if !noted(m, "along the parting surface from the") {
		t.Errorf("notes %q", m.Notes)
	}
	// The trough is a trapezoid 6 mm wide at its foot and 4 mm high with 10° sides, from the side of the
	// block to the part; the frame's top lies level with the line or higher, so the gate adds a little.
	for _, f := range m.Features {
		if f.Kind != "side sprue" {
			continue
		}
		area := (f.SizesMM[0].MM - f.SizesMM[1].MM*math.Tan(10*math.Pi/180)) * f.SizesMM[1].MM
		run := f.SizesMM[2].MM
		if v := f.VolumeMM3; v > area*run || v < area*(run-2*gateMM) {
			t.Errorf("the trough holds %.1f mm³, a trapezoid %.1f mm long holds %.1f", v, run, area*run)
		}
		near(t, "ledger", lineOf(m, "sprue"), f.VolumeMM3, 1e-9)
	}
	cast, block := m.Cast.Bounds(), m.Block
	out := max(block.Min.X-cast.Min.X, block.Min.Y-cast.Min.Y, cast.Max.X-block.Max.X, cast.Max.Y-block.Max.Y)
	near(t, "casting to the block's side", out, 0, 1e-9)
}

// A side sprue follows a wavy line and keeps off show faces.
func TestSideSprueKeepsOffShowFaces(t *testing.T) {
	part := saddle().Map(func(v r3.Vec) r3.Vec { return v })
	show := make([]bool, len(part.Tris))
	for i := range part.Tris {
		f := part.Facet(i)
		n := f.Normal()
		// The top is on show but for the last ring of facets, and the edge but for its front.
		c := f.Centroid()
		show[i] = (n.Z > 0.5*r3.Norm(n) && math.Hypot(c.X/25, c.Y/18) < 11.0/12) || (math.Abs(n.Z) < 0.5*r3.Norm(n) && c.Y > -9)
	}
	m := build(t, part, TwoHalfOptions{Show: show})
	for _, f := range m.Features {
		if f.Kind == "sprue" || f.Kind == "vent" {
			t.Errorf("%s at %v: the top is on show", f.Kind, f.At)
		}
	}
	all := make([]bool, len(part.Tris))
	for i := range all {
		all[i] = true
	}
	if _, err := TwoHalves(context.Background(), pool, part, TwoHalfOptions{Direction: up, Show: all}); !errors.Is(err, ErrSprue) {
		t.Errorf("all faces on show: %v", err)
	}
}

// hills is a plate with three round hills of 6, 4 and 2.5 mm.
func hills() (*mesh.Mesh, []r3.Vec) {
	tops := []r3.Vec{{X: -20, Y: 3, Z: 6}, {X: 2, Y: -6, Z: 4}, {X: 22, Y: 4, Z: 2.5}}
	m := waved(36, 24, 6, 96, func(x, y float64) float64 { return 0 })
	m = m.Map(func(v r3.Vec) r3.Vec {
		if v.Z > 0 && math.Hypot(v.X/36, v.Y/24) < 0.99 {
			for _, p := range tops {
				if d := math.Hypot(v.X-p.X, v.Y-p.Y) / 9; d < 1 {
					v.Z += p.Z * (1 + math.Cos(math.Pi*d)) / 2
				}
			}
		}
		return v
	})
	return m, tops
}

func TestHighPoints(t *testing.T) {
	m, tops := hills()
	got := highPoints(m)
	if len(got) != 3 || !math.IsInf(got[0].rise, 1) {
		t.Fatalf("%v: want three, the highest without end", got)
	}
	for i, p := range tops {
		// The mesh has a corner every few millimetres, so its summit is near the hill's.
		if d := math.Hypot(got[i].at.X-p.X, got[i].at.Y-p.Y); d > 2.5 {
			t.Errorf("high point %d at %v, want near %v", i, got[i].at, p)
		}
		if i > 0 {
			near(t, "rise", got[i].rise, got[i].at.Z-3, 1e-12) // over the flat plate at z 3
		}
	}
}

// Vents go to the hills first, one each; with too few asked the mould says how many stay without.
func TestVentsStandOnHighPoints(t *testing.T) {
	m, tops := hills()
	got := build(t, m, TwoHalfOptions{Vents: 3})
	on := 0
	for _, f := range got.Features {
		if f.Kind != "vent" && f.Kind != "sprue" {
			continue
		}
		at := got.Place.Back(f.At)
		for _, p := range tops {
			if math.Hypot(at.X-p.X, at.Y-p.Y) < 3 {
				on++
			}
		}
	}
	if on < 3 {
		t.Errorf("%d of three hills have a vent or the sprue", on)
	}
	one := build(t, m, TwoHalfOptions{Vents: 1})
	if !noted(one, "high points of the part without a vent: 2") {
		t.Errorf("notes %q", one.Notes)
	}
	if many := build(t, bar(t, 3, 8), TwoHalfOptions{Vents: 400, VentMM: 2.5}); !noted(many, "of the 400 vents asked for found a place") {
		t.Errorf("notes %q", many.Notes)
	}
}

// Places asked for come before the high points, are moved no more than said, keep off show faces, and
// those that find nothing are named.
func TestVentsAt(t *testing.T) {
	m, tops := hills()
	first := build(t, m, TwoHalfOptions{Vents: 1})
	low := first.Place.Into(r3.Vec{X: tops[2].X, Y: tops[2].Y, Z: tops[2].Z + 3})
	vents := func(m *Mould) (at []r3.Vec) {
		for _, f := range m.Features {
			if f.Kind == "vent" {
				at = append(at, f.At)
			}
		}
		return at
	}
	off := func(a, b r3.Vec) float64 { return math.Hypot(a.X-b.X, a.Y-b.Y) }
	if v := vents(first); len(v) != 1 || off(v[0], low) < 10 {
		t.Fatalf("vents at %v: the lowest hill should not be the first choice", v)
	}
	asked := build(t, m, TwoHalfOptions{Vents: 1, VentsAt: []r3.Vec{low}})
	if v := vents(asked); len(v) != 1 || off(v[0], low) > VentMoveMM {
		t.Errorf("vents at %v, asked for at %v", v, low)
	}
	// The hill's top on show: the vent moves just off it; with all about it on show there is none.
	for _, c := range []struct {
		showMM float64
		found  bool
	}{{1, true}, {8, false}} {
		show := make([]bool, len(m.Tris))
		for f := range show {
			p := m.Facet(f).Centroid()
			show[f] = p.Z > 0 && math.Hypot(p.X-tops[2].X, p.Y-tops[2].Y) < c.showMM
		}
		got := build(t, m, TwoHalfOptions{Vents: 2, VentsAt: []r3.Vec{low}, Show: show})
		near := slices.ContainsFunc(vents(got), func(v r3.Vec) bool { return off(v, low) <= VentMoveMM })
		if near != c.found || noted(got, "no vent within 3 mm of") == c.found {
			t.Errorf("show %g mm about the hill: vents %v, notes %q", c.showMM, vents(got), got.Notes)
		}
	}
	if got := build(t, m, TwoHalfOptions{Vents: 1, VentsAt: []r3.Vec{low, low, first.Place.Into(tops[0])}}); !noted(got, "the mould has its 1 already") {
		t.Errorf("notes %q", got.Notes)
	}
	if _, err := TwoHalves(context.Background(), pool, m, TwoHalfOptions{Direction: up, VentsAt: []r3.Vec{{X: math.NaN()}}}); !errors.Is(err, ErrOptions) {
		t.Errorf("a vent nowhere: %v", err)
	}
}
