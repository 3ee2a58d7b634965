package mouldability

import (
	"context"
	"math"
	"slices"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// revolve turns a closed profile of (r, z) points, counter-clockwise with r to the right, about z.
// Points with r = 0 lie on the axis and become one vertex.
func revolve(profile [][2]float64, n int) *mesh.Mesh {
	m := &mesh.Mesh{}
	ring := make([][]uint32, len(profile))
	for i, p := range profile {
		if p[0] == 0 {
			m.Verts = append(m.Verts, r3.Vec{Z: p[1]})
			ring[i] = []uint32{uint32(len(m.Verts) - 1)}
			continue
		}
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			m.Verts = append(m.Verts, r3.Vec{X: p[0] * c, Y: p[0] * s, Z: p[1]})
			ring[i] = append(ring[i], uint32(len(m.Verts)-1))
		}
	}
	at := func(i, k int) uint32 { return ring[i][k%len(ring[i])] }
	for i := range profile {
		j := (i + 1) % len(profile)
		if len(ring[i]) == 1 && len(ring[j]) == 1 {
			continue
		}
		for k := range n {
			a, b, c, d := at(i, k), at(i, k+1), at(j, k+1), at(j, k)
			if a != b {
				m.Tris = append(m.Tris, [3]uint32{a, b, c})
			}
			if c != d {
				m.Tris = append(m.Tris, [3]uint32{a, c, d})
			}
		}
	}
	return m
}

// polygonFactor is the area of a regular n-gon over that of its circumscribed circle's square radius.
func polygonFactor(n int) float64 { return float64(n) / 2 * math.Sin(2*math.Pi/float64(n)) }

func join(ms ...*mesh.Mesh) *mesh.Mesh {
	out := &mesh.Mesh{}
	for _, m := range ms {
		base := uint32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts...)
		for _, t := range m.Tris {
			out.Tris = append(out.Tris, [3]uint32{t[0] + base, t[1] + base, t[2] + base})
		}
	}
	return out
}

func sphere(r float64, n int) *mesh.Mesh {
	var p [][2]float64
	for i := 0; i <= n; i++ {
		s, c := math.Sincos(math.Pi * float64(i) / float64(n))
		if i == 0 || i == n {
			s = 0
		}
		p = append(p, [2]float64{r * s, -r * c})
	}
	return revolve(p, 2*n)
}

// bar extrudes a counter-clockwise profile of (x, z) along y. Its end faces are fans, which overlap
// for a profile that isn't star-shaped; they are walls in all directions used here.
func bar(profile [][2]float64, length float64) *mesh.Mesh {
	p := slices.Clone(profile)
	slices.Reverse(p)
	return prism(p, length)
}

var up = r3.Vec{Z: 1}

func analyse(t testing.TB, m *mesh.Mesh, d r3.Vec) *Report {
	t.Helper()
	r, err := Analyse(context.Background(), m, d, AnalyseOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestAnalyseSphere(t *testing.T) {
	const n = 40
	r := analyse(t, sphere(10, n), up)
	near(t, "undercuts", float64(len(r.Undercuts)), 0, 0)
	near(t, "height", r.HeightMM, 20, 1e-12)
	near(t, "shadow", r.ProjectedAreaMM2, 100*polygonFactor(2*n), 1e-9)
	// The parting line of a sphere is its equator, a regular polygon here.
	near(t, "parting", r.PartingMM, 2*n*2*10*math.Sin(math.Pi/(2*n)), 1e-9)
}

func TestAnalyseCone(t *testing.T) {
	// A frustum with bottom radius 20, top radius 15, height 30: the mantle leans by atan(5/30),
	// less for a pyramid by the cosine of half a facet's angle.
	const n = 64
	r := analyse(t, revolve([][2]float64{{0, 0}, {20, 0}, {15, 30}, {0, 30}}, n), up)
	near(t, "undercuts", float64(len(r.Undercuts)), 0, 0)
	near(t, "draft", r.MinDraftDeg, math.Atan(5*math.Cos(math.Pi/n)/30)*180/math.Pi, 1e-9)
	near(t, "shadow", r.ProjectedAreaMM2, 400*polygonFactor(n), 1e-9)
}

// TestAnalyseTorus lays a torus down (no undercut) and stands it up (its hole is caught).
func TestAnalyseTorus(t *testing.T) {
	const n = 96
	var p [][2]float64
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		p = append(p, [2]float64{30 + 8*c, 8 * s})
	}
	m := revolve(p, n)
	near(t, "lying", float64(len(analyse(t, m, up).Undercuts)), 0, 0)
	r := analyse(t, m, r3.Vec{X: 1})
	near(t, "standing", float64(len(r.Undercuts)), 1, 0)
	if u := r.Undercuts[0]; u.Sealed || u.Holds != BothHalves {
		t.Errorf("the hole of a standing torus opens sideways to both halves, got %v", u.Holds)
	}
	if math.Abs(r.ClosureMM2) > 1e-6 {
		t.Errorf("floors and roofs differ by %g mm²", r.ClosureMM2)
	}
	// The way out of the hole runs along the axis to where the tube's crown bends away: half its
	// diameter, at the middle of the hole.
	u := r.Undercuts[0]
	near(t, "depth", u.DepthMM, 8, u.DepthErrorMM+0.05)
}

// TestAnalyseTSlot: neck 6 wide, slot 14 wide and 5 high, 40 long: each side is caught over 4 mm.
func TestAnalyseTSlot(t *testing.T) {
	m := bar([][2]float64{{-15, 0}, {15, 0}, {15, 20}, {3, 20}, {3, 12}, {7, 12}, {7, 7}, {-7, 7}, {-7, 12}, {-3, 12}, {-3, 20}, {-15, 20}}, 40)
	r := analyse(t, m, up)
	near(t, "undercuts", float64(len(r.Undercuts)), 1, 0)
	u := r.Undercuts[0]
	near(t, "area", u.AreaMM2, 2*(4*40)*2, 1e-9)
	near(t, "volume", u.VolumeMM3, 2*4*40*5, 1e-9)
	near(t, "depth", u.DepthMM, 4, u.DepthErrorMM)
	if u.DepthErrorMM > 0.4 {
		t.Errorf("depth error %g mm", u.DepthErrorMM)
	}
	if u.Holds != UpperHalf {
		t.Errorf("holds %v", u.Holds)
	}
	near(t, "shadow", r.ProjectedAreaMM2, 30*40, 1e-9)
	if turned := analyse(t, m, r3.Vec{Z: -1}); turned.Undercuts[0].Holds != LowerHalf {
		t.Errorf("turned over it holds %v", turned.Undercuts[0].Holds)
	}
}

// TestAnalyseChannel: a C of 20 x 16 with a mouth 10 high and 12 deep, opened across the mouth.
func TestAnalyseChannel(t *testing.T) {
	m := bar([][2]float64{{0, 0}, {20, 0}, {20, 3}, {8, 3}, {8, 13}, {20, 13}, {20, 16}, {0, 16}}, 25)
	u := analyse(t, m, up).Undercuts
	near(t, "undercuts", float64(len(u)), 1, 0)
	near(t, "area", u[0].AreaMM2, 2*12*25, 1e-9)
	near(t, "volume", u[0].VolumeMM3, 12*10*25, 1e-9)
	// The channel is open on its two ends as well, but those are 12.5 away from the middle.
	near(t, "depth", u[0].DepthMM, 12, u[0].DepthErrorMM)
	along := analyse(t, m, r3.Vec{X: 1})
	near(t, "undercuts along the mouth", float64(len(along.Undercuts)), 0, 0)
}

// TestAnalyseCup: a cup whose inside narrows from radius 18 at the floor to 16 at the mouth over
// 20 mm, so that a ring of it is caught; and one that widens, which isn't.
func TestAnalyseCup(t *testing.T) {
	const n = 48
	lock := revolve([][2]float64{{0, 0}, {22, 0}, {20, 24}, {16, 24}, {18, 4}, {0, 4}}, n)
	r := analyse(t, lock, up)
	near(t, "undercuts", float64(len(r.Undercuts)), 1, 0)
	u, k := r.Undercuts[0], polygonFactor(n)
	ring := k * (18*18 - 16*16)
	slant := math.Hypot(20, 2*math.Cos(math.Pi/n)) / (2 * math.Cos(math.Pi/n))
	near(t, "area", u.AreaMM2, ring*(1+slant), 1e-8)
	near(t, "floor", u.FloorMM2, ring, 1e-9)
	near(t, "volume", u.VolumeMM3, k*(20.0/3*(18*18+18*16+16*16)-20*16*16), 1e-8)
	near(t, "depth", u.DepthMM, 2, u.DepthErrorMM)
	if u.Holds != UpperHalf || u.DepthErrorMM > 0.3 {
		t.Errorf("holds %v, depth error %g", u.Holds, u.DepthErrorMM)
	}
	free := revolve([][2]float64{{0, 0}, {20, 0}, {22, 24}, {18, 24}, {16, 4}, {0, 4}}, n)
	near(t, "widening cup", float64(len(analyse(t, free, up).Undercuts)), 0, 0)
}

// TestAnalyseSealed: a hollow cube in a cube. Its void is the inner cube, and nothing gets in.
func TestAnalyseSealed(t *testing.T) {
	outer := bar([][2]float64{{0, 0}, {20, 0}, {20, 20}, {0, 20}}, 20)
	inner := bar([][2]float64{{5, 5}, {15, 5}, {15, 15}, {5, 15}}, 10).Map(func(v r3.Vec) r3.Vec {
		return r3.Add(v, r3.Vec{Y: 5})
	}).Flipped()
	r := analyse(t, join(outer, inner), up)
	near(t, "undercuts", float64(len(r.Undercuts)), 1, 0)
	u := r.Undercuts[0]
	if !u.Sealed || !math.IsInf(u.DepthMM, 1) || u.Holds != NoHalf {
		t.Errorf("sealed %v, depth %g, holds %v", u.Sealed, u.DepthMM, u.Holds)
	}
	near(t, "area", u.AreaMM2, 200, 1e-9)
	near(t, "volume", u.VolumeMM3, 1000, 1e-9)
}
