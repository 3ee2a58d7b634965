package lantern

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// allParts are the parts of the demo and the plain foot ring.
func allParts() []*Part { return append(Parts(), PlainFootRing()) }

// ngon is the area of a regular polygon over that of its circle.
func ngon(n float64) float64 { return n / (2 * math.Pi) * math.Sin(2*math.Pi/n) }

// An edge must be used once each way: closed, manifold and consistently turned. A vertex's facets
// must form one fan, or two solids would touch in a point.
func TestPartsAreClosedManifolds(t *testing.T) {
	for _, p := range allParts() {
		if len(p.Face) != len(p.Mesh.Tris) {
			t.Errorf("%s: %d face names for %d facets", p.Name, len(p.Face), len(p.Mesh.Tris))
		}
		for f, adj := range p.Mesh.Adjacency() {
			if slices.Contains(adj[:], mesh.NoFacet) {
				t.Fatalf("%s: facet %d (%s) has an open or shared edge", p.Name, f, p.Face[f])
			}
		}
		// V − E + F = 2 − 2g with g through-holes and every vertex in use.
		genus := map[string]int{"foot ring": 4, "plain foot ring": 4, "bumper cap": 0, "ballast base": 1, "carrier": 13, "foot pad": 1, "pad carrier": 1}[p.Name]
		if euler := len(p.Mesh.Verts) - len(p.Mesh.Tris)/2; euler != 2-2*genus {
			t.Errorf("%s: V − E + F = %d, want %d", p.Name, euler, 2-2*genus)
		}
		if p.Mesh.VolumeMM3() <= 0 {
			t.Errorf("%s is inside out", p.Name)
		}
	}
}

// No facet is thinner than a tenth of the chord error, or rounding a file to float32 could fold it.
func TestPartsHaveNoSlivers(t *testing.T) {
	for _, p := range allParts() {
		for f := range p.Mesh.Tris {
			tri := p.Mesh.Facet(f)
			longest := max(r3.Norm(r3.Sub(tri[0], tri[1])), r3.Norm(r3.Sub(tri[1], tri[2])), r3.Norm(r3.Sub(tri[2], tri[0])))
			if h := 2 * tri.Area() / longest; h < ChordErrorMM/10 {
				t.Errorf("%s: facet %d (%s) is %.2g mm thin", p.Name, f, p.Face[f], h)
			}
		}
	}
}

// Flat faces must be covered once: facets all turned the same way, seen from above, and areas that
// add up to the closed form of the polygons.
func TestFlatFacesAreCoveredOnce(t *testing.T) {
	check := func(p *Part, face string, sign, want float64) {
		t.Helper()
		sum := 0.0
		for f, name := range p.Face {
			if name != face {
				continue
			}
			tri := p.Mesh.Facet(f)
			z := r3.Cross(r3.Sub(tri[1], tri[0]), r3.Sub(tri[2], tri[0])).Z / 2 * sign
			if z <= 0 {
				t.Errorf("%s: facet %d of the %s is turned over", p.Name, f, face)
			}
			sum += z
		}
		if math.Abs(sum/want-1) > 1e-12 {
			t.Errorf("%s: %s measures %.9f mm², want %.9f", p.Name, face, sum, want)
		}
	}
	foot := PlainFootRing()
	s := footSection(0).points()
	ring := func(k int) float64 { // area of the flat between outline points k and k+1
		return math.Pi * math.Abs(s[k+1].X*s[k+1].X-s[k].X*s[k].X) * ngon(turnings)
	}
	hole := func(r float64) float64 { return math.Pi * r * r * ngon(holeSides) }
	names := make([]string, len(s))
	for k := range s {
		names[k] = s[k].Name
	}
	check(foot, FootTop, 1, ring(rowOf(names, FootTop))-FootScrews*hole(FootScrewTopRadiusMM))
	check(foot, FootLand, -1, ring(rowOf(names, FootLand))-FootScrews*hole(FootScrewFootRadiusMM))

	plate := math.Pi * (CarrierOuterRadiusMM*CarrierOuterRadiusMM - CarrierInnerRadiusMM*CarrierInnerRadiusMM) * ngon(turnings)
	holes := FootScrews*hole(CarrierScrewHoleRadiusMM) + (CarrierHoles-FootScrews)*hole(CarrierBondHoleRadiusMM)
	check(Carrier(), CarrierTop, 1, plate-holes)
	check(Carrier(), CarrierUnder, -1, plate-holes)
}

// Pappus' theorem: a polyline turned in n steps encloses ngon(n) of what it encloses turned truly.
func TestVolumesOfPolygonsMatchClosedForm(t *testing.T) {
	polyline := func(s section) section {
		var out section
		for _, p := range s.points() {
			out = append(out, corner{R: p.X, Z: p.Y})
		}
		return out
	}
	top, low := FootScrewTopRadiusMM, FootScrewFootRadiusMM
	screw := math.Pi / 3 * FootHeightMM * (top*top + top*low + low*low) * ngon(holeSides)

	half := CarrierOuterRadiusMM * math.Sin(columnAngle(carrierTabHalfColumns))
	r2 := CarrierOuterRadiusMM * CarrierOuterRadiusMM
	segment := carrierTabHalfColumns*r2*math.Sin(columnAngle(1)) - r2/2*math.Sin(columnAngle(2*carrierTabHalfColumns))
	tab := 2*half*(CarrierTabReachMM-CarrierOuterRadiusMM*math.Cos(columnAngle(carrierTabHalfColumns))) - segment
	score := CarrierScoreWidthMM * (CarrierThicknessMM - CarrierScoreRemainderMM) / 2 * 2 * half
	plate := math.Pi * (r2 - CarrierInnerRadiusMM*CarrierInnerRadiusMM) * ngon(turnings)
	holes := math.Pi * ngon(holeSides) * (FootScrews*CarrierScrewHoleRadiusMM*CarrierScrewHoleRadiusMM +
		(CarrierHoles-FootScrews)*CarrierBondHoleRadiusMM*CarrierBondHoleRadiusMM)

	for _, c := range []struct {
		part *Part
		want float64
	}{
		{PlainFootRing(), polyline(footSection(0)).volumeMM3()*ngon(turnings) - FootScrews*screw},
		{BumperCap(), polyline(capSection()).volumeMM3() * ngon(turnings)},
		{BallastBase(), polyline(baseSection()).volumeMM3() * ngon(turnings)},
		{FootPad(), polyline(padSection()).volumeMM3() * ngon(turnings)},
		{PadCarrier(), polyline(padCarrierSection()).volumeMM3() * ngon(turnings)},
		{Carrier(), CarrierThicknessMM*(plate-holes+FootScrews*tab) - FootScrews*score},
	} {
		if got := c.part.Mesh.VolumeMM3(); math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("%s: %.9f mm³, want %.9f", c.part.Name, got, c.want)
		}
	}
}

// Against true circles and arcs the volume may differ by no more than the chord error over the
// whole surface; sections that agree in sign make it less.
func TestVolumesOfTrueCurvesLieWithinTheChordError(t *testing.T) {
	for _, c := range []struct {
		part *Part
		want float64
	}{
		{FootRing(), footVolumeMM3(notch)},
		{PlainFootRing(), footVolumeMM3(func(float64) float64 { return 0 })},
		{BumperCap(), capSection().volumeMM3()},
		{BallastBase(), baseSection().volumeMM3()},
		{FootPad(), padSection().volumeMM3()},
		{PadCarrier(), padCarrierSection().volumeMM3()},
	} {
		got, bound := c.part.Mesh.VolumeMM3(), ChordErrorMM*c.part.Mesh.AreaMM2()
		if math.Abs(got-c.want) > bound {
			t.Errorf("%s: %.3f mm³, want %.3f ± %.3f", c.part.Name, got, c.want, bound)
		}
	}
}

// The section's closed form against solids from any handbook: cylinder, cone frustum, sphere, torus.
func TestSectionVolume(t *testing.T) {
	for _, c := range []struct {
		name string
		s    section
		want float64
	}{
		{"cylinder", section{{R: 0, Z: 0}, {R: 3, Z: 0}, {R: 3, Z: 5}, {R: 0, Z: 5}}, math.Pi * 9 * 5},
		{"frustum", section{{R: 0, Z: 0}, {R: 3, Z: 0}, {R: 2, Z: 5}, {R: 0, Z: 5}}, math.Pi / 3 * 5 * (9 + 6 + 4)},
		{"sphere", section{{R: 0, Z: 0}, {R: 3, Z: 0, RoundMM: 3}, {R: 3, Z: 6, RoundMM: 3}, {R: 0, Z: 6}}, 4 * math.Pi / 3 * 27},
		{"torus", section{{R: 5, Z: 0, RoundMM: 2}, {R: 9, Z: 0, RoundMM: 2}, {R: 9, Z: 4, RoundMM: 2}, {R: 5, Z: 4, RoundMM: 2}}, 2 * math.Pi * math.Pi * 7 * 4},
		{"ring", section{{R: 7, Z: 2}, {R: 7, Z: 0}, {R: 9, Z: 0}, {R: 9, Z: 2}}, math.Pi * (81 - 49) * 2},
	} {
		if got := c.s.volumeMM3(); math.Abs(got/c.want-1) > 1e-12 {
			t.Errorf("%s: %.12f mm³, want %.12f", c.name, got, c.want)
		}
	}
}

// Draft as designed: seen along z every wall of the foot ring is open one way and leans by at least
// the smallest draft constant; the cap's walls lean the way that locks.
func TestDraft(t *testing.T) {
	up := func(p *Part, f int) float64 { // degrees that a facet's normal rises above the horizon
		tri := p.Mesh.Facet(f)
		n := r3.Unit(r3.Cross(r3.Sub(tri[1], tri[0]), r3.Sub(tri[2], tri[0])))
		return math.Asin(n.Z) * 180 / math.Pi
	}
	for _, p := range []*Part{FootRing(), PlainFootRing()} {
		least := 90.0
		for f := range p.Face {
			d := up(p, f)
			least = min(least, math.Abs(d))
			switch p.Face[f] {
			case FootTop, FootShoulder, FootUpperFlank, FootScrewHole:
				if d <= 0 {
					t.Errorf("%s: facet %d of the %s looks down (%.2f°)", p.Name, f, p.Face[f], d)
				}
			case FootEdge, FootLowerFlank, FootLand, FootTread, FootGroove:
				if d >= 0 {
					t.Errorf("%s: facet %d of the %s looks up (%.2f°)", p.Name, f, p.Face[f], d)
				}
			}
		}
		// Facets of a polygon stand a little steeper than the cone they stand for, and notch sides
		// are cut askew; a tenth of a degree covers both.
		if least < FootBoreDraftDeg-0.1 {
			t.Errorf("%s: a wall has only %.2f° of draft", p.Name, least)
		}
	}
	cup := BumperCap()
	for f := range cup.Face {
		switch d := up(cup, f); {
		case cup.Face[f] == CapOuterWall && math.Abs(d-CapOuterLeanDeg) > 0.1,
			cup.Face[f] == CapInnerWall && math.Abs(d+CapInnerLeanDeg) > 0.1:
			t.Errorf("bumper cap: facet %d of the %s rises by %.2f°", f, cup.Face[f], d)
		}
	}
}

// The carrier must lie wholly inside the foot ring but for its tabs, at least 1 mm deep.
func TestCarrierFitsInTheFoot(t *testing.T) {
	s := footSection(1)
	if in := s[6].R - CarrierOuterRadiusMM; in < 1 {
		t.Errorf("the plate comes within %.2f mm of the flank", in)
	}
	if in := CarrierInnerRadiusMM - s[9].R; in < 1 {
		t.Errorf("the plate comes within %.2f mm of the bore", in)
	}
	if in := CarrierScrewHoleRadiusMM - FootScrewTopRadiusMM; in < 1-1e-9 {
		t.Errorf("the plate comes within %.2f mm of a screw hole", in)
	}
}

func TestPartsAreTheSameEveryTime(t *testing.T) {
	a, b := allParts(), allParts()
	for i := range a {
		if !slices.Equal(a[i].Mesh.Verts, b[i].Mesh.Verts) || !slices.Equal(a[i].Mesh.Tris, b[i].Mesh.Tris) {
			t.Errorf("%s differs between two calls", a[i].Name)
		}
	}
}
