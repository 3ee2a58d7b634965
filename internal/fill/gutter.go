package fill

import (
	"fmt"
	"math"
)

// GutterQuestion asks how much a half has to be over-filled before its lid closes, and how large a
// gutter round it keeps what comes out from seeping through the joint.
type GutterQuestion struct {
	CavityMM3    float64 // closed space, with what sprue and vents take
	CavityErrMM3 float64 // how far the printed space may be off, each way
	PourErrMM3   float64 // how far the poured amount may be off, each way
	TrappedMM3   float64 // air that stays under the lid
	// PouredMM3 is the amount poured; 0 takes the least that fills the cavity for certain.
	PouredMM3 float64
	LengthMM  float64 // of the gutter's centre line round the cavity
	// SectionMM2 is the gutter's section; 0 takes the smallest that holds everything.
	SectionMM2 float64
	// Share of the section that may fill; 0 means 0.8: the gutter is never level to the brim.
	Share float64
}

// Gutter is the answer. All volumes in mm³.
type Gutter struct {
	PouredMM3  float64 `json:"poured_mm3"`
	ShortMM3   float64 `json:"short_mm3"`   // missing in the cavity at worst
	LeastMM3   float64 `json:"least_mm3"`   // that comes out
	MostMM3    float64 `json:"most_mm3"`    // that comes out
	HoldsMM3   float64 `json:"holds_mm3"`   // gutter, to the share that may fill
	SeepsMM3   float64 `json:"seeps_mm3"`   // at worst, past the gutter
	SectionMM2 float64 `json:"section_mm2"` // of the gutter
	DiameterMM float64 `json:"diameter_mm"` // of a half-round gutter of that section
	NeededMM2  float64 `json:"needed_mm2"`  // section so that nothing seeps out
	Words      string  `json:"words"`
}

const defaultGutterShare = 0.8

// SizeGutter balances volumes: what is poured less what the closed cavity takes comes out.
func SizeGutter(q GutterQuestion) (*Gutter, error) {
	if q.Share == 0 {
		q.Share = defaultGutterShare
	}
	for _, v := range []struct {
		name       string
		value, low float64
	}{{"the cavity in mm³", q.CavityMM3, 1e-9}, {"the cavity's error in mm³", q.CavityErrMM3, 0}, {"the pour's error in mm³", q.PourErrMM3, 0},
		{"the trapped air in mm³", q.TrappedMM3, 0}, {"the poured amount in mm³", q.PouredMM3, 0}, {"the gutter's length in mm", q.LengthMM, 1e-9}, {"the gutter's section in mm²", q.SectionMM2, 0}, {"the share of the gutter", q.Share, 1e-3}} {
		if !(v.value >= v.low) || math.IsInf(v.value, 0) {
			return nil, &OptionError{v.name, v.value, fmt.Sprintf("%g or more", v.low)}
		}
	}
	if q.Share > 1 {
		return nil, &OptionError{"the share of the gutter", q.Share, "at most 1"}
	}
	g := &Gutter{PouredMM3: q.PouredMM3}
	if g.PouredMM3 == 0 {
		g.PouredMM3 = q.CavityMM3 + q.CavityErrMM3 + q.PourErrMM3
	}
	spread := q.CavityErrMM3 + q.PourErrMM3
	out := g.PouredMM3 - (q.CavityMM3 - q.TrappedMM3)
	g.LeastMM3, g.MostMM3 = max(0, out-spread), max(0, out+spread)
	g.ShortMM3 = max(0, q.CavityMM3-q.TrappedMM3-(g.PouredMM3-spread))
	g.NeededMM2 = g.MostMM3 / (q.LengthMM * q.Share)
	g.SectionMM2 = q.SectionMM2
	if g.SectionMM2 == 0 {
		g.SectionMM2 = g.NeededMM2
	}
	g.HoldsMM3 = g.SectionMM2 * q.LengthMM * q.Share
	if g.SeepsMM3 = g.MostMM3 - g.HoldsMM3; g.SeepsMM3 < 1e-9*q.CavityMM3 {
		g.SeepsMM3 = 0
	}
	g.DiameterMM = math.Sqrt(8 * g.SectionMM2 / math.Pi)
	g.Words = fmt.Sprintf("pour %.2f ± %.2f mL; %.2f to %.2f mL comes out; ", g.PouredMM3/1000, q.PourErrMM3/1000, g.LeastMM3/1000, g.MostMM3/1000)
	if g.SeepsMM3 > 0 {
		g.Words += fmt.Sprintf("the gutter holds %.2f mL, so up to %.2f mL seeps out: give it a section of %.1f mm²", g.HoldsMM3/1000, g.SeepsMM3/1000, g.NeededMM2)
	} else {
		g.Words += fmt.Sprintf("a gutter of %.1f mm² (half-round, %.1f mm wide) holds it all", g.SectionMM2, g.DiameterMM)
	}
	if g.ShortMM3 > 0 {
		g.Words += fmt.Sprintf("; at worst %.2f mL is missing in the cavity", g.ShortMM3/1000)
	}
	return g, nil
}
