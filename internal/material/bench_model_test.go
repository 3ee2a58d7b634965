package material

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// Published worked example: k = 0.001/s at 300 K and 0.01/s at 350 K give 40,206 J/mol ("Activation
// Energy (Arrhenius) Calculator Formula", theprimecalculator.com). Times are the inverse of rates. The
// page rounds ln 10 to 2.303, 1/T1 − 1/T2 to six digits and R to 8.314.
func TestActivationEnergyPublished(t *testing.T) {
	e := ActivationJPerMol(Duration{1000, 300 - zeroC}, Duration{100, 350 - zeroC})
	near(t, "activation energy", e, 40206, 2e-4)
}

func withLife(first, also *Duration) *Material {
	m := twoPart(ByMass, 1, 1, 1.1, 1.0)
	m.PotLife, m.PotLifeToo, m.StirS = first, also, 20
	return &m
}

// Arrhenius goes through both points; between them lies ln t linear in 1/T.
func TestPotLifeThroughTwoPoints(t *testing.T) {
	m := withLife(&Duration{600, 20}, &Duration{300, 30})
	for _, c := range []struct{ at, want float64 }{{20, 600}, {30, 300},
		{25, math.Exp(math.Log(600) + (math.Log(300)-math.Log(600))*(1/293.15-1/298.15)/(1/293.15-1/303.15))}} {
		got, err := m.PotLifeAt(c.at)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pot life", got.Seconds, c.want, 1e-9)
		if got.RuleOfThumb || got.LowS >= got.Seconds || got.HighS <= got.Seconds {
			t.Errorf("%+v", got)
		}
	}
}

// One point: half for +10 °C, twice for −10 °C, and marked as a rule of thumb whose range widens.
func TestPotLifeRuleOfThumb(t *testing.T) {
	m := withLife(&Duration{600, 23}, nil)
	width := 0.0
	for _, c := range []struct{ at, want float64 }{{23, 600}, {33, 300}, {13, 1200}, {43, 150}} {
		got, err := m.PotLifeAt(c.at)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pot life", got.Seconds, c.want, 1e-12)
		if !got.RuleOfThumb || got.LowS > got.Seconds || got.HighS < got.Seconds {
			t.Errorf("%+v", got)
		}
		if c.at == 23 || c.at == 33 || c.at == 43 {
			if w := got.HighS / got.LowS; w <= width {
				t.Errorf("the range does not widen away from the known temperature: %g after %g", w, width)
			} else {
				width = w
			}
		}
	}
	for _, at := range []float64{-20, 60} {
		if _, err := m.PotLifeAt(at); err == nil || !strings.Contains(err.Error(), "cannot be told") {
			t.Errorf("%g °C: %v", at, err)
		}
	}
	m.PotLife = nil
	if _, err := m.PotLifeAt(23); err == nil || !strings.Contains(err.Error(), "not known") {
		t.Errorf("%v", err)
	}
}

// A cure half done cold and half done warm is done: closed form.
func TestCureShare(t *testing.T) {
	m := withLife(&Duration{600, 23}, nil)
	m.Demould = &Duration{36000, 23}
	got, err := m.CureShareAt([]Duration{{18000, 23}, {9000, 33}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share", got, 1, 1e-12)
}

func TestPeakRise(t *testing.T) {
	m := withLife(nil, nil)
	if _, ok := m.PeakRiseK(); ok {
		t.Error("a rise without data")
	}
	m.HeatJPerG, m.HeatCapJPerGK = 400, 2
	if k, ok := m.PeakRiseK(); !ok || k != 200 {
		t.Errorf("%g K", k)
	}
}

// By hand: 30 mL fillings of 1.0476 g/mL, cups of 300 mL that may foam 4 times hold 75 mL: two fillings
// a cup. Pot life 600 s, ±15 % at the temperature it is known at: 510 s. One mix of n fillings in c cups
// takes 20·c + 100 + n·30 s: 8 fillings in 4 cups take 420 s, 10 in 4 cups 480 s, 11 in 5 cups 530 s, too
// long. 24 fillings are then 3 mixes of 8.
func TestPlanByHand(t *testing.T) {
	m := withLife(&Duration{600, 23}, nil)
	m.FoamRise = 4
	p, err := m.PlanMixes(30, BatchOptions{Shots: 24, CupML: 300, TempC: 23, StirS: 20, DegasS: 100, PourS: 20, CloseS: 10})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Mixes) != 3 || p.MaxCupML != 75 {
		t.Fatalf("%+v", p)
	}
	for _, x := range p.Mixes {
		if x.Shots != 8 || x.Cups != 4 || x.CupML != 60 || x.UsedS != 420 || math.Abs(x.SpareS-90) > 1e-9 || x.HeadML != 60 {
			t.Errorf("%+v", x)
		}
	}
}

// Whatever is asked: fillings and volumes are conserved, every mix keeps its limits, mixes differ by one
// filling at most, and one mix fewer would not do.
func TestPlanKeepsItsLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		m := withLife(&Duration{f("life", 200, 5000), 23}, nil)
		m.FoamRise, m.MaxMixG = f("foam", 1, 6), f("heat", 50, 2000)
		opt := BatchOptions{Shots: rapid.IntRange(1, 60).Draw(t, "shots"), CupML: f("cup", 50, 2000), TempC: f("C", 15, 32),
			StirS: f("stir", 5, 100), DegasS: f("degas", 0, 200), PourS: f("pour", 0, 60), CloseS: f("close", 0, 60)}
		ml := f("ml", 1, 200)
		p, err := m.PlanMixes(ml, opt)
		if err != nil {
			var cup *CupError
			var life *PotLifeError
			var heat *HeatError
			if !errors.As(err, &cup) && !errors.As(err, &life) && !errors.As(err, &heat) {
				t.Fatal(err)
			}
			if cup != nil { // the cup it names must do
				opt.CupML = cup.EnoughML * 1.0001
				if opt.CupML <= 1e5 {
					if _, err := m.PlanMixes(ml, opt); err != nil {
						t.Fatalf("the advised cup of %g mL: %v", opt.CupML, err)
					}
				}
			}
			return
		}
		shots, vol, lo, hi := 0, 0.0, math.MaxInt, 0
		for _, x := range p.Mixes {
			shots, vol = shots+x.Shots, vol+x.ML
			lo, hi = min(lo, x.Shots), max(hi, x.Shots)
			if x.UsedS > p.PotLife.LowS+1e-9 || x.NeedsML > opt.CupML*(1+1e-9) || x.CupML > p.MaxCupML*(1+1e-9) || x.G > m.MaxMixG*(1+1e-9) {
				t.Fatalf("over a limit: %+v of %+v", x, p)
			}
		}
		if shots != opt.Shots || math.Abs(vol-ml*float64(opt.Shots)) > 1e-9*vol || hi-lo > 1 {
			t.Fatalf("%d fillings of %d, %g mL, from %d to %d a mix", shots, opt.Shots, vol, lo, hi)
		}
	})
}

func TestPlanErrors(t *testing.T) {
	ok := BatchOptions{Shots: 1, CupML: 500, TempC: 23, StirS: 30, PourS: 20, CloseS: 20}
	for name, c := range map[string]struct {
		change func(*Material, *BatchOptions)
		want   string
	}{
		"cup too small":               {func(m *Material, o *BatchOptions) { o.CupML = 10 }, "use a cup of at least 134 mL"},
		"pot life shorter than a mix": {func(m *Material, o *BatchOptions) { o.StirS = 700 }, "may be as short as 510 s; work cooler"},
		"too hot":                     {func(m *Material, o *BatchOptions) { m.MaxMixG = 50 }, "at most 50 g may be mixed at once"},
		"no shots":                    {func(m *Material, o *BatchOptions) { o.Shots = 0 }, "the number of shots is 0"},
		"negative time":               {func(m *Material, o *BatchOptions) { o.PourS = -1 }, "pouring is -1 s"},
		"ratio 0":                     {func(m *Material, o *BatchOptions) { m.Components[0].Parts = 0 }, "parts is 0"},
		"negative density":            {func(m *Material, o *BatchOptions) { m.Components[1].DensityGPerML = -1 }, "density_g_per_ml is -1 g/mL"},
		"unknown pot life":            {func(m *Material, o *BatchOptions) { m.PotLife = nil }, "is not known; time a small test mix"},
		"slower when warmer":          {func(m *Material, o *BatchOptions) { m.PotLifeToo = &Duration{700, 33} }, "slower when warmer"},
		"twice the same temperature":  {func(m *Material, o *BatchOptions) { m.PotLifeToo = &Duration{700, 23} }, "both times are at 23 °C"},
		"stirring outlasts the mix":   {func(m *Material, o *BatchOptions) { m.StirS, m.DegasS = 400, 400 }, "over before stirring (400 s) and degassing (400 s)"},
	} {
		m, opt := withLife(&Duration{600, 23}, nil), ok
		c.change(m, &opt)
		_, err := m.PlanMixes(100, opt)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v; want %q", name, err, c.want)
		}
	}
}

// Published: a steel bed 200 m long, α = 12e-6/K, from 20 °C to −30 °C and to 40 °C: −0.12 m and +0.048 m
// ("Example 3", class.physicsnaught.org, Preview AP Physics 2).
func TestGrowthPublished(t *testing.T) {
	near(t, "cold", GrowthMM(200_000, 12e-6, -50), -120, 1e-12)
	near(t, "warm", GrowthMM(200_000, 12e-6, 20), 48, 1e-12)
}

// Published: a cavity of 100 mm and a part of 98.2 mm is 1.8 % of shrinkage, (cavity − part)/cavity
// ("Plastic Shrinkage", mfgcalcs.com; the definition of ISO 294-4 and ASTM D955). So a part of 98.2 mm
// needs a cavity of 100 mm.
func TestShrinkagePublished(t *testing.T) {
	c, err := Chain(98.2, Shrink{"resin", 1.8, 0})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "cavity", 98.2*c.Factor, 100, 1e-12)
	m := twoPart(ByMass, 1, 1, 1, 1)
	s := 1.8
	m.ShrinkagePct = &s
	f, _ := m.MouldScale()
	near(t, "mould scale", f, c.Factor, 1e-12)
}

// Walked by hand: drawing → print −0.2 % → silicone −0.1 % → resin −0.5 % comes to the part again.
func TestChain(t *testing.T) {
	c, err := Chain(80, Shrink{"print", 0.2, 0.1}, Shrink{"silicone", 0.1, 0.05}, Shrink{"resin", 0.5, 0.2})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "part", 80*c.Factor*(1-0.002)*(1-0.001)*(1-0.005), 80, 1e-12)
	near(t, "error mm", c.ErrorMM, 80*0.0035, 0.01) // the ranges add: 0.1 + 0.05 + 0.2 %
	for _, bad := range []Shrink{{"x", 30, 0}, {"x", math.NaN(), 0}, {"x", 1, -1}} {
		if _, err := Chain(80, bad); err == nil {
			t.Errorf("%+v taken", bad)
		}
	}
}

// Mould and casting of one expansion leave the part's size as it was to first order; a silicone mould
// (3e-4/K) cured 20 K warm grows a 100 mm cavity by 0.6 mm.
func TestWarmCure(t *testing.T) {
	w, err := WarmCureError(100, 3e-4, 1e-4, 43, 23)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mould", w.MouldGrowsMM, 0.6, 1e-12)
	near(t, "part", w.PartChangesMM, 0.6-100.6*1e-4*20, 1e-12)
	w, err = WarmCureError(100, 1e-4, 1e-4, 43, 23)
	if err != nil || math.Abs(w.PartChangesMM) > 100*math.Pow(1e-4*20, 2)*1.01 {
		t.Errorf("%+v, %v", w, err)
	}
	if _, err := WarmCureError(100, 1, 1e-4, 43, 23); err == nil {
		t.Error("an expansion of 1/K taken")
	}
}

// Einstein (1906): a little filler thickens by 1 + 2.5 φ. Mass, volume and share are closed forms.
func TestFiller(t *testing.T) {
	m := twoPart(ByMass, 1, 1, 1, 1)
	f, err := m.Fill(100, Filler{Name: "glass", DensityGPerML: 2.5}, 1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Einstein", f.Thickens-1, 2.5*f.VolumeShare, 0.02)
	f, err = m.Fill(100, Filler{Name: "glass", DensityGPerML: 2.5}, 50) // 1 g of each: 0.4 mL and 1 mL
	if err != nil {
		t.Fatal(err)
	}
	near(t, "share", f.VolumeShare, 0.4/1.4, 1e-12)
	near(t, "density", f.Density, 2/1.4, 1e-12)
	near(t, "mass", f.FillerG+f.ResinG, 100*f.Density, 1e-12)
	if _, err := m.Fill(100, Filler{Name: "glass", DensityGPerML: 2.5}, 85); err == nil || !strings.Contains(err.Error(), "no longer flows") {
		t.Errorf("%v", err)
	}
	if _, err := m.Fill(100, Filler{Name: "glass", DensityGPerML: -2.5}, 10); err == nil {
		t.Error("a negative density taken")
	}
	if _, err := m.ThinnerG(100, 3); err == nil || !strings.Contains(err.Error(), "not known") {
		t.Errorf("%v", err)
	}
	m.ThinnerMaxPct = 5
	if g, err := m.ThinnerG(200, 5); err != nil || g != 10 {
		t.Errorf("%g %v", g, err)
	}
	if _, err := m.ThinnerG(200, 6); err == nil || !strings.Contains(err.Error(), "more than the 5 %") {
		t.Errorf("%v", err)
	}
}

// Random close packing of equal balls is 0.64 ± 0.02 (Berryman, Phys. Rev. A 27, 1053 (1983), abstract)
// and 0.635 ± 0.002 in bulk (J. Mater. Sci. 38, 2019 (2003), abstract). A litre of steel balls (7.85
// g/mL) in it weighs 5.02 kg, and takes 0.36 L of resin: by hand.
func TestBallFill(t *testing.T) {
	if math.Abs(ClosePacking-0.64) > 0.02 || math.Abs(ClosePacking-0.635) > 0.02 || LoosePacking >= ClosePacking {
		t.Error("packings are not the published ones")
	}
	r, err := BallFill(1e6, 7.85, 4, 60, 1.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "balls", r.Close.BallsG, 5024, 1e-9)
	near(t, "resin", r.Close.ResinML, 360, 1e-9)
	near(t, "mass", r.Loose.MassG, 600*7.85+400*1.1, 1e-9)
	near(t, "to mix", r.ResinML, 400, 1e-9)
	if len(r.Warnings) != 0 {
		t.Errorf("%v", r.Warnings)
	}
	if r, err = BallFill(1e6, 7.85, 10, 60, 1.1); err != nil || len(r.Warnings) != 1 {
		t.Errorf("%+v %v", r, err)
	}
	if _, err := BallFill(1e6, 7.85, 70, 60, 1.1); err == nil || !strings.Contains(err.Error(), "do not go into") {
		t.Errorf("%v", err)
	}
}

func box(lo, hi r3.Vec) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range 8 {
		v := lo
		if i&1 > 0 {
			v.X = hi.X
		}
		if i&2 > 0 {
			v.Y = hi.Y
		}
		if i&4 > 0 {
			v.Z = hi.Z
		}
		m.Verts = append(m.Verts, v)
	}
	for _, q := range [][4]uint32{{0, 2, 3, 1}, {4, 5, 7, 6}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 4, 6, 2}, {1, 3, 7, 5}} {
		m.Tris = append(m.Tris, [3]uint32{q[0], q[1], q[2]}, [3]uint32{q[0], q[2], q[3]})
	}
	return m
}

func cone(n int, r, h float64) *mesh.Mesh {
	m := &mesh.Mesh{Verts: []r3.Vec{{}, {Z: h}}}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		m.Verts = append(m.Verts, r3.Vec{X: r * c, Y: r * s})
	}
	for i := range uint32(n) {
		a, b := 2+i, 2+(i+1)%uint32(n)
		m.Tris = append(m.Tris, [3]uint32{0, b, a}, [3]uint32{1, a, b})
	}
	return m
}

// A cone's centre lies a quarter up; two boxes' by the lever; a hollow counts negative.
func TestCentreOfGravity(t *testing.T) {
	b, err := CentreOfGravity(Weighted{"cone", cone(64, 10, 40), 1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "quarter", b.At.Z, 10, 1e-12)
	if math.Hypot(b.At.X, b.At.Y) > 1e-12 {
		t.Errorf("off the axis: %v", b.At)
	}
	base, top := box(r3.Vec{}, r3.Vec{X: 10, Y: 10, Z: 10}), box(r3.Vec{Z: 10}, r3.Vec{X: 10, Y: 10, Z: 30})
	if b, err = CentreOfGravity(Weighted{"steel", base, 8}, Weighted{"resin", top, 1}); err != nil {
		t.Fatal(err)
	}
	near(t, "mass", b.MassG, 8+2, 1e-12)
	near(t, "lever", b.At.Z, (8*5+2*20)/10.0, 1e-12)
	hollow := box(r3.Vec{X: 2, Y: 2, Z: 2}, r3.Vec{X: 8, Y: 8, Z: 10})
	if b, err = CentreOfGravity(Weighted{"shell", base, 1}, Weighted{"hollow", hollow, -1}); err != nil {
		t.Fatal(err)
	}
	near(t, "shell", b.At.Z, (1000*5-288*6)/(1000-288.0), 1e-12)
	for _, bad := range [][]Weighted{nil, {{"x", base, 0}}, {{"x", base, -1}}, {{"x", base.Flipped(), 1}}, {{"x", base, math.NaN()}}} {
		if _, err := CentreOfGravity(bad...); err == nil {
			t.Errorf("%v taken", bad)
		}
	}
}

// prism is a regular prism of n sides on the ground, around z.
func prism(n int, r, h float64) *mesh.Mesh {
	m := &mesh.Mesh{Verts: []r3.Vec{{}, {Z: h}}}
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		m.Verts = append(m.Verts, r3.Vec{X: r * c, Y: r * s}, r3.Vec{X: r * c, Y: r * s, Z: h})
	}
	for i := range uint32(n) {
		a, b := 2+2*i, 2+2*((i+1)%uint32(n))
		m.Tris = append(m.Tris, [3]uint32{0, b, a}, [3]uint32{1, a + 1, b + 1}, [3]uint32{a, b, b + 1}, [3]uint32{a, b + 1, a + 1})
	}
	return m
}

// Published: from a cylinder of radius 4 cm and height 8 cm a cone of the same base and height is taken
// out; the rest has its centre 5.0 cm up ("Composite centroid along an axis", curioustab.com/67414). With
// the cone's base below, its apex O above, the centre is 3h/8 under O, and the body topples at
// tan⁻¹(8r/5h) ("Applied Mathematics", 1975, chapter 16, problem 8, we-jia.com). Prisms and pyramids of
// the same base hold to the same ratios.
func TestCentreOfGravityPublished(t *testing.T) {
	const n, r, h = 96, 40.0, 80.0
	b, err := CentreOfGravity(Weighted{"cylinder", prism(n, r, h), 1}, Weighted{"cone", cone(n, r, h), -1})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "centre, mm", b.At.Z, 50, 1e-9)
	near(t, "under the apex", h-b.At.Z, 3*h/8, 1e-9)
	s, err := TipAngle(prism(n, r, h), b.At)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "topples", s.TipDeg, math.Atan(8*r*math.Cos(math.Pi/n)/(5*h))*180/math.Pi, 1e-9)
}

// Moving and turning the body moves and turns its centre.
func TestCentreMovesAlong(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string) float64 { return rapid.Float64Range(-500, 500).Draw(t, name) }
		shift, turn := r3.Vec{X: f("x"), Y: f("y"), Z: f("z")}, r3.NewRotation(f("angle"), r3.Vec{X: 1, Y: f("ax") / 500, Z: 0.3})
		m := cone(9, 10, 40)
		move := func(v r3.Vec) r3.Vec { return r3.Add(turn.Rotate(v), shift) }
		a, err1 := CentreOfGravity(Weighted{"cone", m, 1.3})
		b, err2 := CentreOfGravity(Weighted{"cone", m.Map(move), 1.3})
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if d := r3.Norm(r3.Sub(move(a.At), b.At)); d > 1e-9*600 || math.Abs(a.MassG-b.MassG) > 1e-9*a.MassG {
			t.Fatalf("%g mm off", d)
		}
	})
}

// Published: a sculpture with a square base of 1.50 m and its centre of gravity 1.90 m up tips at 21.5°
// (qammunity.org/3224178). Physics textbooks' parked truck, 2.4 m wide with its centre 2.2 m up, is
// atan(1.2/2.2) = 28.6°.
func TestTipAnglePublished(t *testing.T) {
	for _, c := range []struct{ w, h, want float64 }{{1500, 1900, 21.5}, {2400, 2200, 28.6}} {
		s, err := TipAngle(box(r3.Vec{}, r3.Vec{X: c.w, Y: c.w, Z: 4000}), r3.Vec{X: c.w / 2, Y: c.w / 2, Z: c.h})
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(s.TipDeg-c.want) > 0.06 {
			t.Errorf("%g°, published %g°", s.TipDeg, c.want)
		}
	}
	// Towards the near edge, and negative once it already hangs over.
	s, err := TipAngle(box(r3.Vec{}, r3.Vec{X: 10, Y: 40, Z: 10}), r3.Vec{X: 7, Y: 20, Z: 3})
	if err != nil || math.Abs(s.TipDeg-45) > 1e-9 || s.TowardsX != 1 {
		t.Errorf("%+v %v", s, err)
	}
	if s, err = TipAngle(box(r3.Vec{}, r3.Vec{X: 10, Y: 40, Z: 10}), r3.Vec{X: 12, Y: 20, Z: 3}); err != nil || s.TipDeg >= 0 {
		t.Errorf("%+v %v", s, err)
	}
	if _, err := TipAngle(cone(9, 10, 40).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: v.Y, Z: -v.Z} }), r3.Vec{Z: -10}); err == nil || !strings.Contains(err.Error(), "stands on 1 points") {
		t.Errorf("%v", err)
	}
}

// The table answers for every pair, says why and what to do; and holds what every bench knows: tin stops
// platinum, uncured print resin does too, resins part from silicone, and everything bonds to prints
// (common practice, no source).
func TestCompatibility(t *testing.T) {
	for _, f := range Families {
		for _, s := range Surfaces {
			m := Material{Family: f}
			r := m.Touch(s)
			if r.Why == "" || r.Do == "" || r.Source == "" || r.Effect == "" {
				t.Errorf("%s on %s: %+v", f, s, r)
			}
			if r.Effect == Inhibits && !r.Seal || r.Effect == Bonds && !r.Release {
				t.Errorf("%s on %s: %+v", f, s, r)
			}
		}
	}
	for _, c := range []struct {
		f    Family
		s    Surface
		want Effect
	}{{PlatinumSilicone, OnTin, Inhibits}, {PlatinumSilicone, PrintedResin, Inhibits}, {PlatinumSilicone, Clay, Inhibits}, {PlatinumSilicone, OnPlatinum, Bonds},
		{TinSilicone, PrintedResin, Sticks}, {Polyurethane, OnPlatinum, PartsFreely}, {Epoxy, OnTin, PartsFreely}, {Polyurethane, PrintedResin, Bonds}, {Epoxy, PrintedFilament, Bonds}} {
		m := Material{Family: c.f}
		if got := m.Touch(c.s); got.Effect != c.want {
			t.Errorf("%s on %s: %s, want %s", c.f, c.s, got.Effect, c.want)
		}
	}
}

// The demo's foot ring by hand: 24.2317 mL of cavity, 0.2026 of sprue, 0.0611 of vents and 2.0000 of
// gutter are 26.4954 mL; with 5 % over 27.8201; 3 g in the cup at 1.035 g/mL make 30.7187 mL or 31.794 g,
// of which 1.07/2.07 is A: 16.434 and 15.359 g, up to 16.5 and 15.4; pigment 1.5 % is 0.4785, up to 0.5.
func TestFootRingByHand(t *testing.T) {
	lib, err := Generic()
	if err != nil {
		t.Fatal(err)
	}
	m, err := lib.Find("pu-flexible")
	if err != nil {
		t.Fatal(err)
	}
	s, err := m.Shot([]Volume{{"cavity", 24231.7}, {"sprue", 202.6}, {"vents", 61.1}, {"gutter", 2000}},
		ShotOptions{OverfillPct: 5, CupResidueG: 3, ScaleStepG: 0.1, Pigments: []Pigment{{Name: "paste", Pct: 1.5}}})
	if err != nil {
		t.Fatal(err)
	}
	if s.Components[0].G != 16.5 || s.Components[1].G != 15.4 || s.Pigments[0].G != 0.5 || s.TotalG != 32.4 {
		t.Errorf("%+v", s)
	}
}
