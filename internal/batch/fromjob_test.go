package batch

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/internal/fill"
	"mouldwright/internal/job"
	"mouldwright/internal/material"
)

// ringReport is a made-up outcome of a job.
func ringReport() *job.Report {
	return &job.Report{Format: job.ReportFormat, Part: job.PartReport{Name: "foot-ring"}, Mould: &job.MouldReport{BlockMM: [3]float64{140, 138, 52}},
		Shot: &material.Shot{MaterialID: "pu-flexible", MixG: 60.5, TotalG: 61.5, PotLife: &material.Duration{Seconds: 630, AtC: 23}}}
}

// withJob puts the demo's batch beside a job with the report, and names the job in the batch's tool.
func withJob(t *testing.T, rep *job.Report, changes ...string) (path string) {
	t.Helper()
	src, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		t.Fatal(err)
	}
	root := t.TempDir()
	path = filepath.Join(root, "batch", FileName)
	out := filepath.Join(root, "ring", job.OutName)
	for _, dir := range []string{filepath.Dir(path), out} {
		if err := os.MkdirAll(dir, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	changes = append([]string{"count = 4\n", "count = 4\njob = \"../ring\"\n"}, changes...)
	if err := os.WriteFile(path, []byte(strings.NewReplacer(changes...).Replace(string(src))), 0o644); err != nil {
		t.Fatal(err)
	}
	if rep != nil {
		j, err := json.Marshal(rep)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(out, "report.json"), j, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	return path
}

// leftOut are the settings that a job knows.
var leftOut = []string{"cavities = 1\nbox_mm = [140, 140, 52]\n", "", "material = \"pu-flexible\"\nshot_g = 62\n", "", "pot_life_min = 10\n", ""}

func TestJobFillsIn(t *testing.T) {
	b, err := Load(withJob(t, ringReport(), leftOut...))
	if err != nil {
		t.Fatal(err)
	}
	tool, r := b.Tools[0], b.Recipes[0]
	if tool.BoxMM != [3]float64{140, 138, 52} || tool.Cavities != 1 || tool.Job != "foot-ring" {
		t.Errorf("tool %+v", tool)
	}
	if r.ShotG != 61.5 || r.PotLifeS != 630 || r.Material != "pu-flexible" {
		t.Errorf("recipe %+v", r)
	}
	if len(b.Warnings) > 0 {
		t.Error(b.Warnings)
	}
	if _, err := Make(t.Context(), b, quick); err != nil {
		t.Error(err)
	}
}

func TestWrittenWins(t *testing.T) {
	b, err := Load(withJob(t, ringReport())) // 62 g to 61.5 g, 10 min to 10.5 min: within 5 %
	if err != nil {
		t.Fatal(err)
	}
	if b.Recipes[0].ShotG != 62 || b.Recipes[0].PotLifeS != 600 || b.Tools[0].BoxMM[1] != 140 || len(b.Warnings) > 0 {
		t.Errorf("%+v %+v %v", b.Recipes[0], b.Tools[0], b.Warnings)
	}
	rep := ringReport()
	rep.Shot.TotalG, rep.Shot.PotLife.Seconds, rep.Shot.MaterialID, rep.Mould.BlockMM[2] = 66, 480, "pu-other", 60
	b, err = Load(withJob(t, rep))
	if err != nil {
		t.Fatal(err)
	}
	all := strings.Join(b.Warnings, "\n")
	for _, want := range []string{"shot_g is 62 g", "66 g", "pot_life_min is 10 min", "8 min", "pu-other", "140 × 138 × 60 mm"} {
		if !strings.Contains(all, want) {
			t.Errorf("no %q in:\n%s", want, all)
		}
	}
	if b.Recipes[0].ShotG != 62 || len(b.Warnings) != 4 {
		t.Errorf("%g g, %d warnings", b.Recipes[0].ShotG, len(b.Warnings))
	}
	b, err = Load(withJob(t, ringReport(), "[140, 140, 52]", "[52, 140, 138]"))
	if err != nil || len(b.Warnings) > 0 {
		t.Errorf("a mould stood on its edge: %v %v", err, b.Warnings)
	}
}

// A job's mould may cast several at once: the tool takes that number, and one filling is for all of them.
func TestJobWithCavities(t *testing.T) {
	rep := ringReport()
	rep.Mould.Cavities = 4
	b, err := Load(withJob(t, rep, leftOut...))
	if err != nil {
		t.Fatal(err)
	}
	if b.Tools[0].Cavities != 4 || b.Recipes[0].ShotG != 61.5 {
		t.Errorf("%d cavities, %g g a filling", b.Tools[0].Cavities, b.Recipes[0].ShotG)
	}
	p, err := Make(t.Context(), b, quick)
	if err != nil {
		t.Fatal(err)
	}
	if d := p.Versions[0]; d.Parts != 4*d.Shots {
		t.Errorf("%d parts of %d shots", d.Parts, d.Shots)
	}
	b, err = Load(withJob(t, rep, "box_mm = [140, 140, 52]\n", "box_mm = [140, 138, 52]\n"))
	if err != nil {
		t.Fatal(err)
	}
	if all := strings.Join(b.Warnings, "\n"); !strings.Contains(all, "1 cavities are written, its job's mould has 4 cavities") {
		t.Errorf("one cavity is written: %q", all)
	}
}

func TestJobOfNoUse(t *testing.T) {
	refused := ringReport()
	refused.Refused, refused.Mould, refused.Reasons = true, nil, []job.Reason{{What: "undercut", Words: "it holds"}}
	noShot := ringReport()
	noShot.Shot = nil
	noLife := ringReport()
	noLife.Shot.PotLife = nil
	other := ringReport()
	other.Shot.MaterialID = "pu-other"
	for _, c := range []struct {
		name    string
		rep     *job.Report
		changes []string
		want    []string
	}{
		{"no run", nil, nil, []string{"tool.job", "mouldwright run", "no results yet"}},
		{"refused", refused, nil, []string{"refused", "undercut: it holds", "mouldwright run"}},
		{"no shot", noShot, nil, []string{"no shot", "mouldwright run"}},
		{"no folder", ringReport(), []string{"cavities = 1", "cavities = 1 # moved", "count = 4\n", "count = 4\njob = \"../gone\"\n"}, nil},
		{"no pot life", noLife, leftOut, []string{"recipe.pot_life_min", "write it here"}},
		{"no kits", other, leftOut, []string{"pu-other", "[[material]]"}},
		{"four cavities", ringReport(), []string{"cavities = 1\n", "cavities = 4\n", "shot_g = 62\n", ""}, []string{"recipe.shot_g", "one cavity"}},
	} {
		path := withJob(t, c.rep, c.changes...)
		if c.name == "no folder" {
			if err := os.RemoveAll(filepath.Join(filepath.Dir(path), "..", "ring")); err != nil {
				t.Fatal(err)
			}
			c.want = []string{"there is no job folder"}
		}
		_, err := Load(path)
		if err == nil {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		for _, want := range append(c.want, FileName+":") {
			if !strings.Contains(err.Error(), want) {
				t.Errorf("%s: no %q in %v", c.name, want, err)
			}
		}
	}
}

// TestCostOfMould adds a mould up by hand: pieces of 40 and 60 mL printed, 100 mL of silicone in one pour.
func TestCostOfMould(t *testing.T) {
	rep := ringReport()
	rep.Mould.Pieces = []job.PieceReport{{VolumeMM3: 40_000}, {VolumeMM3: 60_000}, {VolumeMM3: 90_000, Poured: true}}
	rep.Pours = []job.PourReport{{ML: 100}}
	c := CostOfMould(rep, job.CompareRule{PrintPerML: 0.1, SiliconePerML: 0.03, LabourPerH: 30, PieceMin: 12, PourMin: 36})
	if c.Print != 10 || c.Silicone != 3 || c.Labour != 30 || c.Total() != 43 || c.Pieces != 2 || c.Pours != 1 || !c.Typical {
		t.Errorf("%+v", c)
	}
}

// TestStandingOnAWedge: a cube of 100 mm that leans by 30° takes no more than 150 mm each way, and its wedge on top
// of its height (closed form: w·cos + h·sin is at most w + h·sin).
func TestStandingOnAWedge(t *testing.T) {
	rep := ringReport()
	rep.Mould.BlockMM = [3]float64{100, 100, 100}
	rep.Fill = &job.FillReport{Wedge: &fill.Wedge{TiltDeg: 30, HeightsMM: [4]float64{3, 53, 53, 3}}}
	got := standing(rep)
	for k, want := range []float64{150, 150, 203} {
		if math.Abs(got[k]-want) > 1e-9 {
			t.Errorf("%v", got)
		}
	}
}
