package material

import (
	"errors"
	"fmt"
)

// GrowthMM is the change of a length when it is warmed: ΔL = α·L·ΔT.
func GrowthMM(lengthMM, expansionPerK, deltaK float64) float64 {
	return expansionPerK * lengthMM * deltaK
}

// Shrink is one link of the chain from the drawn mould to the cold casting. ShrinkPct is a share of
// the length before it, as moulding shrinkage is of the cavity's: (cavity − part)/cavity (ISO 294-4 and
// ASTM D955; the definitions, from memory).
type Shrink struct {
	Name      string  `json:"name"`
	ShrinkPct float64 `json:"shrink_pct"` // negative where it grows
	ErrorPct  float64 `json:"error_pct"`  // may be off by, ± percentage points
}

// ChainScale is what a chain of shrinkages asks for.
type ChainScale struct {
	Factor  float64  `json:"factor"` // of the drawn mould against the part
	Low     float64  `json:"low"`    // with every link at the end of its range
	High    float64  `json:"high"`
	ErrorMM float64  `json:"error_mm"` // of the part's length, half the range
	Links   []Shrink `json:"links"`
}

// Chain multiplies links up: a part of length L needs a drawing of L·Factor, Factor = Π 1/(1 − s).
// With links for the print, a silicone taken from it and the resin, the drawing is that of the print.
func Chain(partMM float64, links ...Shrink) (ChainScale, error) {
	c := ChainScale{Factor: 1, Low: 1, High: 1, Links: links}
	var all []error
	if !(partMM > 0 && partMM < 1e5) {
		all = append(all, fmt.Errorf("a part of %g mm", partMM))
	}
	for _, l := range links {
		if !(l.ErrorPct >= 0 && l.ErrorPct <= 10) || !(l.ShrinkPct-l.ErrorPct > -20 && l.ShrinkPct+l.ErrorPct < 20) {
			all = append(all, fmt.Errorf("%s: shrinkage of %g %% ± %g %%; it must lie within ±20 %%", l.Name, l.ShrinkPct, l.ErrorPct))
			continue
		}
		c.Factor /= 1 - l.ShrinkPct/100
		c.Low /= 1 - (l.ShrinkPct-l.ErrorPct)/100
		c.High /= 1 - (l.ShrinkPct+l.ErrorPct)/100
	}
	if len(all) > 0 {
		return ChainScale{}, errors.Join(all...)
	}
	c.ErrorMM = partMM * (c.High - c.Low) / 2 / c.Factor
	return c, nil
}

// WarmCure is what curing at another temperature than the shop's does to a length.
type WarmCure struct {
	MouldGrowsMM  float64 `json:"mould_grows_mm"`     // the cavity, while the casting sets in it
	CastShrinksMM float64 `json:"casting_shrinks_mm"` // from the cure's temperature down to the shop's
	PartChangesMM float64 `json:"part_changes_mm"`    // against a cure at the shop's temperature
	Words         string  `json:"words"`
}

// WarmCureError is the error that a warm cure makes in a length: the casting sets in a cavity that has
// grown with the mould, and shrinks with its own expansion when it cools.
func WarmCureError(lengthMM, mouldPerK, castPerK, cureC, shopC float64) (WarmCure, error) {
	for _, v := range []struct {
		what      string
		v, lo, hi float64
	}{{"length, mm", lengthMM, 0, 1e5}, {"expansion of the mould, 1/K", mouldPerK, 0, 1e-3}, {"expansion of the casting, 1/K", castPerK, 0, 1e-3}, {"cure temperature, °C", cureC, -50, 300}, {"shop's temperature, °C", shopC, -20, 60}} {
		if !(v.v >= v.lo && v.v <= v.hi) {
			return WarmCure{}, fmt.Errorf("%s: %g; it must be from %g to %g", v.what, v.v, v.lo, v.hi)
		}
	}
	dT := cureC - shopC
	w := WarmCure{MouldGrowsMM: GrowthMM(lengthMM, mouldPerK, dT)}
	w.CastShrinksMM = GrowthMM(lengthMM+w.MouldGrowsMM, castPerK, dT)
	w.PartChangesMM = w.MouldGrowsMM - w.CastShrinksMM
	w.Words = fmt.Sprintf("cured at %g °C instead of %g °C, %.4g mm set in a cavity %+.3f mm larger and shrink %.3f mm on cooling: %+.3f mm in all", cureC, shopC, lengthMM, w.MouldGrowsMM, w.CastShrinksMM, w.PartChangesMM)
	return w, nil
}
