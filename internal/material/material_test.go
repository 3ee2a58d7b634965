package material

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.10g, want %.10g within %g", what, got, want, rel)
	}
}

func twoPart(by Basis, pa, pb, da, db float64) Material {
	return Material{ID: "test", Name: "test", Family: Other, RatioBy: by, RatioTolerancePct: 5,
		Components: []Component{{Name: "A", Parts: pa, DensityGPerML: da}, {Name: "B", Parts: pb, DensityGPerML: db}}}
}

// Stoichiometry of epoxy and amine, phr = 100·AHEW/EEW. Published worked examples:
//   - EEW 209, AHEW 43: 20.6 phr ("How to calculate epoxy equivalent weight & stoichiometry",
//     2022, example 2);
//   - DETA, AHEW 20.6, with EEW 200: 10.3 phr (epoxy chapter at kraska.biz/?p=8323);
//   - AHEW 49.5 with EEW 200: 1.24 g for 5 g of resin ("How can you calculate curing phr in epoxy resin").
//
// As parts by mass the two equivalents are the ratio itself.
func TestShotAgainstPublishedStoichiometry(t *testing.T) {
	for _, c := range []struct{ eew, ahew, resinG, wantG, printed float64 }{
		{209, 43, 100, 20.6, 0.05},
		{200, 20.6, 100, 10.3, 0.05},
		{200, 49.5, 5, 1.24, 0.005},
	} {
		m := twoPart(ByMass, c.eew, c.ahew, 1.16, 1.0)
		totalG := c.resinG * (1 + c.ahew/c.eew)
		s, err := m.Shot([]Volume{{"cavity", 1000 * totalG / m.MixedDensity().GPerML}}, ShotOptions{ScaleStepG: 0.001})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "resin g", s.Components[0].G, c.resinG, 0.001)
		if d := s.Components[1].G - c.wantG; math.Abs(d) > c.printed+0.0011 {
			t.Errorf("EEW %g AHEW %g: %g g of amine for %g g of resin, published %g", c.eew, c.ahew, s.Components[1].G, c.resinG, c.wantG)
		}
	}
}

// Closed form: 2:1 by volume of 1.12 and 0.97 g/mL filling 90 mL is 60 mL and 30 mL, 67.2 g and
// 29.1 g; the mix weighs 96.3 g, 1.07 g/mL.
func TestShotClosedForm(t *testing.T) {
	m := twoPart(ByVolume, 2, 1, 1.12, 0.97)
	s, err := m.Shot([]Volume{{"cavity", 80000}, {"sprue", 10000}}, ShotOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "density", s.Density.GPerML, 1.07, 1e-12)
	near(t, "A g", s.Components[0].G, 67.2, 1e-12)
	near(t, "A mL", s.Components[0].ML, 60, 1e-12)
	near(t, "B g", s.Components[1].G, 29.1, 1e-12)
	near(t, "B mL", s.Components[1].ML, 30, 1e-12)
	if s.RatioErrorPct > 1e-9 {
		t.Errorf("ratio error %g %% where weights are exact", s.RatioErrorPct)
	}
}

func TestShotMarginsAndResidue(t *testing.T) {
	m := twoPart(ByMass, 1, 1, 1, 1)
	// 100 mL + 10 % = 110 mL; with 12 % left in the cup 110/0.88 = 125 mL, at 1 g/mL 125 g.
	s, err := m.Shot([]Volume{{"cavity", 1e5}}, ShotOptions{OverfillPct: 10, CupResiduePct: 12})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mix g", s.MixG, 125, 1e-12)
	near(t, "left in the cup mL", s.Uses[2].ML, 15, 1e-12)
	// In g: 110 mL + 7 g.
	s, err = m.Shot([]Volume{{"cavity", 1e5}}, ShotOptions{OverfillPct: 10, CupResidueG: 7})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mix g", s.MixG, 117, 1e-12)
	// Pigment: 3 % of B is 3 % of 58.5 = 1.755, up to 1.8 g; 0.5 % of all is 0.585, up to 0.6 g.
	s, err = m.Shot([]Volume{{"cavity", 1e5}}, ShotOptions{OverfillPct: 10, CupResidueG: 7,
		Pigments: []Pigment{{"black", 3, "B"}, {"white", 0.5, ""}}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "black g", s.Pigments[0].G, 1.8, 1e-12)
	near(t, "white g", s.Pigments[1].G, 0.6, 1e-12)
	near(t, "total g", s.TotalG, 117+2.4, 1e-12)
}

// Ethanol and water is the textbook case of volumes that do not add: 50 mL and 50 mL give about
// 96.4 mL (from memory). The additive estimate must then be low in density by about 3.7 %, and the
// measured density of the data sheet must be what is used.
func TestMeasuredDensityOverridesTheEstimate(t *testing.T) {
	m := twoPart(ByVolume, 1, 1, 0.789, 0.998)
	est := m.MixedDensity()
	if !est.Estimated || est.ErrorPct != AdditiveErrorPct {
		t.Fatalf("estimate not marked: %+v", est)
	}
	near(t, "additive", est.GPerML, (0.789+0.998)/2, 1e-12)
	m.MixedDensityGPerML = (50*0.789 + 50*0.998) / 96.4
	if got := m.MixedDensity(); got.Estimated || got.GPerML != m.MixedDensityGPerML {
		t.Errorf("measured density not used: %+v", got)
	}
}

// A ratio by volume and the same ratio written by mass (parts × density) are one material.
func TestVolumeAndMassRatiosAgree(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		pa, pb, da, db := f("pa", 0.5, 20), f("pb", 0.5, 20), f("da", 0.7, 2), f("db", 0.7, 2)
		vol := []Volume{{"cavity", f("mm3", 5e4, 5e6)}}
		v, m := twoPart(ByVolume, pa, pb, da, db), twoPart(ByMass, pa*da, pb*db, da, db)
		sv, err1 := v.Shot(vol, ShotOptions{ScaleStepG: 0.001})
		sm, err2 := m.Shot(vol, ShotOptions{ScaleStepG: 0.001})
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		for i := range sv.Components {
			if math.Abs(sv.Components[i].G-sm.Components[i].G) > 0.00101 {
				t.Fatalf("component %d: %g g by volume, %g g by mass", i, sv.Components[i].G, sm.Components[i].G)
			}
		}
	})
}

func TestShotProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := func(name string, lo, hi float64) float64 { return rapid.Float64Range(lo, hi).Draw(t, name) }
		m := twoPart(rapid.SampledFrom([]Basis{ByMass, ByVolume}).Draw(t, "by"), f("pa", 1, 100), f("pb", 1, 100), f("da", 0.7, 2), f("db", 0.7, 2))
		m.RatioTolerancePct = 50
		opt := ShotOptions{OverfillPct: f("over", 0, 30), CupResiduePct: f("cup", 0, 20),
			ScaleStepG: rapid.SampledFrom([]float64{0.001, 0.01, 0.1, 1}).Draw(t, "step"),
			Pigments:   []Pigment{{"black", f("pigment", 0.1, 5), "A"}}}
		vols := []Volume{{"cavity", f("cavity", 3e5, 3e6)}, {"sprue", f("sprue", 0, 1e5)}}
		s, err := m.Shot(vols, opt) // itself checks conservation
		if err != nil {
			t.Fatal(err)
		}
		need := (vols[0].VolumeMM3 + vols[1].VolumeMM3) / 1000 * (1 + opt.OverfillPct/100) / (1 - opt.CupResiduePct/100)
		// Never less than the need; never more than a step for each component.
		if s.MixML < need*(1-1e-8) || s.MixG > need*s.Density.GPerML+2*opt.ScaleStepG+1e-5 {
			t.Fatalf("mix %g mL for a need of %g mL", s.MixML, need)
		}
		if s.RatioErrorPct > s.RatioBoundPct*(1+1e-6)+1e-6 {
			t.Fatalf("ratio error %g %% above its bound %g %%", s.RatioErrorPct, s.RatioBoundPct)
		}
		exact := m.MassParts()
		got := s.Components[0].G / s.Components[1].G / (exact[0] / exact[1])
		if e := 100 * (max(got, 1/got) - 1); math.Abs(e-s.RatioErrorPct) > 1e-3 {
			t.Fatalf("reported ratio error %g %%, from the weights %g %%", s.RatioErrorPct, e)
		}
		for _, d := range s.Components {
			if n := d.G / opt.ScaleStepG; math.Abs(n-math.Round(n)) > 1e-5 {
				t.Fatalf("%g g is not on steps of %g g", d.G, opt.ScaleStepG)
			}
		}
		// Ten moulds at once need ten times as much, less what rounding saves.
		ten, err := m.Shot([]Volume{{"cavity", 10 * vols[0].VolumeMM3}, {"sprue", 10 * vols[1].VolumeMM3}}, opt)
		if err != nil {
			t.Fatal(err)
		}
		if ten.MixG > 10*s.MixG+1e-6 || ten.MixG < 10*s.MixG-20*opt.ScaleStepG-1e-6 {
			t.Fatalf("ten shots %g g, one %g g", ten.MixG, s.MixG)
		}
	})
}

// 10:1 by mass, 61 g: 55.45 g and 5.545 g go up to 56 and 6 on a 1 g scale, 10.000/9.333 = 7.1 % off.
func TestRatioErrorGivesARemedyThatWorks(t *testing.T) {
	m := twoPart(ByMass, 10, 1, 1, 1)
	_, err := m.Shot([]Volume{{"cavity", 61000}}, ShotOptions{ScaleStepG: 1})
	var re *RatioError
	if !errors.As(err, &re) {
		t.Fatalf("error %v, want a RatioError", err)
	}
	near(t, "error", re.ErrorPct, 100*((6/(61.0/11))/(56/(610.0/11))-1), 1e-9)
	if len(re.Larger) != 2 || re.Larger[0].G != 60 || re.Larger[1].G != 6 {
		t.Errorf("larger mix %+v, want 60 g with 6 g", re.Larger)
	}
	if _, err := m.Shot([]Volume{{"cavity", 61000}}, ShotOptions{ScaleStepG: re.FinerStepG}); err != nil {
		t.Errorf("the finer step %g g does not work: %v", re.FinerStepG, err)
	}
	if !strings.Contains(err.Error(), "60 g of A with 6 g of B") {
		t.Errorf("the message lacks the remedy: %v", err)
	}
}

func TestShotRefusesBadInput(t *testing.T) {
	good := twoPart(ByMass, 1, 1, 1, 1)
	vol := []Volume{{"cavity", 1e5}}
	edit := func(f func(*Material)) Material {
		m := good
		m.Components = append([]Component(nil), good.Components...)
		f(&m)
		return m
	}
	for name, c := range map[string]struct {
		m    Material
		vol  []Volume
		opt  ShotOptions
		want string
	}{
		"ratio 0":            {edit(func(m *Material) { m.Components[1].Parts = 0 }), vol, ShotOptions{}, "parts is 0"},
		"ratio NaN":          {edit(func(m *Material) { m.Components[1].Parts = math.NaN() }), vol, ShotOptions{}, "parts is NaN"},
		"negative density":   {edit(func(m *Material) { m.Components[0].DensityGPerML = -1 }), vol, ShotOptions{}, "density_g_per_ml is -1"},
		"kg/m3":              {edit(func(m *Material) { m.Components[0].DensityGPerML = 1100 }), vol, ShotOptions{}, "check the value and its unit"},
		"no density":         {edit(func(m *Material) { m.Components[0].DensityGPerML = 0 }), vol, ShotOptions{}, "density_g_per_ml is 0"},
		"no components":      {edit(func(m *Material) { m.Components = nil }), vol, ShotOptions{}, "no components"},
		"no volume":          {good, nil, ShotOptions{}, "nothing to fill"},
		"NaN volume":         {good, []Volume{{"sprue", math.NaN()}}, ShotOptions{}, `volume "sprue" is NaN`},
		"infinite volume":    {good, []Volume{{"sprue", math.Inf(1)}}, ShotOptions{}, `volume "sprue"`},
		"negative volume":    {good, []Volume{{"sprue", -1}}, ShotOptions{}, `volume "sprue"`},
		"negative overfill":  {good, vol, ShotOptions{OverfillPct: -1}, "overfill"},
		"two residues":       {good, vol, ShotOptions{CupResidueG: 1, CupResiduePct: 1}, "give one of them"},
		"step NaN":           {good, vol, ShotOptions{ScaleStepG: math.NaN()}, "scale's step"},
		"pigment of nothing": {good, vol, ShotOptions{Pigments: []Pigment{{"red", 1, "C"}}}, `"A", "B"`},
		"pigment 0":          {good, vol, ShotOptions{Pigments: []Pigment{{"red", 0, ""}}}, "pigment red is 0 %"},
	} {
		if _, err := c.m.Shot(c.vol, c.opt); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: error %v, want one with %q", name, err, c.want)
		}
	}
}

func TestWarningsAndCautions(t *testing.T) {
	lib, err := Generic()
	if err != nil {
		t.Fatal(err)
	}
	m, err := lib.Find("pu-flexible")
	if err != nil {
		t.Fatal(err)
	}
	m.PotLife, m.ShrinkagePct = nil, nil
	s, err := m.Shot([]Volume{{"cavity", 1e5}}, ShotOptions{})
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(append(s.Warnings, s.Cautions...), "\n")
	for _, want := range []string{"typical", "density may be off by 2 %", "stays in the cup", "pot life is not known", "shrinkage is not known", "Isocyanate", "safety data sheet"} {
		if !strings.Contains(all, want) {
			t.Errorf("nothing said about %q in:\n%s", want, all)
		}
	}
}

func TestGenericEntriesAreMarkedAndWork(t *testing.T) {
	lib, err := Generic()
	if err != nil {
		t.Fatal(err)
	}
	if len(lib.All()) < 5 {
		t.Fatalf("only %d entries", len(lib.All()))
	}
	for _, m := range lib.All() {
		if !m.Typical || m.Source == "" {
			t.Errorf("%s: not marked as typical with where it comes from", m.ID)
		}
		if _, err := m.Shot([]Volume{{"cavity", 2e5}}, ShotOptions{OverfillPct: 5, CupResidueG: 5}); err != nil {
			t.Errorf("%s: %v", m.ID, err)
		}
	}
	_, err = lib.Find("no-such")
	var unknown *UnknownError
	if !errors.As(err, &unknown) || !strings.Contains(err.Error(), "pu-flexible") {
		t.Errorf("unknown material: %v", err)
	}
}

func TestMouldScale(t *testing.T) {
	pct := 0.5
	m := Material{ShrinkagePct: &pct}
	f, ok := m.MouldScale()
	// A cavity of 100.5025 mm that shrinks by 0.5 % of itself gives 100 mm.
	if !ok {
		t.Error("shrinkage not seen as known")
	}
	near(t, "shrunk", f*100*(1-0.005), 100, 1e-12)
	if f, ok := (&Material{}).MouldScale(); ok || f != 1 {
		t.Errorf("unknown shrinkage gives %g, %v", f, ok)
	}
}

const goodFile = `[[material]]
id = "my-resin"
name = "My resin"
family = "epoxy"
ratio_by = "mass"
ratio_tolerance_pct = 3
pot_life = { s = 900, at_c = 21.5 }

[[material.component]]
name = "A"
parts = 100
density_g_per_ml = 1.1

[[material.component]]
name = "B"
parts = 40
density_g_per_ml = 0.98
`

func TestReadFileNamesPlaceAndRemedy(t *testing.T) {
	for name, c := range map[string]struct{ old, new, want string }{
		"typo in key":     {"pot_life", "potlife", `:7:1: unknown key "material.potlife"`},
		"wrong type":      {"parts = 40", `parts = "40"`, ":16:9:"},
		"broken TOML":     {"parts = 40", "parts = = 40", ":16:9:"},
		"ratio 0":         {"parts = 40", "parts = 0", `:16:1: material "my-resin": component 2 (B): parts is 0`},
		"density -1":      {"0.98", "-0.98", `:17:1: material "my-resin": component 2 (B): density_g_per_ml is -0.98`},
		"nan":             {"0.98", "nan", ":17:1:"},
		"inf":             {"0.98", "inf", ":17:1:"},
		"missing field":   {"parts = 40\n", "", `:14:3: material "my-resin": component 2 (B): parts is 0`},
		"missing density": {"density_g_per_ml = 1.1\n", "", ":9:3:"},
		"bad id":          {"my-resin", "My Resin", ":2:1:"},
		"bad basis":       {`"mass"`, `"weight"`, `use "mass" or "volume"`},
		"bad family":      {`"epoxy"`, `"glue"`, ":4:1:"},
		"pot life 0":      {"s = 900", "s = 0", ":7:1:"},
		"same name twice": {`name = "B"`, `name = "A"`, "used twice"},
		"empty":           {goodFile, "", "no [[material]]"},
		"same id twice":   {goodFile, goodFile + goodFile, `:19:1: material "my-resin": id "my-resin" is used by entry 1 too`},
	} {
		path := filepath.Join(t.TempDir(), "materials.toml")
		text := strings.Replace(goodFile, c.old, c.new, 1)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, err := ReadFile(path)
		if err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), "materials.toml:") {
			t.Errorf("%s: error %v, want one with the file and %q", name, err, c.want)
		}
	}
	if _, err := ReadFile(filepath.Join(t.TempDir(), "none.toml")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing file: %v", err)
	}
}

func TestMergeReplacesByID(t *testing.T) {
	lib, err := Generic()
	if err != nil {
		t.Fatal(err)
	}
	mine, err := Decode("mine.toml", []byte(strings.Replace(goodFile, "my-resin", "epoxy-2-1", 1)))
	if err != nil {
		t.Fatal(err)
	}
	merged := lib.Merge(mine)
	m, err := merged.Find("epoxy-2-1")
	if err != nil || m.Name != "My resin" || m.Typical {
		t.Errorf("merged entry %+v, %v", m, err)
	}
	if len(merged.All()) != len(lib.All()) {
		t.Errorf("%d entries after merging, %d before", len(merged.All()), len(lib.All()))
	}
}

func FuzzDecode(f *testing.F) {
	f.Add([]byte(goodFile))
	f.Add(genericTOML)
	f.Add([]byte("[[material]]\n[material.pot_life]\ns=1\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		ms, err := Decode("fuzz.toml", data)
		if err != nil {
			return
		}
		for _, m := range ms.All() {
			_, _ = m.Shot([]Volume{{"cavity", 1e5}}, ShotOptions{})
		}
	})
}
