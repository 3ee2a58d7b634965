package job

import (
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/sheet"
)

var ctx = context.Background()

// quick are the options of runs whose pictures nobody looks at.
var quick = sheet.View{WidthPx: 160, HeightPx: 120}

func run(folder string) (*Report, error) {
	return Run(ctx, folder, RunOptions{Pool: pool, view: quick})
}

// The same job gives the same bytes, however often and with however many workers.
func TestSameInputSameBytes(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	put(t, filepath.Join(folder, FileName), bare+"[mould]\nbolt = \"M3\"\ngutter_ml = 1\n")
	sameBytes(t, folder, func(rep *Report, files string) {
		for _, name := range rep.Files {
			if info, err := os.Stat(filepath.Join(folder, OutName, name)); err != nil || info.Size() == 0 {
				t.Errorf("%s: %v", name, err)
			}
		}
		if n := strings.Count(files, "\n") + 1; n != len(rep.Files) {
			t.Errorf("%d files, the report lists %d", n, len(rep.Files))
		}
	})
	last, err := LastReport(folder)
	if err != nil {
		t.Fatal(err)
	}
	if !last.Directions[len(last.Directions)-1].Used || last.Refused || last.Part.Unit != "mm" {
		t.Errorf("report: %+v", last)
	}
	// What was written reads back closed, and the pieces with what is between them fill the block.
	sum := 0.0
	for _, name := range []string{"pieces/lower-half.3mf", "pieces/upper-half.3mf"} {
		model, err := meshfile.Open(filepath.Join(folder, OutName, name), mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		in, err := mesh.Inspect(ctx, model.Objects[0].Mesh)
		if err != nil || !in.Closed || in.Fatal() != nil {
			t.Errorf("%s: %v, %v", name, err, in.Fatal())
		}
		sum += in.VolumeMM3
	}
	for _, l := range last.Mould.Ledger {
		if !l.Solid {
			sum += l.VolumeMM3
		}
	}
	b := last.Mould.BlockMM
	if whole := b[0] * b[1] * b[2]; sum < whole*(1-1e-9) || sum > whole*(1+1e-9) {
		t.Errorf("pieces and spaces come to %.9g mm³, the block to %.9g mm³", sum, whole)
	}
}

// A refusal takes the files of an earlier, good mould away: they must not lie there as if they were
// good for this part.
func TestRefusalLeavesNoMould(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	if _, err := run(folder); err != nil {
		t.Fatal(err)
	}
	if err := meshfile.Save(filepath.Join(folder, "part.stl"), &mesh.Model{Unit: 1, Objects: []mesh.Object{{Mesh: hollow()}}}); err != nil {
		t.Fatal(err)
	}
	rep, err := run(folder)
	var refused *Refusal
	if !errors.As(err, &refused) || !refused.Refused() || refused.Report != rep {
		t.Fatalf("error %v", err)
	}
	lacks(t, "the refusal", err.Error(), "sealed hollow: 1000.0 mm³", "open the hollow")
	want := []string{"pictures/where-it-locks.png", "report.txt", "report.json"}
	if !rep.Refused || rep.Mould != nil || !reflect.DeepEqual(rep.Files, want) || strings.Count(tree(t, filepath.Join(folder, OutName)), "\n") != 2 {
		t.Errorf("files %v\n%s", rep.Files, tree(t, filepath.Join(folder, OutName)))
	}
	if len(rep.Directions) < 3 {
		t.Errorf("%d directions tried: the part's own axes are three", len(rep.Directions))
	}
	last, err := LastReport(folder)
	if err != nil {
		t.Fatal(err)
	}
	a, _ := json.Marshal(rep)
	b, _ := json.Marshal(last)
	if string(a) != string(b) {
		t.Errorf("the report does not read back:\n%s\n%s", a, b)
	}
}

func TestTwoRunsAtOnce(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	unlock, err := lock(folder)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := run(folder); !errors.Is(err, ErrBusy) || !strings.Contains(err.Error(), folder) {
		t.Errorf("error %v, want ErrBusy", err)
	}
	// An editor that saves by replacing job.toml does not lift the lock.
	if err := os.Rename(filepath.Join(folder, FileName), filepath.Join(folder, "old.toml")); err != nil {
		t.Fatal(err)
	}
	put(t, filepath.Join(folder, FileName), small)
	if _, err := run(folder); !errors.Is(err, ErrBusy) {
		t.Errorf("error %v, want ErrBusy", err)
	}
	unlock()
	if _, err := run(folder); err != nil {
		t.Error(err)
	}
}

func TestStoppedRunLeavesNothing(t *testing.T) {
	folder := newJob(t, block(24, 20, 10), "")
	for _, stage := range []string{"searching opening directions", "drawing and writing"} {
		stopped, cancel := context.WithCancel(ctx)
		_, err := Run(stopped, folder, RunOptions{Pool: pool, view: quick, Progress: func(name string, _ float64) {
			if name == stage {
				cancel()
			}
		}})
		cancel()
		if !errors.Is(err, context.Canceled) {
			t.Errorf("stopped at %q: error %v", stage, err)
		}
		if _, err := os.Stat(filepath.Join(folder, OutName)); !errors.Is(err, os.ErrNotExist) || len(leftovers(t, folder)) > 0 {
			t.Errorf("stopped at %q: left %v", stage, leftovers(t, folder))
		}
	}
}

// Along a slant a plain box has draft and along its axes none. An axis goes before a slant only where it
// is no worse, or the slant is a small lean.
func TestTryOrder(t *testing.T) {
	make := func(axis, opens, drafted bool) *judged {
		d := r3.Vec{Z: 1}
		if !axis {
			d = r3.Vec{X: 0.6, Z: 0.8}
		}
		return &judged{candidate: candidate{d: d, axis: axis}, drafted: drafted, report: DirectionReport{OK: opens}}
	}
	lean := make(false, true, true)
	lean.d = r3.Unit(r3.Vec{X: 0.1, Z: 1})
	slant, axis, bare, locked, bareSlant := make(false, true, true), make(true, true, true), make(true, true, false), make(true, false, true), make(false, true, false)
	for _, c := range []struct {
		name      string
		in, order []*judged
	}{
		{"an axis as good comes first", []*judged{slant, axis}, []*judged{axis, slant}},
		{"an axis without the draft stays", []*judged{slant, bare}, []*judged{slant, bare}},
		{"a small lean gives way to it even so", []*judged{lean, bare}, []*judged{bare, lean}},
		{"neither has the draft", []*judged{bareSlant, bare}, []*judged{bare, bareSlant}},
		{"one that locks comes last", []*judged{locked, slant, bare}, []*judged{slant, bare, locked}},
		{"the search's order else", []*judged{bare, axis, slant}, []*judged{bare, axis, slant}},
	} {
		if got := tryOrder(c.in); !reflect.DeepEqual(got, c.order) {
			t.Errorf("%s", c.name)
		}
	}
}

// The hollow's facets are seen from no side, so the picture cuts the part open; a mark on an outer face
// is seen from the side it faces.
func TestWhereItLocksIsSeen(t *testing.T) {
	m := hollow()
	view, seen, err := bestView(ctx, m, []int32{12, 13, 14})
	if err != nil || seen > leastSeen {
		t.Errorf("the hollow is seen: %v, share %g, %v", view, seen, err)
	}
	view, seen, err = bestView(ctx, m, []int32{0, 1}) // the bottom
	if err != nil || view.ElevationDeg != -60 || seen < 0.8 {
		t.Errorf("the bottom is seen from %v, share %g, %v", view, seen, err)
	}
	if d := r3.Dot(towards(view.AzimuthDeg, view.ElevationDeg), r3.Vec{Z: -1}); d < 0.8 {
		t.Errorf("the eye does not look up: %g", d)
	}
}

func TestNames(t *testing.T) {
	for want, marks := range map[string][]string{"B1–B3, K1": {"B1", "B2", "B3", "K1"}, "B1, B2": {"B1", "B2"}, "Ll, Lu": {"Ll", "Lu"}, "B9–B11": {"B9", "B10", "B11"}, "": nil} {
		if got := names(marks); got != want {
			t.Errorf("%v: %q, want %q", marks, got, want)
		}
	}
}
