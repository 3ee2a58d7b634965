package opening

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// solids runs f with a kernel of the boolean library, the check from outside this package: it knows
// nothing of projections, only of volumes in common.
func solids(t *testing.T, f func(k *solid.Kernel) error) {
	t.Helper()
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	if err := pool.Do(context.Background(), f); err != nil {
		t.Fatal(err)
	}
}

// randomPair is a moving body of one or two random hulls and a fixed body of a few more with the
// moving one cut out, so that they touch over cut facets. Some fixed hulls lie ahead along d.
func randomPair(k *solid.Kernel, rng *rand.Rand, d r3.Vec) (moving, fixed *mesh.Mesh, err error) {
	hull := func(c r3.Vec, size float64) (*solid.Solid, error) {
		pts := make([]r3.Vec, 5+rng.IntN(12))
		for i := range pts {
			pts[i] = r3.Add(c, r3.Scale(size, v3(rng.Float64()-0.5, rng.Float64()-0.5, rng.Float64()-0.5)))
		}
		return k.Hull(pts)
	}
	join := func(n int, where func() r3.Vec, size float64) (*solid.Solid, error) {
		parts := make([]*solid.Solid, n)
		for i := range parts {
			if parts[i], err = hull(where(), size); err != nil {
				return nil, err
			}
		}
		return k.Union(parts...)
	}
	around := func() r3.Vec { return v3(4*rng.NormFloat64(), 4*rng.NormFloat64(), 4*rng.NormFloat64()) }
	a, err := join(1+rng.IntN(2), around, 8)
	if err != nil {
		return nil, nil, err
	}
	// Behind along −d as often as around and ahead, so that free pairs turn up too.
	shift := r3.Scale([]float64{-9, -4, 0, 6}[rng.IntN(4)], d)
	b, err := join(1+rng.IntN(3), func() r3.Vec { return r3.Add(shift, around()) }, 10)
	if err != nil {
		return nil, nil, err
	}
	if b, err = b.Subtract(a); err != nil {
		return nil, nil, err
	}
	if moving, err = a.Mesh(); err != nil {
		return nil, nil, err
	}
	fixed, err = b.Mesh()
	return moving, fixed, err
}

// common is the volume two bodies share when the first has moved by t along d.
func common(k *solid.Kernel, moving, fixed *mesh.Mesh, d r3.Vec, t float64) (float64, error) {
	a, err := k.FromMesh(moving.Map(func(p r3.Vec) r3.Vec { return r3.Add(p, r3.Scale(t, d)) }))
	if err != nil {
		return 0, err
	}
	b, err := k.FromMesh(fixed)
	if err != nil {
		return 0, err
	}
	c, err := a.Intersect(b)
	if err != nil {
		return 0, err
	}
	v, err := c.VolumeMM3()
	a.Free()
	b.Free()
	c.Free()
	return v, err
}

// Stepping the moving body along and intersecting must agree with the proof on random pairs.
func TestSteppingWithBooleansAgrees(t *testing.T) {
	const pairs, step, reach = 120, 1.5, 36.0
	rng := rand.New(rand.NewPCG(7, 2026))
	count := map[State]int{}
	later := 0
	solids(t, func(k *solid.Kernel) error {
		for i := range pairs {
			d := r3.Unit(v3(rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()))
			if i%2 == 0 {
				d = []r3.Vec{{X: 1}, {Y: -1}, {Z: 1}, {Z: -1}}[rng.IntN(4)]
			}
			moving, fixed, err := randomPair(k, rng, d)
			if err != nil {
				return err
			}
			if len(fixed.Tris) == 0 {
				continue
			}
			v := translate(t, moving, fixed, d)
			count[v.State]++
			if v.State == Blocked && v.TravelMM > 0 {
				later++
			}
			if err := checkByStepping(t, i, k, moving, fixed, v, step, reach); err != nil {
				return err
			}
		}
		return nil
	})
	t.Logf("%v; %d blocked after a travel", count, later)
	if count[Free]+count[Sliding] < pairs/10 || count[Blocked] < pairs/10 || later < pairs/20 {
		t.Errorf("the pairs do not cover the states: %v, %d blocked after a travel", count, later)
	}
}

func checkByStepping(t *testing.T, i int, k *solid.Kernel, moving, fixed *mesh.Mesh, v *Verdict, step, reach float64) error {
	const nothing = 1e-6 // mm³
	at := func(s float64) (float64, error) { return common(k, moving, fixed, v.Direction, s) }
	if v.State == Blocked {
		// Just before the contact nothing is shared, just after it something is.
		for s := step; s < v.TravelMM; s += step {
			if c, err := at(s); err != nil {
				return err
			} else if c > nothing {
				t.Errorf("pair %d: shares %g mm³ at travel %g, before %s", i, c, s, v.Words())
			}
		}
		if c, err := at(v.TravelMM * (1 - 1e-6)); err != nil {
			return err
		} else if c > nothing {
			t.Errorf("pair %d: shares %g mm³ just before %s", i, c, v.Words())
		}
		c, err := at(v.TravelMM + 0.25)
		if err == nil && c < nothing {
			t.Errorf("pair %d: shares only %g mm³ 0.25 mm after %s", i, c, v.Words())
		}
		return err
	}
	// A graze as wide as the tolerance shares at most that times the length and height of the bodies.
	limit := nothing + 20*20*v.GrazeMM
	for s := step; s < reach; s += step {
		c, err := at(s)
		if err != nil {
			return err
		}
		if c > limit {
			t.Errorf("pair %d: shares %g mm³ at travel %g, but %s", i, c, s, v.Words())
		}
	}
	return nil
}

// The cup again, with the halves cut by the boolean library: its facets and those of the closed form
// differ, the answer does not.
func TestGrippingCupFromBooleans(t *testing.T) {
	c := cup{n: 60, lean: cupHeight * math.Tan(2*math.Pi/180)}
	var lower, upper *mesh.Mesh
	solids(t, func(k *solid.Kernel) error {
		block, err := k.Box(r3.Box{Min: v3(-30, -30, -10), Max: v3(30, 30, cupHeight+10)})
		if err != nil {
			return err
		}
		part, err := k.FromMesh(c.mesh())
		if err != nil {
			return err
		}
		if block, err = block.Subtract(part); err != nil {
			return err
		}
		above, below, err := block.SplitByPlane(up, 0)
		if err != nil {
			return err
		}
		if lower, err = below.Mesh(); err != nil {
			return err
		}
		upper, err = above.Mesh()
		return err
	})
	closedLower, closedUpper := c.halves(false)
	order := []Motion{{Piece: "upper half", Direction: up}}
	bodies := []Body{{"lower half", lower}, {"upper half", upper}, {"cup", c.mesh()}}
	closed := []Body{{"lower half", closedLower}, {"upper half", closedUpper}, {"cup", c.mesh()}}
	got, err := ProveWithAndWithout(context.Background(), bodies, "cup", order, Options{})
	if err != nil {
		t.Fatal(err)
	}
	want, err := ProveWithAndWithout(context.Background(), closed, "cup", order, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Empty.State != Free {
		t.Errorf("empty: %s", got.Empty.Words())
	}
	for i, f := range got.Filled {
		a, b := f.Proof.firstLock(), want.Filled[i].Proof.firstLock()
		if a == nil || b == nil {
			t.Fatalf("not locked:\n%s", got.Words())
		}
		wantNear(t, "depth", a.OverlapDepthMM, b.OverlapDepthMM, a.OverlapDepthErrorMM)
		wantNear(t, "area", a.OverlapAreaMM2, b.OverlapAreaMM2, 0.01)
	}
}
