package offset

import (
	"context"
	"math"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// The swept distance is the least over points of the triangle and of the cone: sampled densely it can
// only come out larger, and not by more than the samples are apart.
func TestSweptDistanceAgainstSamples(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := func(name string) r3.Vec {
			g := rapid.Float64Range(-10, 10)
			return r3.Vec{X: g.Draw(t, name+" x"), Y: g.Draw(t, name+" y"), Z: g.Draw(t, name+" z")}
		}
		m := &mesh.Mesh{Verts: []r3.Vec{v("a"), v("b"), v("c")}, Tris: [][3]uint32{{0, 1, 2}}}
		p := v("p")
		draft := rapid.Float64Range(1, 40).Draw(t, "draft") * math.Pi / 180
		s := newSwept(m, draft)
		got := s.at(p)
		const n = 60
		least := math.Inf(1)
		for i := range n + 1 {
			for j := range n + 1 - i {
				a, b := float64(i)/n, float64(j)/n
				q := r3.Add(r3.Scale(a, m.Verts[0]), r3.Add(r3.Scale(b, m.Verts[1]), r3.Scale(1-a-b, m.Verts[2])))
				// Distance from p to the upward cone over q, from the support of the cone in the plane of both.
				rho, up := math.Hypot(p.X-q.X, p.Y-q.Y), p.Z-q.Z
				along := max(0, rho*math.Sin(draft)+up*math.Cos(draft)) // on the cone's side line
				d := math.Hypot(rho-along*math.Sin(draft), up-along*math.Cos(draft))
				if rho <= up*math.Tan(draft) {
					d = 0
				}
				least = min(least, d)
			}
		}
		long := max(r3.Norm(r3.Sub(m.Verts[0], m.Verts[1])), r3.Norm(r3.Sub(m.Verts[1], m.Verts[2])), r3.Norm(r3.Sub(m.Verts[2], m.Verts[0])))
		if got > least+1e-9 || got < least-long/n {
			t.Fatalf("distance %.9f, by samples %.9f", got, least)
		}
	})
}

func checkSheet(t *testing.T, s *Sheet) {
	t.Helper()
	if s.Error.MaxMM > allowedMM {
		t.Errorf("sheet strays by %.4f mm at %v", s.Error.MaxMM, s.Error.At)
	}
	for i := range s.Tris {
		if n := s.Mesh().Facet(i).Normal(); n.Z <= 0 {
			t.Fatalf("facet %d does not face up: %v", i, n)
		}
	}
	t.Logf("%d facets, error max %.4f rms %.4f mm", len(s.Tris), s.Error.MaxMM, s.Error.RMSMM)
}

func TestSheetUnderABallAndACup(t *testing.T) {
	const thick, draft, top = 6.0, 5.0, 12.0
	m := sphereMesh(10, 40, 80)
	s, err := Under(context.Background(), m, UnderOptions{ThicknessMM: thick, DraftDeg: draft, TopMM: top})
	if err != nil {
		t.Fatal(err)
	}
	checkSheet(t, s)
	if len(s.Loops) != 1 {
		t.Fatalf("%d loops", len(s.Loops))
	}
	// A ball of radius 16 swept upward: the cone that touches it has radius 16/cos δ + z·tan δ.
	sin, cos := math.Sincos(draft * math.Pi / 180)
	want := 16/cos + top*sin/cos
	for _, p := range s.Loops[0] {
		if r := math.Hypot(p.X, p.Y); math.Abs(r-want) > allowedMM {
			t.Fatalf("rim radius %.4f, want %.4f", r, want)
		}
	}
	lowest := 0.0
	for _, v := range s.Verts {
		lowest = min(lowest, v.Z)
	}
	if math.Abs(lowest+16) > allowedMM {
		t.Errorf("lowest %.4f, want −16", lowest)
	}
	cup, err := Under(context.Background(), lantern.BumperCap().Mesh, UnderOptions{ThicknessMM: thick, TopMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	checkSheet(t, cup)
}

func TestSheetOfARingHasAHole(t *testing.T) {
	m := turnedMesh([][2]float64{{20, -2}, {26, -2}, {26, 2}, {20, 2}}, 96)
	s, err := Under(context.Background(), m, UnderOptions{ThicknessMM: 4, TopMM: 5})
	if err != nil {
		t.Fatal(err)
	}
	checkSheet(t, s)
	if len(s.Loops) != 2 {
		t.Errorf("%d loops, want 2", len(s.Loops))
	}
}
