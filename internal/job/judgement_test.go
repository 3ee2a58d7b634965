package job

import (
	"context"
	"errors"
	"math"
	"os"
	"path/filepath"
	"testing"

	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
)

// What Judge says is what a run does: the first direction of its report, to the last bit, also for a part
// that lies askew and one that locks.
func TestJudgeIsWhatARunTries(t *testing.T) {
	for name, c := range map[string]struct {
		m    *mesh.Mesh
		more string
	}{
		"drafted": {block(30, 26, 12), ""}, "upright walls": {block(30, 30, 12), ""}, "askew": {block(30, 26, 12).Map(r3.NewRotation(0.4, r3.Vec{X: 1, Y: 2, Z: 3}).Rotate), ""},
		"asked": {block(30, 26, 12), "[opening]\ndirection = [0, 0, -3]\n"}, "locks": {hollow(), ""},
	} {
		folder := newJob(t, c.m, c.more)
		f, err := Load(folder)
		if err != nil {
			t.Fatal(err)
		}
		p, err := readPart(context.Background(), folder, f, func(float64) {})
		if err != nil {
			t.Fatal(name, err)
		}
		last := -1.0
		j, err := Judge(context.Background(), p.mesh, make([]bool, len(p.mesh.Tris)), f, func(_ string, done float64) {
			if done < last {
				t.Errorf("%s: progress goes back from %g to %g", name, last, done)
			}
			last = done
		})
		if err != nil {
			t.Fatal(name, err)
		}
		rep, err := Run(context.Background(), folder, RunOptions{Pool: pool, view: quick})
		var no *Refusal
		if err != nil && !errors.As(err, &no) {
			t.Fatal(name, err)
		}
		d := rep.Directions[0]
		if array(j.Direction) != d.Direction || j.Asked != d.Asked || len(j.Report.Undercuts) != len(d.Undercuts) || j.Report.MinDraftDeg != d.MinDraftDeg {
			t.Errorf("%s: judged along %v, the run tries %v first", name, j.Direction, d.Direction)
		}
		if j.Asked != (len(j.Found) == 0) {
			t.Errorf("%s: %d directions of the search", name, len(j.Found))
		}
		for _, c := range j.Found {
			if math.Abs(math.Abs(r3.Dot(c.Direction, c.Of.Direction))-1) > 1e-12 {
				t.Errorf("%s: %v is told with the scores of %v", name, c.Direction, c.Of.Direction)
			}
		}
	}
}

// Results made in another folder from what Inputs names are the same files as those made here.
func TestDoneElsewhere(t *testing.T) {
	opt := RunOptions{Pool: pool, view: quick}
	here := newJob(t, block(30, 26, 12), "")
	put(t, filepath.Join(here, "notes.txt"), "not for a run")
	names, err := Inputs(here)
	if err != nil || len(names) != 2 || names[0] != FileName || names[1] != "part.stl" {
		t.Fatal(names, err)
	}
	there := t.TempDir()
	for _, n := range names {
		b, err := os.ReadFile(filepath.Join(here, n))
		if err != nil {
			t.Fatal(err)
		}
		put(t, filepath.Join(there, n), string(b))
	}
	rep, err := Run(context.Background(), there, opt)
	if err != nil {
		t.Fatal(err)
	}
	results := os.DirFS(filepath.Join(there, OutName))
	for range 2 { // once more changes nothing
		if err := Adopt(context.Background(), here, results, rep.Files); err != nil {
			t.Fatal(err)
		}
	}
	adopted := tree(t, filepath.Join(here, OutName))
	if adopted != tree(t, filepath.Join(there, OutName)) || leftovers(t, here) != nil {
		t.Error("other files came back than were made")
	}
	if _, err := Run(context.Background(), here, opt); err != nil {
		t.Fatal(err)
	}
	if adopted != tree(t, filepath.Join(here, OutName)) {
		t.Error("a run here makes other files")
	}
	for name, c := range map[string][]string{"climbs": {"report.json", "../evil"}, "is not there": {"report.json", "none"}} {
		if err := Adopt(context.Background(), here, results, c); err == nil {
			t.Errorf("a result that %s is taken", name)
		}
	}
	if err := Adopt(context.Background(), here, os.DirFS(there), []string{FileName}); err == nil {
		t.Error("results without a report are taken")
	}
	if adopted != tree(t, filepath.Join(here, OutName)) || leftovers(t, here) != nil {
		t.Error("a refused adoption changed the results")
	}
	put(t, filepath.Join(here, FileName), small+"[mould]\nlabel_font = \"../font.ttf\"\n")
	if _, err := Inputs(here); err == nil {
		t.Error("a file outside the job folder is named")
	}
}
