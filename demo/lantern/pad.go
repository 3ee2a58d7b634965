package lantern

// Sizes of the foot pad: a soft ring under the ballast base, cast in an open tray, tread down, onto a
// rigid carrier ring that is then glued into the base. Below, z 0 is the tread and the poured face is the
// top; every wall is drafted to leave a tray upward.
const (
	PadHeightMM      = 8.0
	PadOuterRadiusMM = 31.0 // at the tread
	PadBoreRadiusMM  = 12.0 // at the top
	PadDraftDeg      = 3.0
	PadEdgeRoundMM   = 1.5
	PadGrooveInnerMM = 19.0 // anti-slip groove in the tread, radii at its mouth
	PadGrooveOuterMM = 24.0
	PadGrooveDeepMM  = 0.8
	PadGrooveDeg     = 15.0

	// The carrier is sunk into the poured face; what stands out is as high as a tab with its gap, so that
	// it prints lying flat on its top.
	PadCarrierSunkMM   = 2.5
	PadCarrierProudMM  = 4.2
	PadCarrierInnerMM  = 15.0
	PadCarrierOuterMM  = 28.0
	PadCarrierGrooveMM = 1.0 // depth of the groove in its underside, where resin gets a grip
	PadCarrierFromMM   = 18.5
	PadCarrierToMM     = 24.5
	padCarrierDraftDeg = 10.0
)

// Faces of the foot pad and its carrier.
const (
	PadTread   = "tread"
	PadEdge    = "edge"
	PadFlank   = "flank"
	PadTop     = "top"
	PadBore    = "bore"
	PadUnder   = "underside"
	PadRim     = "rim"
	PadKeyhold = "grip groove"
)

func padSection() section {
	groove := slope(PadGrooveDeepMM, PadGrooveDeg)
	return section{
		{R: PadBoreRadiusMM + slope(PadHeightMM, PadDraftDeg), Z: 0, Name: PadTread},
		{R: PadGrooveInnerMM, Z: 0, Name: PadTread},
		{R: PadGrooveInnerMM + groove, Z: PadGrooveDeepMM, Name: PadTread},
		{R: PadGrooveOuterMM - groove, Z: PadGrooveDeepMM, Name: PadTread},
		{R: PadGrooveOuterMM, Z: 0, Name: PadTread},
		{R: PadOuterRadiusMM, Z: 0, RoundMM: PadEdgeRoundMM, Round: PadEdge, Name: PadFlank},
		{R: PadOuterRadiusMM + slope(PadHeightMM, PadDraftDeg), Z: PadHeightMM, Name: PadTop},
		{R: PadBoreRadiusMM, Z: PadHeightMM, Name: PadBore},
	}
}

// FootPad is the soft ring under the base with the carrier's room in it: the outline of both together.
// Show face: the flank.
func FootPad() *Part { return turned("foot pad", padSection(), PadFlank, PadEdge) }

func padCarrierSection() section {
	under, top := PadHeightMM-PadCarrierSunkMM, PadHeightMM+PadCarrierProudMM
	in := slope(PadCarrierGrooveMM, padCarrierDraftDeg)
	return section{
		{R: PadCarrierInnerMM, Z: under, Name: PadUnder},
		{R: PadCarrierFromMM, Z: under, Name: PadKeyhold},
		{R: PadCarrierFromMM + in, Z: under + PadCarrierGrooveMM, Name: PadKeyhold},
		{R: PadCarrierToMM - in, Z: under + PadCarrierGrooveMM, Name: PadKeyhold},
		{R: PadCarrierToMM, Z: under, Name: PadUnder},
		{R: PadCarrierOuterMM, Z: under, Name: PadRim},
		{R: PadCarrierOuterMM, Z: top, Name: PadTop},
		{R: PadCarrierInnerMM, Z: top, Name: PadRim},
	}
}

// PadCarrier is the rigid ring that the foot pad is cast onto, where it lies in the pad.
func PadCarrier() *Part { return turned("pad carrier", padCarrierSection()) }
