package opening

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// judge answers for one order of opening.
func (j *releaseJudge) judge(order []int) *Release {
	r := &Release{Releases: true, Keeps: j.keeps}
	if j.keeper >= 0 {
		r.KeptBy = j.Pieces[j.keeper].Name
	}
	at := make([]int, len(order))
	for k, p := range order {
		at[p] = k
		r.Order = append(r.Order, j.Pieces[p].Name)
	}
	for i := range j.Catches {
		h := j.hold(i, at)
		r.Releases = r.Releases && h.Releases
		r.Holds = append(r.Holds, h)
	}
	return r
}

// hold judges one catch: each body that can give way is asked, and the first that lets go does. at is when each piece leaves.
func (j *releaseJudge) hold(i int, at []int) Hold {
	c, shape := j.Catches[i], j.shapes[i]
	p := j.index(c.Piece)
	best := Hold{Catch: i, Piece: c.Piece, Way: Stuck, Shape: shape}
	if c.Sealed {
		best.Words = "a hollow inside the part: no mould gets in or out"
		best.TearRisk = "does not apply"
		return best
	}
	var tried []Hold
	// The piece first: among bodies that let go it is peeled, which spares the casting.
	if f := j.Pieces[p].Flex; f != nil {
		h := j.pieceGives(best, j.Pieces[p], f)
		h.Confined, h.Words = j.pieceConfined(p, at)
		tried = append(tried, h)
	}
	if f := j.Casting.Flex; f != nil {
		h := j.castingGives(best, f)
		h.Confined, h.Words = j.castingConfined(shape, h, p, at)
		tried = append(tried, h)
	}
	for _, h := range tried {
		if h.Way != Stuck {
			j.addForce(&h)
		}
		h.Releases = !h.Confined && !h.TooHard && h.Margin >= 1
		if better(h, best) {
			best = h
		}
	}
	j.addWords(&best)
	return best
}

func better(a, b Hold) bool {
	if a.Releases != b.Releases {
		return a.Releases
	}
	if b.Way == Stuck || a.Confined != b.Confined {
		return b.Way == Stuck || !a.Confined
	}
	return !b.Releases && a.Margin > b.Margin
}

// castingGives measures how the casting gives way to a rigid piece.
func (j *releaseJudge) castingGives(h Hold, f *Flex) Hold {
	h.Gives = j.Casting.Name
	s := &h.Shape
	switch {
	case s.Ring && s.Inward, s.Ring && !s.Solid:
		h.Way, h.Strain, h.StrainErrorPct = Stretched, RingStrain(s.DMaxMM, s.DMinMM), s.errorPct(2)
	case s.Ring:
		h.Way, h.Strain, h.StrainErrorPct = Squeezed, SqueezeStrain((s.DMaxMM-s.DMinMM)/2, s.DMaxMM/2), s.errorPct(10)
	case s.LipMM > 0:
		h.Way, h.Strain, h.StrainErrorPct = Bent, LipStrain(s.LipMM, s.WallMM, s.DepthMM), s.errorPct(lipErrorPct(s))
	case s.WallMM > 0:
		h.Way, h.Strain, h.StrainErrorPct = Squeezed, SqueezeStrain(s.DepthMM, s.WallMM), s.errorPct(squeezeErrorPct)
	}
	return j.within(h, f, CastingStrainFraction)
}

// pieceGives measures how a flexible piece gives way to a casting.
func (j *releaseJudge) pieceGives(h Hold, piece ReleaseBody, f *Flex) Hold {
	h.Gives = piece.Name
	s := &h.Shape
	switch {
	case s.Ring && !s.Inward:
		h.Way, h.Strain, h.StrainErrorPct = Stretched, RingStrain(s.DMaxMM, s.DMinMM), s.errorPct(2)
	case s.Ring:
		h.Way, h.Strain, h.StrainErrorPct = Squeezed, SqueezeStrain((s.DMaxMM-s.DMinMM)/2, s.DMaxMM/2), s.errorPct(10)
	case piece.WallMM > 0:
		h.Way, h.Strain, h.StrainErrorPct = Squeezed, SqueezeStrain(s.DepthMM, piece.WallMM), s.errorPct(squeezeErrorPct)
	}
	return j.within(h, f, MouldStrainFraction)
}

// squeezeErrorPct: u/t is a mean over the thickness; the surface strains about half as much again at
// the edge that is pressed (common practice, no source).
const squeezeErrorPct = 50.0

// lipErrorPct: shear, left out by the beam formula, adds t²/(2l²)·(1 + ν) to the deflection for the
// same strain, and the root gives way too; beams of five thicknesses are within a tenth.
func lipErrorPct(s *Shape) float64 {
	slender := s.WallMM / s.LipMM
	return 5 + 100*slender*slender
}

func (j *releaseJudge) within(h Hold, f *Flex, fraction float64) Hold {
	h.Allowed = f.allowed(fraction)
	if h.Way == Stuck { // nothing to measure a strain on
		return h
	}
	h.Margin = math.Inf(1)
	if h.Strain > 0 {
		h.Margin = h.Allowed / h.Strain
	}
	// JSON has no infinity.
	h.Margin = min(h.Margin, 1e6)
	return h
}

// castingConfined says whether a wall of the casting has no room to give way: its back lies in a
// rigid piece that leaves with the held piece or after it. A confined wall of rubber, which keeps its
// volume, would have to be forced out lengthwise past two rigid faces.
func (j *releaseJudge) castingConfined(s Shape, h Hold, p int, at []int) (bool, string) {
	if j.Shapes == nil || h.Way == Squeezed && s.Ring {
		return false, ""
	}
	for _, f := range s.BackFacets {
		q := j.Shapes[f]
		if q < 0 {
			continue
		}
		if q == p && j.Pieces[q].Flex == nil {
			return true, fmt.Sprintf("the back of the wall lies in the same rigid piece (%s), so it has nowhere to go", j.Pieces[q].Name)
		}
		if at[q] > at[p] && !j.loose(q, at, at[p]) {
			return true, fmt.Sprintf("the back of the wall lies in %s, which is still there", j.Pieces[q].Name)
		}
	}
	return false, ""
}

// loose says whether a piece can give way at the time when another leaves.
func (j *releaseJudge) loose(q int, at []int, when int) bool {
	if j.Pieces[q].Flex == nil {
		return false
	}
	for b, o := range j.Pieces {
		if o.Backs == j.Pieces[q].Name && o.Flex == nil && at[b] >= when {
			return false
		}
	}
	return true
}

func (j *releaseJudge) pieceConfined(p int, at []int) (bool, string) {
	if !j.loose(p, at, at[p]) {
		return true, "it cannot give way while the rigid piece behind it is there"
	}
	return false, ""
}

// addForce estimates the pull.
func (j *releaseJudge) addForce(h *Hold) {
	f := j.Casting.Flex
	if h.Gives != j.Casting.Name {
		f = j.Pieces[j.index(h.Gives)].Flex
	}
	e, err := GentModulusMPa(f.ShoreA)
	if err != nil { // checked before
		return
	}
	s := &h.Shape
	wall := s.StretchMM
	if h.Gives != j.Casting.Name {
		wall = j.Pieces[j.index(h.Gives)].WallMM
	}
	var load float64
	switch {
	case h.Way == Stretched:
		load = ringLoadN(e, h.Strain, wall*s.StretchHeightMM)
	case h.Way == Bent:
		load = lipForceN(e, s.WidthMM, s.WallMM, s.DepthMM, s.LipMM)
	default:
		load = e * h.Strain * s.AreaMM2
	}
	h.ForceN, h.ForceFactor = pullN(load, j.Friction, s.SlopeDeg), forceFactor
	// A piece of silicone is peeled, a few centimetres at a time; a casting is drawn off whole.
	if h.PullN = cmp.Or(f.PullN, DefaultPullN); h.Gives == j.Casting.Name {
		h.TooHard = h.ForceN > h.PullN
	}
	if f.ShoreA < GentLeastShoreA || f.ShoreA > GentMostShoreA {
		h.ForceFactor = 2 * forceFactor
	}
}

// forceFactor: the modulus is known to GentErrorFactor, the section that really stretches to half as
// much again, friction to a factor of about 1.6; multiplied together.
const forceFactor = GentErrorFactor * 1.5 * 1.6

// tearRisk says in words what share of the elongation at break means.
func tearRisk(share float64) string {
	for _, t := range [...]struct {
		upTo  float64
		words string
	}{
		{0.2, "low"},
		{0.35, "some: keep the edges free of nicks and bubbles"},
		{0.5, "real: warm it, pull slowly, round the lip if you can; a mould would not last"},
		{1, "high: most will tear at the first nick or bubble"},
	} {
		if share <= t.upTo {
			return t.words
		}
	}
	return "certain: past the elongation at break"
}

func (j *releaseJudge) flexOf(name string) *Flex {
	if name == j.Casting.Name {
		return j.Casting.Flex
	}
	if p := j.index(name); p >= 0 {
		return j.Pieces[p].Flex
	}
	return nil
}

func (j *releaseJudge) steps(r *Release) {
	for k, name := range r.Order {
		p := j.index(name)
		var mine []int
		for i, h := range r.Holds {
			if h.Piece == name {
				mine = append(mine, i)
			}
		}
		r.Steps = append(r.Steps, j.step(r, p, mine, k == len(r.Order)-1))
	}
}

func (j *releaseJudge) step(r *Release, p int, mine []int, last bool) ReleaseStep {
	piece := j.Pieces[p]
	s := ReleaseStep{Kind: LiftStep, Piece: piece.Name, Direction: piece.Exit, Holds: mine}
	worst := -1
	for _, i := range mine {
		if worst < 0 || r.Holds[i].Margin < r.Holds[worst].Margin {
			worst = i
		}
	}
	switch {
	case worst >= 0 && r.Holds[worst].Gives == j.Casting.Name:
		s.Kind = map[Way]StepKind{Stretched: StretchStep, Bent: BendStep, Squeezed: SqueezeStep, Stuck: LiftStep}[r.Holds[worst].Way]
	case piece.Flex != nil && !slices.Contains([]string{j.Casting.Name}, piece.Name):
		s.Kind = PeelStep
	case last && len(mine) == 0:
		s.Kind = TakeStep
	}
	s.Words = stepWords(s, j.Casting.Name, piece, mine, r.Holds)
	return s
}
