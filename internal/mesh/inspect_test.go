package mesh

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func inspect(t testing.TB, m *Mesh) *Intake {
	t.Helper()
	in, err := Inspect(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

func kinds(in *Intake) []Kind {
	var out []Kind
	for _, p := range in.Problems() {
		out = append(out, p.Kind)
	}
	return out
}

func find(t testing.TB, in *Intake, k Kind) Problem {
	t.Helper()
	for _, p := range in.Problems() {
		if p.Kind == k {
			return p
		}
	}
	t.Fatalf("no problem %q among %q", k, kinds(in))
	return Problem{}
}

// Closed forms: V = s³ for a cube, 4/3·πr³ for a ball, 2π²Rr² for a torus; Euler's number is 2 − 2·genus
// (Euler–Poincaré). An inscribed mesh of n facets around falls short by a factor of sin(x)/x for the
// torus' two circles, x = 2π/n, and of the order of x² for the ball.
func TestClosedForms(t *testing.T) {
	sinc := func(n float64) float64 { x := 2 * math.Pi / n; return math.Sin(x) / x }
	for _, c := range []struct {
		name   string
		m      *Mesh
		volume float64
		tol    float64
		genus  int
	}{
		{"cube", cube(20), 8000, 1e-14, 0},
		{"cube far away", move(cube(20), r3.Vec{X: 1e6, Y: -1e6, Z: 3e5}), 8000, 1e-14, 0},
		{"cube as a soup", soup(cube(20)), 8000, 1e-14, 0},
		{"ball", sphere(30, 120, 60), 4.0 / 3 * math.Pi * 27000, 2e-3, 0},
		// Each tube section is a regular 100-gon; Pappus on 80 prisms: r² → r²·sinc(100), R → R·sinc(80) for
		// the volume of planar sections, to second order.
		{"torus", torus(40, 10, 80, 100), 2 * math.Pi * math.Pi * 40 * 100 * sinc(100) * sinc(80), 2e-3, 1},
		{"two balls", join(sphere(30, 20, 10), move(torus(40, 10, 12, 12), r3.Vec{X: 500})), 0, 0, 1},
	} {
		in := inspect(t, c.m)
		if err := in.Fatal(); err != nil || len(in.Problems()) != 0 {
			t.Errorf("%s: %v %v", c.name, err, in.Problems())
		}
		if !in.Closed || in.Genus != c.genus || in.Euler != 2*len(in.Shells)-2*c.genus {
			t.Errorf("%s: closed %v, genus %d, Euler %d, %d shells", c.name, in.Closed, in.Genus, in.Euler, len(in.Shells))
		}
		if c.tol > 0 && math.Abs(in.VolumeMM3/c.volume-1) > c.tol {
			t.Errorf("%s: volume %v, want %v", c.name, in.VolumeMM3, c.volume)
		}
	}
	if in := inspect(t, cube(20)); in.AreaMM2 != 2400 || in.Vertices != 8 {
		t.Errorf("cube: area %v, %d vertices", in.AreaMM2, in.Vertices)
	}
}

func TestProblems(t *testing.T) {
	open := cube(20)
	open.Tris = open.Tris[:11]
	twoHoles := cube(20)
	twoHoles.Tris = append(slices.Clone(twoHoles.Tris[1:3]), twoHoles.Tris[4:]...)
	turned := cube(20)
	turned.Tris = slices.Clone(turned.Tris)
	turned.Tris[3] = [3]uint32{turned.Tris[3][0], turned.Tris[3][2], turned.Tris[3][1]}
	inner := move(cube(10), r3.Vec{X: 5, Y: 5, Z: 5})
	doubled := cube(20)
	doubled.Tris = append(slices.Clone(doubled.Tris), doubled.Tris[0])
	edgeShared := Weld(join(cube(20), move(cube(20), r3.Vec{X: 20, Y: 20})), 0)
	cornerShared := Weld(join(cube(20), move(cube(20), r3.Vec{X: 20, Y: 20, Z: 20})), 0)
	collapsed := cube(20)
	collapsed.Tris = append(slices.Clone(collapsed.Tris), [3]uint32{0, 0, 1})
	for _, c := range []struct {
		name  string
		m     *Mesh
		want  []Kind
		count int // of the first
	}{
		{"nothing", &Mesh{}, []Kind{NoFacets}, 1},
		{"index", &Mesh{Verts: make([]r3.Vec, 2), Tris: [][3]uint32{{0, 1, 2}}}, []Kind{BadIndex}, 1},
		{"NaN", cube(math.NaN()), []Kind{NotFinite}, 12},
		{"Inf", cube(math.Inf(1)), []Kind{NotFinite}, 12},
		{"absurd", cube(1e200), []Kind{NotFinite}, 12},
		{"open", open, []Kind{Holes}, 1},
		{"two holes", twoHoles, []Kind{Holes}, 2},
		{"one facet turned", turned, []Kind{Orientation}, 3},
		{"inside out", cube(20).Flipped(), []Kind{InsideOut}, 1},
		{"void", join(cube(20), inner.Flipped()), []Kind{Void}, 1},
		{"void, inside out", join(cube(20).Flipped(), inner), []Kind{InsideOut, Void}, 1},
		{"solid in solid", join(cube(20), inner), []Kind{SolidInSolid}, 1},
		{"island in a void", join(cube(20), move(cube(10), r3.Vec{X: 5, Y: 5, Z: 5}).Flipped(), move(cube(2), r3.Vec{X: 8, Y: 8, Z: 8})), []Kind{Void}, 1},
		{"one of two inside out", join(cube(20), move(cube(20), r3.Vec{X: 50}).Flipped()), []Kind{ShellInsideOut}, 1},
		{"shells cross", join(cube(20), move(cube(20), r3.Vec{X: 7, Y: 8, Z: 9})), []Kind{ShellsCross}, 12},
		{"doubled facet", doubled, []Kind{Duplicate, NonManifoldEdge}, 1},
		{"shared edge", edgeShared, []Kind{NonManifoldEdge}, 1},
		{"shared corner", cornerShared, []Kind{NonManifoldVertex}, 1},
		{"collapsed facet", collapsed, []Kind{Degenerate}, 1},
		{"stacked", join(cube(20), move(cube(10), r3.Vec{X: 3, Y: 4, Z: 20})), []Kind{Touching}, 0},
		{"in metres", cube(0.1), []Kind{Size}, 1},
		{"in inches", cube(100 / 25.4), []Kind{Size}, 1},
		{"25.4 too large", cube(100 * 25.4), []Kind{Size}, 1},
		{"1000 too large", cube(100 * 1000), []Kind{Size}, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			in := inspect(t, c.m)
			got := kinds(in)
			if !slices.Equal(got, c.want) {
				t.Fatalf("problems %q, want %q: %v", got, c.want, in.Problems())
			}
			p := in.Problems()[0]
			if c.count > 0 && p.Count != c.count {
				t.Errorf("count %d, want %d", p.Count, c.count)
			}
			for _, p := range in.Problems() {
				if p.Words == "" || p.Remedy == "" || p.Kind != NoFacets && len(p.Where) == 0 {
					t.Errorf("%s lacks words, a remedy or a place: %+v", p.Kind, p)
				}
				for _, w := range p.Where {
					for _, f := range w.Facets {
						if int(f) >= len(c.m.Tris) {
							t.Errorf("%s names facet %d of %d", p.Kind, f, len(c.m.Tris))
						}
					}
				}
				if fatal := in.Fatal(); p.Severity == Fatal {
					var u *Unfit
					if !errors.As(fatal, &u) || !strings.Contains(fatal.Error(), p.Remedy) {
						t.Errorf("Fatal does not report %s: %v", p.Kind, fatal)
					}
				}
			}
		})
	}
}

func TestSizeSuggestsTheUnit(t *testing.T) {
	for _, c := range []struct {
		side float64
		want string
	}{
		{0.1, "metres, scale by 1000 to 100 mm"},
		{100 / 25.4, "inches, scale by 25.4 to 100 mm"},
		{2540, "scale by 0.0393701 to 100 mm"},
		{100_000, "microns, scale by 0.001 to 100 mm"},
	} {
		if p := find(t, inspect(t, cube(c.side)), Size); !strings.Contains(p.Remedy, c.want) || p.Severity != Warning {
			t.Errorf("side %g: %s", c.side, p)
		}
	}
	for _, side := range []float64{10, 100, 2000} {
		if in := inspect(t, cube(side)); len(in.Problems()) > 0 {
			t.Errorf("side %g: %v", side, in.Problems())
		}
	}
}

func TestHolesHaveLengthAndPlace(t *testing.T) {
	m := cube(20)
	m.Tris = m.Tris[2:] // without the bottom
	p := find(t, inspect(t, m), Holes)
	if p.Count != 1 || !strings.Contains(p.Words, "4 open edges, the longest 80 mm") {
		t.Errorf("%s", p)
	}
	if p.Where[0].At != (r3.Vec{X: 10, Y: 10}) {
		t.Errorf("place %v, want the middle of the bottom", p.Where[0].At)
	}
}

// A one-sided band closed by nothing: a Möbius strip has Euler number 0 and no consistent turning.
func TestMoebius(t *testing.T) {
	const n = 30
	m := &Mesh{}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / n)
		h, w := math.Sincos(math.Pi * float64(i) / n)
		for _, d := range []float64{-10, 10} {
			m.Verts = append(m.Verts, r3.Vec{X: (50 + d*w) * c, Y: (50 + d*w) * s, Z: d * h})
		}
	}
	for i := range uint32(n) {
		a, b := 2*i, 2*i+1
		c, d := 2*i+2, 2*i+3
		if i == n-1 {
			c, d = 1, 0
		}
		m.Tris = append(m.Tris, [3]uint32{a, b, d}, [3]uint32{a, d, c})
	}
	in := inspect(t, m)
	if p := find(t, in, Orientation); !strings.Contains(p.Words, "one-sided") {
		t.Errorf("%s", p)
	}
	if in.Euler != 0 || in.Genus != -1 {
		t.Errorf("Euler %d, genus %d", in.Euler, in.Genus)
	}
	if p := find(t, in, Holes); p.Count < 1 {
		t.Errorf("%s", p)
	}
}

func TestOpenAndTurnedAreToldApart(t *testing.T) {
	m := sphere(20, 20, 10)
	for _, f := range []int{3, 40, 77} {
		m.Tris[f] = [3]uint32{m.Tris[f][1], m.Tris[f][0], m.Tris[f][2]}
	}
	in := inspect(t, m)
	if p := find(t, in, Orientation); p.Count != 9 || !strings.Contains(p.Words, "turning 3 facets") {
		t.Errorf("%s", p)
	}
	if slices.Contains(kinds(in), Holes) {
		t.Error("turned facets are reported as holes")
	}
}

func TestDepth(t *testing.T) {
	nested := join(cube(100), move(cube(80), r3.Vec{X: 10, Y: 10, Z: 10}).Flipped(), move(cube(60), r3.Vec{X: 20, Y: 20, Z: 20}),
		move(cube(10), r3.Vec{X: 200}))
	in := inspect(t, nested)
	var got []int
	for _, s := range in.Shells {
		got = append(got, s.Depth)
	}
	if !slices.Equal(got, []int{0, 1, 2, 0}) {
		t.Errorf("depths %v", got)
	}
	if want := 100*100*100 - 80*80*80 + 60*60*60 + 1000.0; math.Abs(in.VolumeMM3-want) > 1e-6 {
		t.Errorf("volume %v, want %v", in.VolumeMM3, want)
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Inspect(ctx, cube(20)); !errors.Is(err, context.Canceled) {
		t.Errorf("error %v", err)
	}
}

func TestInspectIsDeterministic(t *testing.T) {
	m := join(sphere(20, 60, 30), move(sphere(20, 60, 30), r3.Vec{X: 15, Y: 1, Z: 2}))
	want := fmt.Sprintf("%+v", inspect(t, m).Problems())
	for range 5 {
		if got := fmt.Sprintf("%+v", inspect(t, m).Problems()); got != want {
			t.Fatalf("differs:\n%s\n%s", got, want)
		}
	}
}

func TestDroppedFacetsKeepTheirNumbers(t *testing.T) {
	m := cube(20)
	m.Tris = append([][3]uint32{{0, 1, 0}, {2, 2, 2}}, m.Tris...)
	in := inspect(t, m)
	if in.Dropped != 2 || len(in.Mesh.Tris) != 12 || in.Source[0] != 2 || in.Fatal() != nil {
		t.Errorf("dropped %d, source %v, %v", in.Dropped, in.Source, in.Problems())
	}
}

// A flat facet with three distinct corners holds its neighbours together: without it the surface
// would open, so it stays.
func TestFlatFacetThatHoldsTheSurface(t *testing.T) {
	m := cube(20)
	m.Verts = append(m.Verts, r3.Vec{X: 10}) // in the middle of edge 0–1
	for f, tri := range m.Tris {
		if tri == [3]uint32{0, 1, 5} {
			m.Tris[f] = [3]uint32{0, 8, 5}
		}
	}
	m.Tris = append(m.Tris, [3]uint32{8, 1, 5}, [3]uint32{0, 1, 8})
	in := inspect(t, m)
	p := find(t, in, Degenerate)
	if p.Count != 1 || in.Dropped != 0 || !in.Closed || in.Fatal() != nil {
		t.Errorf("%v; dropped %d, closed %v", in.Problems(), in.Dropped, in.Closed)
	}
}

func BenchmarkInspect(b *testing.B) {
	for _, n := range []int{71, 224, 708} {
		m := torus(40, 10, n, n)
		b.Run(fmt.Sprintf("facets=%d", len(m.Tris)), func(b *testing.B) {
			b.ReportAllocs()
			for range b.N {
				if in := inspect(b, m); in.Fatal() != nil {
					b.Fatal(in.Fatal())
				}
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(m.Tris)), "ns/facet")
		})
	}
}

func BenchmarkAdjacency(b *testing.B) {
	m := torus(40, 10, 708, 708)
	for range b.N {
		m.Adjacency()
	}
}

func BenchmarkWeld(b *testing.B) {
	m := soup(torus(40, 10, 708, 708))
	for range b.N {
		Weld(m, 0)
	}
}
