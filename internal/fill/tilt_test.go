package fill

import (
	"context"
	"errors"
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"

	"mouldwright/demo/lantern"
)

func searched(t testing.TB, c *Cavity, o TiltOptions) *TiltResult {
	t.Helper()
	r, err := c.SearchTilt(context.Background(), o)
	if err != nil {
		t.Fatal(err)
	}
	if r.Best.TrappedMM3 > r.Flat.TrappedMM3 {
		t.Errorf("best tilt keeps %g mm³, flat %g", r.Best.TrappedMM3, r.Flat.TrappedMM3)
	}
	return r
}

// The tray with a sagging ceiling has its high edges at x = 0 and x = 100. The least tilt that leaves
// one high edge is that of the ceiling's own slope, atan(0.3/50) = 0.34°.
func TestTiltTray(t *testing.T) {
	m := extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 4.3}, {X: 50, Y: 4}, {X: 0, Y: 4.3}}, 0, 60)
	c := cavity(t, m, Options{})
	r := searched(t, c, TiltOptions{Pour: []r3.Vec{v3(0, 30, 4.3)}, OnlyThese: true, MaxXDeg: 8, MaxYDeg: -1, Directions: 200})
	if r.Best.TrappedMM3 > c.opt.MinPocketMM3 || r.Flat.TrappedMM3 < 400 {
		t.Errorf("best %+v, flat %+v", r.Best, r.Flat)
	}
	if slope := math.Atan(0.3/50) * 180 / math.Pi; r.Best.TiltDeg > slope+0.1 || r.Best.XDeg > 0 {
		t.Errorf("best tilt %g°, %g would do", r.Best.XDeg, -slope)
	}
	// With vents allowed, flat needs one at each edge; tilted none beside the pour hole.
	v := searched(t, c, TiltOptions{Pour: []r3.Vec{v3(0, 30, 4.3)}, MaxXDeg: 8, MaxYDeg: -1, Directions: 200})
	if v.Flat.Vents != 1 || v.Flat.TrappedMM3 > 1e-6 || v.Best.Vents != 0 {
		t.Errorf("with vents: best %+v, flat %+v", v.Best, v.Flat)
	}
	if len(v.Flat.Spots) == 1 && (v.Flat.Spots[0].At.X != 100 || math.Abs(v.Flat.Spots[0].PocketMM3-450) > 1e-6) {
		t.Errorf("spot %+v", v.Flat.Spots)
	}
}

// No vent is proposed on a show face: with the far half of the ceiling marked, the far edge's pocket
// has to be led away by tilting.
func TestTiltShow(t *testing.T) {
	m := extruded(t, []r2.Vec{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 4.3}, {X: 50, Y: 4}, {X: 0, Y: 4.3}}, 0, 60)
	show := make([]bool, len(m.Tris))
	for f := range m.Tris {
		t := m.Facet(f)
		show[f] = r3.Scale(1.0/3, r3.Add(t[0], r3.Add(t[1], t[2]))).X > 50
	}
	c := cavity(t, m, Options{Show: show})
	r := searched(t, c, TiltOptions{Pour: []r3.Vec{v3(0, 30, 4.3)}, MaxXDeg: 5, MaxYDeg: 5, Directions: 150})
	for _, choice := range []TiltChoice{r.Best, r.Flat} {
		for _, s := range choice.Spots {
			if f, near := c.showNear(s.At, 1); near {
				t.Errorf("vent %v within its radius of show facet %d", s.At, f)
			}
		}
	}
	close1(t, "flat keeps the show half's air", r.Flat.TrappedMM3, 450, 1e-6)
	if r.Best.TrappedMM3 > c.opt.MinPocketMM3 {
		t.Errorf("best %+v", r.Best)
	}
	if _, err := c.Fill(context.Background(), Setup{Up: r.Best.Up, Pour: []r3.Vec{v3(0, 30, 4.3)}, Vents: spotsOf(r.Best)}); err != nil {
		t.Errorf("filled at the best tilt: %v", err)
	}
}

func spotsOf(c TiltChoice) (out []r3.Vec) {
	for _, s := range c.Spots {
		out = append(out, s.At)
	}
	return out
}

// The foot ring of the demo: same with 1 and 2 workers, and Fill agrees with the tree at the best tilt.
func TestTiltFootRing(t *testing.T) {
	part := lantern.FootRing()
	opt := Options{Show: part.Show(), Workers: 1}
	c := cavity(t, part.Mesh, opt)
	o := TiltOptions{Pour: []r3.Vec{topOff(c)}, Directions: 60}
	one := searched(t, c, o)
	opt.Workers = 2
	two := searched(t, cavity(t, part.Mesh, opt), o)
	if !reflect.DeepEqual(one, two) {
		t.Error("results differ with the number of workers")
	}
	t.Logf("best: %s; flat: %s", one.Best.Words, one.Flat.Words)
	r := filled(t, c, Setup{Up: one.Best.Up, Pour: o.Pour, Vents: spotsOf(one.Best)})
	close1(t, "trapped by columns and by the tree", r.TrappedMM3, one.Best.TrappedMM3, c.opt.MinPocketMM3+r.TrappedErrMM3)
}

// topOff is the highest corner of a cavity that is clear of show faces by 1 mm.
func topOff(c *Cavity) r3.Vec {
	best := r3.Vec{Z: math.Inf(-1)}
	for _, v := range c.mesh.Verts {
		if _, near := c.showNear(v, 1); !near && v.Z > best.Z {
			best = v
		}
	}
	return best
}

func TestTiltErrors(t *testing.T) {
	c := cavity(t, block(v3(0, 0, 0), v3(10, 10, 10)), Options{})
	var opt *OptionError
	if _, err := c.SearchTilt(context.Background(), TiltOptions{Pour: []r3.Vec{v3(5, 5, 10)}, MaxXDeg: 90}); !errors.As(err, &opt) {
		t.Errorf("90°: %v", err)
	}
	gone, cancel := context.WithCancel(context.Background())
	cancel()
	if _, err := c.SearchTilt(gone, TiltOptions{Pour: []r3.Vec{v3(5, 5, 10)}}); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// The wedge's mesh has the volume of the closed form, and the block on it stands as asked.
func TestWedge(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		x, y := rapid.Float64Range(-30, 30).Draw(rt, "x"), rapid.Float64Range(-30, 30).Draw(rt, "y")
		b := r3.Box{Min: v3(-10, 5, -7), Max: v3(50, 45, 20)}
		up := UpAt(r3.Vec{Z: 1}, x, y)
		w, err := NewWedge(b, up, 2)
		if err != nil {
			rt.Fatal(err)
		}
		for _, m := range []float64{w.Mesh.VolumeMM3(), w.InMould.VolumeMM3()} {
			if math.Abs(m-w.VolumeMM3) > 1e-9*w.VolumeMM3 {
				rt.Errorf("mesh %g mm³, closed form %g", m, w.VolumeMM3)
			}
		}
		lo := w.Mesh.Bounds().Min.Z
		// Rise along x over the length, as the tilt says: sin for a plane through two slopes.
		rise := w.HeightsMM[1] - w.HeightsMM[0]
		want := 60 * math.Tan(x*math.Pi/180) * math.Cos(w.TiltDeg*math.Pi/180)
		if lo != 0 || math.Abs(rise-want) > 1e-9 || math.Abs(w.HeightsMM[2]+w.HeightsMM[0]-w.HeightsMM[1]-w.HeightsMM[3]) > 1e-9 {
			rt.Errorf("lowest %g, rise %g, want %g, corners %v", lo, rise, want, w.HeightsMM)
		}
	})
	// One axis, by hand: 60 × 40 under 10°, 3 mm at the low edge.
	w, err := NewWedge(r3.Box{Max: v3(60, 40, 10)}, UpAt(v3(0, 0, 1), 10, 0), 3)
	if err != nil {
		t.Fatal(err)
	}
	s, cs := math.Sincos(10 * math.Pi / 180)
	close1(t, "volume", w.VolumeMM3, 40*60*cs*(3+60*s/2), 1e-9)
}

// A level top has many corners and none of them alone holds air: the vent proposed there still says how
// much it lets out, all that the pocket holds.
func TestProposalSaysWhatItLetsOut(t *testing.T) {
	c := cavity(t, block(r3.Vec{}, r3.Vec{X: 30, Y: 20, Z: 10}), Options{})
	p, err := c.Propose(r3.Vec{Z: 1}, TiltOptions{Pour: []r3.Vec{{X: 15, Y: 10, Z: 0}}, PourClosed: true})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Spots) != 1 || math.Abs(p.Spots[0].PocketMM3-p.BareMM3) > 1e-9*p.BareMM3 || math.Abs(p.BareMM3-6000) > 1e-6 {
		t.Errorf("vents %+v for %g mm³ of air; want one for all 6000", p.Spots, p.BareMM3)
	}
}
