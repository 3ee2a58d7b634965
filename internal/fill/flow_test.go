package fill

import (
	"context"
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// OpenStax, College Physics, section 12.4, the intravenous drip (from memory): 0.120 cm³/s of saline,
// 1.00 mPa·s, through a needle of 0.150 mm radius and 2.50 cm length takes about 1.51e4 Pa.
func TestBoreFlow(t *testing.T) {
	close1(t, "flow", BoreFlowMM3S(Bore{DiameterMM: 0.3, LengthMM: 25}, 15.1, 1), 120, 0.6)
	// The same law in SI units, any numbers.
	si := math.Pi * math.Pow(4e-3, 4) * 2500 / (128 * 0.8 * 0.03) * 1e9
	close1(t, "in SI", BoreFlowMM3S(Bore{DiameterMM: 4, LengthMM: 30}, 2.5, 800), si, 1e-9*si)
}

// A tapered bore is a row of short straight ones.
func TestTapered(t *testing.T) {
	drop, n := 0.0, 10000
	for i := range n {
		d := 4 + 5*(float64(i)+0.5)/float64(n)
		drop += 1 / BoreFlowMM3S(Bore{DiameterMM: d, LengthMM: 30 / float64(n)}, 1, 900)
	}
	close1(t, "resistance", 1/BoreFlowMM3S(Tapered("", 9, 4, 30), 1, 900), drop, 1e-6*drop)
	close1(t, "straight", Tapered("", 4, 4, 30).DiameterMM, 4, 0)
}

// Between plates: mean of the parabola u = Δp/(2μL)·y(h − y) is h²Δp/(12μL) (closed form, summed here
// by the midpoint rule); and the filling time integrates dx/u.
func TestGapFlow(t *testing.T) {
	const w, h, L, p, mu = 20.0, 1.2, 50.0, 3.0, 1500.0
	sum, n := 0.0, 20000
	for i := range n {
		y := (float64(i) + 0.5) / float64(n) * h
		sum += p / (2 * mu * L) * y * (h - y) * h / float64(n)
	}
	close1(t, "flow", GapFlowMM3S(w, h, L, p, mu), sum*w*toMM3S, 1e-6*sum*w*toMM3S)
	time := 0.0
	for i := range n {
		x := (float64(i) + 0.5) / float64(n) * L
		time += L / float64(n) * w * h / GapFlowMM3S(w, h, x, p, mu)
	}
	close1(t, "time", GapTimeS(h, L, p, mu), time, 1e-6*time)
}

// A box filled through a sprue from a steady cup: constant flow while the level is below the sprue's
// foot, then dz/dt = k(H − z), so t = A·R/(ρ g)·ln(H/(H − h)) (closed form).
func TestFlowTime(t *testing.T) {
	c := cavity(t, block(v3(0, 0, 0), v3(40, 30, 20)), Options{PitchMM: 0.5})
	r := filled(t, c, Setup{Pour: []r3.Vec{v3(1, 1, 20)}})
	sprue := Bore{"the sprue", 5, 40}
	q := FlowQuestion{Sprue: sprue, CupMM: 60, ViscosityMPaS: 1500, DensityGML: 1.1, PotLifeS: 400}
	a, err := r.FlowTime(q)
	if err != nil {
		t.Fatal(err)
	}
	perMM := BoreFlowMM3S(sprue, HeadKPa(1.1, 1), 1500) // mm³/s a mm of head
	want := 1200 / perMM * math.Log(60.0/40)
	close1(t, "time", a.SecondsS, want, 1e-3*want)
	q.EntryMM = 20
	a, err = r.FlowTime(q)
	if err != nil {
		t.Fatal(err)
	}
	want = 24000 / (perMM * 40)
	close1(t, "time into the top", a.SecondsS, want, 1e-3*want)
	// The sprue it asks for fills in just the time allowed.
	q.Sprue.DiameterMM = a.NeedBoreMM
	if b, err := r.FlowTime(q); err != nil || math.Abs(b.SecondsS-200) > 0.01 {
		t.Errorf("with the sprue asked for: %+v %v", b, err)
	}
	// A needle of a vent slows it by its own resistance.
	q.Sprue = sprue
	q.Vents = []Bore{{"vent 1", 0.3, 40}}
	b, err := r.FlowTime(q)
	if err != nil {
		t.Fatal(err)
	}
	share := 1 / BoreFlowMM3S(q.Vents[0], 1, airMPaS)
	resin := 1 / BoreFlowMM3S(sprue, 1, 1500)
	close1(t, "with a vent", b.SecondsS, want*(1+share/resin), 1e-3*want)
	q.CupMM = 15
	if b, err := r.FlowTime(q); err != nil || !b.Stalls || b.InTime {
		t.Errorf("cup below the top: %+v %v", b, err)
	}
	q.ViscosityMPaS = 0
	if _, err := r.FlowTime(q); !errors.As(err, new(*OptionError)) {
		t.Errorf("no viscosity: %v", err)
	}
}

// A block with a fin 1 mm thick that stands out 30 mm: the fin is named, its thickness and run known.
func TestThinSections(t *testing.T) {
	var m *mesh.Mesh
	build(t, func(k *solid.Kernel) error {
		a, err := k.Box(r3.Box{Max: v3(20, 20, 20)})
		if err != nil {
			return err
		}
		all := a
		// The fin in strips, so that its facets are small.
		for i := range 15 {
			for j := range 10 {
				b, err := k.Box(r3.Box{Min: v3(20+2*float64(i)-0.001, 2*float64(j), 10), Max: v3(22+2*float64(i), 2*float64(j)+2, 11)})
				if err != nil {
					return err
				}
				if all, err = all.Union(b); err != nil {
					return err
				}
			}
		}
		m, err = all.Mesh()
		return err
	})
	c := cavity(t, m, Options{})
	found, err := c.ThinSections(context.Background(), ThinQuestion{CupMM: 50, ViscosityMPaS: 3000, DensityGML: 1, AllowedS: 60})
	if err != nil {
		t.Fatal(err)
	}
	if len(found) == 0 {
		t.Fatal("the fin is not found")
	}
	s := found[0]
	t.Log(s.Words)
	close1(t, "thickness", s.MeanMM, 1, 1e-9)
	if !(s.LengthMM > 10 && s.LengthMM < 36) || s.At.X < 30 {
		t.Errorf("run %g mm, far place %v", s.LengthMM, s.At)
	}
	close1(t, "time", s.SecondsS, GapTimeS(1, s.LengthMM, s.HeadKPa, 3000), 1e-9)
}

// Pressure on the whole surface of a cavity is the weight of what is in it, turned round
// (Archimedes), and on a flat lid ρ·g·h times its area.
func TestLidLoad(t *testing.T) {
	m := bell(t)
	c := cavity(t, m, Options{})
	all := make([]bool, len(m.Tris))
	for i := range all {
		all[i] = true
	}
	up := tilted(12, -8)
	l, err := c.LidLoad(LoadQuestion{Up: up, Lid: all, SurfaceMM: 500, DensityGML: 1.2})
	if err != nil {
		t.Fatal(err)
	}
	weight := BuoyancyN(c.VolumeMM3(), 1.2)
	close1(t, "all round", l.LiftN, -weight, 1e-9*weight*500)
	close1(t, "1 L of water", BuoyancyN(1e6, 1), 9.80665, 1e-9)
	box := cavity(t, block(v3(0, 0, 0), v3(100, 50, 10)), Options{})
	l, err = box.LidLoad(LoadQuestion{SurfaceMM: 70, DensityGML: 1, Bolts: 4, Safety: 2})
	if err != nil {
		t.Fatal(err)
	}
	want := 1000 * gravityMS2 * 0.06 * 0.1 * 0.05
	close1(t, "flat lid", l.LiftN, want, 1e-9)
	close1(t, "a bolt", l.BoltN, want*2/4, 1e-9)
	if _, err := box.LidLoad(LoadQuestion{Safety: 0.5}); !errors.As(err, new(*OptionError)) {
		t.Errorf("safety 0.5: %v", err)
	}
}

// Boyle: p·V stays (closed form; 4 bar absolute quarters what 1 bar holds).
func TestBoyle(t *testing.T) {
	close1(t, "4 times", BoyleMM3(100, StandardAirKPa, 4*StandardAirKPa), 25, 1e-12)
	close1(t, "10 m of water", HeadKPa(1, 10000), 98.0665, 1e-9)
}

func TestGutter(t *testing.T) {
	q := GutterQuestion{CavityMM3: 50000, CavityErrMM3: 50, PourErrMM3: 500, LengthMM: 300}
	g, err := SizeGutter(q)
	if err != nil {
		t.Fatal(err)
	}
	// Poured to be full at worst: 50 550; at most 51 050 comes to 50 000 − 50.
	close1(t, "poured", g.PouredMM3, 50550, 1e-9)
	close1(t, "most", g.MostMM3, 1100, 1e-9)
	close1(t, "least", g.LeastMM3, 0, 1e-9)
	close1(t, "section", g.SectionMM2, 1100/(300*0.8), 1e-9)
	close1(t, "seeps", g.SeepsMM3, 0, 1e-9)
	close1(t, "short", g.ShortMM3, 0, 1e-9)
	q.SectionMM2, q.PouredMM3, q.TrappedMM3 = 2, 51000, 200
	if g, err = SizeGutter(q); err != nil {
		t.Fatal(err)
	}
	close1(t, "most", g.MostMM3, 1000+200+550, 1e-9)
	close1(t, "seeps", g.SeepsMM3, 1750-2*300*0.8, 1e-9)
	q.LengthMM = 0
	if _, err := SizeGutter(q); !errors.As(err, new(*OptionError)) {
		t.Errorf("no length: %v", err)
	}
}
