package mesh

import (
	"context"
	"fmt"
	"math"
	"sync/atomic"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// shells measures each shell, and the whole from them.
func (in *Intake) shells(s *surface) {
	list := make([]Shell, s.count)
	for i := range list {
		inf := math.Inf(1)
		list[i].First = -1
		list[i].Bounds = r3.Box{Min: r3.Vec{X: inf, Y: inf, Z: inf}, Max: r3.Vec{X: -inf, Y: -inf, Z: -inf}}
	}
	centre := r3.Scale(0.5, r3.Add(in.Bounds.Min, in.Bounds.Max))
	sums := make([]kahan, s.count)
	for f := range s.Tris {
		i := s.shell[f]
		o := &list[i]
		if o.First < 0 {
			o.First = in.facet(int32(f))
		}
		o.Facets++
		t := s.Facet(f)
		sums[i].add(r3.Dot(r3.Sub(t[0], centre), r3.Cross(r3.Sub(t[1], centre), r3.Sub(t[2], centre))))
		for _, v := range t {
			o.Bounds.Min = r3.Vec{X: min(o.Bounds.Min.X, v.X), Y: min(o.Bounds.Min.Y, v.Y), Z: min(o.Bounds.Min.Z, v.Z)}
			o.Bounds.Max = r3.Vec{X: max(o.Bounds.Max.X, v.X), Y: max(o.Bounds.Max.Y, v.Y), Z: max(o.Bounds.Max.Z, v.Z)}
		}
	}
	vertices := make([]int, s.count)
	for h, root := range s.fans() {
		if root == int32(h) {
			vertices[s.shell[h/3]]++
		}
	}
	in.Closed, in.Genus = true, 0
	for i := range list {
		o := &list[i]
		o.VolumeMM3 = sums[i].sum() / 6
		o.Closed = !s.brokenOfShell[i]
		o.Euler = vertices[i] - s.edgesOfShell[i] + o.Facets
		o.Genus = -1
		in.Euler += o.Euler
		if o.Closed {
			o.Genus = (2 - o.Euler) / 2
			in.Genus += o.Genus
		} else {
			in.Closed = false
		}
	}
	if !in.Closed {
		in.Genus = -1
	}
	in.Shells = list
}

// nestVisits and nestVisitsEach bound the facets that are looked at to find which shell lies in which: so
// many, and so many for each facet.
const nestVisits, nestVisitsEach = 100_000_000, 100

// nesting finds which closed shells lie inside which, and from that which are inside out, which are
// voids and which are solids within solids. A shell that crosses another is neither in nor out of it, so
// nothing is said where crossed is nil: the search for crossings was given up, and the mesh is refused.
func (in *Intake) nesting(ctx context.Context, s *surface, tree *geom.BVH, crossed []atomic.Bool) error {
	if crossed == nil {
		return nil
	}
	around := make([]int, s.count) // winding number of all the other shells around each
	if s.count > 1 {
		boxes, err := in.shellBoxes(ctx)
		if err != nil {
			return err
		}
		n := &nest{s: s, in: in, tree: tree, boxes: boxes, winding: make([]int, s.count), ctx: ctx, left: nestVisits + nestVisitsEach*len(s.Tris)}
		corner := firstCorners(s)
		for i := range in.Shells {
			if in.Shells[i].Closed {
				around[i] = n.around(int32(i), corner[i])
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			if n.left < 0 {
				in.report(Problem{Kind: Untested, Severity: Fatal, Count: 1, Where: []Where{{Facets: []int32{in.Shells[i].First}, At: s.Verts[corner[i][0]]}},
					Words:  fmt.Sprintf("so many of the %d shells lie around one another that the search for shells inside others was given up", s.count),
					Remedy: "join the bodies into one solid in the model and export again"})
				return nil
			}
		}
	}
	in.judgeShells(around, crossed)
	return nil
}

// shellBoxes is a tree of the shells' bounding boxes: of each box the diagonal, as a facet of no area.
func (in *Intake) shellBoxes(ctx context.Context) (*geom.BVH, error) {
	m := &Mesh{}
	for i, o := range in.Shells {
		m.Verts = append(m.Verts, o.Bounds.Min, o.Bounds.Max)
		m.Tris = append(m.Tris, [3]uint32{uint32(2 * i), uint32(2*i + 1), uint32(2*i + 1)})
	}
	return geom.NewBVHContext(ctx, m.Verts, m.Tris)
}

// judgeShells compares each shell's sign with what lies around it: outside of everything a shell
// must be positive; inside one solid, negative.
func (in *Intake) judgeShells(around []int, crossed []atomic.Bool) {
	whole := 1 // −1 when every outermost shell is inside out, so that the whole mesh is
	positive, negative := 0, 0
	for _, o := range in.Shells {
		switch {
		case !o.Closed || o.Depth > 0:
		case o.VolumeMM3 > 0:
			positive++
		case o.VolumeMM3 < 0:
			negative++
		}
	}
	if negative > 0 && positive == 0 && in.Closed {
		whole = -1
		in.report(Problem{Kind: InsideOut, Severity: Fatal, Count: 1, Where: []Where{in.at(0)},
			Words:  fmt.Sprintf("the mesh is inside out: its facets face inward (volume %.6g mm³)", in.VolumeMM3),
			Remedy: "turn all facets over (flip normals) and export again"})
	}
	flipped := Problem{Kind: ShellInsideOut, Severity: Fatal, Remedy: "turn these shells over (flip normals) and export again"}
	flat := Problem{Kind: NoVolume, Severity: Fatal, Remedy: "give the part a thickness, or delete these shells"}
	void := Problem{Kind: Void, Severity: Warning, Remedy: "a mould cannot make a closed void: it will be cast solid or needs an insert; remove it if it is not meant"}
	double := Problem{Kind: SolidInSolid, Severity: Fatal, Remedy: "delete the inner bodies, or subtract them if they are meant as voids, and export again"}
	for i := range in.Shells {
		o := &in.Shells[i]
		if !o.Closed {
			continue
		}
		w := Where{Facets: []int32{o.First}, At: r3.Scale(0.5, r3.Add(o.Bounds.Min, o.Bounds.Max))}
		volume := float64(whole) * o.VolumeMM3
		switch outer := whole * around[i]; {
		case volume == 0:
			flat.add(w)
		case crossed[i].Load(): // reported as such
		case volume < 0 && outer == 1:
			void.add(w)
		case volume < 0:
			flipped.add(w)
		case outer != 0:
			double.add(w)
		}
	}
	flipped.Words = fmt.Sprintf("%d shells are inside out", flipped.Count)
	flat.Words = fmt.Sprintf("%d shells enclose no volume", flat.Count)
	void.Words = fmt.Sprintf("%d closed voids lie inside the part", void.Count)
	double.Words = fmt.Sprintf("%d solid shells lie inside another solid and would be counted twice", double.Count)
	for _, p := range []Problem{flipped, flat, void, double} {
		in.report(p)
	}
}

// firstCorners lists a few vertices of each shell.
func firstCorners(s *surface) [][]uint32 {
	out := make([][]uint32, s.count)
	for f, t := range s.Tris {
		if i := s.shell[f]; len(out[i]) < nestTries {
			out[i] = append(out[i], t[:]...)
		}
	}
	return out
}

// nestTries is how many vertices of a shell are tried until one does not lie on another shell.
const nestTries = 24

// nest asks for winding numbers with a ray straight up, exactly: a facet is above a point if the
// point's projection lies in the facet's, where a shared edge belongs to one side only.
type nest struct {
	s       *surface
	in      *Intake
	tree    *geom.BVH
	boxes   *geom.BVH // of the shells
	winding []int
	touched []int32 // shells with a winding number that is not cleared yet
	ctx     context.Context
	left    int // facets and boxes that may still be looked at
}

// look counts one facet or box that is looked at, and says whether to go on.
func (n *nest) look() bool {
	n.left--
	return n.left >= 0 && (n.left%watchEvery != 0 || n.ctx.Err() == nil)
}

// around sums the winding numbers of the other closed shells about shell i and sets its depth.
func (n *nest) around(i int32, tries []uint32) int {
	sum := 0
	for _, v := range tries {
		p := n.s.Verts[v]
		n.in.Shells[i].Depth = 0
		top, any := n.topAround(i, p)
		if !any {
			return 0
		}
		on := false
		n.touched = n.touched[:0]
		n.tree.InBoxWhile(r3.Box{Min: p, Max: r3.Vec{X: p.X, Y: p.Y, Z: top}}, func(f int) bool {
			j := n.s.shell[f]
			if j == i || !n.in.Shells[j].Closed || !holds(n.in.Shells[j].Bounds, p) {
				return n.look()
			}
			sign, onFacet := above(n.s.Facet(f), p)
			on = on || onFacet
			if sign != 0 {
				n.winding[j] += sign
				n.touched = append(n.touched, j)
			}
			return n.look()
		})
		sum = 0
		for _, j := range n.touched {
			if n.winding[j] != 0 {
				n.in.Shells[i].Depth++
			}
			sum += n.winding[j]
			n.winding[j] = 0
		}
		if !on || n.left < 0 {
			break
		}
	}
	return sum
}

// topAround is the top of the highest closed shell, other than i, whose box holds p: only such a shell can
// have p inside, and a ray from p to there meets all that it ever will of each.
func (n *nest) topAround(i int32, p r3.Vec) (top float64, any bool) {
	top = p.Z
	n.boxes.InBoxWhile(r3.Box{Min: p, Max: p}, func(j int) bool {
		if j != int(i) && n.in.Shells[j].Closed {
			top, any = max(top, n.in.Shells[j].Bounds.Max.Z), true
		}
		return n.look()
	})
	return top, any
}

// holds says whether a point lies in a box, its sides included.
func holds(b r3.Box, p r3.Vec) bool {
	return b.Min.X <= p.X && p.X <= b.Max.X && b.Min.Y <= p.Y && p.Y <= b.Max.Y && b.Min.Z <= p.Z && p.Z <= b.Max.Z
}

// above is +1 or −1 if facet t is crossed upward by the ray from p, out of or into its solid; on says
// that p lies on the facet.
func above(t r3.Triangle, p r3.Vec) (sign int, on bool) {
	inside := false
	for k := range 3 {
		a, b := t[k], t[(k+1)%3]
		if (a.Y > p.Y) == (b.Y > p.Y) {
			continue
		}
		if a.Y > b.Y {
			a, b = b, a // the same edge of two facets is always tested the same way round
		}
		if orientAlong(2, a, b, p) > 0 {
			inside = !inside
		}
	}
	if !inside {
		return 0, false
	}
	facing := orientAlong(2, t[0], t[1], t[2])
	switch geom.Orient3D(t[0], t[1], t[2], p) * facing {
	case 1:
		return facing, false
	case 0:
		return 0, true
	}
	return 0, false
}
