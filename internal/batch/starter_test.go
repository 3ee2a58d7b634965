package batch

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"mouldwright/internal/job"
)

// A first batch.toml of a job is sound as it is, and can be planned.
func TestStarterPlans(t *testing.T) {
	rep := ringReport()
	path := withJob(t, rep)
	folder := filepath.Join(filepath.Dir(filepath.Dir(path)), "first")
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	text, err := Starter([]StarterJob{{Folder: "../ring", Report: rep, Rule: job.CompareRule{Batch: 12, LabourPerH: 33}}}, time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	b, err := Parse(filepath.Join(folder, FileName), text)
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	p, err := Make(t.Context(), b, quick)
	if err != nil {
		t.Fatal(err)
	}
	if err := Verify(b, p); err != nil {
		t.Error(err)
	}
	if len(p.Versions) != 1 || p.Versions[0].Parts < 12 || b.Versions[0].Quantity != 12 || b.Money.LabourPerH != 33 || p.Late != nil {
		t.Errorf("%+v, late %v", p.Versions, p.Late)
	}
	rep.Mould = nil
	if _, err := Starter([]StarterJob{{Folder: "../ring", Report: rep}}, time.Time{}); err == nil {
		t.Error("a batch of a job without a mould")
	}
}
