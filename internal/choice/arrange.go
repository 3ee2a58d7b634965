package choice

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
	"mouldwright/internal/opening"
)

// arrangement is how one way to mould would hold the part: its pieces, who shapes which facet, where
// pieces are held, and the line between pieces.
type arrangement struct {
	pieces  []opening.ReleaseBody
	shapes  []int
	catches []opening.Catch
	// lineMM is the length of flash, showMM of that on show faces.
	lineMM, showMM float64
	against        []string // reasons why the way does not work at all
	notes          []string
	straight       bool    // nothing is left to what a soft casting gives
	turned         *stance // the part as it lies in this mould, where that is not the common stance
}

// twoPieces arranges a way whose two pieces part along ±d at the natural parting line.
func twoPieces(s *stance, upper, lower opening.ReleaseBody) *arrangement {
	upper.Exit, lower.Exit = s.d, r3.Scale(-1, s.d)
	a := &arrangement{pieces: []opening.ReleaseBody{upper, lower}, shapes: make([]int, len(s.part.Tris))}
	for f := range a.shapes {
		if !s.upper[f] {
			a.shapes[f] = 1
		}
	}
	a.catches = s.undercutCatches(upper.Name, lower.Name)
	if s.undercut() {
		a.lineMM, a.showMM = s.border(a.shapes)
	} else {
		a.lineMM, a.showMM = s.lineMM, s.lineMax
	}
	return a
}

// undercutCatches turns the undercuts along d into catches of the pieces that they hold.
func (s *stance) undercutCatches(upper, lower string) (out []opening.Catch) {
	for _, u := range s.report.Undercuts {
		c := opening.Catch{Facets: u.Facets, DepthMM: u.DepthMM, DepthErrorMM: u.DepthErrorMM, Sealed: u.Sealed}
		if math.IsInf(c.DepthMM, 0) {
			c.DepthMM, c.DepthErrorMM = 0, 0
		}
		if u.Holds&mouldability.UpperHalf != 0 || u.Sealed {
			c.Piece, c.Exit = upper, s.d
			out = append(out, c)
		}
		if u.Holds&mouldability.LowerHalf != 0 && lower != upper {
			c.Piece, c.Exit = lower, r3.Scale(-1, s.d)
			out = append(out, c)
		}
	}
	return out
}

// border is the length of the edges between facets of different pieces, and of those with show faces
// on both sides.
func (s *stance) border(shapes []int) (all, show float64) {
	for f, t := range s.part.Tris {
		for k, n := range s.adj[f] {
			if n <= int32(f) || shapes[f] == shapes[n] {
				continue
			}
			l := r3.Norm(r3.Sub(s.part.Verts[t[(k+1)%3]], s.part.Verts[t[k]]))
			all += l
			if s.shown(int32(f)) && s.shown(n) {
				show += l
			}
		}
	}
	return all, show
}

// facingCatches finds where a piece is held by facets that it shapes itself: connected groups of them
// that face against its exit.
func (s *stance) facingCatches(shapes []int, piece int, name string, exit r3.Vec) (out []opening.Catch) {
	held := func(f int32) bool { return shapes[f] == piece && r3.Dot(s.normal[f], exit) < -wallSine }
	seen := make([]bool, len(s.part.Tris))
	for f := range s.part.Tris {
		if seen[f] || !held(int32(f)) {
			continue
		}
		group := s.flood(int32(f), seen, held)
		if s.meanWidthMM(group, exit) < mouldability.DefaultToleranceMM {
			continue
		}
		slices.Sort(group)
		out = append(out, opening.Catch{Piece: name, Exit: exit, Facets: group})
	}
	return out
}

// followRoofs hands the floors of a void to the piece that shapes its roofs: a piece that leaves along
// exit cannot reach a floor under a roof that is another's. A large floor of which the roof hides but a
// strip stays with its piece: a mould is divided along that strip, not along the facet.
func (s *stance) followRoofs(exit r3.Vec, own func(f int32) bool, give func(f int32)) {
	for _, u := range s.report.Undercuts {
		var mine, others float64
		for _, f := range u.Facets {
			if r3.Dot(s.normal[f], exit) >= -wallSine {
				continue
			}
			if own(f) {
				mine += s.area[f]
			} else {
				others += s.area[f]
			}
		}
		if others <= mine {
			continue
		}
		for _, f := range u.Facets {
			if own(f) && r3.Dot(s.normal[f], exit) > wallSine && s.report.CaughtMM2[f] > mostlyHidden*s.area[f] {
				give(f)
			}
		}
	}
}

// mostlyHidden share of a facet: more of it lies under a roof than not.
const mostlyHidden = 0.5

func (s *stance) flood(start int32, seen []bool, in func(int32) bool) []int32 {
	group := []int32{start}
	seen[start] = true
	for i := 0; i < len(group); i++ {
		for _, n := range s.adj[group[i]] {
			if n != mesh.NoFacet && !seen[n] && in(n) {
				seen[n] = true
				group = append(group, n)
			}
		}
	}
	return group
}

// meanWidthMM is at least the mean width of a group of facets seen along a direction: their area there
// over the diagonal of their box. Narrower than the tolerance is no undercut.
func (s *stance) meanWidthMM(group []int32, exit r3.Vec) float64 {
	area := 0.0
	box := r3.Box{Min: r3.Vec{X: math.Inf(1), Y: math.Inf(1), Z: math.Inf(1)}, Max: r3.Vec{X: math.Inf(-1), Y: math.Inf(-1), Z: math.Inf(-1)}}
	for _, f := range group {
		area += s.area[f] * math.Abs(r3.Dot(s.normal[f], exit))
		for _, v := range s.part.Facet(int(f)) {
			box.Min = r3.Vec{X: min(box.Min.X, v.X), Y: min(box.Min.Y, v.Y), Z: min(box.Min.Z, v.Z)}
			box.Max = r3.Vec{X: max(box.Max.X, v.X), Y: max(box.Max.Y, v.Y), Z: max(box.Max.Z, v.Z)}
		}
	}
	return area / max(r3.Norm(r3.Sub(box.Max, box.Min)), 1e-9)
}

// judge asks package opening.
func (a *arrangement) judge(ctx context.Context, s *stance, opt *Options) (*opening.Release, error) {
	casting := opening.ReleaseBody{Name: "the casting", Flex: opt.Casting}
	if a.straight {
		casting.Flex = nil
	}
	return opening.JudgeRelease(ctx, opening.ReleaseSetup{
		Part: s.part, Casting: casting,
		Pieces: a.pieces, Shapes: a.shapes, Catches: a.catches,
	})
}
