package tooling

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/mesh"
	"mouldwright/internal/opening"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

var pool = solid.NewPool(solid.Options{})

var up = r3.Vec{Z: 1}

// build makes a mould that must pass all its checks and hold all identities.
func build(t *testing.T, part *mesh.Mesh, opt TwoHalfOptions) *Mould {
	t.Helper()
	if opt.Direction == (r3.Vec{}) {
		opt.Direction = up
	}
	m, err := TwoHalves(context.Background(), pool, part, opt)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range m.Failed() {
		t.Errorf("%s: %g, limit %g %s: %s", c.Name, c.Value, c.Limit, c.Unit, c.Words)
	}
	identities(t, m)
	return m
}

// platter is a drafted plate of 40 × 26 mm at z 0, 10 mm high, smaller by 1 mm on each side at the top.
func platter(t *testing.T) *mesh.Mesh {
	return modelled(t, func(k *solid.Kernel) (*solid.Solid, error) { return frustumOf(k, r2.Vec{}, 0, 40, 26, 10, 1) })
}

func count(m *Mould, kind string) (n int) {
	for _, f := range m.Features {
		if f.Kind == kind {
			n++
		}
	}
	return n
}

func noted(m *Mould, words string) bool { return strings.Contains(strings.Join(m.Notes, "\n"), words) }

// A plate with draft parts along its larger edge: the line is that rectangle, the surface flat, and the
// halves come free. All figures are closed forms.
func TestDraftedPlate(t *testing.T) {
	m := build(t, platter(t), TwoHalfOptions{Label: LabelOptions{Text: "plate"}})
	near(t, "part", m.Part.VolumeMM3(), 10*(40*26-40-26+4.0/3), 1e-12) // ∫(40−2x)(26−2x), x from 0 to 1 over 10 mm
	near(t, "parting line", m.LineMM, 2*(40+26), 1e-12)
	if !m.Surface.Flat || m.Surface.SteepestDeg != 0 || len(m.Line) != 1 {
		t.Errorf("surface %+v, %d loops: want one flat one", m.Surface.SteepestDeg, len(m.Line))
	}
	if s := m.Opening.State(); s != opening.Free {
		t.Errorf("%v: a drafted part comes out free", s)
	}
	for kind, want := range map[string]int{"sprue": 1, "vent": 1, "bolt": 4, "key": 4, "pry slot": 2, "label": 2} {
		if got := count(m, kind); got != want {
			t.Errorf("%d of %s, want %d", got, kind, want)
		}
	}
	if m.Block.Max.Z-m.Part.Bounds().Max.Z < 8 || m.Part.Bounds().Min.Z-m.Block.Min.Z < 8 {
		t.Errorf("floors thinner than 8 mm: block %v, part %v", m.Block, m.Part.Bounds())
	}
}

// A cavity for a casting that shrinks by s is 1/(1 − s) times the part along each axis (ISO 294-4, from
// memory), so its volume is the product of the three.
func TestShrinkagePerAxis(t *testing.T) {
	part := platter(t)
	m := build(t, part, TwoHalfOptions{ShrinkPct: r3.Vec{X: 0.5, Y: 1, Z: 2}})
	near(t, "cavity", lineOf(m, "cavity"), part.VolumeMM3()/(0.995*0.99*0.98), 1e-9)
	v := r3.Vec{X: 7, Y: -3, Z: 5}
	if back := m.Place.Back(m.Place.Into(v)); r3.Norm(r3.Sub(back, v)) > 1e-12 {
		t.Errorf("there and back: %v, want %v", back, v)
	}
}

// The halves are stitched from the part's own facets: before hardware is cut, each facet of the part is in
// one half, turned over, bit for bit.
func TestCavityIsThePartBitForBit(t *testing.T) {
	for name, part := range map[string]*mesh.Mesh{"plate": platter(t), "saddle": saddle(), "ring": lantern.FootRing().Mesh} {
		b, err := planTwoHalves(context.Background(), part, TwoHalfOptions{Direction: up}.withDefaults())
		if err != nil {
			t.Fatal(err)
		}
		have := map[[3]r3.Vec]int{}
		for _, half := range []*mesh.Mesh{b.upper, b.lower} {
			for i := range half.Tris {
				f := half.Facet(i)
				have[[3]r3.Vec{f[0], f[2], f[1]}]++
			}
		}
		for i := range b.parting.Mesh.Tris {
			if n := have[b.parting.Mesh.Facet(i)]; n != 1 {
				t.Fatalf("%s: facet %d is %d times in the halves", name, i, n)
			}
		}
		// And they fill the block but for the part.
		s := b.mould.Block.Size()
		near(t, name, b.upper.VolumeMM3()+b.lower.VolumeMM3()+b.mould.Part.VolumeMM3(), s.X*s.Y*s.Z, 1e-12)
	}
}

// saddle is a plate whose rim goes up and down twice.
func saddle() *mesh.Mesh {
	return waved(25, 18, 3, 48, func(x, y float64) float64 { return (x*x - y*y) / 150 })
}

func TestWavyPartingLine(t *testing.T) {
	m := build(t, saddle(), TwoHalfOptions{Gutter: &GutterOptions{VolumeML: 1}})
	if m.Surface.Flat || m.Surface.StepAreaMM2 != 0 {
		t.Errorf("flat %v, steps %g mm²: the rim is a wave", m.Surface.Flat, m.Surface.StepAreaMM2)
	}
	// A harmonic surface has its extremes on the line (maximum principle).
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range m.Line[0] {
		lo, hi = min(lo, v.Z), max(hi, v.Z)
	}
	for _, tri := range m.Surface.Tris {
		for _, v := range tri {
			if z := m.Surface.Verts[v].Z; z < lo-1e-9 || z > hi+1e-9 {
				t.Fatalf("the surface comes to z %g, the line stays between %g and %g", z, lo, hi)
			}
		}
	}
	near(t, "gutter", lineOf(m, "overflow gutter"), 1000, 0.02)
}

// Holes close to each other and to the rim each get a loop and a shut-off.
func TestHolesCloseToTheRim(t *testing.T) {
	part := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		s, err := frustumOf(k, r2.Vec{}, 0, 40, 26, 6, 0.5)
		if err != nil {
			return nil, err
		}
		round, err := k.Frustum(r3.Vec{X: -8, Z: -1}, r3.Vec{Z: 8}, 9.6, 10.4, 32)
		if err != nil {
			return nil, err
		}
		square, err := frustumOf(k, r2.Vec{X: 11}, -1, 16, 22, 8, -0.3)
		if err != nil {
			return nil, err
		}
		return s.Subtract(round, square)
	})
	m := build(t, part, TwoHalfOptions{})
	if len(m.Line) != 3 {
		t.Errorf("%d loops, want the rim and two holes", len(m.Line))
	}
}

// Turned with its direction, a part gives the same mould: cavity, line and height.
func TestTurnedPartGivesTheSameMould(t *testing.T) {
	want := build(t, platter(t), TwoHalfOptions{})
	for _, q := range []r3.Rotation{r3.NewRotation(1, r3.Vec{X: 1, Y: 2, Z: -1}), r3.NewRotation(-2.2, r3.Vec{Y: 1, Z: 0.2})} {
		got := build(t, platter(t).Map(q.Rotate), TwoHalfOptions{Direction: q.Rotate(up)})
		near(t, "cavity", lineOf(got, "cavity"), lineOf(want, "cavity"), 1e-9)
		near(t, "line", got.LineMM, want.LineMM, 1e-9)
		near(t, "height", got.Block.Size().Z, want.Block.Size().Z, 1e-9)
		near(t, "footprint", got.Block.Size().X*got.Block.Size().Y, want.Block.Size().X*want.Block.Size().Y, 1e-6)
	}
}

// The result depends on the input alone: not on the number of workers, not on the run.
func TestSameMouldEveryTime(t *testing.T) {
	var first *Mould
	for _, workers := range []int{1, 2, 2} {
		m, err := TwoHalves(context.Background(), pool, saddle(), TwoHalfOptions{Direction: up, Workers: workers, Vents: 3})
		if err != nil {
			t.Fatal(err)
		}
		if first == nil {
			first = m
		} else if !reflect.DeepEqual(first, m) {
			t.Fatalf("with %d workers the mould differs", workers)
		}
	}
}

// The bumper cap is a shallow cup drafted inside and outside so that it locks between two rigid halves:
// it is never let through.
func TestLockedCupIsNeverBuilt(t *testing.T) {
	for _, d := range []r3.Vec{{Z: 1}, {Z: -1}} {
		m, err := TwoHalves(context.Background(), pool, lantern.BumperCap().Mesh, TwoHalfOptions{Direction: d})
		if err != nil {
			if !errors.Is(err, ErrLineOverItself) {
				t.Errorf("along %v: %v", d, err)
			}
			continue
		}
		ok := true
		for _, c := range m.Failed() {
			if c.Name == "opens" {
				ok = false
			}
		}
		if ok {
			t.Errorf("along %v: the locked cup passes", d)
		}
	}
}

func TestTwoBodiesAreRefused(t *testing.T) {
	two := modelled(t, func(k *solid.Kernel) (*solid.Solid, error) {
		a, err := frustumOf(k, r2.Vec{X: -20}, 0, 30, 30, 8, 1)
		if err != nil {
			return nil, err
		}
		b, err := frustumOf(k, r2.Vec{X: 20}, 0, 30, 30, 8, 1)
		if err != nil {
			return nil, err
		}
		return a.Union(b)
	})
	if _, err := TwoHalves(context.Background(), pool, two, TwoHalfOptions{Direction: up}); !errors.Is(err, ErrBodies) {
		t.Errorf("two bodies: %v", err)
	}
}

func TestFootRing(t *testing.T) {
	m := build(t, lantern.FootRing().Mesh, TwoHalfOptions{Label: LabelOptions{Text: "foot"}, Gutter: &GutterOptions{VolumeML: 2}})
	near(t, "gutter", lineOf(m, "overflow gutter"), 2000, 0.02)
}

// A block higher than the longest screw of the default thread takes a larger thread, and says so; higher
// than any, it is clamped. A thread that was asked for is not exchanged.
func TestTallBlockTakesLongerScrews(t *testing.T) {
	tall := prismOf(t, rect(-12, -12, 12, 12), 0, 75)
	m := build(t, tall, TwoHalfOptions{})
	if !noted(m, "bolts: M4 screws are not long enough") && !noted(m, "no bolts") {
		t.Errorf("notes %q do not tell of the bolts", m.Notes)
	}
	if _, err := TwoHalves(context.Background(), pool, tall, TwoHalfOptions{Direction: up, Bolt: "M4"}); !errors.Is(err, ErrNoBolt) {
		t.Errorf("M4 asked for: %v", err)
	}
}

var parts = flag.Int("parts", 3, "how many random parts to build")

// Every part without undercuts ends in a proven mould or in one of a few reasons; what is built holds the
// identities that the geometry demands. Run with -parts 200 for a search.
func TestRandomPartsBuildOrSayWhyNot(t *testing.T) {
	tally := map[string]int{}
	for i := range *parts {
		var f collector
		outcome := rapid.Custom(func(r *rapid.T) string { return tryRandom(r, t, &f) }).Example(i)
		tally[outcome]++
		for _, words := range f.words {
			t.Errorf("part %d (%s): %s", i, outcome, words)
		}
	}
	t.Log(tally)
}

// collector takes the failures of one random part.
type collector struct{ words []string }

func (c *collector) Helper() {}
func (c *collector) Fatalf(format string, a ...any) {
	c.words = append(c.words, fmt.Sprintf(format, a...))
}
func (c *collector) Errorf(format string, a ...any) {
	c.words = append(c.words, fmt.Sprintf(format, a...))
}
