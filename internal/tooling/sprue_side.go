package tooling

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// SideSprueOptions sizes a trough in one half that runs along the parting surface from the outside of the
// block, or from a runner, to the parting line. The zero value is 6 mm wide, 4 mm high, in the upper half.
type SideSprueOptions struct {
	WidthMM   float64 // at the parting surface; default 6
	HeightMM  float64 // over the parting surface, or under it; default 4
	DraftDeg  float64 // of its sides; default 10
	OverlapMM float64 // how far it runs into the part's outline; default 0.3
	Below     bool    // in the lower half, under the parting surface
	Closed    bool    // it begins inside the block: that end leans as its sides do
}

func (o SideSprueOptions) withDefaults() SideSprueOptions {
	setDefault(&o.WidthMM, 6)
	setDefault(&o.HeightMM, 4)
	setDefault(&o.DraftDeg, 10)
	setDefault(&o.OverlapMM, 0.3)
	return o
}

// SideSprue is a trough: its floor is the parting surface itself, its roof that surface raised, its sides
// lean inward. It is open downward everywhere, so the upper half leaves it. One in the lower half is its
// mirror image.
type SideSprue struct {
	From, Dir r2.Vec // where it begins; unit direction inward
	LengthMM  float64
	Options   SideSprueOptions
	gate      []r2.Vec // the end, from where it first meets the part
}

// NewSideSprue runs a trough from a place on the outside of the block along dir until it has crossed the
// part's outline over its whole width.
func NewSideSprue(from, dir r2.Vec, shadow Outline, opt SideSprueOptions) (SideSprue, error) {
	o := opt.withDefaults()
	if err := finite("side sprue", map[string]float64{"width": o.WidthMM, "height": o.HeightMM, "draft": o.DraftDeg, "overlap": o.OverlapMM}); err != nil {
		return SideSprue{}, err
	}
	n := r2.Norm(dir)
	if !(n > 0) {
		return SideSprue{}, fmt.Errorf("side sprue: it has no direction: %w", ErrSprue)
	}
	if 2*o.HeightMM*math.Tan(o.DraftDeg*math.Pi/180) > 0.8*o.WidthMM {
		return SideSprue{}, fmt.Errorf("side sprue: %.1f mm high with %.1f° draft closes a width of %.1f mm: make it wider or lower: %w", o.HeightMM, o.DraftDeg, o.WidthMM, ErrSprue)
	}
	s := SideSprue{From: from, Dir: r2.Scale(1/n, dir), Options: o}
	first, last := math.Inf(1), 0.0
	for _, side := range []float64{-0.5, 0, 0.5} {
		p := r2.Add(from, r2.Scale(side*o.WidthMM, r2.Vec{X: -s.Dir.Y, Y: s.Dir.X}))
		t, ok := firstCrossing(p, s.Dir, shadow)
		if !ok {
			return SideSprue{}, fmt.Errorf("side sprue from (%.1f, %.1f): it runs past the part: aim it at the part or make it thinner: %w", from.X, from.Y, ErrSprue)
		}
		first, last = min(first, t), max(last, t)
	}
	if last-first > 2*o.WidthMM {
		return SideSprue{}, fmt.Errorf("side sprue from (%.1f, %.1f): it meets the part's outline at too sharp an angle (its two sides arrive %.1f mm apart): turn it: %w",
			from.X, from.Y, last-first, ErrSprue)
	}
	s.LengthMM = last + o.OverlapMM
	s.gate = strip(r2.Add(from, r2.Scale(first-o.OverlapMM, s.Dir)), s.Dir, s.LengthMM-first+o.OverlapMM, o.WidthMM)
	return s, nil
}

// firstCrossing is the way along unit dir from p to where it first enters the outline.
func firstCrossing(p, dir r2.Vec, o Outline) (float64, bool) {
	best, ok := math.Inf(1), false
	for _, loop := range o {
		for i, a := range loop {
			ab := r2.Sub(loop[(i+1)%len(loop)], a)
			d := r2.Cross(dir, ab)
			if d == 0 {
				continue
			}
			t, u := r2.Cross(r2.Sub(a, p), ab)/d, r2.Cross(r2.Sub(a, p), dir)/d
			if t >= 0 && t < best && u >= 0 && u <= 1 {
				best, ok = t, true
			}
		}
	}
	return best, ok
}

// Plan is the rectangle that the trough takes.
func (s SideSprue) Plan() []r2.Vec { return strip(s.From, s.Dir, s.LengthMM, s.Options.WidthMM) }

// Tools makes the cutter for its half. facing is the raw half across the parting surface: the lower one,
// or with Options.Below the upper one.
func (s SideSprue) Tools(k *solid.Kernel, facing *solid.Solid) ([]Tool, error) {
	t := trench{from: s.From, dir: s.Dir, lengthMM: s.LengthMM, widthMM: s.Options.WidthMM, heightMM: s.Options.HeightMM, draftDeg: s.Options.DraftDeg, closedStart: s.Options.Closed}
	in := Upper
	if s.Options.Below {
		in = Lower
	}
	cut, err := t.solid(k, facing, in)
	if err != nil {
		return nil, fmt.Errorf("side sprue from (%.1f, %.1f): %w", s.From.X, s.From.Y, err)
	}
	return []Tool{{Half: in, Solid: cut}}, nil
}

// GateTool is the cutter of the gate, where the trough runs over the part by its overlap: a block that
// narrows upward, from under the parting line to topZ. Where the part falls away from the line it is the
// trough's own height that opens into the cavity; where the part's top lies level with the line it is the
// gate's floor. Of a trough in the lower half it narrows downward. Its wide end is wider than the trough by
// widerMM on each side.
func (s SideSprue) GateTool(k *solid.Kernel, bottomZ, topZ, widerMM float64) (Tool, error) {
	wide, narrow, in := bottomZ, topZ, Upper
	if s.Options.Below {
		wide, narrow, in = topZ, bottomZ, Lower
	}
	lean := (topZ - bottomZ) * math.Tan(max(s.Options.DraftDeg, leastDraftDeg)*math.Pi/180)
	mid, half := r2.Vec{}, s.Options.WidthMM/2+widerMM
	for _, v := range s.gate {
		mid = r2.Add(mid, r2.Scale(0.25, v))
	}
	across := r2.Vec{X: -s.Dir.Y, Y: s.Dir.X}
	// Narrow as the trough is at the same height, and leaning as much along it as across.
	m := &mesh.Mesh{}
	length := r2.Norm(r2.Sub(s.gate[1], s.gate[0])) / 2
	for _, e := range []struct{ z, in float64 }{{wide, 0}, {narrow, min(lean, 0.45*s.Options.WidthMM+widerMM)}} {
		for _, c := range [4]r2.Vec{{X: -1, Y: -1}, {X: 1, Y: -1}, {X: 1, Y: 1}, {X: -1, Y: 1}} {
			v := r2.Add(mid, r2.Add(r2.Scale(c.X*max(length-e.in, 0.5*length), s.Dir), r2.Scale(c.Y*(half-e.in), across)))
			m.Verts = append(m.Verts, r3.Vec{X: v.X, Y: v.Y, Z: e.z})
		}
	}
	m.Tris = [][3]uint32{{0, 2, 1}, {0, 3, 2}, {4, 5, 6}, {4, 6, 7}}
	for i := range uint32(4) {
		j := (i + 1) % 4
		m.Tris = append(m.Tris, [3]uint32{i, j, j + 4}, [3]uint32{i, j + 4, i + 4})
	}
	if s.Options.Below {
		for i, t := range m.Tris {
			m.Tris[i] = [3]uint32{t[0], t[2], t[1]}
		}
	}
	t, err := k.FromMesh(m)
	if err != nil {
		return Tool{}, fmt.Errorf("side sprue from (%.1f, %.1f): %w", s.From.X, s.From.Y, err)
	}
	return Tool{Half: in, Solid: t}, nil
}

// leastDraftDeg keeps the sides of a trough off the exactly upright, where a sheared roof would be
// infinitely steep; under it the draft is nil for every purpose.
const leastDraftDeg = 0.05

// AvoidsShow checks the facets at the gate.
func (s SideSprue) AvoidsShow(top *HeightField, show []bool) Check {
	return avoidsShow(fmt.Sprintf("side sprue from (%.1f, %.1f)", s.From.X, s.From.Y), top, show, s.gate)
}

// Feature describes the side sprue; z is the height of the parting surface where it leaves the block.
func (s SideSprue) Feature(name string, z, heldMM3 float64) Feature {
	return Feature{Name: name, Kind: "side sprue", Piece: Upper.String(), At: r3.Vec{X: s.From.X, Y: s.From.Y, Z: z}, VolumeMM3: heldMM3,
		SizesMM: []Size{{"width", s.Options.WidthMM}, {"height", s.Options.HeightMM}, {"length", s.LengthMM}},
		Words:   fmt.Sprintf("side sprue along the parting surface, %.1f × %.1f mm, holds %.2f mL", s.Options.WidthMM, s.Options.HeightMM, heldMM3/1000)}
}
