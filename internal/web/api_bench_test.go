package web

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mouldwright/internal/batch"
	"mouldwright/internal/record"
	"mouldwright/internal/steps"
)

// A built mould is worked at the bench through the API: plan, sheet, run, signs; then its castings go
// into the records and its shots into a batch.
func TestFromMouldToRecords(t *testing.T) {
	c := serve(t, Options{Folder: workspaceWithRing(t)})
	var j, bare jobView
	c.must("POST", "/api/jobs", newJob{Demo: "foot ring"}, &bare)
	if s, b := c.do("GET", "/api/jobs/"+bare.ID+"/plan", nil); s != 404 && s != 422 {
		t.Errorf("a plan before the mould: %d %s", s, b)
	}
	c.must("GET", "/api/jobs/"+ringID, nil, &j)

	var filled fillMeta
	_, b := c.do("GET", "/api/jobs/"+j.ID+"/fill.bin", nil)
	arrays := unpack(t, b, &filled)
	if n := len(arrays["wet"]); n == 0 || 3*n != len(arrays["positions"]) || len(arrays["corners"]) != 12*filled.Facets || !(filled.TotalMM3 > 1000) {
		t.Errorf("fill: %+v, %d moments, %d bytes of corners", filled, n/4, len(arrays["corners"]))
	}

	var plan steps.Plan
	c.must("GET", "/api/jobs/"+j.ID+"/plan?shots=3&temp_c=21&vacuum=true", nil, &plan)
	if plan.Shots != 3 || len(plan.Steps) < 10 {
		t.Fatalf("plan of %d shots, %d steps", plan.Shots, len(plan.Steps))
	}
	if s, b := c.do("GET", "/api/jobs/"+j.ID+"/plan?temp_c=200", nil); s != 422 {
		t.Errorf("a shop at 200 °C: %d %s", s, b)
	}
	for _, paper := range []string{"A4", "Letter"} {
		if s, b := c.do("GET", "/api/jobs/"+j.ID+"/sheet.pdf?paper="+paper, nil); s != 200 || !bytes.HasPrefix(b, []byte("%PDF-")) {
			t.Errorf("sheet on %s: %d, %d bytes", paper, s, len(b))
		}
	}
	run := c.walk(j.ID)
	c.book(j, run)
	c.planDemoBatch(j)
}

// walk signs a run to its end, and tries what may not be.
func (c *client) walk(job string) runView {
	c.t.Helper()
	var run runView
	c.must("POST", "/api/jobs/"+job+"/runs", newRun{Operator: "Kim", BenchChoice: BenchChoice{Shots: 1, Again: true}}, &run)
	if run.Of == 0 || run.Done != 0 || run.Plan == nil || len(run.Plan.Steps) != run.Of {
		c.t.Fatalf("run: %+v", run)
	}
	signs := "/api/runs/" + run.ID + "/signs"
	last, hard := run.Steps[len(run.Steps)-1].Step, ""
	for _, q := range run.Steps {
		if q.Hard && hard == "" {
			hard = q.Step
		}
	}
	if s, b := c.do("POST", signs, signature{Step: last, Operator: "Kim"}); s != 409 || !strings.Contains(string(b), "release") {
		c.t.Errorf("signing past a hard stop: %d %s", s, b)
	}
	if s, b := c.do("POST", signs, signature{Step: hard, Operator: "Kim", Skipped: true}); s != 422 {
		c.t.Errorf("a skip without a reason: %d %s", s, b)
	}
	if s, b := c.do("POST", signs, signature{Step: "no such step", Operator: "Kim"}); s != 404 && s != 422 {
		c.t.Errorf("an unknown step: %d %s", s, b)
	}
	for i, q := range run.Steps {
		sign := signature{Step: q.Step, Operator: "Kim", Key: fmt.Sprint("k", i)}
		if q.Step == hard {
			sign.Skipped, sign.Reason = true, "coated yesterday"
		}
		c.must("POST", signs, sign, &run)
		if i == 1 { // the phone lost the answer, and sends it again
			c.must("POST", signs, sign, &run)
		}
		if run.Done != i+1 {
			c.t.Fatalf("%d of %d signed after %d", run.Done, run.Of, i+1)
		}
	}
	kept := ""
	for _, q := range run.Signed {
		kept += q.Reason
	}
	if kept != "coated yesterday" {
		c.t.Errorf("the reason for the skip is %q in the records", kept)
	}
	var list []runView
	c.must("GET", "/api/jobs/"+job+"/runs", nil, &list)
	if len(list) != 1 || list[0].Done != list[0].Of || list[0].Plan != nil {
		c.t.Errorf("runs: %+v", list)
	}
	if s, _ := c.do("GET", "/api/runs/nothing", nil); s != 404 {
		c.t.Errorf("an unknown run: %d", s)
	}
	return run
}

// book puts a mould and castings down and asks for causes and exports.
func (c *client) book(j jobView, run runView) {
	c.t.Helper()
	var m record.Mould
	c.must("POST", "/api/records/moulds", newMould{Name: "ring A", Job: run.Job, MadeOn: "2026-03-02", ExpectedShots: 60, Operator: "Kim"}, &m)
	var shot record.Shot
	g := 58.5
	c.must("POST", "/api/records/shots", newShot{Mould: m.ID, Run: run.ID, Outcome: "scrap", CastingG: &g, Defects: []record.Defect{{Code: "void", Place: "rim"}}, Operator: "Kim"}, &shot)
	if s, b := c.do("POST", "/api/records/shots", newShot{Mould: "mould-99", Outcome: "good", Operator: "Kim"}); s != 404 && s != 422 {
		c.t.Errorf("a casting of an unknown mould: %d %s", s, b)
	}
	if s, b := c.do("POST", "/api/records/moulds", newMould{Name: "x", Job: "x", MadeOn: "2nd of March", Operator: "Kim"}); s != 422 || !strings.Contains(string(b), "made_on") {
		c.t.Errorf("a date in words: %d %s", s, b)
	}
	var moulds []mouldView
	c.must("GET", "/api/records/moulds", nil, &moulds)
	if len(moulds) != 1 || moulds[0].Life.Scrap != 1 || moulds[0].Name != "ring A" {
		c.t.Errorf("moulds: %+v", moulds)
	}
	for _, q := range []string{"", "?mould=" + m.ID, "?job=" + strings.ReplaceAll(run.Job, " ", "+")} {
		var shots []record.Shot
		c.must("GET", "/api/records/shots"+q, nil, &shots)
		if len(shots) != 1 || shots[0].ID != shot.ID {
			c.t.Errorf("shots%s: %+v", q, shots)
		}
	}
	var causes []record.Likely
	c.must("GET", "/api/records/shots/"+shot.ID+"/causes?defect=void&job="+j.ID, nil, &causes)
	air := slices.IndexFunc(causes, func(q record.Likely) bool { return q.Cause == "trapped-air" })
	if air < 0 || len(causes[air].For)+len(causes[air].Against) == 0 { // the report's fill speaks for or against it
		c.t.Errorf("causes: %+v", causes)
	}
	if s, b := c.do("GET", "/api/records/export/records.xlsx", nil); s != 200 || !bytes.HasPrefix(b, []byte("PK")) {
		c.t.Errorf("xlsx: %d, %d bytes", s, len(b))
	}
	for _, table := range record.ExportTables() {
		if s, b := c.do("GET", "/api/records/export/"+table+".csv", nil); s != 200 || len(b) == 0 {
			c.t.Errorf("%s.csv: %d, %d bytes", table, s, len(b))
		}
	}
	if s, _ := c.do("GET", "/api/records/export/passwords.csv", nil); s != 404 {
		c.t.Errorf("an unknown table: %d", s)
	}
}

// planDemoBatch makes a batch of the demo's file, plans it, and changes it.
func (c *client) planDemoBatch(j jobView) {
	c.t.Helper()
	text, err := os.ReadFile("../../demo/batch/batch.toml")
	if err != nil {
		c.t.Fatal(err)
	}
	var v batchView
	c.must("POST", "/api/batches", map[string]string{"name": "Foot rings", "text": string(text)}, &v)
	if v.ID != "foot-rings" || v.Bad != nil || v.Plan != nil {
		c.t.Fatalf("batch: %+v", v)
	}
	var first batchText
	c.must("GET", "/api/jobs/"+j.ID+"/batch-starter", nil, &first)
	var begun batchView
	c.must("POST", "/api/batches", map[string]string{"name": "first", "text": first.Text}, &begun)
	c.must("POST", "/api/batches/first/plan", nil, &begun)
	if begun.Plan == nil || len(begun.Plan.Plan.Versions) != 1 {
		c.t.Errorf("a first batch: %+v", begun)
	}
	c.must("POST", "/api/batches/"+v.ID+"/plan?seed=7", nil, &v)
	if v.Plan == nil || v.Plan.Plan == nil || v.Plan.Costs == nil || v.Stale {
		c.t.Fatalf("no plan: %+v", v)
	}
	for _, name := range []string{"board.svg", "day-lists.pdf", batch.PlanFile} {
		if s, b := c.do("GET", "/api/batches/"+v.ID+"/out/"+name, nil); s != 200 || len(b) < 100 {
			c.t.Errorf("%s: %d, %d bytes", name, s, len(b))
		}
	}
	for _, name := range []string{"..%2fbatch.toml", "%2e%2e", "nothing.svg"} {
		if s, b := c.do("GET", "/api/batches/"+v.ID+"/out/"+name, nil); s == 200 {
			c.t.Errorf("%s came back: %s", name, b)
		}
	}
	put := func(text, tag string) (int, Problem) {
		s, b := c.do("PUT", "/api/batches/"+v.ID, batchText{Text: text, Tag: tag})
		var p Problem
		_ = json.Unmarshal(b, &p) // an answer that is no problem leaves it empty
		return s, p
	}
	// A tool may take its figures from a job of this folder, and from nothing else on this machine.
	job := func(path string) string {
		return strings.Replace(string(text), "name = \"Foot ring mould\"\n", "name = \"Foot ring mould\"\njob = \""+path+"\"\n", 1)
	}
	outside := filepath.Join(c.t.TempDir(), "elsewhere")
	for _, path := range []string{outside, "../..", "../../" + filepath.Base(outside), "..", "../nothing"} {
		if s, p := put(job(path), ""); s != 422 || !strings.Contains(p.Detail, "no job of this folder") {
			c.t.Errorf("job = %q: %d %+v", path, s, p)
		}
	}
	if s, p := put(job("../"+j.ID), v.Tag); s != 200 {
		c.t.Errorf("a job of the folder: %d %+v", s, p)
	}
	if s, p := put(string(text), v.Tag); s != 409 {
		c.t.Errorf("an old tag: %d %+v", s, p)
	}
	if s, p := put(strings.Replace(string(text), "operators = 1", "operators = -1", 1), ""); s != 422 || p.Place == nil || p.Place.Line == 0 {
		c.t.Errorf("minus one operator: %d %+v", s, p)
	}
	var all []batchView
	c.must("GET", "/api/batches", nil, &all)
	if len(all) != 2 || all[1].Text != "" || all[1].Name != "Foot rings, amber and slate" {
		c.t.Errorf("batches: %+v", all)
	}
}
