package tooling

import (
	"context"
	"fmt"
	"math"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"

	"gonum.org/v1/gonum/spatial/r3"
)

// Cut is how a block of silicone is cut open.
type Cut struct {
	Mesh  *mesh.Mesh // the cut, from the outside of the block to the part, mould frame
	Trace [][]r3.Vec // where it meets the part: the seam on each casting
	// TraceMM is the seam's length, ShowMM what of it has show faces on both sides.
	TraceMM, ShowMM float64
	// DepthMM is the farthest that the blade goes in from outside; openings through the part are cut from
	// inside.
	DepthMM float64
	AreaMM2 float64
	HingeMM float64 // silicone left uncut at the far end
	// SlitMM is how deep the slits between several cavities are, from the front; 0 for one cavity. Mesh, Trace
	// and sums are of all cuts and slits, the figures of the lips of each.
	SlitMM float64

	// The lips as a double cantilever: each is a beam of thickness ThickMM and free length LipMM, from
	// where the cut ends to the part's front, and bends by OpeningMM to let the part pass. The figures are
	// those of the lip that strains more. Strain is at its root, within StrainErrorPct; Allowed is what
	// the silicone stands, 0 where that is not known.
	ThickMM, LipMM, OpeningMM       float64
	Strain, StrainErrorPct, Allowed float64
}

// lips is a cut that goes in from the front and ends at the hinge.
type lips struct {
	Cut
	front r3.Vec // unit: the way the cut opens
	hinge float64
	outer int   // how many of the traces are on the outer line; the rest are in openings through the part
	of    []int // the cavity of each trace, from 0
	opens bool  // as far as anybody can say
}

const (
	// hingePlaces is how many places between the part's middle and the far end are tried for the end of
	// the cut: every 3 mm on a block of some 80 mm.
	hingePlaces = 16
	// holeMarginMM is cut beyond an opening through the part: the silicone in it must come apart.
	holeMarginMM = 0.5
)

// cost weighs a seam as a parting line is weighed.
func (l *lips) cost() float64 { return l.TraceMM + (mouldability.DefaultShowCost-1)*l.ShowMM }

// better ranks cuts: those that open first, then the one whose seam shows less; of cuts that do not open
// the one that strains less. A tie goes to the earlier one.
func (l *lips) better(than *lips) bool {
	const near = 1e-6 // rounding
	if l.opens != than.opens {
		return l.opens
	}
	if !l.opens {
		return l.worst() < than.worst()-near
	}
	return l.cost() < than.cost()-near
}

// worst is the strain with its error.
func (l *lips) worst() float64 { return l.Strain * (1 + l.StrainErrorPct/100) }

// planLips finds the shortest cut from one side that opens far enough. Behind its end no face of the part may
// look forward: the part then leaves what is not cut by moving to the front. In front of it a lip has to rise
// as high as the part does over the cut, at the part's front, where its lever ends; the beam's formula then
// gives the strain at its root.
func (b *cutBlock) planLips(ctx context.Context, front r3.Vec) (*lips, error) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range b.parting.Mesh.Verts {
		lo, hi = min(lo, r3.Dot(v, front)), max(hi, r3.Dot(v, front))
	}
	from := (lo + hi) / 2
	for _, line := range b.mould.Line[1:] {
		for _, v := range line {
			from = min(from, r3.Dot(v, front)-holeMarginMM)
		}
	}
	for f := range b.parting.Mesh.Tris { // as far back as a face looks forward
		t := b.parting.Mesh.Facet(f)
		if n := t.Normal(); r3.Dot(n, front) > catchLean*r3.Norm(n) {
			from = min(from, r3.Dot(t[0], front), r3.Dot(t[1], front), r3.Dot(t[2], front))
		}
		if f%4096 == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
	}
	back := lo - b.opt.BlockMM
	to := back + b.opt.HingeMM
	var l *lips
	for i := range hingePlaces + 1 {
		l = b.lipsAt(front, from+(to-from)*float64(i)/hingePlaces, back, hi)
		if l.opens = b.opt.Silicone == nil || l.worst() <= l.Allowed; l.opens {
			break
		}
	}
	b.trace(l)
	return l, nil
}

// lipsAt bends the lips of a cut that ends at hinge.
func (b *cutBlock) lipsAt(front r3.Vec, hinge, back, partFront float64) *lips {
	l := &lips{front: front, hinge: hinge}
	l.HingeMM, l.LipMM = hinge-back, partFront-hinge
	box := b.mould.Part.Bounds()
	slope := math.Tan(b.opt.DraftDeg * math.Pi / 180)
	for _, lip := range [2]struct{ thick, opening float64 }{
		{box.Max.Z + b.opt.BlockMM - b.parting.MinZ, box.Max.Z - b.parting.MinZ}, {b.parting.MaxZ - box.Min.Z + b.opt.BlockMM, b.parting.MaxZ - box.Min.Z}} {
		thick := lip.thick + slope*l.HingeMM // the block is wider there than at its narrow end
		if e := opening.LipStrain(l.LipMM, thick, lip.opening); e >= l.Strain {
			l.Strain, l.ThickMM, l.OpeningMM = e, thick, lip.opening
		}
	}
	slender := l.ThickMM / l.LipMM
	l.StrainErrorPct = lipBeamErrorPct + 100*slender*slender
	if s := b.opt.Silicone; s != nil {
		l.Allowed = allowedStrain(s)
	}
	return l
}

// lipBeamErrorPct is the error of the beam's formula on a slender lip. Shear and a root that gives add the
// square of thickness over length to the deflection (opening judges bent lips of castings by the same).
const lipBeamErrorPct = 5.0

// allowedStrain is what a mould may be strained at every shot.
func allowedStrain(f *opening.Flex) float64 {
	fraction := f.Fraction
	if fraction == 0 {
		fraction = opening.MouldStrainFraction
	}
	return fraction * f.ElongationPct / 100
}

// check says whether the lips open.
func (l *lips) check(silicone *opening.Flex) Check {
	c := Check{Name: "the lips open far enough", OK: l.opens && silicone != nil, Value: 100 * l.worst(), Limit: 100 * l.Allowed, Unit: "% strain",
		Words: fmt.Sprintf("each lip is bent aside by up to %.1f mm at the part's front, %.1f mm from the end of the cut; at its root, %.1f mm thick, it strains by %.0f %% (+ %.0f %% of that)",
			l.OpeningMM, l.LipMM, l.ThickMM, 100*l.Strain, l.StrainErrorPct)}
	switch {
	case silicone == nil:
		c.Words += "; not judged: give the hardness and the elongation of the silicone"
	case !l.opens:
		c.Words += fmt.Sprintf(", and %.0f %% are allowed; choose another direction, a silicone that stretches farther or a mould of two parts", 100*l.Allowed)
	}
	return c
}

// trace measures the seam: the line where the cut meets the part.
func (b *cutBlock) trace(l *lips) {
	l.TraceMM, l.ShowMM, l.Trace, l.of = 0, 0, nil, nil
	p := b.parting
	adj := p.Mesh.Adjacency()
	shown := func(f int32) bool { return b.opt.Show != nil && b.opt.Show[p.Source[f]] }
	for f, t := range p.Mesh.Tris {
		for k, g := range adj[f] {
			if !p.Upper[f] || g == mesh.NoFacet || p.Upper[g] {
				continue
			}
			u, v := p.Mesh.Verts[t[k]], p.Mesh.Verts[t[(k+1)%3]]
			d := r3.Norm(r3.Sub(v, u)) * shareBeyond(r3.Dot(u, l.front), r3.Dot(v, l.front), l.hinge)
			l.TraceMM += d
			if shown(int32(f)) && shown(g) {
				l.ShowMM += d
			}
		}
	}
	n := b.cavities()
	for i, line := range b.mould.Line { // the outer ones of all cavities first
		for _, t := range beyond(line, l.front, l.hinge) {
			l.Trace, l.of = append(l.Trace, t), append(l.of, i%n)
		}
		if i < n {
			l.outer = len(l.Trace)
		}
	}
}

// shareBeyond is the share of a stretch from x to y that lies beyond at.
func shareBeyond(x, y, at float64) float64 {
	if x > y {
		x, y = y, x
	}
	switch {
	case at <= x:
		return 1
	case at >= y:
		return 0
	}
	return (y - at) / (y - x)
}

// beyond cuts a closed line into the stretches that lie beyond a plane; one that lies there whole ends
// where it begins.
func beyond(line []r3.Vec, dir r3.Vec, at float64) (out [][]r3.Vec) {
	n := len(line)
	start := -1 // a corner behind the plane
	for i, v := range line {
		if r3.Dot(v, dir) < at {
			start = i
			break
		}
	}
	if start < 0 {
		return [][]r3.Vec{append(append([]r3.Vec(nil), line...), line[0])}
	}
	var now []r3.Vec
	for i := range n {
		u, v := line[(start+i)%n], line[(start+i+1)%n]
		x, y := r3.Dot(u, dir)-at, r3.Dot(v, dir)-at
		if (x < 0) != (y < 0) {
			now = append(now, r3.Add(u, r3.Scale(x/(x-y), r3.Sub(v, u))))
		}
		if y >= 0 {
			now = append(now, v)
		} else if len(now) > 0 {
			out, now = append(out, now), nil
		}
	}
	return out
}
