package job

import (
	"encoding/json"
	"errors"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/choice"
)

// lanternJob is a job for a part of the demo, cast soft, opening along z.
func lanternJob(t *testing.T, p *lantern.Part, more string) string {
	t.Helper()
	dir := t.TempDir()
	save(t, filepath.Join(dir, "part.3mf"), p.Object())
	put(t, filepath.Join(dir, FileName), "format = 1\n[part]\nfile = \"part.3mf\"\n[show]\ncolours = [\"#ffbf00\"]\n"+more)
	return dir
}

// The demo's three ways: two rigid halves lock the bumper cap, its side split crosses the show face, and
// the insert is chosen and proven by building it; the foot ring takes two rigid halves, built as well.
func TestCompareTheDemo(t *testing.T) {
	const soft = "[material]\nid = \"pu-flexible\"\n[opening]\ndirection = [0, 0, 1]\n"
	c, err := Compare(t.Context(), lanternJob(t, lantern.BumperCap(), soft), CompareOptions{Pool: pool, NoChange: true})
	if err != nil {
		t.Fatal(err)
	}
	if r := c.Row("two-rigid-halves"); r.Opens || r.Basis != choice.Estimated {
		t.Errorf("two rigid halves: %s", r.Verdict)
	}
	if r := c.Row("side-split"); r.ShowFlashMM < 2*lantern.CapOuterRadiusMM-2*lantern.CapFrontRoundMM {
		t.Errorf("side split: %.1f mm of flash on show faces; it should cross the front", r.ShowFlashMM)
	}
	if r := c.Row("cradle-insert"); c.Best != r.Key || !r.Opens || r.Basis != choice.Proven {
		t.Errorf("best is %q; the insert: %s %q", c.Best, r.Verdict, r.Reasons)
	}
	c, err = Compare(t.Context(), lanternJob(t, lantern.FootRing(), soft), CompareOptions{Pool: pool})
	if err != nil {
		t.Fatal(err)
	}
	if r := c.Row("two-rigid-halves"); c.Best != r.Key || r.Basis != choice.Proven {
		t.Errorf("foot ring: best is %q; two halves: %s %q", c.Best, r.Verdict, r.Reasons)
	}
}

// The carrier of the foot pad is over-moulded in the open tray; no other way has a place for it but two
// halves, which nothing builds round a carrier.
func TestCompareOverMould(t *testing.T) {
	folder := lanternJob(t, lantern.FootPad(), "[material]\nid = \"pu-flexible\"\n[opening]\ndirection = [0, 0, 1]\n[mould]\nfamily = \"tray\"\n[tray]\ncarrier = \"carrier.3mf\"\n")
	save(t, filepath.Join(folder, "carrier.3mf"), lantern.PadCarrier().Object())
	c, err := Compare(t.Context(), folder, CompareOptions{Pool: pool, Builds: BuildAll})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range c.Rows {
		switch r.Key {
		case "open-tray":
			if c.Best != r.Key || r.Basis != choice.Proven {
				t.Errorf("best is %q; the tray: %s %q", c.Best, r.Verdict, r.Reasons)
			}
		case "two-rigid-halves":
			if r.Basis == choice.Proven || c.Family(r.Key) != "" {
				t.Errorf("two halves: %s, but nothing builds them round a carrier", r.Verdict)
			}
		default:
			if r.Opens || r.Locks() || !strings.Contains(strings.Join(r.Reasons, " "), "carrier") {
				t.Errorf("%s: %s %q", r.Name, r.Verdict, r.Reasons)
			}
		}
	}
}

// A builder that fails sends its way down, with its reason; what the maker gives in [compare] is what is
// counted with.
func TestCompareSettings(t *testing.T) {
	folder := newJob(t, block(30, 26, 12), "[opening]\ndirection = [0, 0, 1]\n[printer]\nbuild_mm = [20, 20, 20]\n[compare]\nbatch = 44\ncurrency = \"XTS\"\nlabour_per_h = 1\nprint_per_ml = 2\n")
	c, err := Compare(t.Context(), folder, CompareOptions{Pool: pool, Builds: BuildAll})
	if err != nil {
		t.Fatal(err)
	}
	r := c.Row("two-rigid-halves")
	if why := r.Reasons[len(r.Reasons)-1]; r.Opens || r.Basis != choice.Tried || !strings.Contains(why, "larger printer") {
		t.Errorf("two halves larger than the printer: %s, %q", r.Verdict, r.Reasons)
	}
	if c.Batch != 44 || r.Cost.Prints != 2*r.PrintML || r.Cost.Labour != r.Cost.LabourH || !c.Prices.Typical {
		t.Errorf("batch %d, %+v for %.1f mL, typical %v", c.Batch, r.Cost, r.PrintML, c.Prices.Typical)
	}
	var text strings.Builder
	if err := c.Print(&text); err != nil {
		t.Fatal(err)
	}
	lacks(t, "the table", text.String(), "XTS", "batch of 44", "no sound mould, tried", "typical values")
	b, err := json.Marshal(c)
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Format int
		Ways   []struct {
			Key, Family, Basis string
			Opens              bool
			Direction          [3]float64
			Reasons            []string
		}
	}
	if err := json.Unmarshal(b, &got); err != nil {
		t.Fatal(err)
	}
	if got.Format != ComparisonFormat || len(got.Ways) != len(c.Rows) || got.Ways[0].Key != c.Rows[0].Key || got.Ways[0].Direction == [3]float64{} || strings.Contains(string(b), `"X":`) {
		t.Errorf("JSON: %s", b)
	}
	for _, bad := range []string{"batch = -1", "labour_per_h = -2", "pour_min = nan", "batch = 2000000"} {
		key, _, _ := strings.Cut(bad, " ")
		_, err := Compare(t.Context(), newJob(t, block(30, 26, 12), "[compare]\n"+bad+"\n"), CompareOptions{Pool: pool})
		var wrong *FileError
		if !errors.As(err, &wrong) || wrong.Key != "compare."+key {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

// No way opens a sealed hollow, and each says why.
func TestCompareWithoutAWay(t *testing.T) {
	c, err := Compare(t.Context(), newJob(t, hollow(), "[opening]\ndirection = [0, 0, 1]\n"), CompareOptions{Pool: pool})
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range c.Rows {
		if r.Opens || len(r.Reasons) == 0 {
			t.Errorf("%s: %s %q", r.Name, r.Verdict, r.Reasons)
		}
	}
	if c.Best != "" {
		t.Errorf("best is %q", c.Best)
	}
}

// Every way of package choice has its family of job.toml, and no family here is without its way.
func TestWaysAndFamilies(t *testing.T) {
	c, err := Compare(t.Context(), newJob(t, block(30, 26, 12), "[opening]\ndirection = [0, 0, 1]\n"), CompareOptions{Pool: pool, Builds: BuildNone})
	if err != nil {
		t.Fatal(err)
	}
	named := map[string]bool{}
	for _, r := range c.Rows {
		if r.Basis != choice.Estimated {
			t.Errorf("%s is %s, though nothing was to be built", r.Key, r.Basis)
		}
		if wayFamilies[r.Key] == "" {
			t.Errorf("way %q has no family", r.Key)
		}
		named[wayFamilies[r.Key]] = true
	}
	for _, f := range families {
		if !named[f.name] {
			t.Errorf("family %q is compared by no way", f.name)
		}
	}
	if !named[familyTwoHalves] || len(c.Rows) != len(wayFamilies) {
		t.Errorf("%d ways, %d families", len(c.Rows), len(wayFamilies))
	}
	if _, err := Compare(t.Context(), t.TempDir(), CompareOptions{Pool: pool}); err == nil {
		t.Error("no error for a folder without a job")
	}
}
