package mesh

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
)

// needles are n long thin facets through one small place: every two cross or nearly do.
func needles(n int) *Mesh {
	m := &Mesh{}
	rng := rand.New(rand.NewPCG(1, 2))
	for i := range uint32(n) {
		d := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
		a, b := r3.Scale(-50, d), r3.Scale(50, d)
		side := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		m.Verts = append(m.Verts, a, b, r3.Add(b, side))
		m.Tris = append(m.Tris, [3]uint32{3 * i, 3*i + 1, 3*i + 2})
	}
	return m
}

// oneEdge is a fan of n facets that all share one edge.
func oneEdge(n int) *Mesh {
	m := &Mesh{Verts: []r3.Vec{{}, {Z: 50}}}
	for i := range uint32(n) {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		m.Verts = append(m.Verts, r3.Vec{X: 50 * c, Y: 50 * s, Z: 25})
		m.Tris = append(m.Tris, [3]uint32{0, 1, i + 2})
	}
	return m
}

// overlapping are n cubes that all overlap.
func overlapping(n int) *Mesh {
	var list []*Mesh
	for i := range n {
		d := 40 * float64(i) / float64(n)
		list = append(list, move(cube(60), r3.Vec{X: d, Y: d / 3, Z: d / 7}))
	}
	return join(list...)
}

// onion are n cubes one inside the other that do not cross.
func onion(n int) *Mesh {
	var list []*Mesh
	for i := range n {
		side := 100 - 90*float64(i)/float64(n)
		list = append(list, move(cube(side), r3.Vec{X: -side / 2, Y: -side / 2, Z: -side / 2}))
	}
	return join(list...)
}

// hostile are meshes with facets in one another's way, each with what it must be refused for.
func hostile(scale int) []hostileMesh {
	return []hostileMesh{{"needles", ShellsCross, needles(200_000 / scale)}, {"one edge", NonManifoldEdge, oneEdge(500_000 / scale)},
		{"overlapping shells", ShellsCross, overlapping(50_000 / scale)}}
}

type hostileMesh struct {
	name string
	kind Kind
	mesh *Mesh
}

// Each is refused with places, after a number of tests that does not grow with the square of its facets.
func TestHostileMeshesAreRefused(t *testing.T) {
	for _, h := range hostile(10) {
		in := inspect(t, h.mesh)
		if p := find(t, in, h.kind); p.Severity != Fatal || len(p.Where) == 0 {
			t.Errorf("%s: %+v", h.name, p)
		}
		most := 2 * crossRound * (crossMost + crossNear)
		if h.kind == NonManifoldEdge { // these cross nowhere: their number alone ends the search
			most = (crossNearAll+crossNearEach*len(h.mesh.Tris))/crossRefused + crossRound
		}
		if in.near > most {
			t.Errorf("%s: %d neighbours were looked at, want at most %d", h.name, in.near, most)
		}
	}
}

// A surface that only has too much in one place, and of which nothing else is known to be wrong, is not let
// through untested.
func TestSearchThatIsGivenUpRefuses(t *testing.T) {
	in := &Intake{Mesh: cube(20)}
	in.reportPairs([]pairs{{spent: true}}, false)
	if p := find(t, in, Untested); p.Severity != Fatal {
		t.Errorf("%+v", p)
	}
}

// Shells far from each other in one column cost no more than their number; shells that lie in one another
// are counted up to the budget.
func TestNestingCost(t *testing.T) {
	visits := func(m *Mesh) int {
		in := &Intake{Facets: len(m.Tris), Mesh: m}
		in.measure(m)
		ctx := context.Background()
		s, err := newSurface(ctx, m)
		if err != nil {
			t.Fatal(err)
		}
		in.shells(s)
		boxes, err := in.shellBoxes(ctx)
		if err != nil {
			t.Fatal(err)
		}
		n := &nest{s: s, in: in, tree: geom.NewBVH(m.Verts, m.Tris), boxes: boxes, winding: make([]int, s.count), ctx: ctx, left: 1 << 40}
		for i, corner := range firstCorners(s) {
			n.around(int32(i), corner)
		}
		return 1<<40 - n.left
	}
	var stack []*Mesh
	for i := range 2000 {
		stack = append(stack, move(cube(1), r3.Vec{Z: 2 * float64(i)}))
	}
	if got := visits(join(stack...)); got > 10*len(stack) {
		t.Errorf("%d looks for %d shells over each other", got, len(stack))
	}
	in := inspect(t, onion(300))
	if p := find(t, in, SolidInSolid); p.Count != 299 {
		t.Errorf("%+v", p)
	}
}

// The context ends the look at any moment. The promise is half a second; machines are noisy.
func TestStopInHostileMeshes(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for _, h := range hostile(4) {
		for range 3 {
			ctx, cancel := context.WithCancel(context.Background())
			var at time.Time
			time.AfterFunc(time.Duration(rng.IntN(200))*time.Millisecond, func() { at = time.Now(); cancel() })
			_, err := Inspect(ctx, h.mesh)
			if took := time.Since(at); ctx.Err() != nil && (!errors.Is(err, context.Canceled) || took > 5*time.Second) {
				t.Errorf("%s: %v after %v", h.name, err, took)
			}
			cancel()
		}
	}
}

// BenchmarkHostile is how long the refusal takes at full size, and how long a stop.
func BenchmarkHostile(b *testing.B) {
	for _, h := range hostile(1) {
		b.Run(h.name, func(b *testing.B) {
			for range b.N {
				inspect(b, h.mesh)
			}
		})
		b.Run("stop "+h.name, func(b *testing.B) {
			rng := rand.New(rand.NewPCG(5, 6))
			worst := time.Duration(0)
			for range b.N {
				for range 10 {
					ctx, cancel := context.WithCancel(context.Background())
					var at time.Time
					time.AfterFunc(time.Duration(rng.IntN(1500))*time.Millisecond, func() { at = time.Now(); cancel() })
					if _, err := Inspect(ctx, h.mesh); err != nil {
						worst = max(worst, time.Since(at))
					}
					cancel()
				}
			}
			b.ReportMetric(float64(worst.Milliseconds()), "ms-worst")
		})
	}
}
