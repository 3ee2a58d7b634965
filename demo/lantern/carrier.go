package lantern

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Sizes of the carrier: a rigid ring plate that the foot is cast round. Its tabs reach out through
// the foot's flank half-way between the notches, so that the mould holds the plate level at the
// parting line, and are snapped off at their score lines. The soft foot grows through its holes.
const (
	CarrierThicknessMM   = 2.0
	CarrierOuterRadiusMM = 29.0
	CarrierInnerRadiusMM = 19.3
	// CarrierSeatMM is the height of its underside in the foot ring's coordinates: the parting line
	// between the notches runs along the middle of the tabs' sides.
	CarrierSeatMM = FootPartingMM - CarrierThicknessMM/2

	CarrierHoles              = 12 // on the circle of the screw holes
	CarrierBondHoleRadiusMM   = 1.5
	CarrierScrewHoleRadiusMM  = 3.3 // leaves 1 mm of soft foot round the screw hole
	CarrierTabReachMM         = 39.0
	CarrierScoreRadiusMM      = FootOuterRadiusMM
	CarrierScoreWidthMM       = 0.8
	CarrierScoreRemainderMM   = 0.8 // thickness left to snap
	carrierTabHalfColumns     = 4
	carrierHoleWindow         = 7
	carrierColumnsBetweenHole = turnings / CarrierHoles
)

// Faces of the carrier.
const (
	CarrierTop   = "top"
	CarrierUnder = "underside"
	CarrierRim   = "rim"
	CarrierHole  = "hole"
	CarrierTab   = "tab"
	CarrierScore = "score"
)

// Carrier is the rigid ring plate inside the foot ring, lying on its underside.
func Carrier() *Part {
	var b builder
	ring := func(r, z float64) []uint32 { return b.circle(0, 0, r, z, turnings) }
	outLow, outHigh := ring(CarrierOuterRadiusMM, 0), ring(CarrierOuterRadiusMM, CarrierThicknessMM)
	inLow, inHigh := ring(CarrierInnerRadiusMM, 0), ring(CarrierInnerRadiusMM, CarrierThicknessMM)
	b.strip(CarrierRim, inHigh, inLow)

	var above, below []window
	for h := range CarrierHoles {
		column := h * carrierColumnsBetweenHole
		at, r := polar(FootScrewCircleMM, columnAngle(column), 0), CarrierBondHoleRadiusMM
		if hasTab(column) {
			r = CarrierScrewHoleRadiusMM
		}
		low, high := b.circle(at.X, at.Y, r, 0, holeSides), b.circle(at.X, at.Y, r, CarrierThicknessMM, holeSides)
		b.strip(CarrierHole, high, low)
		above = append(above, window{column - carrierHoleWindow, column + carrierHoleWindow, high})
		below = append(below, window{column - carrierHoleWindow, column + carrierHoleWindow, low})
	}
	b.annulus(CarrierTop, inHigh, outHigh, above, true)
	b.annulus(CarrierUnder, inLow, outLow, below, false)

	for c := range turnings {
		if d := (c + 1) % turnings; !underTab(c) {
			b.quad(CarrierRim, outLow[c], outLow[d], outHigh[d], outHigh[c])
		}
		if hasTab(c) {
			b.tab(c, outLow, outHigh)
		}
	}
	return b.part("carrier")
}

// hasTab tells whether a tab is centred on the column: at every screw.
func hasTab(column int) bool {
	pitch := turnings / FootScrews
	return column%pitch == pitch/2
}

// underTab tells whether a tab grows out of the rim between the column and the next.
func underTab(column int) bool {
	for c := column - carrierTabHalfColumns + 1; c <= column+carrierTabHalfColumns; c++ {
		if hasTab((c + turnings) % turnings) {
			return true
		}
	}
	return false
}

// tab adds a straight tab to the rim's columns round the given one, with a V-shaped score across
// its top.
func (b *builder) tab(column int, low, high []uint32) {
	angle := columnAngle(column)
	half := CarrierOuterRadiusMM * math.Sin(columnAngle(carrierTabHalfColumns))
	at := func(reach, side, z float64) uint32 {
		v := polar(reach, angle, z)
		sin, cos := math.Sincos(angle)
		return b.vertex(r3.Vec{X: v.X - side*half*sin, Y: v.Y + side*half*cos, Z: z})
	}
	lowArc := low[column-carrierTabHalfColumns : column+carrierTabHalfColumns+1]
	highArc := high[column-carrierTabHalfColumns : column+carrierTabHalfColumns+1]
	last := len(lowArc) - 1

	// Corners of the cross-section nearest the rim; right is the side of the smaller angle.
	rl, rh, ll, lh := lowArc[0], highArc[0], lowArc[last], highArc[last]
	for k, s := range []struct {
		reach, thick float64
		face         string
	}{
		{CarrierScoreRadiusMM - CarrierScoreWidthMM/2, CarrierThicknessMM, CarrierTab},
		{CarrierScoreRadiusMM, CarrierScoreRemainderMM, CarrierScore},
		{CarrierScoreRadiusMM + CarrierScoreWidthMM/2, CarrierThicknessMM, CarrierScore},
		{CarrierTabReachMM, CarrierThicknessMM, CarrierTab},
	} {
		nrl, nrh, nll, nlh := at(s.reach, -1, 0), at(s.reach, -1, s.thick), at(s.reach, 1, 0), at(s.reach, 1, s.thick)
		if k == 0 {
			b.apron(CarrierTab, nrh, nlh, highArc, true)
			b.apron(CarrierTab, nrl, nll, lowArc, false)
		} else {
			b.quad(s.face, rh, nrh, nlh, lh)
			b.quad(CarrierTab, ll, nll, nrl, rl)
		}
		b.quad(CarrierTab, rl, nrl, nrh, rh)
		b.quad(CarrierTab, lh, nlh, nll, ll)
		rl, rh, ll, lh = nrl, nrh, nll, nlh
	}
	b.quad(CarrierTab, rl, ll, lh, rh)
}

// apron fills the flat face between a stretch of rim and the edge right–left in front of it: each
// half of the rim fans to its own corner, since the rim bulges into the view of the far one.
func (b *builder) apron(name string, right, left uint32, arc []uint32, up bool) {
	add := func(i, j, k uint32) {
		if !up {
			j, k = k, j
		}
		b.facet(name, i, j, k)
	}
	middle := len(arc) / 2
	for i := range len(arc) - 1 {
		corner := right
		if i >= middle {
			corner = left
		}
		add(corner, arc[i+1], arc[i])
	}
	add(right, left, arc[middle])
}
