package sheet

import (
	"context"
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/num/quat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
)

func near(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.12g, want %.12g ± %g", what, got, want, tol)
	}
}

func netArea(loops [][]r2.Vec) float64 {
	var s float64
	for _, l := range loops {
		s += areaMM2(l)
	}
	return s
}

func level(z float64) Plane {
	return Plane{Origin: r3.Vec{Z: z}, U: r3.Vec{X: 1}, V: r3.Vec{Y: 1}}
}

func section(t testing.TB, m *mesh.Mesh, p Plane) [][]r2.Vec {
	t.Helper()
	loops, err := Section(context.Background(), m, p)
	if err != nil {
		t.Fatal(err)
	}
	return loops
}

func TestSectionOfBox(t *testing.T) {
	b := box(r3.Vec{}, r3.Vec{X: 40, Y: 30, Z: 20})
	loops := section(t, b, level(7))
	if len(loops) != 1 {
		t.Fatalf("%d loops, want 1", len(loops))
	}
	near(t, "area", areaMM2(loops[0]), 1200, 1e-9) // positive: counter-clockwise to the viewer
	// Cut along the diagonal of the floor: a rectangle 50 × 20.
	diagonal := Plane{U: r3.Vec{X: 0.8, Y: 0.6}, V: r3.Vec{Z: 1}}
	near(t, "diagonal area", netArea(section(t, b, diagonal)), 1000, 1e-9)
	// A cube cut square to its diagonal through the centre is a regular hexagon, 3√3/4·(√2 a)²/... :
	// side a/√2, area 3√3/2·a²/2.
	cube := box(r3.Vec{X: -1, Y: -1, Z: -1}, r3.Vec{X: 1, Y: 1, Z: 1})
	u := r3.Unit(r3.Vec{X: 1, Y: -1})
	hexagon := Plane{U: u, V: r3.Cross(r3.Unit(r3.Vec{X: 1, Y: 1, Z: 1}), u)}
	near(t, "hexagon area", netArea(section(t, cube, hexagon)), 3*math.Sqrt(3)/2*4/2, 1e-9)
}

// The axial section of a turned ring is its profile twice; through the meridian of the mesh the
// section is exact.
func TestSectionOfRing(t *testing.T) {
	part, lower, _ := ringMould(96)
	profile := []r2.Vec{{X: 20, Y: 0}, {X: 21, Y: -9}, {X: 31, Y: -9}, {X: 32, Y: 0}, {X: 30, Y: 5}, {X: 22, Y: 5}}
	loops := section(t, part, upright)
	if len(loops) != 2 {
		t.Fatalf("%d loops, want 2", len(loops))
	}
	near(t, "area", netArea(loops), 2*polygonAreaMM2(profile), 1e-6)
	// Level: an outer loop, and a hole that runs the other way.
	loops = section(t, lower, level(-13))
	if len(loops) != 2 || areaMM2(loops[0])*areaMM2(loops[1]) >= 0 {
		t.Fatalf("want an outer loop and a hole, got %d loops", len(loops))
	}
	polygon := 96.0 / 2 * math.Sin(2*math.Pi/96) // area of a regular 96-gon over r²
	near(t, "ring area", netArea(loops), polygon*(42*42-2*2), 1e-6)
}

// Planes that hold whole faces, edges or vertices give closed loops all the same: a face on the
// plane counts as on the viewer's side.
func TestSectionThroughFacesAndVertices(t *testing.T) {
	b := box(r3.Vec{}, r3.Vec{X: 40, Y: 30, Z: 20})
	near(t, "at the top face", netArea(section(t, b, level(20))), 1200, 1e-9)
	near(t, "at the bottom face", netArea(section(t, b, level(0))), 0, 1e-9)
	_, lower, _ := ringMould(24)
	for _, z := range []float64{-17, -9, 0} {
		section(t, lower, level(z))
	}
}

// Cavalieri: the area of a section of a polyhedron is quadratic in height between vertices, so
// Simpson's rule over each such layer gives the volume.
func TestSectionsAddUpToTheVolume(t *testing.T) {
	part, _, _ := ringMould(48)
	heights := []float64{-9, 0, 5}
	var v float64
	const eps = 1e-9
	for i := range heights[1:] {
		a, b := heights[i]+eps, heights[i+1]-eps
		v += (b - a) / 6 * (netArea(section(t, part, level(a))) + 4*netArea(section(t, part, level((a+b)/2))) + netArea(section(t, part, level(b))))
	}
	near(t, "volume", v, part.VolumeMM3(), 1e-4)
}

// Turning part and plane together changes nothing; unwelded facets change nothing.
func TestSectionProperties(t *testing.T) {
	part, _, _ := ringMould(24)
	soup := &mesh.Mesh{}
	for i := range part.Tris {
		f := part.Facet(i)
		n := uint32(len(soup.Verts))
		soup.Verts = append(soup.Verts, f[0], f[1], f[2])
		soup.Tris = append(soup.Tris, [3]uint32{n, n + 1, n + 2})
	}
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return rapid.Float64Range(-1, 1).Draw(t, name) }
		axis := r3.Vec{X: f("x"), Y: f("y"), Z: f("z") + 2}
		rot := r3.Rotation(quatOf(3*f("angle"), axis))
		z := 6 * f("height")
		p := level(z)
		turned := Plane{Origin: rot.Rotate(p.Origin), U: rot.Rotate(p.U), V: rot.Rotate(p.V)}
		want, err := Section(context.Background(), part, p)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Section(context.Background(), part.Map(rot.Rotate), turned)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(netArea(got)-netArea(want)) > 1e-4 { // slopes of the part turn 1e-12 of height into area
			t.Fatalf("area %.9g after turning, %.9g before", netArea(got), netArea(want))
		}
		loose, err := Section(context.Background(), soup, p)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(netArea(loose)-netArea(want)) > 1e-9 {
			t.Fatalf("area %.9g unwelded, %.9g welded", netArea(loose), netArea(want))
		}
	})
}

// Any three vertices span a plane that holds at least them: the hardest planes there are. Loops close
// there all the same, and enclose what a plane just behind does, as what lies on the plane counts as
// on the viewer's side.
func TestSectionThroughAnyThreeVertices(t *testing.T) {
	part, _, _ := ringMould(12)
	rapid.Check(t, func(t *rapid.T) {
		pick := func(name string) r3.Vec {
			return part.Verts[rapid.IntRange(0, len(part.Verts)-1).Draw(t, name)]
		}
		a, b, c := pick("a"), pick("b"), pick("c")
		n := r3.Cross(r3.Sub(b, a), r3.Sub(c, a))
		if r3.Norm(n) < 1 {
			t.Skip("no plane")
		}
		u := r3.Unit(r3.Sub(b, a))
		p := Plane{Origin: a, U: u, V: r3.Unit(r3.Cross(n, u))}
		loops, err := Section(context.Background(), part, p)
		if err != nil {
			t.Fatal(err)
		}
		// The same plane a nanometre away, where no vertex lies on it.
		off := p
		off.Origin = r3.Add(a, r3.Scale(-1e-6, p.normal()))
		near, err := Section(context.Background(), part, off)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(netArea(loops)-netArea(near)) > 1e-2 {
			t.Fatalf("area %.6g through the vertices, %.6g just behind them", netArea(loops), netArea(near))
		}
	})
}

func quatOf(angle float64, axis r3.Vec) quat.Number {
	s, c := math.Sincos(angle / 2)
	a := r3.Scale(s, r3.Unit(axis))
	return quat.Number{Real: c, Imag: a.X, Jmag: a.Y, Kmag: a.Z}
}

func TestSectionRefusesBadInput(t *testing.T) {
	b := box(r3.Vec{}, r3.Vec{X: 40, Y: 30, Z: 20})
	open := &mesh.Mesh{Verts: b.Verts, Tris: b.Tris[:len(b.Tris)-1]}
	var oe *OpenError
	if _, err := Section(context.Background(), open, level(7)); !errors.As(err, &oe) {
		t.Errorf("open mesh: error %v, want an OpenError", err)
	} else if oe.A.X != 40 || oe.B.X != 40 {
		t.Errorf("open mesh: hole placed at %v, %v; the missing facet lies at x = 40", oe.A, oe.B)
	}
	bad := &mesh.Mesh{Verts: append([]r3.Vec{{X: math.NaN()}}, b.Verts[1:]...), Tris: b.Tris}
	if _, err := Section(context.Background(), bad, level(7)); err == nil {
		t.Error("NaN vertex: no error")
	}
	if _, err := Section(context.Background(), b, Plane{U: r3.Vec{X: 2}, V: r3.Vec{Y: 1}}); err == nil {
		t.Error("long axis: no error")
	}
	wild := &mesh.Mesh{Verts: b.Verts, Tris: append([][3]uint32{{0, 1, 99}}, b.Tris...)}
	if _, err := Section(context.Background(), wild, level(7)); err == nil {
		t.Error("a vertex that is not there: no error")
	}
	if _, err := Picture(context.Background(), []Shown{{Mesh: wild}}, View{}); err == nil {
		t.Error("a vertex that is not there: a picture")
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Section(ctx, b, level(7)); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: error %v", err)
	}
}
