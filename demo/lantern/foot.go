package lantern

import "math"

// Sizes of the foot ring: a soft ring the lantern stands on. It parts at its widest line, which
// dips at three finger notches, at the waist of its bore, and at the small end of each screw hole.
const (
	FootHeightMM      = 10.0
	FootOuterRadiusMM = 34.0 // at the parting line, between the notches
	FootPartingMM     = 4.5  // height of the parting line between the notches
	FootDraftDeg      = 3.0  // both flanks, away from the parting line
	FootLowerRoundMM  = 1.5
	FootUpperRoundMM  = 2.0

	FootNotches        = 3
	FootNotchWidthDeg  = 60.0
	FootNotchDepthMM   = 1.5 // how far the flank steps in at a notch
	FootNotchDipMM     = 1.5 // how far the parting line dips there
	FootBoreRadiusMM   = 18.0
	FootBoreWaistMM    = 5.0 // height of the bore's narrowest line
	FootBoreDraftDeg   = 2.0
	FootBoreChamferMM  = 0.5
	FootGrooveInnerMM  = 27.6 // anti-slip groove in the underside, radii at the mouth
	FootGrooveOuterMM  = 30.0
	FootGrooveDepthMM  = 0.6
	FootGrooveDraftDeg = 15.0

	FootScrews            = 3
	FootScrewCircleMM     = 24.2 // radius of the circle through the screw holes
	FootScrewTopRadiusMM  = 2.3
	FootScrewFootRadiusMM = 1.9 // narrower below: drafts by atan(0.4/10) = 2.3°
)

// Faces of the foot ring.
const (
	FootTop        = "top"
	FootShoulder   = "shoulder"
	FootUpperFlank = "upper flank"
	FootLowerFlank = "lower flank"
	FootEdge       = "edge"
	FootLand       = "land"
	FootTread      = "tread"
	FootGroove     = "groove"
	FootBore       = "bore"
	FootScrewHole  = "screw hole"
)

const (
	// screwWindow is half the width, in columns, of the stretch of a flat face that holds a hole.
	screwWindow = 10
	holeSides   = 48 // strays by 2.3·(1 − cos 3.75°) = 0.005 mm
)

func columnAngle(c int) float64 { return 2 * math.Pi * float64(c) / turnings }

// notch is how much of a finger notch there is at an angle: 1 in the middle, falling smoothly to 0.
func notch(angle float64) float64 {
	pitch := 360.0 / FootNotches
	off := math.Remainder(angle*180/math.Pi, pitch)
	if math.Abs(off) >= FootNotchWidthDeg/2 {
		return 0
	}
	return (1 + math.Cos(2*math.Pi*off/FootNotchWidthDeg)) / 2
}

// footSection is the section of the ring where a share (0 to 1) of the notch is present.
func footSection(notch float64) section {
	outer := FootOuterRadiusMM - notch*FootNotchDepthMM
	parting := FootPartingMM - notch*FootNotchDipMM
	lowBore := FootBoreRadiusMM + slope(FootBoreWaistMM-FootBoreChamferMM, FootBoreDraftDeg)
	highBore := FootBoreRadiusMM + slope(FootHeightMM-FootBoreChamferMM-FootBoreWaistMM, FootBoreDraftDeg)
	groove := slope(FootGrooveDepthMM, FootGrooveDraftDeg)
	return section{
		{R: lowBore + FootBoreChamferMM, Z: 0, Name: FootLand},
		{R: FootGrooveInnerMM, Z: 0, Name: FootGroove},
		{R: FootGrooveInnerMM + groove, Z: FootGrooveDepthMM, Name: FootGroove},
		{R: FootGrooveOuterMM - groove, Z: FootGrooveDepthMM, Name: FootGroove},
		{R: FootGrooveOuterMM, Z: 0, Name: FootTread},
		{R: outer - slope(parting, FootDraftDeg), Z: 0, RoundMM: FootLowerRoundMM, Round: FootEdge, Name: FootLowerFlank},
		{R: outer, Z: parting, Name: FootUpperFlank},
		{R: outer - slope(FootHeightMM-parting, FootDraftDeg), Z: FootHeightMM, RoundMM: FootUpperRoundMM, Round: FootShoulder, Name: FootTop},
		{R: highBore + FootBoreChamferMM, Z: FootHeightMM, Name: FootBore},
		{R: highBore, Z: FootHeightMM - FootBoreChamferMM, Name: FootBore},
		{R: FootBoreRadiusMM, Z: FootBoreWaistMM, Name: FootBore},
		{R: lowBore, Z: FootBoreChamferMM, Name: FootBore},
	}
}

// FootRing is the soft ring the lantern stands on: three finger notches where the parting line
// dips, three screw holes, a groove in the underside. Show faces: the flank above the parting line
// and the shoulder. The top is hidden under the base, so gates can sit there.
func FootRing() *Part { return footRing("foot ring", notch) }

// PlainFootRing is the foot ring without notches: its parting lines are plane circles.
func PlainFootRing() *Part {
	return footRing("plain foot ring", func(float64) float64 { return 0 })
}

func footRing(name string, notch func(angle float64) float64) *Part {
	var b builder
	rows, names := b.loft(func(angle float64) section { return footSection(notch(angle)) })
	b.skin(rows, names, true, func(face string) bool { return face == FootLand || face == FootTop })

	var above, below []window
	for s := range FootScrews {
		// Screws sit half-way between the notches.
		column := (2*s + 1) * turnings / (2 * FootScrews)
		at := polar(FootScrewCircleMM, columnAngle(column), 0)
		high := b.circle(at.X, at.Y, FootScrewTopRadiusMM, FootHeightMM, holeSides)
		low := b.circle(at.X, at.Y, FootScrewFootRadiusMM, 0, holeSides)
		b.strip(FootScrewHole, high, low)
		above = append(above, window{column - screwWindow, column + screwWindow, high})
		below = append(below, window{column - screwWindow, column + screwWindow, low})
	}
	land, top := rowOf(names, FootLand), rowOf(names, FootTop)
	b.annulus(FootLand, rows[land], rows[land+1], below, false)
	b.annulus(FootTop, rows[top+1], rows[top], above, true)
	return b.part(name, FootUpperFlank, FootShoulder)
}

// footVolumeMM3 is the volume of the ring with true circles, from the closed form of its sections:
// at each angle a wedge of the turned section. The average over the angle takes an even number of
// samples of a periodic function; without notches every sample is the same.
func footVolumeMM3(notch func(angle float64) float64) float64 {
	const samples = 3600
	sum := 0.0
	for i := range samples {
		sum += footSection(notch(2 * math.Pi * float64(i) / samples)).volumeMM3()
	}
	top, foot := FootScrewTopRadiusMM, FootScrewFootRadiusMM
	hole := math.Pi / 3 * FootHeightMM * (top*top + top*foot + foot*foot)
	return sum/samples - FootScrews*hole
}
