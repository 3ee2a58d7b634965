package job

import (
	"errors"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/demo/lantern"

	"gonum.org/v1/gonum/spatial/r3"
)

// trayJob is a folder with the demo's pad, its carrier moved by some way, and settings.
func trayJob(t *testing.T, by r3.Vec, more string) string {
	t.Helper()
	dir := t.TempDir()
	pad, carrier := lantern.FootPad(), lantern.PadCarrier()
	carrier.Mesh = carrier.Mesh.Map(func(v r3.Vec) r3.Vec { return r3.Add(v, by) })
	for name, p := range map[string]*lantern.Part{"pad.3mf": pad, "carrier.3mf": carrier} {
		save(t, filepath.Join(dir, name), p.Object())
	}
	put(t, filepath.Join(dir, FileName), "format = 1\n[part]\nfile = \"pad.3mf\"\n[mould]\nfamily = \"tray\"\nlabel = \"Pad\"\n"+more)
	return dir
}

// The demo's pad is over-moulded onto its carrier: all checks hold, tray and carrier are printed, and the
// shot is that of the pad less what the carrier takes.
func TestRunTrayWithCarrier(t *testing.T) {
	dir := trayJob(t, r3.Vec{}, "[material]\nid = \"pu-flexible\"\nshrink_pct = [0]\n[tray]\ncarrier = \"carrier.3mf\"\nair_holes = false\nbond_holes = 0\n")
	rep, err := run(dir)
	if err != nil {
		t.Fatal(err)
	}
	allHold(t, rep)
	// Closed form: the carrier is sunk as a ring less the groove that the resin fills.
	ring := func(r0, r1 float64) float64 { return 90 * math.Sin(math.Pi/90) * (r1*r1 - r0*r0) } // 180 sides
	in := lantern.PadCarrierGrooveMM * math.Tan(10*math.Pi/180)
	mean := func(r float64) float64 { return r*r + r*in + in*in/3 }  // of (r + in·t)² over t
	mean2 := func(r float64) float64 { return r*r - r*in + in*in/3 } // of (r − in·t)²
	groove := 90 * math.Sin(math.Pi/90) * lantern.PadCarrierGrooveMM * (mean2(lantern.PadCarrierToMM) - mean(lantern.PadCarrierFromMM))
	sunk := ring(lantern.PadCarrierInnerMM, lantern.PadCarrierOuterMM)*lantern.PadCarrierSunkMM - groove
	if want, got := lantern.FootPad().Mesh.VolumeMM3()-sunk, rep.Mould.CavityMM3(); math.Abs(got/want-1) > 1e-6 {
		t.Errorf("the cavity holds %.3f mm³, want %.3f", got, want)
	}
	if len(rep.Mould.Pieces) != 2 || len(rep.Pours) != 0 || len(rep.Mould.Stages) != 2 || rep.Shot == nil {
		t.Errorf("%d pieces, %d pours, %d stages", len(rep.Mould.Pieces), len(rep.Pours), len(rep.Mould.Stages))
	}
	written(t, dir, "mould.3mf", "pieces/tray.stl", "pieces/carrier.stl", "pictures/carrier.png", "drawings.pdf")
	warnings := strings.Join(rep.Warnings, "\n")
	lacks(t, "warnings", warnings, "touch on", "lifts the carrier with", "air stays under the carrier")
}

// A carrier in the wrong place is refused with the place and what to do; a wrong setting names its line.
func TestTrayRefuses(t *testing.T) {
	_, err := run(trayJob(t, r3.Vec{Z: -8}, "[tray]\ncarrier = \"carrier.3mf\"\n"))
	var refused *Refusal
	if !errors.As(err, &refused) || !strings.Contains(refused.Report.Reasons[0].Words, "out under the part") {
		t.Errorf("sunk through the floor: %v", err)
	}
	for more, say := range map[string]string{
		"[tray]\ncarrier = \"none.3mf\"\n":            "none.3mf",
		"[tray]\ncarrier = \"../carrier.3mf\"\n":      "tray.carrier",
		"[tray]\ntabs = 2\n":                          "3 or more",
		"[tray]\nneck_mm = -1\n":                      "outside 0 to 10 mm",
		"[trim]\njig = true\n":                        "no flash",
		"[trim]\njig = false\nblade_gap_mm = 9\n":     "outside 0 to 1.5 mm",
		"[tray]\ncarrier_object = \"b\"\ncarrier = 3": "carrier",
	} {
		if _, err := run(trayJob(t, r3.Vec{}, more)); err == nil || !strings.Contains(err.Error(), say) {
			t.Errorf("%q: %v", more, err)
		}
	}
}

// A job asks for a trimming jig: its pieces are written beside the mould's, and the report says what it
// guides.
func TestRunTrimJig(t *testing.T) {
	folder := newJob(t, block(30, 26, 8), "[trim]\njig = true\n")
	rep, err := run(folder)
	if err != nil {
		t.Fatal(err)
	}
	if rep.Trim == nil || math.Abs(rep.Trim.GuidedMM-120) > 1e-6 || rep.Trim.HandMM != 0 || len(rep.Trim.Pieces) != 2 { // round a base of 30 × 30 mm
		t.Fatalf("%+v; %q", rep.Trim, rep.Warnings)
	}
	written(t, folder, "pieces/trim-nest.stl", "pieces/trim-cap.3mf", "pictures/trim-jig.png")
	var b strings.Builder
	if err := rep.Print(&b); err != nil {
		t.Fatal(err)
	}
	lacks(t, "report", b.String(), "Trimming jig", "guides along 120 mm", "cut-proof glove")
}
