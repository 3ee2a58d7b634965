package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/internal/job"
	"mouldwright/internal/material"
)

// bench runs record commands on one set of records as one person.
type bench struct {
	t   *testing.T
	dir string
}

func newBench(t *testing.T) bench {
	dir := t.TempDir()
	t.Setenv("MOULDWRIGHT_RECORDS", filepath.Join(dir, "records.db"))
	t.Setenv("MOULDWRIGHT_OPERATOR", "Kim")
	return bench{t, dir}
}

func (b bench) ok(args ...string) string {
	b.t.Helper()
	o := run(b.t, Env{}, append([]string{"record"}, args...)...)
	if o.code != ExitOK {
		b.t.Fatalf("%v: exit %d: %s", args, o.code, o.err)
	}
	return o.out
}

func (b bench) refused(want string, args ...string) {
	b.t.Helper()
	o := run(b.t, Env{}, append([]string{"record"}, args...)...)
	if o.code != ExitInput || !strings.Contains(o.err, want) {
		b.t.Errorf("%v: exit %d, %s; want %q", args, o.code, o.err, want)
	}
}

// goodJob is a job folder with the results of a good run.
func goodJob(t *testing.T) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "ring")
	if err := os.MkdirAll(filepath.Join(dir, job.OutName), 0o755); err != nil {
		t.Fatal(err)
	}
	toml := "format = 1\n[part]\nname = \"Ring\"\nfile = \"ring.stl\"\n[material]\nid = \"pu-flexible\"\n"
	if err := os.WriteFile(filepath.Join(dir, job.FileName), []byte(toml), 0o644); err != nil {
		t.Fatal(err)
	}
	lib, err := material.Generic()
	if err != nil {
		t.Fatal(err)
	}
	m, err := lib.Find("pu-flexible")
	if err != nil {
		t.Fatal(err)
	}
	shot, err := m.Shot([]material.Volume{{Name: "cavity", VolumeMM3: 24000}}, material.ShotOptions{OverfillPct: 5, CupResidueG: 3})
	if err != nil {
		t.Fatal(err)
	}
	rep := job.Report{Format: job.ReportFormat, Part: job.PartReport{Name: "Ring", VolumeMM3: 24000}, Shot: shot,
		Directions: []job.DirectionReport{{OK: true, MinDraftDeg: 0.2}},
		Mould: &job.MouldReport{Family: "two rigid halves", BlockMM: [3]float64{120, 95, 27}, Scale: [3]float64{1.003, 1.003, 1.003}, LineMM: 360,
			Pieces:   []job.PieceReport{{Name: "lower half", Exit: [3]float64{0, 0, -1}}, {Name: "upper half", Exit: [3]float64{0, 0, 1}}},
			Features: []job.FeatureReport{{Name: "S1", Kind: "sprue", Piece: "upper"}}}}
	b, err := json.Marshal(rep)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, job.OutName, "report.json"), b, 0o644); err != nil {
		t.Fatal(err)
	}
	return dir
}

// A day at the bench, from the lots to the backup.
func TestRecordDay(t *testing.T) {
	b := newBench(t)
	folder := goodJob(t)
	b.refused("put something down first", "mould")
	b.ok("mould", "ring 1", "--job", "Ring", "--expected", "60")
	b.ok("lot", "pu-flexible", "A (isocyanate)", "--label", "77", "--expires", "2020-01-31")
	b.ok("lot", "pu-flexible", "B (polyol)", "--label", "78", "--expires", "2099-01-31")
	b.refused(`its components are "A (isocyanate)", "B (polyol)"`, "lot", "pu-flexible", "hardener")
	b.refused(`no material "pu-soft"`, "lot", "pu-soft", "A")
	mix := []string{"mix", "pu-flexible", "--part", "lot-1=16.5/16.5", "--part", "lot-2=15.4/15.4", "--temp", "21"}
	b.refused("lot lot-1 of A (isocyanate) was good until 2020-01-31", mix...)
	b.refused(`no lot "lot-9"`, "mix", "pu-flexible", "--part", "lot-9=1/1")
	b.refused("write LOT=ASKED/WEIGHED", "mix", "pu-flexible", "--part", "lot-1:1")
	b.ok(append(mix, "--deviation", "a test cup cured well")...)

	contains(t, "start", b.ok("start", folder, "--mould", "mould-1", "--again"), "STOP  release-lower-half", "STOP  release-upper-half")
	b.refused("waits for hard stops", "sign", "run-1", "pour")
	b.refused("only with a reason", "sign", "run-1", "release-lower-half", "--skip")
	b.ok("sign", "run-1", "release-lower-half", "--skip", "--reason", "coated an hour ago")
	contains(t, "run", b.ok("list", "runs", "run-1"), "skipped by Kim: coated an hour ago")

	b.ok("shot", "mould-1", "--mix", "mix-1", "--outcome", "scrap", "--weight", "24.2", "--predicted", "24.9", "--defect", "stuck@rim")
	b.refused(`"ugly" is not known; use one of: void`, "shot", "mould-1", "--defect", "ugly")
	contains(t, "causes", b.ok("causes", "shot-1", "stuck", folder), "the part is held by the mould", "the least draft is 0.2°", "common practice, no source")
	b.ok("correct", "shot", "shot-1", `{"outcome": "mended"}`, "--why", "cut it free")
	b.refused("unknown field", "correct", "shot", "shot-1", `{"outcom": "good"}`, "--why", "x")
	contains(t, "history", b.ok("list", "history", "shot-1"), "add by Kim", "correct by Kim: cut it free")
	contains(t, "moulds", b.ok("mould"), "1 of about 60 shots")

	b.ok("export", "csv", filepath.Join(b.dir, "tables"))
	if csv, err := os.ReadFile(filepath.Join(b.dir, "tables", "shots.csv")); err != nil || !strings.Contains(string(csv), "mended") {
		t.Errorf("%s %v", csv, err)
	}
	b.ok("export", "xlsx", filepath.Join(b.dir, "all.xlsx"))
	contains(t, "backup", b.ok("backup", filepath.Join(b.dir, "b.zip")), "read back and sound")
	b.ok("verify")
	b.ok("verify", filepath.Join(b.dir, "b.zip"))
	b.refused("there are records already", "restore", filepath.Join(b.dir, "b.zip"))
	b.ok("restore", filepath.Join(b.dir, "b.zip"), "--keep", filepath.Join(b.dir, "kept.zip"))
	b.ok("restore", filepath.Join(b.dir, "b.zip"), "--records", filepath.Join(b.dir, "other.db"))

	o := run(t, Env{}, "record", "mould", "--json")
	if v := fields(t, o); v["moulds"].([]any)[0].(map[string]any)["fillings"] != 1.0 {
		t.Errorf("%v", v)
	}
}

// The same key twice writes once and says so.
func TestRecordKey(t *testing.T) {
	b := newBench(t)
	b.ok("mould", "ring 1", "--key", "k1")
	b.refused("already written", "mould", "ring 1", "--key", "k1")
}

func TestSheetCommand(t *testing.T) {
	folder := goodJob(t)
	o := run(t, Env{}, "sheet", folder, "--shots", "4", "--link", "http://127.0.0.1/b", "--json")
	if o.code != ExitOK {
		t.Fatal(o.err)
	}
	v := fields(t, o)
	if v["plan"].(map[string]any)["shots"] != 4.0 || v["pages"].(float64) < 2 {
		t.Errorf("%v", v)
	}
	pdf, err := os.ReadFile(filepath.Join(folder, "shop-sheet.pdf"))
	if err != nil || !strings.HasPrefix(string(pdf), "%PDF-") {
		t.Errorf("%v", err)
	}
	o = run(t, Env{}, "sheet", folder, "--cup", "5")
	if o.code != ExitInput || !strings.Contains(o.err, "use a cup of at least") {
		t.Errorf("%d %s", o.code, o.err)
	}
	if o = run(t, Env{}, "sheet", t.TempDir()); o.code != ExitInput || !strings.Contains(o.err, "job.toml") {
		t.Errorf("%d %s", o.code, o.err)
	}
}
