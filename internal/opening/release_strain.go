package opening

import "math"

// RingStrain is the strain of a closed ring that has to pass over a larger one: the lip of a cup over
// its core, a flange through a groove. dMax and dMin are the two diameters, in the same unit.
func RingStrain(dMax, dMin float64) float64 { return (dMax - dMin) / dMin }

// LipStrain is the strain at the root of a lip of free length l and constant thickness t whose end is
// bent aside by u: a cantilever of rectangular section (Euler and Bernoulli), ε = 3·t·u/(2·l²).
func LipStrain(l, t, u float64) float64 { return 3 * t * u / (2 * l * l) }

// SqueezeStrain is the mean strain of a body of thickness t pressed together by u.
func SqueezeStrain(u, t float64) float64 { return u / t }

// lipForceN bends a lip of width b aside: P = 3·E·I·u/l³ with I = b·t³/12.
func lipForceN(eMPa, b, t, u, l float64) float64 {
	return eMPa * b * t * t * t * u / (4 * l * l * l)
}

// ringLoadN is the load, summed all round, with which a stretched ring of the given section grips
// what is inside: the hoop tension T = E·ε·A bears on the inside with T/r along each mm of 2πr.
func ringLoadN(eMPa, strain, sectionMM2 float64) float64 {
	return 2 * math.Pi * eMPa * strain * sectionMM2
}

// pullN is the pull along the exit that slides a surface with the given slope (its angle to the exit)
// out from under a load square to the exit: W = N·(µ + tan α)/(1 − µ·tan α), the mating force of snap
// joints. Steeper than MostPullSlopeDeg a straight pull no longer wedges the material aside, and the
// surface has to be lifted off; the force is then that at the limit.
func pullN(load, friction, slopeDeg float64) float64 {
	t := math.Tan(min(slopeDeg, MostPullSlopeDeg) * math.Pi / 180)
	return load * (friction + t) / (1 - friction*t)
}

// MostPullSlopeDeg is the slope up to which a straight pull is taken to wedge the material aside; at
// 45° and a friction of 0.5 the pull is already three times the load.
const MostPullSlopeDeg = 45.0
