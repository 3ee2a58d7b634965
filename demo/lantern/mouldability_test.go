package lantern

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mouldability"
)

var up = r3.Vec{Z: 1}

// What the scenario says of the parts: two halves that move along z reach all of the foot ring, the
// base and the carrier.
func TestPartsWithoutUndercut(t *testing.T) {
	for _, p := range []*Part{FootRing(), PlainFootRing(), BallastBase(), Carrier()} {
		report, err := mouldability.Analyse(t.Context(), p.Mesh, up, mouldability.AnalyseOptions{})
		if err != nil {
			t.Fatalf("%s: %v", p.Name, err)
		}
		for _, u := range report.Undercuts {
			t.Errorf("%s: undercut of %.3f mm² and %.4f mm depth at %.2f", p.Name, u.AreaMM2, u.DepthMM, u.Centroid)
		}
	}
}

// The cap's inner wall is caught along z by as much as it leans: rim and floor of the inside differ
// by slope(height, lean) in radius, less what the roundings take.
func TestCapLocks(t *testing.T) {
	p := BumperCap()
	report, err := mouldability.Analyse(t.Context(), p.Mesh, up, mouldability.AnalyseOptions{})
	if err != nil {
		t.Fatal(err)
	}
	area, depth := 0.0, 0.0
	for _, u := range report.Undercuts {
		area, depth = area+u.AreaMM2, max(depth, u.DepthMM)
		if math.Hypot(u.Centroid.X, u.Centroid.Y) > CapOuterRadiusMM {
			t.Errorf("undercut outside the cap at %.2f", u.Centroid)
		}
	}
	wall := 0.0
	for f, name := range p.Face {
		if name == CapInnerWall {
			wall += p.Mesh.Facet(f).Area()
		}
	}
	if area < wall {
		t.Errorf("undercut of %.1f mm², want at least the inner wall's %.1f mm²", area, wall)
	}
	if most := slope(CapHeightMM-CapFloorMM, CapInnerLeanDeg); depth < 0.6*most || depth > most {
		t.Errorf("undercut is %.3f mm deep, want 0.6 to 1 of %.3f mm", depth, most)
	}
}

// No direction frees the cap: turned aside, one side of the inner wall or the other is caught. The cap
// is round and two halves part along d and −d alike, so tilts of up to 90° one way stand for all.
func TestCapLocksEveryWay(t *testing.T) {
	p := BumperCap()
	for tilt := 0.0; tilt <= 90; tilt += 7.5 {
		sin, cos := math.Sincos(tilt * math.Pi / 180)
		d := r3.Vec{X: sin * math.Cos(0.3), Y: sin * math.Sin(0.3), Z: cos}
		report, err := mouldability.Analyse(t.Context(), p.Mesh, d, mouldability.AnalyseOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if len(report.Undercuts) == 0 {
			t.Errorf("nothing is caught when the cap opens %.1f° from its axis", tilt)
		}
	}
}
