package opening

import (
	"context"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
)

// scene is a pair of bodies and a direction whose answer a transformation must carry along.
type scene struct {
	moving, fixed *mesh.Mesh
	d             r3.Vec
}

func (s scene) judge(t *rapid.T, tol float64) *Verdict {
	v, err := Translate(context.Background(), Body{"moving", s.moving}, Body{"fixed", s.fixed}, s.d, Options{ToleranceMM: tol})
	if err != nil {
		t.Fatalf("%v", err)
	}
	return v
}

func (s scene) mapped(f func(r3.Vec) r3.Vec) scene {
	o := f(r3.Vec{})
	d := r3.Sub(f(s.d), o)
	return scene{s.moving.Map(f), s.fixed.Map(f), r3.Scale(1/r3.Norm(d), d)}
}

func length(lo, hi float64) *rapid.Generator[float64] {
	return rapid.Map(rapid.IntRange(0, 1000), func(k int) float64 { return lo + (hi-lo)*float64(k)/1000 })
}

// scenes are pockets and grooves whose draft is zero or well away from it, so that no answer hangs on
// the tolerance, and cups against each half of their mould.
var scenes = rapid.Custom(func(t *rapid.T) scene {
	lean := rapid.SampledFrom([]float64{-1.5, -0.4, -0.05, 0, 0, 0.05, 0.4, 1.5}).Draw(t, "lean")
	d := rapid.SampledFrom([]r3.Vec{{Z: 1}, {Z: 1}, {Z: 1}, {Z: -1}, {X: 1}, {Y: -1}, {X: 0.6, Z: 0.8}}).Draw(t, "d")
	switch rapid.SampledFrom([]string{"pocket", "groove", "slot", "cup"}).Draw(t, "shape") {
	case "pocket":
		fixed, moving := pocket(4, 4+lean)
		return scene{moving, fixed, d}
	case "groove":
		tail := []r2.Vec{v2(-5, 0), v2(5, 0), v2(5+lean, 4), v2(-5-lean, 4)}
		socket := []r2.Vec{v2(-10, -3), v2(10, -3), v2(10, 4), tail[2], tail[1], tail[0], tail[3], v2(-10, 4)}
		return scene{prismY(tail, 0, 12), prismY(socket, 0, length(5, 20).Draw(t, "length")), d}
	case "slot":
		gap := length(0.1, 3).Draw(t, "gap")
		return scene{boxMesh(0, 0, 0, 10, 10, 5), merge(boxMesh(7, -5, 5+gap, 30, 30, 9+gap), boxMesh(12, 0, -4, 14, 3, 4)), d}
	}
	c := cup{n: rapid.IntRange(5, 16).Draw(t, "n"), lean: lean}
	lower, upper := c.halves(rapid.Bool().Draw(t, "at rim"))
	return scene{c.mesh(), rapid.SampledFrom([]*mesh.Mesh{lower, upper}).Draw(t, "half"), d}
})

// sameAnswer compares verdicts of which the second has lengths scale times the first's.
func sameAnswer(t *rapid.T, a, b *Verdict, scale float64) {
	t.Helper()
	near := func(what string, x, y, within float64) {
		t.Helper()
		if math.Abs(x-y) > within {
			t.Fatalf("%s: %.12g and %.12g\n%s\n%s", what, x, y, a.Words(), b.Words())
		}
	}
	if a.State != b.State {
		t.Fatalf("states differ:\n%s\n%s", a.Words(), b.Words())
	}
	near("zero draft", a.ZeroDraftAreaMM2*scale*scale, b.ZeroDraftAreaMM2, 1e-6*scale*scale)
	if a.State != Blocked {
		return
	}
	near("travel", a.TravelMM*scale, b.TravelMM, 1e-7*scale)
	near("area", a.OverlapAreaMM2*scale*scale, b.OverlapAreaMM2, 1e-6*scale*scale*(10+a.OverlapAreaMM2))
	// Both intervals hold the same depth, so they meet.
	if a.OverlapDepthMM*scale > b.OverlapDepthMM+b.OverlapDepthErrorMM+1e-9 || b.OverlapDepthMM > (a.OverlapDepthMM+a.OverlapDepthErrorMM)*scale+1e-9 {
		t.Fatalf("depths do not meet:\n%s\n%s", a.Words(), b.Words())
	}
	if !slices.Equal(a.MovingFacets, b.MovingFacets) || !slices.Equal(a.FixedFacets, b.FixedFacets) {
		t.Fatalf("facets differ: %v %v and %v %v", a.MovingFacets, a.FixedFacets, b.MovingFacets, b.FixedFacets)
	}
}

func TestRotatingAndMovingEverythingKeepsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		turn := r3.NewRotation(length(0, 6).Draw(t, "angle"), r3.Unit(v3(length(-1, 1).Draw(t, "x"), length(-1, 1).Draw(t, "y"), 1.1)))
		shift := v3(length(-200, 200).Draw(t, "sx"), 7, length(-200, 200).Draw(t, "sz"))
		o := s.mapped(func(p r3.Vec) r3.Vec { return r3.Add(shift, turn.Rotate(p)) })
		a, b := s.judge(t, 0), o.judge(t, 0)
		sameAnswer(t, a, b, 1)
	})
}

// Coordinates that went through a 32-bit file keep the state, and the depth to the rounding.
func TestFileRoundingKeepsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		turn := r3.NewRotation(length(0, 6).Draw(t, "angle"), r3.Unit(v3(0.3, -0.5, 1.1)))
		rounded := func(x float64) float64 { return float64(float32(x)) }
		o := s.mapped(turn.Rotate)
		o.moving = o.moving.Map(func(p r3.Vec) r3.Vec { return v3(rounded(p.X), rounded(p.Y), rounded(p.Z)) })
		o.fixed = o.fixed.Map(func(p r3.Vec) r3.Vec { return v3(rounded(p.X), rounded(p.Y), rounded(p.Z)) })
		a, b := s.judge(t, 0), o.judge(t, 0)
		if a.State != b.State {
			t.Fatalf("states differ:\n%s\n%s", a.Words(), b.Words())
		}
		if math.Abs(a.OverlapDepthMM-b.OverlapDepthMM) > a.OverlapDepthErrorMM+b.OverlapDepthErrorMM+1e-4 {
			t.Fatalf("depths differ:\n%s\n%s", a.Words(), b.Words())
		}
		if math.Abs(a.ZeroDraftAreaMM2-b.ZeroDraftAreaMM2) > 0.01 {
			t.Fatalf("zero draft differs:\n%s\n%s", a.Words(), b.Words())
		}
	})
}

func TestScalingScalesTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		k := length(0.2, 9).Draw(t, "scale")
		o := s.mapped(func(p r3.Vec) r3.Vec { return r3.Scale(k, p) })
		sameAnswer(t, s.judge(t, 0.005), o.judge(t, 0.005*k), k)
	})
}

func TestMirroringKeepsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		o := s.mapped(func(p r3.Vec) r3.Vec { return v3(p.Z, p.Y, p.X) })
		o.moving, o.fixed = o.moving.Flipped(), o.fixed.Flipped()
		sameAnswer(t, s.judge(t, 0), o.judge(t, 0), 1)
	})
}

func TestSwappingRolesKeepsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		a := s.judge(t, 0)
		b := scene{s.fixed, s.moving, r3.Scale(-1, s.d)}.judge(t, 0)
		b.MovingFacets, b.FixedFacets = b.FixedFacets, b.MovingFacets
		sameAnswer(t, a, b, 1)
	})
}

func TestRenumberingKeepsTheAnswer(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		var o scene
		var fromM, fromF []int32
		o.d = s.d
		o.moving, fromM = renumbered(t, s.moving)
		o.fixed, fromF = renumbered(t, s.fixed)
		b := o.judge(t, 0)
		b.MovingFacets, b.FixedFacets = named(b.MovingFacets, fromM), named(b.FixedFacets, fromF)
		sameAnswer(t, s.judge(t, 0), b, 1)
	})
}

// renumbered shuffles vertices, facets and the first corner of each facet; from gives each new
// facet's old number.
func renumbered(t *rapid.T, m *mesh.Mesh) (out *mesh.Mesh, from []int32) {
	numbers := func(n int) []int {
		p := make([]int, n)
		for i := range p {
			p[i] = i
		}
		return p
	}
	verts := rapid.Permutation(numbers(len(m.Verts))).Draw(t, "vertices")
	facets := rapid.Permutation(numbers(len(m.Tris))).Draw(t, "facets")
	to := make([]uint32, len(verts))
	out = &mesh.Mesh{}
	for i, v := range verts {
		to[v] = uint32(i)
		out.Verts = append(out.Verts, m.Verts[v])
	}
	for i, f := range facets {
		c := m.Tris[f]
		k := i % 3
		out.Tris = append(out.Tris, [3]uint32{to[c[k]], to[c[(k+1)%3]], to[c[(k+2)%3]]})
		from = append(from, int32(f))
	}
	return out, from
}

func named(ids, from []int32) []int32 {
	out := make([]int32, len(ids))
	for i, id := range ids {
		out[i] = from[id]
	}
	slices.Sort(out)
	return out
}

// The number of workers must not show in the answer, to the last bit.
func TestWorkersDoNotShow(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := scenes.Draw(t, "scene")
		a, b := Body{"moving", s.moving}, Body{"fixed", s.fixed}
		one, err1 := Translate(context.Background(), a, b, s.d, Options{Workers: 1})
		many, err2 := Translate(context.Background(), a, b, s.d, Options{Workers: 7})
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		sameAnswer(t, one, many, 1)
		if one.OverlapDepthMM != many.OverlapDepthMM || one.OverlapAreaMM2 != many.OverlapAreaMM2 ||
			one.ZeroDraftAreaMM2 != many.ZeroDraftAreaMM2 || one.At != many.At {
			t.Fatalf("%+v\n%+v", one, many)
		}
	})
}
