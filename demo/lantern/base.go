package lantern

// Sizes of the ballast base: a rigid open trough round a central post. It is filled with steel
// balls and backfilled with resin, so that the lantern stands firm.
const (
	BaseHeightMM      = 26.0
	BaseOuterRadiusMM = 33.0 // at the foot
	BaseRimMM         = 2.6  // thickness of the wall at the rim; it grows downwards
	BaseFloorMM       = 3.0
	BaseDraftDeg      = 1.5 // every wall, drafted to the top
	BasePostRadiusMM  = 7.0 // at the floor of the trough
	BaseRodRadiusMM   = 3.2 // hole for the lantern's rod, at its narrow lower end
	BaseEdgeRoundMM   = 1.0
	BaseTroughRoundMM = 2.0
)

// Faces of the ballast base.
const (
	BaseUnderside = "underside"
	BaseEdge      = "edge"
	BaseOuterWall = "outer wall"
	BaseRim       = "rim"
	BaseTrough    = "trough"
	BasePostTop   = "post top"
	BaseRodHole   = "rod hole"
)

func baseSection() section {
	rise := BaseHeightMM - BaseFloorMM
	rim := BaseOuterRadiusMM - slope(BaseHeightMM, BaseDraftDeg)
	mouth := rim - BaseRimMM
	return section{
		{R: BaseRodRadiusMM, Z: 0, Name: BaseUnderside},
		{R: BaseOuterRadiusMM, Z: 0, RoundMM: BaseEdgeRoundMM, Round: BaseEdge, Name: BaseOuterWall},
		{R: rim, Z: BaseHeightMM, Name: BaseRim},
		{R: mouth, Z: BaseHeightMM, Name: BaseTrough},
		{R: mouth - slope(rise, BaseDraftDeg), Z: BaseFloorMM, RoundMM: BaseTroughRoundMM, Round: BaseTrough, Name: BaseTrough},
		{R: BasePostRadiusMM, Z: BaseFloorMM, RoundMM: BaseTroughRoundMM, Round: BaseTrough, Name: BaseTrough},
		{R: BasePostRadiusMM - slope(rise, BaseDraftDeg), Z: BaseHeightMM, Name: BasePostTop},
		{R: BaseRodRadiusMM + slope(BaseHeightMM, BaseDraftDeg), Z: BaseHeightMM, Name: BaseRodHole},
	}
}

// troughSection is what the trough holds when it is filled level with its rim.
func troughSection() section {
	s := baseSection()
	post, postFoot, wallFoot, wall := s[6], s[5], s[4], s[3]
	return section{post, postFoot, wallFoot, wall}
}

// BallastBase is the rigid trough for the ballast, standing on its underside.
func BallastBase() *Part { return turned("ballast base", baseSection()) }

// BallastTroughVolumeMM3 is the room for balls and backfill up to the rim, in mm³ (closed form).
func BallastTroughVolumeMM3() float64 { return troughSection().volumeMM3() }
