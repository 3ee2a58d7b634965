package choice

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// With a rigid casting and rigid pieces, a way that is said to open must let each facet see its way
// out: a ray from its middle along the exit of the piece that shapes it meets nothing.
func TestNoRigidWayOpensWrongly(t *testing.T) {
	opt, err := Options{}.withDefaults()
	if err != nil {
		t.Fatal(err)
	}
	opened := map[string]int{}
	for name, m := range trickyParts() {
		s, err := newStance(t.Context(), m, nil, r3.Vec{Z: 1}, &opt)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		for i := range families {
			f := &families[i]
			if f.pours > 0 {
				continue
			}
			a, err := f.arrange(t.Context(), s, &opt)
			if err != nil {
				t.Fatal(err)
			}
			if len(a.against) > 0 {
				continue
			}
			r, err := a.judge(t.Context(), s, &opt)
			if err != nil {
				t.Fatal(err)
			}
			if !r.Releases {
				continue
			}
			opened[f.key]++
			if blocked := blockedBy(a, m); blocked > 2e-3*m.AreaMM2() {
				t.Errorf("%s, %s: said to open, but %.2f mm² see no way out", name, f.name, blocked)
			}
		}
	}
	for _, key := range []string{"open-tray", "two-rigid-halves", "side-split"} {
		if opened[key] < 3 {
			t.Errorf("%s opens on %d parts only; the test shows little", key, opened[key])
		}
	}
	t.Log(opened)
}

func blockedBy(a *arrangement, m *mesh.Mesh) (area float64) {
	tree := geom.NewBVH(m.Verts, m.Tris)
	for f, p := range a.shapes {
		tri := m.Facet(f)
		if p < 0 || !(tri.Area() > 0) {
			continue
		}
		n, exit := r3.Unit(tri.Normal()), r3.Unit(a.pieces[p].Exit)
		if r3.Dot(n, exit) < -1e-3 || r3.Dot(n, exit) > 1e-3 && tree.AnyHit(tri.Centroid(), exit, 1e-3, math.Inf(1)) {
			area += tri.Area()
		}
	}
	return area
}

// trickyParts are cups, spools, bored blocks and T-shapes; some lock one way, some another.
func trickyParts() map[string]*mesh.Mesh {
	out := map[string]*mesh.Mesh{}
	rnd := rand.New(rand.NewPCG(3, 4))
	for k := range 12 {
		c := cup{radius: 20, wall: 4, floor: 3, height: 14, outerLean: float64(rnd.IntN(7) - 3), innerLean: float64(rnd.IntN(7) - 3)}
		out[fmt.Sprintf("cup %d", k)] = c.mesh(24)
	}
	for k, neck := range []float64{8, 11, 13} {
		out[fmt.Sprintf("spool %d", k)] = turnedBody([]r2.Vec{{}, {X: 15}, {X: 15, Y: 3}, {X: neck, Y: 3}, {X: neck, Y: 9}, {X: 14, Y: 9}, {X: 14, Y: 12}, {Y: 12}}, 24)
		out[fmt.Sprintf("lipped cup %d", k)] = turnedBody([]r2.Vec{{}, {X: 18}, {X: 18, Y: 12}, {X: neck, Y: 12}, {X: neck, Y: 10}, {X: 15, Y: 10}, {X: 15, Y: 2}, {Y: 2}}, 24)
	}
	out["box"] = boxMesh(30, 20, 8)
	out["frustum"] = turnedBody([]r2.Vec{{}, {X: 12}, {X: 15, Y: 8}, {Y: 8}}, 24)
	out["upturned frustum"] = turnedBody([]r2.Vec{{}, {X: 15}, {X: 12, Y: 8}, {Y: 8}}, 24)
	return out
}
