package lantern

// Sizes of the bumper cap: a soft shallow cup pushed over the lantern's front. Both sides of its
// wall lean inward towards the rim, so that it grips, and so that two rigid halves lock: the core
// that shapes the inside is wider at the floor than at the rim.
const (
	CapHeightMM      = 14.0
	CapOuterRadiusMM = 30.0 // where outer wall and front face would meet
	CapOuterLeanDeg  = 4.0
	CapInnerRadiusMM = 27.2 // where inner wall and inner floor would meet
	CapInnerLeanDeg  = 5.0
	CapFloorMM       = 3.0
	CapFrontRoundMM  = 4.0
	CapInnerRoundMM  = 1.5
	CapRimRoundMM    = 0.8
)

// Faces of the bumper cap.
const (
	CapFront     = "front"
	CapFrontEdge = "front edge"
	CapOuterWall = "outer wall"
	CapRim       = "rim"
	CapInnerWall = "inner wall"
	CapInnerEdge = "inner edge"
	CapFloor     = "floor"
)

func capSection() section {
	rimOut := CapOuterRadiusMM - slope(CapHeightMM, CapOuterLeanDeg)
	rimIn := CapInnerRadiusMM - slope(CapHeightMM-CapFloorMM, CapInnerLeanDeg)
	return section{
		{R: 0, Z: 0, Name: CapFront},
		{R: CapOuterRadiusMM, Z: 0, RoundMM: CapFrontRoundMM, Round: CapFrontEdge, Name: CapOuterWall},
		{R: rimOut, Z: CapHeightMM, RoundMM: CapRimRoundMM, Round: CapRim, Name: CapRim},
		{R: rimIn, Z: CapHeightMM, RoundMM: CapRimRoundMM, Round: CapRim, Name: CapInnerWall},
		{R: CapInnerRadiusMM, Z: CapFloorMM, RoundMM: CapInnerRoundMM, Round: CapInnerEdge, Name: CapFloor},
		{R: 0, Z: CapFloorMM},
	}
}

// BumperCap is the soft cup over the lantern's front, lying on its front face. Show faces: the
// front and its rounded edge.
func BumperCap() *Part { return turned("bumper cap", capSection(), CapFront, CapFrontEdge) }
