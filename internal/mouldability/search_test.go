package mouldability

import (
	"context"
	"errors"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func search(t testing.TB, m *mesh.Mesh, show []bool, opt SearchOptions) []Candidate {
	t.Helper()
	s, err := NewSearcher(m, show)
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Search(context.Background(), opt)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// blob is a closed surface with random lumps, seeded, that hides parts of itself from most sides.
func blob(seed uint64, n int) *mesh.Mesh {
	rng := rand.New(rand.NewPCG(seed, 1))
	var k [6]r3.Vec
	for i := range k {
		k[i] = r3.Vec{X: rng.NormFloat64() * 2.5, Y: rng.NormFloat64() * 2.5, Z: rng.NormFloat64() * 2.5}
	}
	return sphere(1, n).Map(func(v r3.Vec) r3.Vec {
		r := 10.0
		for i, q := range k {
			r += 1.2 * math.Sin(r3.Dot(q, v)+float64(i))
		}
		return r3.Scale(r, v)
	})
}

// TestVisibilityBrute checks the sorted middles against every triangle in float64.
func TestVisibilityBrute(t *testing.T) {
	for seed := range uint64(4) {
		m := blob(seed, 20)
		v := newVisibility(m)
		w := v.newSight()
		for _, d := range hemisphere(12) {
			w.look(d)
			p, err := newProjection(m, d)
			if err != nil {
				t.Fatal(err)
			}
			for i, f := range v.order {
				if math.Abs(p.nz[f]) < 2*sinZeroDraft {
					continue
				}
				c, want := p.frame.Apply(r3.Sub(m.Facet(int(f)).Centroid(), p.centre)), false
				for o := range m.Tris {
					if (p.nz[o] > 0) != (p.nz[f] > 0) && p.nz[o] != 0 && covers(p, o, xy(c)) {
						gap := p.planeOf(o, xy(c)).C - c.Z
						want = want || gap*math.Copysign(1, p.nz[f]) > p.noise
					}
				}
				if w.caught[i] != want {
					t.Errorf("seed %d, direction %v, facet %d with n·d %.4f: got %v", seed, d, f, p.nz[f], w.caught[i])
				}
			}
		}
	}
}

func covers(p *projection, f int, v r2.Vec) bool {
	a, b, c := p.facet(f)
	x, y, z := edge(a, b, v), edge(b, c, v), edge(c, a, v)
	return x >= 0 && y >= 0 && z >= 0 || x <= 0 && y <= 0 && z <= 0
}

func edge(a, b r3.Vec, v r2.Vec) float64 { return r2.Cross(r2.Sub(xy(b), xy(a)), r2.Sub(v, xy(a))) }

// TestVisibilityLongFacets lays a few very long facets over many small ones, in turned directions.
func TestVisibilityLongFacets(t *testing.T) {
	ball := sphere(3, 24).Map(func(v r3.Vec) r3.Vec { return r3.Add(v, r3.Vec{X: 10, Y: 10, Z: -5}) })
	roof := bar([][2]float64{{0, 0}, {20, 0}, {20, 1}, {0, 1}}, 20)
	m := join(ball, roof)
	s, err := NewSearcher(m, nil)
	if err != nil {
		t.Fatal(err)
	}
	order := s.Order()
	err = s.Caught(context.Background(), []r3.Vec{{Z: 1}, {Z: -1}, {X: 0.1, Z: 1}}, 1, func(i int, caught []bool) {
		for k, f := range order {
			inBall := int(f) < len(ball.Tris)
			// Under the roof the upper half of the ball is caught, whichever way up.
			n := m.Facet(int(f)).Normal()
			if inBall && math.Abs(n.Z) > 0.3*r3.Norm(n) && caught[k] != (n.Z > 0) {
				t.Errorf("direction %d: facet %d of the ball, normal %v: caught %v", i, f, n, caught[k])
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestSearchFindsMouth(t *testing.T) {
	// A C-channel leaves along the mouth (x) or along its length (y), not across the mouth.
	m := bar([][2]float64{{0, 0}, {20, 0}, {20, 3}, {8, 3}, {8, 13}, {20, 13}, {20, 16}, {0, 16}}, 25)
	best := search(t, m, nil, SearchOptions{Directions: 200})
	if got := best[0].m.caught; got != 0 {
		t.Errorf("best direction %v catches %g mm²", best[0].Direction, got)
	}
	sum := 0.0
	for _, x := range best[0].Terms {
		sum += x.Points
		if x.Words == "" || x.Unit == "" {
			t.Errorf("term %q lacks words or a unit", x.Name)
		}
	}
	near(t, "terms add up", sum, best[0].Total, 1e-12)
}

// TestSearchShow: a ball whose show faces reach 80° from x leaves the line no place but round x.
func TestSearchShow(t *testing.T) {
	m := sphere(10, 20)
	show, err := ShowByDirection(m, r3.Vec{X: 1}, 80)
	if err != nil {
		t.Fatal(err)
	}
	best := search(t, m, show, SearchOptions{Directions: 300})[0]
	if math.Abs(best.Direction.X) < math.Cos(12*math.Pi/180) {
		t.Errorf("a ball with show faces towards x must open near ±x, got %v", best.Direction)
	}
	near(t, "line on show faces", best.m.showParting, 0, 0)
}

func TestSearchSameForAnyWorkers(t *testing.T) {
	m := blob(3, 24)
	a := search(t, m, nil, SearchOptions{Directions: 100, Workers: 1})
	for _, workers := range []int{2, 7} {
		if b := search(t, m, nil, SearchOptions{Directions: 100, Workers: workers}); !reflect.DeepEqual(a, b) {
			t.Errorf("%d workers answer otherwise than one", workers)
		}
	}
}

func TestSearchProgressAndCancel(t *testing.T) {
	s, err := NewSearcher(blob(1, 20), nil)
	if err != nil {
		t.Fatal(err)
	}
	last := 0.0
	_, err = s.Search(context.Background(), SearchOptions{Directions: 50, Progress: func(x float64) {
		if x < last || x > 1+1e-12 {
			t.Errorf("progress went from %g to %g", last, x)
		}
		last = x
	}})
	if err != nil || math.Abs(last-1) > 1e-9 {
		t.Errorf("ended at %g with %v", last, err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := s.Search(ctx, SearchOptions{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled search returned %v", err)
	}
}

func TestSearchNoAllocation(t *testing.T) {
	w := newVisibility(blob(2, 20)).newSight()
	dirs := hemisphere(50)
	for _, d := range dirs {
		w.look(d) // grids grow to the largest shadow
	}
	i := 0
	if n := testing.AllocsPerRun(100, func() { w.look(dirs[i%50]); i++ }); n != 0 {
		t.Errorf("%g allocations a direction", n)
	}
}

func TestRefusesBadInput(t *testing.T) {
	bad := bar([][2]float64{{0, 0}, {1, 0}, {1, 1}, {0, 1}}, 1)
	bad.Verts[2].Y = math.NaN()
	flat := &mesh.Mesh{Verts: []r3.Vec{{X: 1}, {X: 2}, {X: 3}}, Tris: [][3]uint32{{0, 1, 2}}}
	index := &mesh.Mesh{Verts: []r3.Vec{{X: 1}}, Tris: [][3]uint32{{0, 0, 7}}}
	for name, m := range map[string]*mesh.Mesh{"not a number": bad, "no area": flat, "bad index": index, "empty": {}} {
		if _, err := NewSearcher(m, nil); err == nil {
			t.Errorf("%s: NewSearcher took it", name)
		}
		if _, err := Analyse(context.Background(), m, up, AnalyseOptions{}); err == nil {
			t.Errorf("%s: Analyse took it", name)
		}
	}
	good := sphere(1, 6)
	for _, d := range []r3.Vec{{}, {X: math.NaN()}, {X: math.Inf(1)}} {
		if _, err := Analyse(context.Background(), good, d, AnalyseOptions{}); !errors.Is(err, ErrDirection) {
			t.Errorf("direction %v: %v", d, err)
		}
	}
	if _, err := NewSearcher(good, make([]bool, 3)); err == nil {
		t.Error("took show marks of the wrong length")
	}
}
