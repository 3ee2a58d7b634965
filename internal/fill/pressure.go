package fill

import "math"

// Boyle's law: at constant temperature p·V stays the same, with absolute pressures.

// StandardAirKPa is the standard atmosphere (ISO 2533).
const StandardAirKPa = 101.325

// gravityMS2 is the standard acceleration of gravity (ISO 80000-3).
const gravityMS2 = 9.80665

// HeadKPa is the pressure of a liquid column: density in g/mL, height in mm.
func HeadKPa(densityGML, heightMM float64) float64 {
	return densityGML * 1000 * gravityMS2 * heightMM / 1000 / 1000
}

// BoyleMM3 is the volume of trapped air after the absolute pressure on it changes.
func BoyleMM3(volumeMM3, fromKPa, toKPa float64) float64 { return volumeMM3 * fromKPa / toKPa }

// squeezed is the volume of a pocket that was caught at from kPa and then comes under outside kPa and
// the head of resin of the given depth above the pocket's top. The resin rises into the pocket as it
// shrinks, which lowers the head at its face; height gives how far below its top the face of a volume
// lies. The balance volume·p = caught·from has one solution, since p falls as the face rises.
func squeezed(caught, from, outside, density, depth float64, height func(v float64) float64) float64 {
	lo, hi := 0.0, caught
	for range 60 {
		v := (lo + hi) / 2
		p := outside + HeadKPa(density, depth+height(v))
		if v*p > caught*from {
			hi = v
		} else {
			lo = v
		}
	}
	return math.Min(caught, hi)
}
