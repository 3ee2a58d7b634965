package fill

import (
	"context"
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// inverted cup, upright: a box with a bell hanging open downward inside; air under the bell stays.
func bell(t testing.TB) *mesh.Mesh {
	var m *mesh.Mesh
	build(t, func(k *solid.Kernel) error {
		box, err := k.Box(r3.Box{Min: v3(-20, -20, 0), Max: v3(20, 20, 30)})
		if err != nil {
			return err
		}
		outer, err := k.Box(r3.Box{Min: v3(-10, -8, 10), Max: v3(10, 8, 24)})
		if err != nil {
			return err
		}
		inner, err := k.Box(r3.Box{Min: v3(-8, -6, 9), Max: v3(8, 6, 20)})
		if err != nil {
			return err
		}
		cup, err := outer.Subtract(inner)
		if err != nil {
			return err
		}
		out, err := box.Subtract(cup)
		if err != nil {
			return err
		}
		m, err = out.Mesh()
		return err
	})
	return m
}

// Trapped air in an inverted cup: its inner volume above the rim, 16 × 12 × 10 (plane geometry); it
// closes when the resin reaches the rim, at 40 × 40 × 10 poured.
func TestInvertedCup(t *testing.T) {
	c := cavity(t, bell(t), Options{PitchMM: 0.5})
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(15, 15, 30)}, Vents: []r3.Vec{v3(-15, -15, 30)}, PotKPa: 4 * StandardAirKPa})
	if len(r.Pockets) != 1 {
		t.Fatalf("pockets: %+v", r.Pockets)
	}
	k := r.Pockets[0]
	close1(t, "trapped", k.VolumeMM3, 16*12*10, 1e-8)
	close1(t, "closes at", k.PouredMM3, 40*40*10, 40)
	close1(t, "level", k.LevelMM, 10, 1e-9)
	if !k.Exact || k.ErrorMM3 > 1e-6 || k.Top.Z != 20 {
		t.Errorf("pocket %+v", k)
	}
	// Boyle with the head of resin over the face: the face rises by x; 1920 − 192 x of air under
	// p0 + ρ g (30 − 10 − x). Solve the quadratic.
	under := func(outside float64) float64 {
		rho := HeadKPa(1.1, 1) // kPa a mm
		// (10 − x)(outside + rho(20 − x)) = 10·p0
		b := -(outside + 20*rho + 10*rho)
		cc := 10*(outside+20*rho) - 10*StandardAirKPa
		x := (-b - math.Sqrt(b*b-4*rho*cc)) / (2 * rho)
		return 192 * (10 - x)
	}
	close1(t, "under head", k.UnderHeadMM3, under(StandardAirKPa), 1e-3)
	close1(t, "in pot", k.InPotMM3, under(4*StandardAirKPa), 1e-3)
}

// ubend is a U of square bore 10: two legs and a bottom, with legs of unequal height.
func ubend(t testing.TB) *mesh.Mesh {
	return extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 40, Y: 0}, {X: 40, Y: 50}, {X: 30, Y: 50}, {X: 30, Y: 10}, {X: 10, Y: 10}, {X: 10, Y: 40}, {X: 0, Y: 40}}, 0, 10)
}

// A U-bend with a vent at both ends fills wholly, both legs level; with one closed, the air above the
// bend's inner height stays: 10 × 10 × 40.
func TestUBend(t *testing.T) {
	c := cavity(t, ubend(t), Options{PitchMM: 0.4})
	pour := []r3.Vec{v3(5, 5, 40)}
	both := filled(t, c, Setup{Pour: pour, Vents: []r3.Vec{v3(35, 5, 50)}})
	if both.TrappedMM3 > 1e-6 || both.UnresolvedMM3 > 1e-6 {
		t.Errorf("two vents: %+v", both.Pockets)
	}
	one := filled(t, c, Setup{Pour: pour})
	close1(t, "one vent", one.TrappedMM3, 10*10*40, 1e-8)
	if len(one.Pockets) == 1 {
		close1(t, "closes at", one.Pockets[0].PouredMM3, 40*10*10, 60)
	}
	if _, err := c.Fill(context.Background(), Setup{Pour: pour, PourClosed: true}); !errors.As(err, new(*UnventedError)) {
		t.Errorf("no vent at all: %v", err)
	}
}

// Two basins with a weir between, poured into the left: level against volume has closed form. The
// left basin 20 wide fills to 10, runs over until the right, 30 wide with its floor 4 lower, stands
// at 10; then both rise over 55 of width (the weir is 5 wide).
func TestWeir(t *testing.T) {
	m := extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 10}, {X: 25, Y: 10}, {X: 25, Y: -4}, {X: 55, Y: -4}, {X: 55, Y: 25}, {X: 0, Y: 25}}, 0, 10)
	// 55/0.5 and the steps are whole numbers of columns, so the columns are exact.
	c := cavity(t, m, Options{PitchMM: 0.5})
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(10, 5, 25)}})
	if r.TrappedMM3 > 1e-9 {
		t.Errorf("trapped %v", r.Pockets)
	}
	want := func(v float64) float64 {
		switch {
		case v < 20*10*10:
			return v/200 + 4
		case v < 20*10*10+30*14*10:
			return 14
		default:
			return (v-2000-4200)/550 + 14
		}
	}
	for i, p := range r.Curve {
		close1(t, fmt.Sprintf("level at %g mm³", p.PouredMM3), p.LevelMM, want(p.PouredMM3), 1e-6)
		if i > 0 && (p.PouredMM3 < r.Curve[i-1].PouredMM3 || p.LevelMM < r.Curve[i-1].LevelMM) {
			t.Errorf("curve falls at %d", i)
		}
	}
	if len(r.Curve) < 5 {
		t.Errorf("curve %v", r.Curve)
	}
	if len(r.Basins) != 2 {
		t.Fatalf("basins %+v", r.Basins)
	}
	close1(t, "first basin", r.Basins[0].VolumeMM3, 2000, 1e-6)
	close1(t, "second basin", r.Basins[1].VolumeMM3, 4200, 1e-6)
	close1(t, "second begins", r.Basins[1].BeginsMM3, 2000, 1e-6)
}

// A bend that is not reached by the level of its neighbour: air that has a way out down and round
// through a dry bend is not trapped, though it is cut off above the closing height. Legs A, B, C; the
// first bend closes first, the second lies lower and leads to an open leg.
func TestAirLeavesThroughDryBend(t *testing.T) {
	// A W: A (0–10), bend floor 10 up to 20; B hump (20–30) up to 60; second bend floor 0 to 10; C
	// (40–50) up to 60 and open.
	m := extruded(t, []r2.Vec{{X: 0, Y: 20}, {X: 30, Y: 20}, {X: 30, Y: 50}, {X: 32, Y: 50}, {X: 32, Y: 0}, {X: 50, Y: 0}, {X: 50, Y: 70},
		{X: 40, Y: 70}, {X: 40, Y: 10}, {X: 37, Y: 10}, {X: 37, Y: 60}, {X: 20, Y: 60}, {X: 20, Y: 30}, {X: 10, Y: 30}, {X: 10, Y: 70}, {X: 0, Y: 70}}, 0, 10)
	c := cavity(t, m, Options{PitchMM: 0.25})
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(5, 5, 70)}, Vents: []r3.Vec{v3(45, 5, 70)}})
	// The resin rises in B to the lip at 50, runs over into the second bend, closes it at 10, and
	// then the hump's air is caught: between 50 (surface in B) and 60 over x 20–30, over the lip 2
	// wide, and in the down leg 5 wide from 10 to 60.
	want := 10.0 * (10*10 + 2*10 + 5*50)
	close1(t, "hump", r.TrappedMM3, want, 0.01*want)
	if len(r.Pockets) == 1 && !(r.Pockets[0].PouredMM3 > 10*(10*10+10*10+10*10+20*10)) {
		t.Errorf("closes at %g, before the first bend has run over", r.Pockets[0].PouredMM3)
	}
}

// The columns alone, on a slanted roof: trapped volume and level converge to the exact value. Floors
// and roofs are exact along a column, so what is left is the staircase of the walls seen from above:
// first order in the pitch.
func TestColumnsConverge(t *testing.T) {
	ring := turned([]r2.Vec{{X: 10, Y: 0}, {X: 30, Y: 0}, {X: 26, Y: 15}, {X: 20, Y: 18}, {X: 13, Y: 14}}, 90)
	for _, shape := range []struct {
		name string
		m    *mesh.Mesh
	}{{"bell", rotated(bell(t), r3.NewRotation(0.5, v3(0, 0, 1)))}, {"ring", ring}} {
		c := cavity(t, shape.m, Options{})
		var pitches, errs []float64
		up := tilted(7, 4)
		for _, p := range []float64{1.6, 0.8, 0.4, 0.2} {
			run := fillRun{c: c, set: &Setup{Up: up, DensityGML: 1, AirKPa: 101, PotKPa: 101}}
			// Vents everywhere but the high point: a vent at the lowest corner's ceiling.
			spots, err := c.spots("pour point", []r3.Vec{lowRoof(c, up)}, true)
			if err != nil {
				t.Fatal(err)
			}
			run.pours, run.vents = spots, spots
			r, err := run.at(context.Background(), frameTo(up), p, false)
			if err != nil {
				t.Fatal(err)
			}
			want := stays(c, up, spots[0].at)
			e := math.Abs(r.TrappedMM3 - want)
			t.Logf("%s, pitch %.2f: trapped %.3f, exact %.3f, error %.4f mm³; volume error %.4f mm³", shape.name, p, r.TrappedMM3, want, e, r.VolumeErrorMM3)
			pitches, errs = append(pitches, p), append(errs, e)
		}
		order := slopeOf(pitches, errs)
		t.Logf("%s: order %.2f", shape.name, order)
		if !(order > 0.8) {
			t.Errorf("%s: error falls with order %.2f, want about 1 or more", shape.name, order)
		}
	}
}

// slopeOf is the least-squares slope of log error against log pitch.
func slopeOf(h, e []float64) float64 {
	var sx, sy, sxx, sxy float64
	for i := range h {
		x, y := math.Log(h[i]), math.Log(math.Max(e[i], 1e-12))
		sx, sy, sxx, sxy = sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	n := float64(len(h))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}

// lowRoof is the corner lowest in direction up that has a facet facing up.
func lowRoof(c *Cavity, up r3.Vec) r3.Vec {
	best, at := math.Inf(1), r3.Vec{}
	for f := range c.mesh.Tris {
		if r3.Dot(r3.Unit(c.normal(f)), up) < 0.5 {
			continue
		}
		for _, v := range c.mesh.Facet(f) {
			if h := r3.Dot(v, up); h < best {
				best, at = h, v
			}
		}
	}
	return at
}

// Common practice, no source: a shallow tray moulded flat traps air along its back edge (here the
// ceiling dips a little toward the middle, as printed faces do), tilted towards one high vent it does
// not.
func TestTray(t *testing.T) {
	m := extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 4.3}, {X: 50, Y: 4}, {X: 0, Y: 4.3}}, 0, 60)
	c := cavity(t, m, Options{PitchMM: 0.5})
	set := Setup{Pour: []r3.Vec{v3(0, 30, 4.3)}}
	flat := filled(t, c, set)
	close1(t, "flat", flat.TrappedMM3, 50*0.3/2*60, 1e-6)
	if len(flat.Pockets) != 1 || flat.Pockets[0].Top.X != 100 {
		t.Fatalf("flat: %+v", flat.Pockets)
	}
	set.Up = tilted(0, -5) // the x = 0 side rises
	if up := filled(t, c, set); up.TrappedMM3 > 1e-6 {
		t.Errorf("tilted: %+v", up.Pockets)
	}
}

func TestFillErrors(t *testing.T) {
	ctx := context.Background()
	tray := block(v3(0, 0, 0), v3(20, 10, 5))
	show := make([]bool, 12)
	show[2], show[3] = true, true // the top
	c := cavity(t, tray, Options{Show: show})
	top := v3(5, 5, 5)
	var outside *OutsideError
	if _, err := c.Fill(ctx, Setup{Pour: []r3.Vec{v3(5, 5, 9)}}); !errors.As(err, &outside) || outside.DistanceMM != 4 {
		t.Errorf("outside: %v", err)
	}
	var mark *ShowFaceError
	if _, err := c.Fill(ctx, Setup{Pour: []r3.Vec{v3(0, 5, 2)}, Vents: []r3.Vec{top}}); !errors.As(err, &mark) || mark.What != "vent 1" {
		t.Errorf("show face: %v", err)
	}
	if _, err := c.Fill(ctx, Setup{}); err == nil {
		t.Error("no pour point passes")
	}
	two := block(v3(30, 0, 0), v3(40, 10, 5))
	n := uint32(len(tray.Verts))
	both := &mesh.Mesh{Verts: append(append([]r3.Vec{}, tray.Verts...), two.Verts...), Tris: append([][3]uint32{}, tray.Tris...)}
	for _, f := range two.Tris {
		both.Tris = append(both.Tris, [3]uint32{f[0] + n, f[1] + n, f[2] + n})
	}
	var sealed *SealedError
	c2 := cavity(t, both, Options{})
	if _, err := c2.Fill(ctx, Setup{Pour: []r3.Vec{top}}); !errors.As(err, &sealed) || math.Abs(sealed.VolumeMM3-500) > 1e-9 || sealed.Spaces != 2 {
		t.Errorf("sealed: %v", err)
	}
	var none *NoSpaceError
	for name, m := range map[string]*mesh.Mesh{
		"empty": {}, "flat": block(v3(0, 0, 0), v3(10, 10, 0)), "inside out": tray.Flipped(),
		"open": {Verts: tray.Verts, Tris: tray.Tris[1:]},
	} {
		if _, err := NewCavity(m, Options{}); !errors.As(err, &none) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := NewCavity(&mesh.Mesh{Verts: []r3.Vec{{X: math.NaN()}}, Tris: [][3]uint32{{0, 0, 0}}}, Options{}); err == nil {
		t.Error("NaN passes")
	}
	var fine *TooFineError
	c3 := cavity(t, tray, Options{PitchMM: 1e-6})
	if _, err := c3.Fill(ctx, Setup{Pour: []r3.Vec{top}}); !errors.As(err, &fine) {
		t.Errorf("too fine: %v", err)
	}
	gone, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := c2.Fill(gone, Setup{Pour: []r3.Vec{top, v3(35, 5, 5)}}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// One worker or several: the same to the last bit.
func TestWorkersAgree(t *testing.T) {
	m := bell(t)
	set := Setup{Up: tilted(11, -3), Pour: []r3.Vec{v3(15, 15, 30)}}
	one := filled(t, cavity(t, m, Options{PitchMM: 0.3, Workers: 1}), set)
	two := filled(t, cavity(t, m, Options{PitchMM: 0.3, Workers: 2}), set)
	if !reflect.DeepEqual(one, two) {
		t.Error("results differ with the number of workers")
	}
}

// Turning cavity and gravity together changes nothing; scaling scales.
func TestTurnAndScale(t *testing.T) {
	m := bell(t)
	rapid.Check(t, func(rt *rapid.T) {
		f := func(name string) float64 { return rapid.Float64Range(-1, 1).Draw(rt, name) }
		axis := v3(f("x"), f("y"), f("z"))
		if r3.Norm(axis) < 0.1 {
			rt.Skip("no axis")
		}
		turn := r3.NewRotation(3*f("angle"), axis)
		k := math.Exp(f("scale"))
		move := func(v r3.Vec) r3.Vec { return turn.Rotate(r3.Scale(k, v)) }
		up, vent := tilted(20*f("tx"), 20*f("ty")), v3(15, 15, 30)
		a := cavity(t, m, Options{})
		b := cavity(t, m.Map(move), Options{})
		va, vb := stays(a, up, vent), stays(b, turn.Rotate(up), move(vent))
		if math.Abs(vb-k*k*k*va) > 1e-7*k*k*k*a.VolumeMM3() {
			rt.Errorf("%g trapped, %g after turn and scale by %g", va, vb, k)
		}
	})
}

// The same for the whole fill: the pocket turns with the mould, and with its own gravity.
func TestFillTurns(t *testing.T) {
	m := bell(t)
	up, vent := tilted(9, -14), v3(-15, -15, 30)
	want := filled(t, cavity(t, m, Options{PitchMM: 0.5}), Setup{Up: up, Pour: []r3.Vec{v3(15, 15, 30)}, Vents: []r3.Vec{vent}})
	for i := range 4 {
		turn := r3.NewRotation(0.7+1.3*float64(i), v3(1, float64(i)-1.5, 0.4))
		r := filled(t, cavity(t, rotated(m, turn), Options{PitchMM: 0.5}),
			Setup{Up: turn.Rotate(up), Pour: []r3.Vec{turn.Rotate(v3(15, 15, 30))}, Vents: []r3.Vec{turn.Rotate(vent)}})
		close1(t, "trapped", r.TrappedMM3, want.TrappedMM3, 1e-6*want.TrappedMM3+want.TrappedErrMM3+r.TrappedErrMM3)
		if len(r.Pockets) == 0 || r3.Norm(r3.Sub(r.Pockets[0].Top, turn.Rotate(want.Pockets[0].Top))) > 1e-9 {
			t.Errorf("turn %d: pockets %+v", i, r.Pockets)
		}
	}
	if !(want.TrappedMM3 > 1000) {
		t.Errorf("trapped %g", want.TrappedMM3)
	}
}
