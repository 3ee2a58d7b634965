package tooling

import (
	"context"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

const (
	// moatInMM is how much narrower the moat's floor is on each side, so that what cures in it lifts out.
	moatInMM = 0.5
	// moatLeastMM and moatMostMM bound the moat's depth: less does not print well, more is hard to clean.
	moatLeastMM, moatMostMM = 1.5, 5.0
	// moatShare and moatLeastML are what the moat holds when nobody asks: what a careful hand overfills by
	// (common practice, no source).
	moatShare, moatLeastML = 0.05, 1.0
	// trayEdgeMM is kept between anything in the rim and the tray's sides, and under anything sunk in it.
	trayEdgeMM = 3.0
	// nutRoofMM is what the nut of a levelling screw bears against.
	nutRoofMM = 4.0
)

// arrange sizes the tray and finds places for moat, tabs, holes, screws and label.
func (b *trayMould) arrange(ctx context.Context) (err error) {
	b.opt.Progress.tell("laying out the tray", 0.05)
	if b.part, err = b.k.FromMesh(b.mould.Part); err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	loops, err := b.part.Project()
	if err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	shadow, err := b.k.Region(loops)
	if err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	if loops, err = shadow.Loops(); err != nil {
		return fmt.Errorf("tooling: part: %w", err)
	}
	b.outline = Outline(loops).Outer()
	if b.opt.Cavities > 1 {
		if err := b.multiply(b.outline); err != nil {
			return err
		}
	}
	box := b.mould.Part.Bounds()
	z0 := box.Min.Z - b.opt.FloorMM
	if err := b.digMoat(); err != nil {
		return err
	}
	z0 = min(z0, b.level-b.moatHigh-trayEdgeMM)
	if b.carrier != nil {
		if err := b.fitCarrier(); err != nil {
			return err
		}
		if err := b.placeTabs(); err != nil {
			return err
		}
		z0 = min(z0, b.level-b.opt.SeatMM-trayEdgeMM)
	}
	if b.opt.Bolt != NoBolts {
		t, err := FindThread(b.opt.Bolt)
		if err != nil {
			return fmt.Errorf("tooling: tray: levelling screws: %w", err)
		}
		b.thread = &t
		z0 = min(z0, b.level-b.nutMM()-nutRoofMM)
	}
	b.bound()
	if err := b.placeScrews(); err != nil {
		return err
	}
	b.mould.Block = r3.Box{Min: r3.Vec{X: b.foot.Min.X, Y: b.foot.Min.Y, Z: z0}, Max: r3.Vec{X: b.foot.Max.X, Y: b.foot.Max.Y, Z: b.level}}
	if err := b.surface(); err != nil {
		return err
	}
	return b.letter()
}

// digMoat sizes the moat: as wide as asked and as deep as the volume needs, wider where that is too deep.
func (b *trayMould) digMoat() error {
	o := b.opt
	want := 1000 * o.MoatML
	if want == 0 {
		want = max(1000*moatLeastML, moatShare*b.mould.Part.VolumeMM3())
	}
	for width := o.MoatMM; width < mostMM; width += 1 {
		var plan [2][][]r2.Vec
		var area [2]float64
		for i := range plan {
			in := float64(i) * moatInMM
			loops, err := ringPlan(b.k, b.outline, o.LandMM+in, o.LandMM+width-in, 0)
			if err != nil {
				return fmt.Errorf("tooling: moat: %w", err)
			}
			plan[i], area[i] = loops, Outline(loops).AreaMM2()
		}
		deep := max(moatLeastMM, want/((area[0]+area[1])/2))
		if deep > moatMostMM {
			continue
		}
		b.moatHigh, b.moatOutMM = deep, o.LandMM+width
		b.moat = []slab{{plan[0], b.level - deep/2, b.level + overshootMM}, {plan[1], b.level - deep, b.level + overshootMM}}
		b.mould.Features = append(b.mould.Features, Feature{Name: "G1", Kind: "moat", Piece: Tray,
			At:      r3.Vec{X: plan[0][0][0].X, Y: plan[0][0][0].Y, Z: b.level},
			SizesMM: []Size{{"land", o.LandMM}, {"width", width}, {"depth", deep}}, VolumeMM3: deep * (area[0] + area[1]) / 2, Outline: plan[0],
			Words: fmt.Sprintf("moat for what runs over the brim, %.1f mm wide, %.1f mm deep, holds %.2f mL", width, deep, deep*(area[0]+area[1])/2000)})
		return nil
	}
	return fmt.Errorf("%w: no moat holds %.0f mL round this part: ask for less", ErrOptions, want/1000)
}

// bound is the tray's plan: the moat and the tabs' feet with what is left outside them.
func (b *trayMould) bound() {
	box, _ := b.outline.Bounds()
	wall := max(b.opt.WallMM, b.moatOutMM+trayEdgeMM)
	b.foot = r2.Box{Min: r2.Vec{X: box.Min.X - wall, Y: box.Min.Y - wall}, Max: r2.Vec{X: box.Max.X + wall, Y: box.Max.Y + wall}}
	for _, t := range b.tabs {
		for _, p := range t.seat(b.opt.ClearanceMM + trayEdgeMM) {
			b.foot.Min = r2.Vec{X: min(b.foot.Min.X, p.X), Y: min(b.foot.Min.Y, p.Y)}
			b.foot.Max = r2.Vec{X: max(b.foot.Max.X, p.X), Y: max(b.foot.Max.Y, p.Y)}
		}
	}
}

// nutMM is the depth of the pocket for the nut of a levelling screw.
func (b *trayMould) nutMM() float64 {
	return b.thread.NutHighMM + BoltOptions{}.withDefaults().NutAllowanceMM
}

// screwMM is the radius of all that a levelling screw cuts, in plan.
func (b *trayMould) screwMM() float64 {
	return max(Bolt{Thread: *b.thread, Options: BoltOptions{}.withDefaults()}.PocketFlatsMM()/math.Sqrt(3), b.thread.HoleMM/2)
}

// placeScrews finds places for three levelling screws: two in the corners of one side and one in the
// middle of the opposite one, so that the tray stands firm. The tray grows until they have room.
func (b *trayMould) placeScrews() error {
	if b.thread == nil {
		return nil
	}
	r := b.screwMM()
	in := r + trayEdgeMM
	most := b.opt.BuildVolumeMM
	for {
		lo, hi := b.foot.Min, b.foot.Max
		x := [3]float64{lo.X + in, (lo.X + hi.X) / 2, hi.X - in}
		y := [3]float64{lo.Y + in, (lo.Y + hi.Y) / 2, hi.Y - in}
		for _, try := range [][3]r2.Vec{
			{{X: x[0], Y: y[0]}, {X: x[2], Y: y[0]}, {X: x[1], Y: y[2]}}, {{X: x[0], Y: y[2]}, {X: x[1], Y: y[0]}, {X: x[2], Y: y[2]}},
			{{X: x[0], Y: y[0]}, {X: x[2], Y: y[1]}, {X: x[0], Y: y[2]}}, {{X: x[0], Y: y[1]}, {X: x[2], Y: y[0]}, {X: x[2], Y: y[2]}},
		} {
			if b.clearOfRim(try[:], r) {
				b.screws = try[:]
				return nil
			}
		}
		b.foot = r2.Box{Min: r2.Sub(lo, r2.Vec{X: growMM / 2, Y: growMM / 2}), Max: r2.Add(hi, r2.Vec{X: growMM / 2, Y: growMM / 2})}
		if size := r2.Sub(b.foot.Max, b.foot.Min); most != (r3.Vec{}) && (max(size.X, size.Y) > max(most.X, most.Y) || min(size.X, size.Y) > min(most.X, most.Y)) || size.X > mostMM {
			return fmt.Errorf("tooling: tray: the three %s levelling screws find no room beside the moat on the printer's plate: %w; take a smaller thread, or \"none\"", b.thread.Name, ErrLayout)
		}
	}
}

func (b *trayMould) clearOfRim(at []r2.Vec, r float64) bool {
	for _, p := range at {
		if short(gapToOutline(disc(p, r), b.outline), b.moatOutMM+b.opt.LeastWallMM) {
			return false
		}
		for _, t := range b.tabs {
			if short(gap(disc(p, r), shape{core: t.seat(b.opt.ClearanceMM)}), b.opt.LeastWallMM) {
				return false
			}
		}
	}
	return true
}

// surface is the brim and the rest of the rim: the plane of the poured face.
func (b *trayMould) surface() error {
	f := b.mould.Block
	plan := [][]r2.Vec{{{X: f.Min.X, Y: f.Min.Y}, {X: f.Max.X, Y: f.Min.Y}, {X: f.Max.X, Y: f.Max.Y}, {X: f.Min.X, Y: f.Max.Y}}}
	for _, loop := range b.mould.Shadow {
		back := make([]r2.Vec, len(loop))
		for i, p := range loop {
			back[len(loop)-1-i] = p
		}
		plan = append(plan, back)
	}
	tris, err := b.k.Triangulate(plan)
	if err != nil {
		return fmt.Errorf("tooling: tray: the poured face's border: %w", err)
	}
	s := &Surface{Tris: tris, Rim: []uint32{0, 1, 2, 3}, Flat: true}
	for _, loop := range plan {
		for _, p := range loop {
			s.Verts = append(s.Verts, r3.Vec{X: p.X, Y: p.Y, Z: b.level})
		}
	}
	b.mould.Surface = s
	return nil
}

// letter puts the label on the side that is longest between the screws' holes, which lie trayEdgeMM or
// more behind it everywhere.
func (b *trayMould) letter() error {
	if b.opt.Label.Text == "" {
		return nil
	}
	f := b.mould.Block
	mid := r3.Scale(0.5, r3.Add(f.Min, f.Max))
	face := LabelFace{Centre: r3.Vec{X: mid.X, Y: f.Min.Y, Z: mid.Z}, Normal: r3.Vec{Y: -1}, WidthMM: f.Max.X - f.Min.X, HeightMM: f.Max.Z - f.Min.Z, BehindMM: trayEdgeMM}
	if f.Max.Y-f.Min.Y > face.WidthMM {
		face.Centre, face.Normal, face.WidthMM = r3.Vec{X: f.Max.X, Y: mid.Y, Z: mid.Z}, r3.Vec{X: 1}, f.Max.Y-f.Min.Y
	}
	l, err := NewLabel(face, b.opt.Label)
	if err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	if b.letters, err = l.Tools(b.k, Lower); err != nil {
		return fmt.Errorf("tooling: %w", err)
	}
	feature := l.Feature("L1", Lower)
	feature.Piece = Tray
	b.mould.Features = append(b.mould.Features, feature)
	return nil
}

// screwTools cuts a hole for a levelling screw and a pocket under it for its nut, which the screw drives
// upward against the tray.
func (b *trayMould) screwTools() (share, error) {
	s := share{name: "levelling screws"}
	if b.thread == nil {
		return s, nil
	}
	bolt := Bolt{Thread: *b.thread, Options: BoltOptions{}.withDefaults()}
	z0 := b.mould.Block.Min.Z
	for i, at := range b.screws {
		hole := b.thread.HoleMM / 2
		t, err := prisms(b.k, slab{[][]r2.Vec{around(at, hole, circleSegments(hole))}, z0 - overshootMM, b.level + overshootMM},
			slab{[][]r2.Vec{around(at, bolt.PocketFlatsMM()/2, 6)}, z0 - overshootMM, z0 + b.nutMM()})
		if err != nil {
			return s, fmt.Errorf("tooling: levelling screw: %w", err)
		}
		s.tools = append(s.tools, Tool{Half: Lower, Solid: t})
		b.mould.Features = append(b.mould.Features, Feature{Name: fmt.Sprintf("S%d", i+1), Kind: "levelling screw", Piece: Tray, At: r3.Vec{X: at.X, Y: at.Y, Z: z0},
			SizesMM: []Size{{"hole", b.thread.HoleMM}, {"nut pocket across flats", bolt.PocketFlatsMM()}, {"nut pocket depth", b.nutMM()}},
			Words: fmt.Sprintf("levelling screw, %s longer than %.0f mm, with a hex nut (ISO 4032) in the underside; hole %.1f mm (ISO 273 medium)",
				b.thread.Name, b.level-z0, b.thread.HoleMM)})
	}
	return s, nil
}
