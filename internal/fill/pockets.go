package fill

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

const (
	defaultDensityGML = 1.1
	// autoColumns is how many columns a pitch of 0 asks for: a sweep of a tenth of a second.
	autoColumns = 250_000
	// maxFiner is how often a pitch of 0 is halved when resin does not get everywhere.
	maxFiner = 2
	// curvePoints bounds the curve of level against volume.
	curvePoints = 200
)

func (s *Setup) complete() error {
	if r3.Norm(s.Up) == 0 {
		s.Up = r3.Vec{Z: 1}
	}
	if s.DensityGML == 0 {
		s.DensityGML = defaultDensityGML
	}
	if s.AirKPa == 0 {
		s.AirKPa = StandardAirKPa
	}
	if s.PotKPa == 0 {
		s.PotKPa = s.AirKPa
	}
	for _, v := range []struct {
		name  string
		value float64
	}{{"the density in g/mL", s.DensityGML}, {"the pressure of the air in kPa", s.AirKPa}, {"the pressure in the pot in kPa", s.PotKPa}, {"the length of the upward direction", r3.Norm(s.Up)}} {
		if !(v.value > 0) || math.IsInf(v.value, 0) {
			return &OptionError{v.name, v.value, "a number above 0"}
		}
	}
	for _, f := range s.Frames {
		if !(f >= 0 && f <= 1) {
			return &OptionError{"a frame's share of the cavity", f, "from 0 to 1"}
		}
	}
	return nil
}

// points checks the pour points and vents, and that every space can be filled and emptied of air.
func (c *Cavity) points(set *Setup) (pours, vents []spot, err error) {
	if len(set.Pour) == 0 {
		return nil, nil, errNoPour
	}
	if pours, err = c.spots("pour point", set.Pour, set.MarksOnShow); err != nil {
		return nil, nil, err
	}
	if vents, err = c.spots("vent", set.Vents, set.MarksOnShow); err != nil {
		return nil, nil, err
	}
	filled, vented := make([]bool, len(c.spaces)), make([]bool, len(c.spaces))
	for _, s := range pours {
		filled[s.space] = true
		vented[s.space] = vented[s.space] || !set.PourClosed
	}
	for _, s := range vents {
		vented[s.space] = true
	}
	for i, s := range c.spaces {
		switch {
		case !filled[i]:
			return nil, nil, &SealedError{s.volume, s.top, len(c.spaces)}
		case !vented[i]:
			return nil, nil, &UnventedError{s.volume, s.top}
		}
	}
	return pours, vents, nil
}

func (c *Cavity) spots(what string, points []r3.Vec, marksOnShow bool) ([]spot, error) {
	var out []spot
	for i, p := range points {
		s, err := c.locate(fmt.Sprintf("%s %d", what, i+1), p)
		if err != nil {
			return nil, err
		}
		if f, on := c.showNear(s.at, showReachMM); on && !marksOnShow {
			return nil, &ShowFaceError{fmt.Sprintf("%s %d", what, i+1), p, f}
		}
		out = append(out, s)
	}
	return out, nil
}

// Fill pours the cavity full and says what air stays.
//
// Errors: *OutsideError and *ShowFaceError for a pour point or vent, *SealedError for a space without
// a pour point, *UnventedError for one without a way out, *TooFineError, *OptionError; else the
// context's.
func (c *Cavity) Fill(ctx context.Context, set Setup) (*Result, error) {
	if err := set.complete(); err != nil {
		return nil, err
	}
	pours, vents, err := c.points(&set)
	if err != nil {
		return nil, err
	}
	if !set.PourClosed {
		vents = append(slices.Clone(vents), pours...)
	}
	run := fillRun{c: c, set: &set, pours: pours, vents: vents}
	frame := geom.FrameTo(set.Up)
	pitch := c.opt.PitchMM
	if pitch == 0 {
		pitch = autoPitch(c.boundsIn(frame))
	}
	res, err := run.at(ctx, frame, pitch, true)
	for n := 0; n < maxFiner && err == nil && c.opt.PitchMM == 0 && res.OpenMM3 > minOpenShare*res.CavityMM3; n++ {
		// Maybe the grid is too coarse for a narrow passage.
		pitch /= 2
		res, err = run.at(ctx, frame, pitch, true)
	}
	if err != nil {
		return nil, err
	}
	if !set.NoCheckRun {
		if err := run.check(ctx, frame, res); err != nil {
			return nil, err
		}
	}
	res.speak()
	return res, nil
}

// boundsIn is the box of the cavity in a frame.
func (c *Cavity) boundsIn(f geom.Frame) r3.Box {
	return c.mesh.Map(f.Apply).Bounds()
}

// autoPitch gives about autoColumns columns.
func autoPitch(b r3.Box) float64 {
	return max(math.Sqrt((b.Max.X-b.Min.X)*(b.Max.Y-b.Min.Y)/autoColumns), 1e-9)
}

// fillRun is one fill, to be run at several pitches.
type fillRun struct {
	c            *Cavity
	set          *Setup
	pours, vents []spot
}

// at runs the fill at one pitch. exact asks for exact volumes of pockets and for the frames.
func (f *fillRun) at(ctx context.Context, frame geom.Frame, pitch float64, exact bool) (*Result, error) {
	c := f.c
	g, err := gridOver(frame, c.boundsIn(frame), pitch)
	if err != nil {
		return nil, err
	}
	cols, err := cutColumns(ctx, g, c.mesh, c.opt.Workers)
	if err != nil {
		return nil, err
	}
	if len(cols.lo) == 0 {
		return nil, &OptionError{"the pitch in mm", pitch, "finer: no column meets the cavity"}
	}
	s, err := f.sweep(cols)
	if err != nil {
		return nil, err
	}
	res := &Result{Up: set3(frame.Z), PitchMM: pitch, Columns: g.nx * g.ny, CavityMM3: c.volume}
	res.VolumeErrorMM3 = cols.volume() - c.volume
	floor := slices.Min(cols.lo)
	f.watch(s, res, floor, exact)
	if err := s.run(ctx, c.opt.Progress); err != nil {
		return nil, err
	}
	f.gather(s, res, floor, exact)
	if exact {
		res.last = newFrame(s, floor)
	}
	return res, nil
}

func set3(v r3.Vec) r3.Vec { return r3.Vec{X: v.X + 0, Y: v.Y + 0, Z: v.Z + 0} }

// sweep puts the pour points and vents onto the columns.
func (f *fillRun) sweep(cols *columns) (*sweep, error) {
	var pours, vents []int32
	var ventZ []float64
	bulk := cols.bulk()
	for _, p := range f.pours {
		r, ok := cols.inBulk(cols.frame.Apply(p.at), bulk)
		if !ok {
			return nil, &OptionError{"the pitch in mm", cols.pitch, "finer: no column meets the cavity near " + place(p.at)}
		}
		pours = append(pours, r)
	}
	for _, v := range f.vents {
		at := cols.frame.Apply(v.at)
		r, ok := cols.inBulk(at, bulk)
		if !ok {
			return nil, &OptionError{"the pitch in mm", cols.pitch, "finer: no column meets the cavity near " + place(v.at)}
		}
		vents, ventZ = append(vents, cols.upTo(r, at)), append(ventZ, at.Z)
	}
	return newSweep(cols, pours, vents, ventZ), nil
}

// ventReach is how many columns a vent at the ceiling may be moved up along it: the mesh's own high
// point lies between columns.
const ventReach = 2

// upTo moves a vent whose mouth is in the ceiling to the highest run close by: no run may stay above
// it that is only there because the grid missed the mouth.
func (c *columns) upTo(r int32, at r3.Vec) int32 {
	if at.Z < c.hi[r]-c.pitch {
		return r
	}
	i0, j0 := c.cell(at.X, at.Y)
	for {
		best := r
		c.near(r, func(s int32) {
			i, j := int(c.column[s])%c.nx, int(c.column[s])/c.nx
			if c.hi[s] > c.hi[best] && c.hi[s] <= at.Z+c.pitch && abs(i-i0) <= ventReach && abs(j-j0) <= ventReach {
				best = s
			}
		})
		if best == r {
			return r
		}
		r = best
	}
}

func abs(i int) int { return max(i, -i) }

// watch keeps the curve and the frames while the sweep runs.
func (f *fillRun) watch(s *sweep, res *Result, floor float64, frames bool) {
	total := s.volume()
	s.stride = total / curvePoints
	high := 0.0
	s.record = func(s *sweep) {
		for _, p := range s.active {
			if q := &s.pools[p]; q.joined < 0 {
				high = max(high, q.level-floor)
			}
		}
		p := LevelPoint{s.poured, high}
		n := len(res.Curve)
		// Steps smaller than the stride overwrite each other, but for the last one before it.
		if n > 1 && s.poured < res.Curve[n-2].PouredMM3+s.stride/2 {
			res.Curve[n-1] = p
			return
		}
		res.Curve = append(res.Curve, p)
	}
	if !frames {
		return
	}
	shares := slices.Clone(f.set.Frames)
	slices.Sort(shares)
	for _, share := range shares {
		s.marks = append(s.marks, share*s.volume())
	}
	s.snap = func(s *sweep) {
		res.Frames = append(res.Frames, newFrame(s, floor))
	}
}

// gather turns what the sweep found into the result.
func (f *fillRun) gather(s *sweep, res *Result, floor float64, exact bool) {
	for r := range s.lo {
		z := s.surface(int32(r))
		res.FilledMM3 += (z - s.lo[r]) * s.area
		if s.state[r] == open {
			res.OpenMM3 += (s.hi[r] - z) * s.area
		}
	}
	var p *peaks
	if exact {
		p = f.c.peaks(s.frame.Z, f.ventPoints())
	}
	met := map[int32]bool{}
	for i := range s.air.pocket {
		t := &s.air.pocket[i]
		if !exact {
			res.TrappedMM3 += t.volume
			continue
		}
		if t.volume > 0 {
			f.pocket(s, p, t, res, met, floor)
		}
	}
	if exact {
		f.between(s, p, res, met, floor)
		res.TrappedMM3 = 0
		for _, k := range res.Pockets {
			res.TrappedMM3 += k.VolumeMM3
			res.UnderHeadMM3 += k.UnderHeadMM3
			res.InPotMM3 += k.InPotMM3
		}
		slices.SortStableFunc(res.Pockets, func(a, b Pocket) int { return cmp.Compare(b.VolumeMM3, a.VolumeMM3) })
		// The columns' own rounding of the volume goes to the resin, so that the sums are exact.
		res.FilledMM3 = res.CavityMM3 - res.TrappedMM3 - res.OpenMM3
	}
	res.basins(s, floor)
}

func (f *fillRun) ventPoints() (out []r3.Vec) {
	for _, v := range f.vents {
		out = append(out, v.at)
	}
	return out
}

// basins lists the low places that are more than the grid's own steps.
func (r *Result) basins(s *sweep, floor float64) {
	for i := range s.pools {
		p := &s.pools[i]
		n := &s.b.nodes[p.node]
		if len(n.kids) > 0 {
			continue
		}
		v := 0.0
		brim := n.brim
		if n.parent < 0 {
			brim = p.level
		}
		for _, run := range n.enters {
			v += (min(brim, s.hi[run]) - s.lo[run]) * s.area
		}
		if v < 8*s.area*s.pitch || brim-n.birth < s.pitch/2 {
			continue
		}
		low := s.frame.Inverse(s.point(n.enters[0], s.lo[n.enters[0]]))
		r.Basins = append(r.Basins, Basin{Low: low, VolumeMM3: v, BeginsMM3: p.began, BrimMM: brim - floor})
	}
	slices.SortStableFunc(r.Basins, func(a, b Basin) int { return cmp.Compare(a.BeginsMM3, b.BeginsMM3) })
}

// pocket gives trapped air its exact volume where one of the mesh's own parts is the same pocket.
func (f *fillRun) pocket(s *sweep, p *peaks, t *trapped, res *Result, met map[int32]bool, floor float64) {
	node, exact := f.match(s, p, t, met)
	if node < 0 && t.volume < unresolvedColumns*s.area*s.pitch {
		res.UnresolvedMM3 += t.volume
		return
	}
	k := Pocket{VolumeMM3: t.volume, PouredMM3: t.poured, LevelMM: t.level - floor, Top: s.frame.Inverse(s.point(t.top, t.topZ)), DepthMM: t.topZ - t.lowest}
	if node >= 0 {
		met[node] = true
		n := &p.nodes[node]
		k.Top = n.top
		if exact {
			k.VolumeMM3, k.Exact = n.stays, true
			k.DepthMM = n.topZ - n.staysZ
		}
	}
	if k.VolumeMM3 < f.c.opt.MinPocketMM3*negligible {
		return
	}
	_, k.OnShow = f.c.showNear(k.Top, showReachMM)
	f.press(s, t, &k)
	res.Pockets = append(res.Pockets, k)
}

// between adds the pockets of the mesh that are too small for the columns to see. So small a pocket
// closes by its own rim alone, whatever the levels elsewhere.
func (f *fillRun) between(s *sweep, p *peaks, res *Result, met map[int32]bool, floor float64) {
	base := p.height(s.frame.Inverse(r3.Vec{Z: floor}))
	nodes, _ := p.staying()
	for _, n := range nodes {
		k := &p.nodes[n]
		if met[n] || k.stays >= unresolvedColumns*s.area*s.pitch || k.stays < f.c.opt.MinPocketMM3*negligible {
			continue
		}
		at := s.frame.Apply(k.top)
		if r, ok := s.at(at); ok && s.state[r] == frozen {
			continue // part of a larger one that the columns have
		}
		level := k.staysZ - base
		out := Pocket{VolumeMM3: k.stays, Exact: true, Top: k.top, DepthMM: k.topZ - k.staysZ, LevelMM: level, PouredMM3: res.pouredAt(level)}
		_, out.OnShow = f.c.showNear(out.Top, showReachMM)
		head := 0.0
		for _, z := range s.ventZ {
			head = max(head, z-at.Z)
		}
		still := func(float64) float64 { return out.DepthMM }
		out.UnderHeadMM3 = squeezed(k.stays, f.set.AirKPa, f.set.AirKPa, f.set.DensityGML, head, still)
		out.InPotMM3 = squeezed(k.stays, f.set.AirKPa, f.set.PotKPa, f.set.DensityGML, head, still)
		res.Pockets = append(res.Pockets, out)
	}
}

// pouredAt reads the curve at a level.
func (r *Result) pouredAt(level float64) float64 {
	for _, p := range r.Curve {
		if p.LevelMM >= level {
			return p.PouredMM3
		}
	}
	return r.CavityMM3
}

const (
	// unresolvedColumns, in cubes of one pitch: a pocket smaller than this, under no high point of
	// the mesh, comes from the grid's steps along a slanting wall.
	unresolvedColumns = 64
	// negligible, of the smallest pocket worth a vent: below it a pocket is not listed.
	negligible = 1e-6
)

// match finds the part of the mesh's tree that the columns' pocket is: one whose high point lies over
// the pocket and which, when the resin cuts it off, keeps nearly the same volume.
func (f *fillRun) match(s *sweep, p *peaks, t *trapped, met map[int32]bool) (node int32, exact bool) {
	cols := map[int32]bool{}
	for _, r := range t.runs {
		cols[s.column[r]] = true
	}
	over := func(v r3.Vec) bool {
		at := s.frame.Apply(v)
		i0, j0 := s.cell(at.X, at.Y)
		for j := max(0, j0-1); j <= min(s.ny-1, j0+1); j++ {
			for i := max(0, i0-1); i <= min(s.nx-1, i0+1); i++ {
				if cols[int32(j*s.nx+i)] && at.Z >= t.lowest-s.pitch && at.Z <= t.topZ+s.steepest(at, t) {
					return true
				}
			}
		}
		return false
	}
	node, off := int32(-1), math.Inf(1)
	for n := range p.nodes {
		k := &p.nodes[n]
		if !(k.keeps && k.stays > 0) || met[int32(n)] || !over(k.top) {
			continue
		}
		if d := math.Abs(k.stays - t.volume); d < off {
			node, off = int32(n), d
		}
	}
	if node < 0 {
		return -1, false
	}
	return node, off <= matchShare*t.volume+matchColumns*s.area*s.pitch
}

// steepest bounds how far the mesh may rise above a column's centre line within two columns.
func (s *sweep) steepest(_ r3.Vec, t *trapped) float64 {
	return max(4*s.pitch, t.topZ-t.lowest)
}

const (
	// Two volumes of one pocket differ by the grid's error at its rim: a share for large pockets, a
	// few columns for small ones.
	matchShare   = 0.2
	matchColumns = 64
)

// press squeezes a pocket under the full mould and in the pot.
func (f *fillRun) press(s *sweep, t *trapped, k *Pocket) {
	set := f.set
	head := 0.0 // of resin above the pocket's top when the mould is full: up to the highest opening
	for _, z := range s.ventZ {
		head = max(head, z-t.topZ)
	}
	share := k.VolumeMM3 / t.volume
	air := profileOf(s, t)
	height := func(v float64) float64 { return air.depthOf(v / share) }
	k.UnderHeadMM3 = squeezed(k.VolumeMM3, set.AirKPa, set.AirKPa, set.DensityGML, head, height)
	k.InPotMM3 = squeezed(k.VolumeMM3, set.AirKPa, set.PotKPa, set.DensityGML, head, height)
}

// profile is the air in a pocket above a face at each depth below its top: straight between depths.
type profile []struct{ depth, volume float64 }

// profileOf adds up the columns: each holds more from the depth of its ceiling to that of its resin.
func profileOf(s *sweep, t *trapped) profile {
	type bend struct{ depth, more float64 }
	bends := make([]bend, 0, 2*len(t.runs))
	for _, r := range t.runs {
		bends = append(bends, bend{t.topZ - s.hi[r], s.area}, bend{t.topZ - s.level[r], -s.area})
	}
	slices.SortFunc(bends, func(a, b bend) int { return cmp.Or(cmp.Compare(a.depth, b.depth), cmp.Compare(b.more, a.more)) })
	p := make(profile, len(bends))
	area, volume, last := 0.0, 0.0, 0.0
	for i, b := range bends {
		volume += area * (b.depth - last)
		area += b.more
		last = b.depth
		p[i].depth, p[i].volume = b.depth, volume
	}
	return p
}

// depthOf is how far below the top the face lies when the pocket holds v.
func (p profile) depthOf(v float64) float64 {
	i, _ := slices.BinarySearchFunc(p, v, func(e struct{ depth, volume float64 }, v float64) int { return cmp.Compare(e.volume, v) })
	switch {
	case i == 0:
		return p[0].depth
	case i == len(p):
		return p[len(p)-1].depth
	}
	a, b := p[i-1], p[i]
	return a.depth + (v-a.volume)/(b.volume-a.volume)*(b.depth-a.depth)
}

// check runs the fill at twice the pitch. What a method of first order or better still misses is no
// more than what the last halving changed.
func (f *fillRun) check(ctx context.Context, frame geom.Frame, res *Result) error {
	coarse, err := f.at(ctx, frame, 2*res.PitchMM, true)
	if err != nil {
		return fmt.Errorf("check at twice the pitch: %w", err)
	}
	for i := range res.Pockets {
		k := &res.Pockets[i]
		if k.Exact {
			k.ErrorMM3 = exactShare * res.CavityMM3
			res.TrappedErrMM3 += k.ErrorMM3
			continue
		}
		off := math.Inf(1)
		for _, o := range coarse.Pockets {
			if r3.Norm(r3.Sub(o.Top, k.Top)) <= 6*res.PitchMM {
				off = min(off, math.Abs(o.VolumeMM3-k.VolumeMM3))
			}
		}
		k.ErrorMM3 = min(off, k.VolumeMM3)
		res.TrappedErrMM3 += k.ErrorMM3
	}
	res.TrappedErrMM3 += res.UnresolvedMM3
	return nil
}

// exactShare of the cavity's volume is the rounding of an exact volume: sums over facets of numbers
// as large as the cavity.
const exactShare = 1e-12

// speak puts the result into words.
func (r *Result) speak() {
	for i := range r.Pockets {
		k := &r.Pockets[i]
		k.Words = fmt.Sprintf("%s of air stays at %s, cut off when %.4g mL are in (level %.1f mm)", amount(k.VolumeMM3), place(k.Top), k.PouredMM3/1000, k.LevelMM)
		if k.OnShow {
			k.Words += "; a vent there would mark a show face"
		} else {
			k.Words += "; a vent there would let it out"
		}
	}
	if len(r.Pockets) == 0 {
		r.Words = append(r.Words, fmt.Sprintf("no air stays; the mould takes %.4g mL", r.FilledMM3/1000))
	} else {
		r.Words = append(r.Words, fmt.Sprintf("%s of air stays in %s; the mould takes %.4g mL", amount(r.TrappedMM3), count(len(r.Pockets), "pocket"), r.FilledMM3/1000))
	}
	if r.InPotMM3 < r.UnderHeadMM3 {
		r.Words = append(r.Words, "under pressure the pockets shrink to "+amount(r.InPotMM3))
	}
	if r.OpenMM3 > minOpenShare*r.CavityMM3 {
		r.Words = append(r.Words, amount(r.OpenMM3)+" stays empty though its air could leave: resin does not get there, or only through a passage narrower than the pitch of the columns")
	}
}

// minOpenShare of the cavity: less open air than this is the grid's rounding.
const minOpenShare = 1e-4
