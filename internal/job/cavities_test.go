package job

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
)

// Three blocks at once: one filling is for all three and the runner, the report says how many castings it
// gives, and the same job gives the same bytes with one worker and with two.
func TestRunWithCavities(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	put(t, filepath.Join(folder, FileName), bare+"[mould]\ncavities = 3\nbolt = \"M3\"\n")
	sameBytes(t, folder, func(rep *Report, _ string) {
		if rep.Mould.Castings() != 3 || math.Abs(rep.Mould.CavityMM3()-rep.Part.VolumeMM3*rep.Mould.Scale[0]*rep.Mould.Scale[1]*rep.Mould.Scale[2]) > 0.01 {
			t.Errorf("%d castings of %.3f mm³", rep.Mould.Castings(), rep.Mould.CavityMM3())
		}
		uses := map[string]float64{}
		for _, u := range rep.Shot.Uses {
			uses[u.Name] = u.ML
		}
		if math.Abs(uses["3 cavities"]-3*rep.Mould.CavityMM3()/1000) > 1e-9 || !(uses["runner"] > 0) || !(uses["sprue"] > 0) {
			t.Errorf("one filling: %v", uses)
		}
		var b strings.Builder
		if err := rep.Print(&b); err != nil || !strings.Contains(b.String(), "with 3 cavities") {
			t.Errorf("print: %v\n%s", err, b.String())
		}
	})
	if _, err := CloseLid(ctx, folder, LidOptions{Pool: pool}); err == nil || !strings.Contains(err.Error(), "3 cavities") {
		t.Errorf("a lid over three cavities: %v", err)
	}
}

// What several cavities cannot be had with is named at its line.
func TestCavitiesElsewhere(t *testing.T) {
	for text, want := range map[string]string{
		"[mould]\ncavities = 65\n": "outside 0 to 64",
		"[mould]\ncavities = 2\n[ballast]\nball_mm = 4\nball_g_per_ml = 7.85\nshare_pct = 30\n": "[ballast]",
	} {
		_, err := Parse("job.toml", []byte(bare+text))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "mould.cavities") {
			t.Errorf("%q: %v, want %q", text, err, want)
		}
	}
}
