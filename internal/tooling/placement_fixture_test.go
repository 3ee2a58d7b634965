package tooling

import (
	"context"
	"math"
	"sync"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

var hardwarePool = sync.OnceValue(func() *solid.Pool { return solid.NewPool(solid.Options{}) })

func withKernel(t *testing.T, f func(k *solid.Kernel)) {
	t.Helper()
	err := hardwarePool().Do(context.Background(), func(k *solid.Kernel) error { f(k); return nil })
	if err != nil {
		t.Fatal(err)
	}
}

// fixture is a block of 120 × 90 × 40 mm about the origin in plan, from z 0 to 40, divided by the height
// field s, with a box of 30 × 20 mm as the part, from 6 under to 8 over the field's middle.
type fixture struct {
	block        r3.Box
	lower, upper *solid.Solid
	surface      *HeightField
	top          *HeightField // the part's upper surface
	shadow       Outline
	height       func(x, y float64) float64
}

func (f *fixture) raw() RawHalves { return RawHalves{f.lower, f.upper, f.block} }

// blockOf is the fixture's block between other heights.
func blockOf(z0, z1 float64) r3.Box {
	return r3.Box{Min: r3.Vec{X: -60, Y: -45, Z: z0}, Max: r3.Vec{X: 60, Y: 45, Z: z1}}
}

const fixtureCells = 12 // per side of the height field's grid

func fieldMesh(height func(x, y float64) float64, x0, y0, x1, y1 float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	const n = fixtureCells
	for j := range n + 1 {
		for i := range n + 1 {
			x, y := x0+(x1-x0)*float64(i)/n, y0+(y1-y0)*float64(j)/n
			m.Verts = append(m.Verts, r3.Vec{X: x, Y: y, Z: height(x, y)})
		}
	}
	for j := range uint32(n) {
		for i := range uint32(n) {
			a := j*(n+1) + i
			b, c, d := a+1, a+n+2, a+n+1
			m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d})
		}
	}
	return m
}

func heightsOf(t *testing.T, height func(x, y float64) float64) *HeightField {
	t.Helper()
	return NewHeightField(fieldMesh(height, -60, -45, 60, 45))
}

func newFixture(t *testing.T, k *solid.Kernel, height func(x, y float64) float64) *fixture {
	t.Helper()
	f := &fixture{block: r3.Box{Min: r3.Vec{X: -60, Y: -45}, Max: r3.Vec{X: 60, Y: 45, Z: 40}}, height: height}
	field := fieldMesh(height, -60, -45, 60, 45)
	f.surface = NewHeightField(field)
	mid := height(0, 0)
	part := must(k.Box(r3.Box{Min: r3.Vec{X: -15, Y: -10, Z: mid - 6}, Max: r3.Vec{X: 15, Y: 10, Z: mid + 8}}))(t)
	f.top = NewHeightField(fieldMesh(func(x, y float64) float64 { return mid + 8 }, -15, -10, 15, 10))
	f.shadow = Outline{{{X: -15, Y: -10}, {X: 15, Y: -10}, {X: 15, Y: 10}, {X: -15, Y: 10}}}
	whole := must(k.Box(f.block))(t)
	below := must(k.FromMesh(skirted(field)))(t)
	// below runs past the block on no side but shares its outer faces, as raw halves do.
	f.lower = must(must(whole.Intersect(below))(t).Subtract(part))(t)
	f.upper = must(must(whole.Subtract(below))(t).Subtract(part))(t)
	return f
}

// skirted closes a grid field downward to z = 0.
func skirted(field *mesh.Mesh) *mesh.Mesh {
	m := &mesh.Mesh{Verts: append([]r3.Vec(nil), field.Verts...), Tris: append([][3]uint32(nil), field.Tris...)}
	n := uint32(len(field.Verts))
	for _, v := range field.Verts {
		m.Verts = append(m.Verts, r3.Vec{X: v.X, Y: v.Y})
	}
	for _, t := range field.Tris {
		m.Tris = append(m.Tris, [3]uint32{n + t[0], n + t[2], n + t[1]})
	}
	const c = fixtureCells
	at := func(i, j int) uint32 { return uint32(j*(c+1) + i) }
	wall := func(a, b uint32) {
		m.Tris = append(m.Tris, [3]uint32{n + a, n + b, b}, [3]uint32{n + a, b, a})
	}
	for i := range c {
		wall(at(i, 0), at(i+1, 0))
		wall(at(c, i), at(c, i+1))
		wall(at(i+1, c), at(i, c))
		wall(at(0, i+1), at(0, i))
	}
	return m
}

func must[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func heldBy(t *testing.T, half *solid.Solid, h Half, tools []Tool) float64 {
	t.Helper()
	v := 0.0
	for _, tool := range tools {
		if tool.Half == h && !tool.Add {
			v += must(HeldMM3(half, tool))(t)
		}
	}
	return v
}

func near(t interface {
	Helper()
	Errorf(string, ...any)
}, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*max(1, math.Abs(want)) {
		t.Errorf("%s: got %.12g, want %.12g", what, got, want)
	}
}

// opens checks that nothing on the inside of a half overhangs: a facet that is not on the half's outer
// face (the bottom of the lower half, the top of the upper one) may not face outward along z. Facets
// that rounding alone can tilt (flat slivers) are let off.
func opens(t *testing.T, half *solid.Solid, h Half, b r3.Box) {
	t.Helper()
	m := must(half.Mesh())(t)
	for i := range m.Tris {
		f := m.Facet(i)
		n := r3.Cross(r3.Sub(f[1], f[0]), r3.Sub(f[2], f[0])) // twice the area
		z, outer := n.Z, b.Min.Z
		if h == Upper {
			z, outer = -n.Z, b.Max.Z
		}
		onOuter := f[0].Z == outer && f[1].Z == outer && f[2].Z == outer
		if z < -1e-7 && !onOuter {
			t.Fatalf("%s half: facet %v overhangs by %g mm² in plan", h, f, -z/2)
		}
	}
}

var slopes = []struct {
	name   string
	height func(x, y float64) float64
}{
	{"flat", func(x, y float64) float64 { return 18 }},
	{"tilted", func(x, y float64) float64 { return 18 + 0.06*x - 0.04*y }},
	{"wavy", func(x, y float64) float64 { return 18 + 2.5*math.Sin(x/17)*math.Cos(y/13) }},
}

func rect(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}
