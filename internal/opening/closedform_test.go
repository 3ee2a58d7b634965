package opening

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

var up = v3(0, 0, 1)

func translate(t *testing.T, moving, fixed *mesh.Mesh, d r3.Vec) *Verdict {
	t.Helper()
	v, err := Translate(context.Background(), Body{"moving", moving}, Body{"fixed", fixed}, d, Options{})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

func wantState(t *testing.T, v *Verdict, want State) {
	t.Helper()
	if v.State != want {
		t.Fatalf("state %v, want %v: %s", v.State, want, v.Words())
	}
}

func wantNear(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: %.9g, want %.9g ± %.2g", what, got, want, within)
	}
}

// wantDepth checks that the true depth lies in the stated interval and that the interval is small.
func wantDepth(t *testing.T, v *Verdict, want float64) {
	t.Helper()
	if lo, hi := v.OverlapDepthMM, v.OverlapDepthMM+v.OverlapDepthErrorMM; want < lo-1e-9 || want > hi+1e-9 {
		t.Errorf("depth in [%.9g, %.9g] mm, want %.9g", lo, hi, want)
	}
	if limit := 0.02*want + 0.1*v.ToleranceMM; v.OverlapDepthErrorMM > limit {
		t.Errorf("depth error %g mm is above %g", v.OverlapDepthErrorMM, limit)
	}
}

// pocket is a block of 20 × 20 × 10 mm with a square pocket 5 mm deep, open at the top, floor half
// width floor and rim half width rim; and the plug that fills it.
func pocket(floor, rim float64) (block, plug *mesh.Mesh) {
	block = squareRing([]r2.Vec{v2(0, 0), v2(10, 0), v2(10, 10), v2(rim, 10), v2(floor, 5), v2(0, 5)})
	plug = squareRing([]r2.Vec{v2(0, 5), v2(floor, 5), v2(rim, 10), v2(0, 10)})
	return block, plug
}

func TestCubeLeavesPocketSliding(t *testing.T) {
	block, plug := pocket(4, 4)
	v := translate(t, plug, block, up)
	wantState(t, v, Sliding)
	wantNear(t, "zero draft, four walls of 8 × 5 mm", v.ZeroDraftAreaMM2, 4*8*5, 1e-9)
	if v.GrazeMM != 0 {
		t.Errorf("graze %g mm", v.GrazeMM)
	}
	// Down into the floor and sideways into a wall it is locked at once, over the whole face.
	v = translate(t, plug, block, v3(0, 0, -1))
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 0, 1e-12)
	wantNear(t, "area", v.OverlapAreaMM2, 64, 1e-6)
	wantDepth(t, v, 8)
	v = translate(t, plug, block, v3(1, 0, 0))
	wantState(t, v, Blocked)
	wantNear(t, "area", v.OverlapAreaMM2, 40, 1e-6)
	wantDepth(t, v, 5)
	if v.At.X != 4 {
		t.Errorf("contact at %v, want on the wall x = 4", v.At)
	}
	wantNear(t, "walls beside: top free, floor and two sides rub", v.ZeroDraftAreaMM2, 2*40+64, 1e-9)
}

func TestDraftedPocketIsFree(t *testing.T) {
	block, plug := pocket(4, 4.2)
	v := translate(t, plug, block, up)
	wantState(t, v, Free)
	if v.ZeroDraftAreaMM2 != 0 {
		t.Errorf("zero draft %g mm²", v.ZeroDraftAreaMM2)
	}
}

func TestPocketDraftedTheWrongWayLocks(t *testing.T) {
	for _, narrow := range []float64{0.5, 0.1, 0.02, 0.006} {
		block, plug := pocket(4, 4-narrow)
		v := translate(t, plug, block, up)
		wantState(t, v, Blocked)
		wantNear(t, "travel", v.TravelMM, 0, 1e-12)
		wantNear(t, "area", v.OverlapAreaMM2, 64-4*(4-narrow)*(4-narrow), 1e-5)
		// The largest disc in a square ring sits in a corner: it touches the two outer sides and the
		// inner corner, so its radius r has (w − r)·√2 = r.
		r := narrow * math.Sqrt2 / (1 + math.Sqrt2)
		wantDepth(t, v, 2*r)
		if len(v.MovingFacets) != 8 || len(v.FixedFacets) != 8 {
			t.Errorf("facets %v and %v, want the eight walls of each", v.MovingFacets, v.FixedFacets)
		}
	}
	// 4 µm is within the tolerance of 5 µm.
	block, plug := pocket(4, 3.996)
	v := translate(t, plug, block, up)
	wantState(t, v, Sliding)
	wantNear(t, "graze", v.GrazeMM, 0.004, 1e-5)
}

func TestDovetail(t *testing.T) {
	tail := []r2.Vec{v2(-5, 0), v2(5, 0), v2(3, 4), v2(-3, 4)}
	socket := []r2.Vec{v2(-10, -3), v2(10, -3), v2(10, 4), v2(3, 4), v2(5, 0), v2(-5, 0), v2(-3, 4), v2(-10, 4)}
	moving, fixed := prismY(tail, 0, 12), prismY(socket, 0, 12)
	v := translate(t, moving, fixed, up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 0, 1e-12)
	wantDepth(t, v, 2)
	wantNear(t, "area, two strips", v.OverlapAreaMM2, 2*2*12, 1e-4)
	// Along its length it slides out, over the floor of 10 mm and two flanks of √20 mm.
	v = translate(t, moving, fixed, v3(0, -1, 0))
	wantState(t, v, Sliding)
	wantNear(t, "zero draft", v.ZeroDraftAreaMM2, 12*(10+2*math.Sqrt(20)), 1e-9)
}

func TestTSlotLocksAfterItsPlay(t *testing.T) {
	head := []r2.Vec{v2(-4, 1), v2(4, 1), v2(4, 3), v2(1, 3), v2(1, 9), v2(-1, 9), v2(-1, 3), v2(-4, 3)}
	slot := []r2.Vec{v2(-8, 0), v2(8, 0), v2(8, 7), v2(1, 7), v2(1, 5.5), v2(4, 5.5), v2(4, 1),
		v2(-4, 1), v2(-4, 5.5), v2(-1, 5.5), v2(-1, 7), v2(-8, 7)}
	moving, fixed := prismY(head, 0, 10), prismY(slot, 0, 10)
	v := translate(t, moving, fixed, up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 2.5, 1e-12)
	wantNear(t, "height of the contact", v.At.Z, 5.5, 1e-12)
	wantDepth(t, v, 3)
	wantNear(t, "area", v.OverlapAreaMM2, 2*3*10, 1e-4)
	// Neck 2 × 1.5 mm high, head 2 × 2 mm high, all 10 mm long.
	wantNear(t, "zero draft", v.ZeroDraftAreaMM2, 10*(2*1.5+2*2), 1e-9)
}

func TestBoxUnderShelf(t *testing.T) {
	for _, gap := range []float64{0, 1e-4, 0.75, 40} {
		box, shelf := boxMesh(0, 0, 0, 10, 10, 5), boxMesh(7, -5, 5+gap, 30, 30, 7+gap)
		v := translate(t, box, shelf, up)
		wantState(t, v, Blocked)
		wantNear(t, "travel", v.TravelMM, gap, 1e-12)
		wantNear(t, "area", v.OverlapAreaMM2, 30, 1e-5)
		wantDepth(t, v, 3)
		wantState(t, translate(t, box, shelf, v3(0, 0, -1)), Free)
		wantState(t, translate(t, shelf, box, up), Free)
		if v := translate(t, shelf, box, v3(0, 0, -1)); v.State != Blocked || math.Abs(v.TravelMM-gap) > 1e-12 {
			t.Errorf("roles swapped: %s", v.Words())
		}
	}
}

// A ball under a plate meets it with its highest point; two crossed wedges meet edge to edge.
func TestFirstContactOfCornersAndEdges(t *testing.T) {
	ball := profile([]r2.Vec{v2(0, -3), v2(2, -1), v2(2, 1), v2(0, 3)}, 24)
	v := translate(t, ball, boxMesh(-9, -9, 4.25, 9, 9, 5), up)
	wantState(t, v, Blocked)
	wantNear(t, "vertex under face", v.TravelMM, 1.25, 1e-12)
	wantNear(t, "at x", v.At.X, 0, 1e-12)
	wantNear(t, "at z", v.At.Z, 4.25, 1e-12)

	ridge := prismY([]r2.Vec{v2(-2, 0), v2(2, 0), v2(0, 3)}, -10, 10) // ridge along y at z = 3
	keel := prismY([]r2.Vec{v2(-2, 9), v2(0, 6), v2(2, 9)}, -10, 10)
	keel = keel.Map(func(p r3.Vec) r3.Vec { return v3(-p.Y, p.X, p.Z) }) // keel along x at z = 6
	v = translate(t, ridge, keel, up)
	wantState(t, v, Blocked)
	wantNear(t, "edge under edge", v.TravelMM, 3, 1e-9)
	wantNear(t, "at", r3.Norm(r3.Sub(v.At, v3(0, 0, 6))), 0, 1e-6)
}

func TestBoxesSideBySideSlide(t *testing.T) {
	v := translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5, 2, -3, 9, 8, 4), up)
	wantState(t, v, Sliding)
	wantNear(t, "zero draft", v.ZeroDraftAreaMM2, 3*4, 1e-9)
	// A gap of 4 µm still counts as contact, one of 6 µm does not.
	wantState(t, translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5.004, 2, -3, 9, 8, 4), up), Sliding)
	wantState(t, translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5.006, 2, -3, 9, 8, 4), up), Free)
	// Touching along an edge or at a corner only: nothing rubs.
	wantState(t, translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5, 5, -3, 9, 8, 4), up), Free)
	wantState(t, translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5, 5, 5, 9, 8, 9), up), Free)
	wantState(t, translate(t, boxMesh(0, 0, 0, 5, 5, 5), boxMesh(5, 0, 5, 9, 5, 9), up), Free)
}

// A staircase wound round a post, in a nut of the same shape, turns out but does not pull out.
func TestScrewLocks(t *testing.T) {
	const steps, pitch, turns = 24, 6.0, 2
	var tread, nut []*mesh.Mesh
	for k := range steps * turns {
		z := pitch * float64(k) / steps
		a := 2 * math.Pi * float64(k) / steps
		// A tread of 2 mm under, and one of the nut 3 mm above it.
		tread = append(tread, turned(boxMesh(3, -0.3, z, 6, 0.3, z+2), a))
		nut = append(nut, turned(boxMesh(4, -0.3, z+3, 8, 0.3, z+5), a))
	}
	v := translate(t, merge(tread...), merge(nut...), up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 1, 1e-12)
	v = translate(t, merge(tread...), merge(nut...), v3(0, 0, -1))
	wantState(t, v, Blocked)
	// Neighbouring treads overlap near the post, so the nearest nut tread below comes from the next
	// or the same sector: 1 mm above the lower tread's top, 6 mm a turn.
	if v.TravelMM >= pitch || v.TravelMM < 0 {
		t.Errorf("travel %g mm", v.TravelMM)
	}
}

func turned(m *mesh.Mesh, a float64) *mesh.Mesh {
	s, c := math.Sincos(a)
	return m.Map(func(p r3.Vec) r3.Vec { return v3(c*p.X-s*p.Y, s*p.X+c*p.Y, p.Z) })
}

// The tolerance must not let a wall pass because it is cut into facets narrower than itself: a wall
// that leans 1° the wrong way over 40 mm, in 200 strips of 3.5 µm.
func TestNarrowStripsAddUpToALock(t *testing.T) {
	const strips, height = 200, 40.0
	lean := height * math.Tan(math.Pi/180)
	if lean/strips >= DefaultToleranceMM {
		t.Fatalf("strips are %g mm wide, not narrower than the tolerance", lean/strips)
	}
	var wall []r2.Vec // from the foot up, leaning towards −x
	for k := range strips + 1 {
		s := float64(k) / strips
		wall = append(wall, v2(-lean*s, height*s))
	}
	// prismY's caps would be slivers to triangulate by ears; fans from a far corner do it.
	moving := fanPrism(append([]r2.Vec{v2(-10, height), v2(-10, 0)}, wall...), 0, 0, 12)
	fixed := fanPrism(append([]r2.Vec{v2(10, 0), v2(10, height)}, reversed(wall)...), 0, 0, 12)
	v := translate(t, moving, fixed, up)
	wantState(t, v, Blocked)
	wantNear(t, "travel", v.TravelMM, 0, 1e-12)
	wantDepth(t, v, lean)
	wantNear(t, "area", v.OverlapAreaMM2, lean*12, 1e-3)
	// The same wall over 0.2 mm of height is 3.5 µm wide in all: sliding.
	wall = wall[:2]
	moving = fanPrism([]r2.Vec{v2(-10, wall[1].Y), v2(-10, 0), wall[0], wall[1]}, 0, 0, 12)
	fixed = fanPrism([]r2.Vec{v2(10, 0), v2(10, wall[1].Y), wall[1], wall[0]}, 0, 0, 12)
	wantState(t, translate(t, moving, fixed, up), Sliding)
}

func reversed(p []r2.Vec) []r2.Vec {
	out := make([]r2.Vec, len(p))
	for i, v := range p {
		out[len(p)-1-i] = v
	}
	return out
}

// fanPrism is prismY with caps fanned from one corner of the polygon.
func fanPrism(p []r2.Vec, from int, y0, y1 float64) *mesh.Mesh {
	b := newBuilder()
	at := func(i int, y float64) r3.Vec { q := p[i%len(p)]; return v3(q.X, y, q.Y) }
	for i := range p {
		b.quad(at(i, y0), at(i+1, y0), at(i+1, y1), at(i, y1))
	}
	for i := 1; i < len(p)-1; i++ {
		b.tri(at(from, y0), at(from+i+1, y0), at(from+i, y0))
		b.tri(at(from, y1), at(from+i, y1), at(from+i+1, y1))
	}
	return b.m.Flipped()
}

// cup is a shallow cup of height 12 mm, outer foot radius 20, wall 3 mm across, floor 3 mm, in n
// segments. lean is how far the walls lean inward from foot to rim, both alike: positive narrows to
// the rim.
type cup struct {
	n    int
	lean float64
}

const cupHeight, cupFloor, cupFoot, cupWall = 12.0, 3.0, 20.0, 3.0

func (c cup) outer(z float64) float64 { return cupFoot - c.lean*z/cupHeight }
func (c cup) inner(z float64) float64 { return c.outer(z) - cupWall }

func (c cup) mesh() *mesh.Mesh {
	return profile([]r2.Vec{
		v2(0, 0), v2(c.outer(0), 0), v2(c.outer(cupHeight), cupHeight),
		v2(c.inner(cupHeight), cupHeight), v2(c.inner(cupFloor), cupFloor), v2(0, cupFloor),
	}, c.n)
}

// halves are a block of radius 30 round the cup, from 10 mm below to 10 mm above it. Split at the
// rim plane, the lower half forms the outside and the upper the inside; at the floor plane, the
// upper half forms both.
func (c cup) halves(splitAtRim bool) (lower, upper *mesh.Mesh) {
	const block, below, above = 30.0, -10.0, cupHeight + 10
	foot, rim := v2(c.outer(0), 0), v2(c.outer(cupHeight), cupHeight)
	inner := []r2.Vec{v2(c.inner(cupHeight), cupHeight), v2(c.inner(cupFloor), cupFloor), v2(0, cupFloor)}
	if splitAtRim {
		lower = profile([]r2.Vec{v2(0, below), v2(block, below), v2(block, cupHeight), rim, foot, v2(0, 0)}, c.n)
		upper = profile([]r2.Vec{v2(0, cupFloor), inner[1], inner[0], rim, v2(block, cupHeight), v2(block, above), v2(0, above)}, c.n)
		return lower, upper
	}
	lower = profile([]r2.Vec{v2(0, below), v2(block, below), v2(block, 0), foot, v2(0, 0)}, c.n)
	upper = profile([]r2.Vec{v2(0, cupFloor), inner[1], inner[0], rim, foot, v2(block, 0), v2(block, above), v2(0, above)}, c.n)
	return lower, upper
}

// A cup whose outside narrows to the rim and whose inside widens to the floor grips both halves,
// though they part freely when empty.
func TestGrippingCupLocksFilledMould(t *testing.T) {
	draft := 3 * math.Pi / 180
	for _, atRim := range []bool{true, false} {
		t.Run(fmt.Sprintf("split at rim %v", atRim), func(t *testing.T) {
			c := cup{n: 48, lean: cupHeight * math.Tan(draft)}
			lower, upper := c.halves(atRim)
			bodies := []Body{{"lower half", lower}, {"upper half", upper}, {"cup", c.mesh()}}
			order := []Motion{{Piece: "upper half", Direction: up}}
			got, err := ProveWithAndWithout(context.Background(), bodies, "cup", order, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if got.Empty.State != Free || got.State() != Blocked {
				t.Fatalf("want free when empty and locked when filled:\n%s", got.Words())
			}
			for _, f := range got.Filled {
				if f.Proof.State != Blocked {
					t.Errorf("stuck to %s: %v, want blocked", f.StuckTo, f.Proof.State)
				}
			}
			if w := got.Words(); !strings.HasPrefix(w, "empty, the pieces part freely; with cup inside they lock") ||
				!strings.Contains(w, "travel 0.00 mm") {
				t.Errorf("words:\n%s", w)
			}
			checkCupLocks(t, c, got, draft)
		})
	}
}

// checkCupLocks compares the overlaps with the ring between the regular polygons that the walls are:
// a wall of height h leans over h·tan(draft), and flats of an n-gon lie cos(π/n) nearer the axis.
// The largest disc sits in a corner of the ring, where inner corner and two outer sides hold it.
func checkCupLocks(t *testing.T, c cup, got *Comparison, draft float64) {
	t.Helper()
	apothem := math.Cos(math.Pi / float64(c.n))
	for _, f := range got.Filled {
		for _, s := range f.Proof.Steps {
			for _, v := range s.Verdicts {
				if v.State != Blocked {
					continue
				}
				height := cupHeight - cupFloor // the inner wall
				if v.Moving == "cup" && v.Fixed == "lower half" {
					height = cupHeight
				}
				flat := height * math.Tan(draft) * apothem
				wantNear(t, "travel", v.TravelMM, 0, 1e-12)
				wantDepth(t, v, flat*2/(1+apothem))
				if rel := math.Abs(v.OverlapDepthMM/(height*math.Tan(draft)) - 1); rel > 0.02 {
					t.Errorf("depth %g mm is %.1f %% off wall height × tan(draft)", v.OverlapDepthMM, 100*rel)
				}
			}
		}
	}
}

func TestProperlyDraftedCupOpens(t *testing.T) {
	// Outside widening to the rim and inside widening to the rim, split at the rim.
	c := cup{n: 48, lean: -cupHeight * math.Tan(3*math.Pi/180)}
	lower, upper := c.halves(true)
	bodies := []Body{{"lower half", lower}, {"upper half", upper}, {"cup", c.mesh()}}
	got, err := ProveWithAndWithout(context.Background(), bodies, "cup", []Motion{{Piece: "upper half", Direction: up}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got.State() != Free {
		t.Fatalf("want free:\n%s", got.Words())
	}
	want := "empty, the pieces part freely; with cup inside they part too.\n" +
		"cup stuck to lower half: opens and comes out freely\ncup stuck to upper half: opens and comes out freely"
	if got.Words() != want {
		t.Errorf("words:\n%s", got.Words())
	}
	// Without draft it slides, rubbing on outside and inside.
	c.lean = 0
	lower, upper = c.halves(true)
	p, err := Prove(context.Background(), []Body{{"lower half", lower}, {"upper half", upper}, {"cup", c.mesh()}},
		[]Motion{{Piece: "upper half", Direction: up}, {Piece: "cup", Direction: up}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	side := func(r, h float64) float64 { return 2 * float64(c.n) * r * math.Sin(math.Pi/float64(c.n)) * h }
	wantNear(t, "inside", p.Steps[0].Verdicts[1].ZeroDraftAreaMM2, side(cupFoot-cupWall, cupHeight-cupFloor), 1e-6)
	wantNear(t, "outside", p.Steps[1].Verdicts[0].ZeroDraftAreaMM2, side(cupFoot, cupHeight), 1e-6)
	if w := p.Words(); w != "upper half leaves along +z: free, 960.6 mm² zero draft\ncup leaves along +z: free, 1506.9 mm² zero draft" {
		t.Errorf("words:\n%s", w)
	}
}

func TestOverlapAtTheStartIsAnError(t *testing.T) {
	cases := map[string][2]*mesh.Mesh{
		"the same body":          {boxMesh(0, 0, 0, 5, 5, 5), boxMesh(0, 0, 0, 5, 5, 5)},
		"one inside":             {boxMesh(0, 0, 0, 5, 5, 5), boxMesh(1, 1, 1, 2, 2, 2)},
		"corner in":              {boxMesh(0, 0, 0, 5, 5, 5), boxMesh(4, 4, 4, 9, 9, 9)},
		"crossed bars":           {boxMesh(-20, -1, 0, 20, 1, 2), boxMesh(-1, -20, 0, 1, 20, 2)},
		"crossed, staggered":     {boxMesh(-20, -1, 0, 20, 1, 2), boxMesh(-1, -20, 1, 1, 20, 3)},
		"shared face, same side": {boxMesh(0, 0, 0, 5, 5, 5), boxMesh(0, 0, 0, 5, 5, 2)},
	}
	for name, c := range cases {
		_, err := Translate(context.Background(), Body{"left", c[0]}, Body{"right", c[1]}, up, Options{})
		var o *OverlapError
		if !errors.Is(err, ErrOverlap) || !errors.As(err, &o) {
			t.Errorf("%s: %v, want ErrOverlap", name, err)
			continue
		}
		for _, m := range c {
			b := m.Bounds()
			if o.At.X <= b.Min.X || o.At.X >= b.Max.X || o.At.Y <= b.Min.Y || o.At.Y >= b.Max.Y || o.At.Z <= b.Min.Z || o.At.Z >= b.Max.Z {
				t.Errorf("%s: %v is not inside %v", name, o.At, b)
			}
		}
		if !strings.Contains(err.Error(), `"left" and "right"`) {
			t.Errorf("%s: %v does not name the bodies", name, err)
		}
	}
}

func TestBadBodies(t *testing.T) {
	box := boxMesh(0, 0, 0, 5, 5, 5)
	nan := box.Map(func(p r3.Vec) r3.Vec { return v3(p.X, math.NaN(), p.Z) })
	open := &mesh.Mesh{Verts: box.Verts, Tris: box.Tris[1:]}
	wild := &mesh.Mesh{Verts: box.Verts[:4], Tris: box.Tris}
	for name, m := range map[string]*mesh.Mesh{"empty": {}, "nil": nil, "nan": nan, "open": open, "inside out": box.Flipped(), "index": wild} {
		_, err := Translate(context.Background(), Body{"a", m}, Body{"b", boxMesh(9, 9, 9, 10, 10, 10)}, up, Options{})
		if !errors.Is(err, ErrBody) || !strings.Contains(err.Error(), `"a"`) {
			t.Errorf("%s: %v, want ErrBody naming the body", name, err)
		}
	}
	good := []Body{{"a", box}, {"b", boxMesh(9, 9, 9, 10, 10, 10)}}
	if _, err := Translate(context.Background(), good[0], good[1], r3.Vec{}, Options{}); err == nil {
		t.Error("no error for a direction without length")
	}
	for _, order := range [][]Motion{
		{{Piece: "c", Direction: up}},
		{{Piece: "a", Direction: up, Carries: []string{"a"}}},
		{{Piece: "a", Direction: up}, {Piece: "a", Direction: up}},
	} {
		if _, err := Prove(context.Background(), good, order, Options{}); err == nil {
			t.Errorf("no error for %v", order)
		}
	}
	if _, err := NewChecker([]Body{good[0], good[0]}, Options{}); !errors.Is(err, ErrBody) {
		t.Errorf("same name twice: %v", err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := Translate(ctx, good[0], good[1], up, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}
