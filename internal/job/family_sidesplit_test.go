package job

import (
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/tooling"
)

// splitCap is a job that makes a side split of the demo's bumper cap.
func splitCap(t *testing.T, more string) string {
	t.Helper()
	return capJob(t, "[show]\ncolours = [\"#ffbf00\"]\n[mould]\nfamily = \"side-split\"\nbolt = \"none\"\nkeys = 0\n"+more)
}

// A soft cap comes out of a side-split mould, with the flash that the split leaves on its front; a rigid one
// is refused, because the core holds it.
func TestRunSideSplit(t *testing.T) {
	dir := splitCap(t, "[material]\nid = \"pu-flexible\"\n[side_split]\nside = [0, 1, 0]\n")
	rep, err := run(dir)
	if err != nil {
		t.Fatal(err)
	}
	allHold(t, rep)
	// Straight across the front and its rounded edge.
	if got := rep.Mould.LineOnShowMM; got < 2*lantern.CapOuterRadiusMM-2*lantern.CapFrontRoundMM || got > 2*lantern.CapOuterRadiusMM+2*lantern.CapFrontRoundMM {
		t.Errorf("%.1f mm of the line lie on show faces", got)
	}
	if !slices.ContainsFunc(rep.Warnings, func(w string) bool { return strings.Contains(w, "show faces") }) {
		t.Errorf("no warning of the flash on show faces: %q", rep.Warnings)
	}
	written(t, dir, "mould.3mf", "pieces/whole-half.stl", "pieces/side-piece-1.stl", "pieces/side-piece-2.stl")
	if len(rep.Pours) != 0 || rep.Shot == nil {
		t.Errorf("%d pours beside the casting, shot %v", len(rep.Pours), rep.Shot != nil)
	}
}

func TestSideSplitRefusesARigidCap(t *testing.T) {
	dir := splitCap(t, "[material]\nid = \"pu-rigid\"\n[opening]\ndirection = [0, 0, -1]\n")
	rep, err := run(dir)
	if !errors.As(err, new(*Refusal)) {
		t.Fatalf("%v", err)
	}
	if len(rep.Reasons) != 1 || !strings.Contains(rep.Reasons[0].What, tooling.WholeHalf) {
		t.Errorf("%+v", rep.Reasons)
	}
}

func TestSideOfNoLength(t *testing.T) {
	_, err := run(splitCap(t, "[side_split]\nside = [0, 0]\n"))
	if err == nil || !strings.Contains(err.Error(), "side_split.side") {
		t.Errorf("%v", err)
	}
}

// Two blocks in a row: one filling is for both, through a sprue for each, and the report says which number
// stands where.
func TestRunSideSplitWithCavities(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	put(t, filepath.Join(folder, FileName), bare+"[opening]\ndirection = [0, 0, 1]\n[side_split]\nside = [1, 0, 0]\n[mould]\nfamily = \"side-split\"\ncavities = 2\ncavity_gap_mm = 12\nbolt = \"none\"\nkeys = 0\n")
	rep, err := run(folder)
	if err != nil {
		t.Fatal(err)
	}
	m, kinds := rep.Mould, map[string]int{}
	for _, f := range m.Features {
		kinds[f.Kind]++
	}
	if m.Castings() != 2 || kinds["sprue"] != 2 || kinds["cavity number"] != 2 {
		t.Errorf("%d castings, features %v", m.Castings(), kinds)
	}
	one := 10.0 / 3 * (24*24 + 24*20 + 20*20) // frustum of a pyramid
	for _, u := range rep.Shot.Uses {
		if u.Name == "2 cavities" && math.Abs(u.ML-2*one*m.Scale[0]*m.Scale[1]*m.Scale[2]/1000) > 1e-6 {
			t.Errorf("one filling takes %g mL of %s", u.ML, u.Name)
		}
	}
	// 2 × 24 mm of parts, the gap, and a wall of the default 12 mm at both ends.
	if grow := m.Scale[1]; math.Abs(m.BlockMM[1]-(2*24*grow+12+2*12)) > 0.01 {
		t.Errorf("the block is %.3f mm long", m.BlockMM[1])
	}
}
