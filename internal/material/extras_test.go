package material

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// By hand: 100 mL of a 1:1 mix of density 1 with 5 % of thinner (0.95 g/mL) and a filler of 2.5 g/mL that
// is 40 % of it all. For each g of components: 0.05 g of thinner, 0.4/0.6·1.05 = 0.7 g of filler; together
// 1.75 g in 1 + 0.05/0.95 + 0.7/2.5 = 1.332632 mL. So 75.0395 g of components, 3.7520 g of thinner and
// 52.5276 g of filler.
func TestExtrasByHand(t *testing.T) {
	m := twoPart(ByMass, 1, 1, 1, 1)
	m.ThinnerMaxPct, m.FillerMaxPct = 5, 50
	s, err := m.Shot([]Volume{{Name: "cavity", VolumeMM3: 1e5}}, ShotOptions{ScaleStepG: 0.001,
		Filler: &FillerShare{Filler{Name: "powder", DensityGPerML: 2.5}, 40}, Thinner: &ThinnerShare{Name: "oil", DensityGPerML: 0.95, Pct: 5}})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "density", s.Density.GPerML, 1.75/1.332632, 1e-6)
	near(t, "components", s.Components[0].G+s.Components[1].G, 75.0395, 5e-5)
	if len(s.Extras) != 2 || s.Extras[0].Kind != "thinner" || s.Extras[1].Kind != "filler" {
		t.Fatalf("%+v", s.Extras)
	}
	near(t, "thinner", s.Extras[0].G, 3.7520, 5e-4)
	near(t, "filler", s.Extras[1].G, 52.5276, 5e-4)
	near(t, "filler's volume", s.Extras[1].ML, 52.5276/2.5, 5e-4)
	near(t, "share of volume", s.Extras[1].VolumeShare, 0.7/2.5/1.332632, 1e-6)
	// Krieger and Dougherty by hand: (1 − 0.210111/0.64)^(−1.6).
	near(t, "thickens", s.Extras[1].Thickens, math.Pow(1-0.210111/0.64, -1.6), 1e-5)
}

// Whatever is added: the mix fills what was asked, what is weighed adds up, the thinner stays within its
// limit, and the filler is no less than asked.
func TestExtrasProperties(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		m := twoPart(ByMass, rapid.Float64Range(0.5, 3).Draw(r, "parts"), 1, rapid.Float64Range(0.9, 1.3).Draw(r, "ρa"), 1.05)
		m.RatioTolerancePct, m.ThinnerMaxPct = 5, 10
		ml, fill, thin := rapid.Float64Range(50, 2000).Draw(r, "mL"), rapid.Float64Range(1, 45).Draw(r, "filler"), rapid.Float64Range(1, 10).Draw(r, "thinner")
		o := ShotOptions{OverfillPct: 5, ScaleStepG: 0.1, Filler: &FillerShare{Filler{Name: "powder", DensityGPerML: rapid.Float64Range(1.5, 8).Draw(r, "ρf")}, fill}, Thinner: &ThinnerShare{Name: "oil", DensityGPerML: 0.96, Pct: thin}}
		s, err := m.Shot([]Volume{{Name: "cavity", VolumeMM3: ml * 1000}}, o)
		if err != nil {
			r.Fatal(err)
		}
		if s.MixML < ml*1.05-0.2 { // the thinner goes down by at most a step
			r.Fatalf("%g mL for %g", s.MixML, ml)
		}
		sum := 0.0
		for _, d := range s.Components {
			sum += d.G
		}
		if got := s.Extras[0].G; got > sum*thin/100+1e-6 && got > 0.1 {
			r.Fatalf("%g g of thinner in %g g", got, sum)
		}
		if s.Extras[1].GotPct < fill-1e-9 {
			r.Fatalf("%g %% of filler for %g", s.Extras[1].GotPct, fill)
		}
		if math.Abs(sum+s.Extras[0].G+s.Extras[1].G-s.TotalG) > 1e-6 {
			r.Fatalf("%+v", s)
		}
	})
}

func TestExtrasErrors(t *testing.T) {
	m := twoPart(ByMass, 1, 1, 1, 1)
	v := []Volume{{Name: "cavity", VolumeMM3: 1e5}}
	var limit *ThinnerError
	if _, err := m.Shot(v, ShotOptions{Thinner: &ThinnerShare{Name: "oil", DensityGPerML: 0.96, Pct: 3}}); !errors.As(err, &limit) || !strings.Contains(err.Error(), "not known") {
		t.Errorf("%v", err)
	}
	m.ThinnerMaxPct = 5
	for want, o := range map[string]ShotOptions{
		"more than the 5 %":   {Thinner: &ThinnerShare{Name: "oil", DensityGPerML: 0.96, Pct: 8}},
		"density of 0 g/mL":   {Thinner: &ThinnerShare{Name: "oil", Pct: 3}},
		"above 0":             {Thinner: &ThinnerShare{Name: "oil", DensityGPerML: 0.96, Pct: math.NaN()}},
		"it no longer flows":  {Filler: &FillerShare{Filler{Name: "fume", DensityGPerML: 0.2}, 60}},
		"the filler's densit": {Filler: &FillerShare{Filler{Name: "fume", DensityGPerML: -2}, 10}},
	} {
		if _, err := m.Shot(v, o); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", want, err)
		}
	}
	s, err := m.Shot(v, ShotOptions{Filler: &FillerShare{Filler{Name: "sand", DensityGPerML: 2.6}, 10}})
	if err != nil || !strings.Contains(strings.Join(s.Warnings, " "), "is not known: test a cup") {
		t.Errorf("%v %v", err, s)
	}
}
