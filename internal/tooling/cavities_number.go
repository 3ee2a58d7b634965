package tooling

import (
	"fmt"
	"math"
	"slices"

	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// numberDepthMM sinks a cavity's number as deep as a label: for paint fill (common practice, no source).
	numberDepthMM = 0.5
	// numberLandMM is kept between a number and whatever the casting fills; numberApartMM between it and
	// other features and the block's sides.
	numberLandMM, numberApartMM = 1.5, 1.0
	// numberNearerMM is how much nearer a number is to its own cavity than to any other, and numbersApartMM
	// what keeps two numbers from reading as one.
	numberNearerMM, numbersApartMM = 2.0, 3.0
	// numberFarMM is how far from its gate a number still says whose it is.
	numberFarMM = 40.0
	// numberSlopeMM is the most that the parting surface may rise under a number.
	numberSlopeMM = 0.6
)

// numberCapsMM are the heights of digits tried in turn.
var numberCapsMM = []float64{4, 3, 2.5}

// numberTools sinks each cavity's number into the lower half's parting face, near its gate, where it stays
// clear of all else. One that finds no room is left out with a note.
func (b *twoHalves) numberTools(k *solid.Kernel, aprons RawHalves) (share, error) {
	s := share{name: "cavity numbers"}
	cuts, err := b.numberRoom().sink(k, aprons.Upper, b.mould, Lower.String(), b.cavities.outlines(), b.cavities.mouths())
	for _, t := range cuts {
		s.tools = append(s.tools, Tool{Half: Lower, Solid: t})
	}
	return s, err
}

// sink makes what sinks the number of each cavity into the parting face of a piece: near its mouth, and nearer
// to its own outline than to any other. over is the body that stands on that face.
func (n *numberRoom) sink(k *solid.Kernel, over *solid.Solid, m *Mould, piece string, own []Outline, mouths []r2.Vec) (cuts []*solid.Solid, err error) {
	var without []int
	for i, at := range mouths {
		n.own, n.others = own[i], append(slices.Concat(own[:i]...), slices.Concat(own[i+1:]...)...)
		text := fmt.Sprint(i + 1)
		set, err := setText(text, nil)
		if err != nil {
			return nil, fmt.Errorf("tooling: number of cavity %d: %w", i+1, err)
		}
		at, capMM, ok := n.place(at, set)
		if !ok {
			without = append(without, i+1)
			continue
		}
		t, err := numberCutter(k, over, set, at, capMM)
		if err != nil {
			return nil, fmt.Errorf("tooling: number of cavity %d: %w", i+1, err)
		}
		cuts = append(cuts, t)
		z, _ := n.field.At(at)
		m.Features = append(m.Features, Feature{Name: "N" + text, Kind: "cavity number", Piece: piece, At: r3.Vec{X: at.X, Y: at.Y, Z: z},
			SizesMM: []Size{{"cap height", capMM}, {"depth", numberDepthMM}}, Words: fmt.Sprintf("%q beside cavity %d, %.1f mm high, sunk %.2f mm", text, i+1, capMM, numberDepthMM)})
	}
	if without != nil {
		m.Notes = append(m.Notes, fmt.Sprintf("no room for the number beside cavity %v: write it there by hand", without))
	}
	return cuts, nil
}

// mouths are where the cavities' numbers want to stand: at their gates, or where there are none at the side
// that looks to the front.
func (m *manyCavities) mouths() (out []r2.Vec) {
	if !m.apart() {
		for _, g := range m.runner.Gates {
			out = append(out, g.Start)
		}
		return out
	}
	for _, c := range m.pack.Places {
		box, _ := placedOutline(m.cell.shadow, []CavityPlace{c}).Bounds()
		out = append(out, r2.Vec{X: (box.Min.X + box.Max.X) / 2, Y: box.Min.Y})
	}
	return out
}

// outlines are those of each cavity.
func (m *manyCavities) outlines() (out []Outline) {
	for i := range m.pack.Places {
		out = append(out, placedOutline(m.cell.shadow, m.pack.Places[i:i+1]))
	}
	return out
}

// numberCutter is the text in the parting surface, read from above.
func numberCutter(k *solid.Kernel, over *solid.Solid, set *typeset, at r2.Vec, capMM float64) (*solid.Solid, error) {
	scale := capMM / set.capHeight
	mid := r2.Scale(0.5, r2.Add(set.box.Min, set.box.Max))
	var loops [][]r2.Vec
	for _, c := range set.curves {
		loop := c.flatten(mid, scale, LabelOptions{}.withDefaults().ChordMM)
		if len(loop) < 3 {
			continue
		}
		for i := range loop {
			loop[i] = r2.Add(loop[i], at)
		}
		loops = append(loops, loop)
	}
	r, err := k.Region(loops)
	if err != nil {
		return nil, err
	}
	if loops, err = r.Loops(); err != nil {
		return nil, err
	}
	return follow(k, over, Upper, loops, func(r2.Vec) float64 { return numberDepthMM })
}

// numberRoom is what numbers stay clear of.
type numberRoom struct {
	foot  r2.Box
	field *HeightField
	wet   []shape // and what else holds resin
	dry   []shape
	parts Outline
	land  float64 // from the parts
	// own and others are the cavity that the number belongs to, and all others.
	own, others Outline
}

func (b *twoHalves) numberRoom() *numberRoom {
	n := &numberRoom{foot: b.layout.Footprint, field: b.field, parts: b.shadow, land: numberLandMM}
	if b.opt.Gutter != nil {
		g := b.opt.Gutter.withDefaults()
		n.land = g.LandMM + g.WidthMM + numberApartMM
	}
	for _, p := range b.runnerPlans() {
		n.wet = append(n.wet, shape{core: p})
	}
	for _, at := range b.layout.Bolts {
		n.dry = append(n.dry, disc(at, b.bolt.RadiusMM()))
	}
	key := KeyOptions{ClearanceMM: b.opt.KeyClearance}.withDefaults()
	for _, spot := range b.layout.Keys {
		r := key.RadiusMM + key.RootMM + key.ClearanceMM
		if spot.Odd {
			r += key.OddRadiusMM
		}
		n.dry = append(n.dry, disc(spot.At, r))
	}
	pry := PryOptions{}.withDefaults()
	for _, spot := range b.layout.Pry {
		n.dry = append(n.dry, shape{core: strip(spot.At, spot.Inward, pry.DepthMM, pry.WidthMM)})
	}
	return n
}

// place finds the nearest free place to a gate, for digits as high as can be, and takes it.
func (n *numberRoom) place(gate r2.Vec, set *typeset) (at r2.Vec, capMM float64, ok bool) {
	size := r2.Sub(set.box.Max, set.box.Min)
	for _, capMM := range numberCapsMM {
		scale := capMM / set.capHeight
		half := r2.Scale(scale/2, size)
		box := func(at r2.Vec) shape {
			return shape{core: []r2.Vec{r2.Sub(at, half), r2.Add(at, r2.Vec{X: half.X, Y: -half.Y}), r2.Add(at, half), r2.Add(at, r2.Vec{X: -half.X, Y: half.Y})}}
		}
		const spokes = 48
		for d := 0.0; d <= numberFarMM; d += 0.5 {
			for i := range spokes {
				s, c := math.Sincos(2 * math.Pi * float64(i) / spokes)
				p := r2.Add(gate, r2.Scale(d, r2.Vec{X: c, Y: s}))
				if n.free(box(p)) {
					n.dry = append(n.dry, shape{core: box(p).core, radius: numbersApartMM})
					return p, capMM, true
				}
			}
		}
	}
	return r2.Vec{}, 0, false
}

func (n *numberRoom) free(s shape) bool {
	foot := n.foot
	lo, hi := planBox(s.core)
	if min(lo.X-foot.Min.X, lo.Y-foot.Min.Y, foot.Max.X-hi.X, foot.Max.Y-hi.Y) < numberApartMM {
		return false
	}
	for _, t := range n.wet {
		if gap(s, t) < numberLandMM {
			return false
		}
	}
	for _, t := range n.dry {
		if gap(s, t) < numberApartMM {
			return false
		}
	}
	if gapToOutline(s, n.parts) < n.land || gapToOutline(s, n.others) < gapToOutline(s, n.own)+numberNearerMM {
		return false
	}
	zlo, zhi, whole := n.field.Range(s.core)
	return whole && zhi-zlo <= numberSlopeMM
}
