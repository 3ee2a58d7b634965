package mouldability

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// TestMain draws fewer cases than rapid's hundred, since each is a whole analysis; -rapid.checks asks
// for more.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f.Value.String() == f.DefValue {
		flag.Set("rapid.checks", "12")
	}
	os.Exit(m.Run())
}

// quick analyses with few depth cells: properties of areas don't need more.
func quick(t interface{ Fatal(...any) }, m *mesh.Mesh, d r3.Vec) *Report {
	r, err := Analyse(context.Background(), m, d, AnalyseOptions{DepthCells: 1500})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func drawDirection(t *rapid.T) r3.Vec {
	z := rapid.Float64Range(-1, 1).Draw(t, "z")
	s, c := math.Sincos(rapid.Float64Range(0, 2*math.Pi).Draw(t, "turn"))
	r := math.Sqrt(1 - z*z)
	return r3.Vec{X: r * c, Y: r * s, Z: z}
}

// wallShadow is the area that walls cover, seen along the direction: they are neither floors nor roofs,
// so the two may differ by that much.
func wallShadow(m *mesh.Mesh, r *Report) (a float64) {
	for f, reach := range r.Reach {
		if reach == Wall {
			t := m.Facet(f)
			a += math.Abs(r3.Dot(t.Normal(), r.Direction)) / 2
		}
	}
	return a
}

// sameAnswer compares figures that must not change, lengths growing by the factor k. b is of the mesh moved.
func sameAnswer(t *rapid.T, a, b *Report, moved *mesh.Mesh, k float64) {
	check := func(what string, x, y, tol float64) {
		if !(math.Abs(x-y) <= tol) {
			t.Fatalf("%s: %.12g became %.12g", what, x, y)
		}
	}
	// Undercuts near the width that is dismissed may fall on either side of it.
	check("undercut area", a.UndercutAreaMM2*k*k, b.UndercutAreaMM2, 0.02*k*k+1e-7*b.UndercutAreaMM2)
	check("trapped volume", a.TrappedMM3*k*k*k, b.TrappedMM3, 0.02*k*k*k+1e-7*b.TrappedMM3)
	check("shadow", a.ProjectedAreaMM2*k*k, b.ProjectedAreaMM2, 1e-3*k*k)
	check("height", a.HeightMM*k, b.HeightMM, 1e-9*k)
	check("least draft", a.MinDraftDeg, b.MinDraftDeg, 1e-3)
	check("parting line", a.PartingMM*k, b.PartingMM, 1e-6*k*a.PartingMM)
	check("closure", b.ClosureMM2, 0, 1e-6*k*k+wallShadow(moved, b))
	if len(a.Undercuts) > 0 && len(b.Undercuts) > 0 && a.Undercuts[0].AreaMM2 > 1 && a.Undercuts[0].DepthMM > 0.1 {
		// Steep slits of some hundredths of a millimetre are thinner than the layers can follow.
		x, y := a.Undercuts[0], b.Undercuts[0]
		check("depth", x.DepthMM*k, y.DepthMM, x.DepthErrorMM*k+y.DepthErrorMM)
	}
}

func TestAnalyseTurns(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, d := blob(rapid.Uint64Range(0, 50).Draw(t, "blob"), 14), drawDirection(t)
		turn := r3.NewRotation(rapid.Float64Range(0, 6).Draw(t, "angle"), drawDirection(t))
		turned := m.Map(turn.Rotate)
		sameAnswer(t, quick(t, m, d), quick(t, turned, turn.Rotate(d)), turned, 1)
	})
}

func TestAnalyseMirrors(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, d := blob(rapid.Uint64Range(0, 50).Draw(t, "blob"), 14), drawDirection(t)
		flip := func(v r3.Vec) r3.Vec { return r3.Vec{X: -v.X, Y: v.Y, Z: v.Z} }
		mirrored := m.Map(flip).Flipped()
		sameAnswer(t, quick(t, m, d), quick(t, mirrored, flip(d)), mirrored, 1)
	})
}

func TestAnalyseScales(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, d := blob(rapid.Uint64Range(0, 50).Draw(t, "blob"), 14), drawDirection(t)
		k := rapid.Float64Range(0.5, 20).Draw(t, "scale")
		a := quick(t, m, d)
		for _, draft := range a.DraftDeg {
			if math.Abs(draft) < 2*ZeroDraftDeg { // a wall is told by a width in mm, which doesn't scale
				t.Skip()
			}
		}
		scaled := m.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) })
		b, err := Analyse(context.Background(), scaled, d,
			AnalyseOptions{DepthCells: 1500, ToleranceMM: k * DefaultToleranceMM})
		if err != nil {
			t.Fatal(err)
		}
		sameAnswer(t, a, b, scaled, k)
	})
}

func TestAnalyseRenumbers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, d := blob(rapid.Uint64Range(0, 50).Draw(t, "blob"), 14), drawDirection(t)
		rng := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "order"), 0))
		verts, tris := rng.Perm(len(m.Verts)), rng.Perm(len(m.Tris))
		o := &mesh.Mesh{Verts: make([]r3.Vec, len(m.Verts)), Tris: make([][3]uint32, len(m.Tris))}
		for i, v := range verts {
			o.Verts[v] = m.Verts[i]
		}
		for i, f := range tris {
			s := rng.IntN(3)
			for k := range 3 {
				o.Tris[f][k] = uint32(verts[m.Tris[i][(k+s)%3]])
			}
		}
		a, b := quick(t, m, d), quick(t, o, d)
		sameAnswer(t, a, b, o, 1)
		for i, f := range tris {
			if math.Abs(a.DraftDeg[i]-b.DraftDeg[f]) > 1e-6 {
				t.Fatalf("facet %d: draft %g became %g", i, a.DraftDeg[i], b.DraftDeg[f])
			}
		}
	})
}

// TestAnalyseAgainstRays compares the caught share of each facet with rays from random points on it,
// and the trapped volume with columns between the part's upper and lower envelope less the part.
func TestAnalyseAgainstRays(t *testing.T) {
	const rays = 100
	for seed := range uint64(5) {
		m := blob(seed, 16)
		d := hemisphere(5)[seed]
		p, err := newProjection(m, d)
		if err != nil {
			t.Fatal(err)
		}
		all, err := findCaught(context.Background(), p, 0, nil)
		if err != nil {
			t.Fatal(err)
		}
		exact := make([]float64, len(m.Tris))
		for i := range all {
			exact[all[i].facet] = all[i].areaMM2(p) / p.area[all[i].facet]
		}
		rng, tree := rand.New(rand.NewPCG(seed, 2)), geom.NewBVH(m.Verts, m.Tris)
		var sum, want, variance float64
		for f := range m.Tris {
			if p.facing[f] == Wall {
				continue
			}
			hits := 0
			for range rays {
				if tree.AnyHit(onFacet(m.Facet(f), rng), r3.Scale(math.Copysign(1, p.nz[f]), d), 1e-7, math.Inf(1)) {
					hits++
				}
			}
			got := float64(hits) / rays
			// Five standard deviations of the share that rays see, at its widest.
			if math.Abs(got-exact[f]) > 5*0.5/math.Sqrt(rays) {
				t.Errorf("seed %d facet %d: rays say %g of it is caught, clipping %g", seed, f, got, exact[f])
			}
			sum += got * p.area[f]
			want += exact[f] * p.area[f]
			variance += exact[f] * (1 - exact[f]) * p.area[f] * p.area[f] / rays
		}
		near(t, "caught area by rays", sum, want, 5*math.Sqrt(variance)+1e-9)
		checkVolume(t, m, d, tree, p)
	}
}

func onFacet(t r3.Triangle, rng *rand.Rand) r3.Vec {
	u, v := rng.Float64(), rng.Float64()
	if u+v > 1 {
		u, v = 1-u, 1-v
	}
	return r3.Add(t[0], r3.Add(r3.Scale(u, r3.Sub(t[1], t[0])), r3.Scale(v, r3.Sub(t[2], t[0]))))
}

// checkVolume: trapped = ∫ upper envelope − ∫ lower envelope − the part, the integrals by columns.
func checkVolume(t *testing.T, m *mesh.Mesh, d r3.Vec, tree *geom.BVH, p *projection) {
	t.Helper()
	r := quick(t, m, d)
	const n = 250
	size, reach := p.noise/noiseRel, 0.0
	h := size / n
	down := r3.Scale(-1, d)
	for i := range n {
		for j := range n {
			x, y := (float64(i)+0.5)*h-size/2, (float64(j)+0.5)*h-size/2
			hi, ok := tree.FirstHit(p.world(r3.Vec{X: x, Y: y, Z: size}), down, 0, math.Inf(1))
			lo, ok2 := tree.FirstHit(p.world(r3.Vec{X: x, Y: y, Z: -size}), d, 0, math.Inf(1))
			if ok && ok2 {
				reach += 2*size - hi.T - lo.T
			}
		}
	}
	columns := reach*h*h - m.VolumeMM3()
	near(t, "trapped volume by columns", r.TrappedMM3, columns, 0.002*m.VolumeMM3())
}

// TestAnalyseSideHole: a ball of radius R bored through along z with radius r and opened along x.
// The bore is caught whole: its volume is that of the bore between the rims, and its middle is
// √(R²−r²) from the columns beyond the rims.
func TestAnalyseSideHole(t *testing.T) {
	const n, big, bore = 40, 10.0, 3.0
	h := math.Sqrt(big*big - bore*bore)
	var profile [][2]float64
	a := math.Atan2(h, bore)
	for i := range n + 1 {
		s, c := math.Sincos(-a + 2*a*float64(i)/n)
		profile = append(profile, [2]float64{big * c, big * s})
	}
	m := revolve(profile, n)
	r := analyse(t, m, r3.Vec{X: 1})
	near(t, "undercuts", float64(len(r.Undercuts)), 1, 0)
	u := r.Undercuts[0]
	near(t, "volume", u.VolumeMM3, polygonFactor(n)*bore*bore*2*h, 1e-7)
	near(t, "area", u.AreaMM2, n*2*bore*math.Sin(math.Pi/n)*2*h, 1e-7)
	near(t, "depth", u.DepthMM, h, u.DepthErrorMM)
	if u.Holds != BothHalves || u.DepthErrorMM > 0.2 {
		t.Errorf("holds %v, depth error %g mm", u.Holds, u.DepthErrorMM)
	}
	near(t, "centroid", r3.Norm(u.Centroid), 0, 1e-9)
	near(t, "undercuts along the bore", float64(len(analyse(t, m, up).Undercuts)), 0, 0)
}

// TestAnalyseFloat32 rounds a turned box with a T-slot to float32, as an STL file does: the noise on
// its walls must not become undercuts, nor hide the slot.
func TestAnalyseFloat32(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		turn := r3.NewRotation(rapid.Float64Range(0, 6).Draw(t, "angle"), drawDirection(t))
		round := func(v r3.Vec) r3.Vec {
			v = turn.Rotate(v)
			return r3.Vec{X: float64(float32(v.X)), Y: float64(float32(v.Y)), Z: float64(float32(v.Z))}
		}
		d := turn.Rotate(up)
		box := quick(t, bar([][2]float64{{0, 0}, {90, 0}, {90, 60}, {0, 60}}, 75).Map(round), d)
		if len(box.Undercuts) != 0 || box.MinDraftDeg != 0 {
			t.Fatalf("a box: %d undercuts, least draft %g°", len(box.Undercuts), box.MinDraftDeg)
		}
		slot := quick(t, bar([][2]float64{{-15, 0}, {15, 0}, {15, 20}, {3, 20}, {3, 12}, {7, 12}, {7, 7}, {-7, 7}, {-7, 12}, {-3, 12}, {-3, 20}, {-15, 20}}, 40).Map(round), d)
		if len(slot.Undercuts) != 1 || math.Abs(slot.Undercuts[0].VolumeMM3-1600) > 0.05 {
			t.Fatalf("a slot: %d undercuts, %g mm³ trapped", len(slot.Undercuts), slot.TrappedMM3)
		}
	})
}
