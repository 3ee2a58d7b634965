package cli

import (
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/job"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// dish is a frustum that widens upward, with its wide face at the parting line: the lower half is a
// plain basin, the lid a plain plate.
func dish() *mesh.Mesh {
	return frustum(40, 36, 12).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: v.X, Y: -v.Y, Z: -v.Z} })
}

// bossHeight and bossRadius are those of the tray's two bosses.
const bossHeight, bossRadius = 0.8, 6.0

// tray is a shallow tray with two bosses on its floor: the lid dips into the resin, with a hollow for
// each boss in its underside. The sprue takes at most one of them.
func tray(t *testing.T) *mesh.Mesh {
	t.Helper()
	pool := solid.NewPool(solid.Options{})
	defer pool.Close()
	var m *mesh.Mesh
	err := pool.Do(context.Background(), func(k *solid.Kernel) error {
		var all []*solid.Solid
		for _, c := range []struct {
			at      r3.Vec
			h, a, b float64
		}{{r3.Vec{}, 9, 30, 34}, {r3.Vec{Z: 4}, 5, 22, 24}, {r3.Vec{X: 11, Z: 3.5}, bossHeight + 0.5, bossRadius, bossRadius - 0.2}, {r3.Vec{X: -11, Z: 3.5}, bossHeight + 0.5, bossRadius, bossRadius - 0.2}} {
			s, err := k.Frustum(c.at, r3.Vec{Z: c.h}, c.a, c.b, 48)
			if err != nil {
				return err
			}
			all = append(all, s)
		}
		s, err := all[0].Subtract(all[1])
		if err != nil {
			return err
		}
		if s, err = s.Union(all[2:]...); err != nil {
			return err
		}
		m, err = s.Mesh()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// lidJob is a job run.
func lidJob(t *testing.T, part *mesh.Mesh, direction, vents string) (env Env, folder string) {
	t.Helper()
	env = Env{Jobs: JobFolders{}}
	folder = filepath.Join(t.TempDir(), "dish")
	if o := run(t, env, "new", folder, save(t, "dish.3mf", mesh.Object{Name: "dish", Mesh: part})); o.code != ExitOK {
		t.Fatalf("new: %+v", o)
	}
	file := filepath.Join(folder, "job.toml")
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	settled := strings.Replace(string(text), "# direction = [0, 0, 1]", "direction = "+direction, 1)
	settled = strings.Replace(settled, "vents = 1 ", "vents = "+vents+" ", 1)
	if err := os.WriteFile(file, []byte(settled), 0o600); err != nil {
		t.Fatal(err)
	}
	if o := run(t, env, "run", folder); o.code != ExitOK {
		t.Fatalf("run: %+v", o)
	}
	return env, folder
}

// The open half holds the frustum; a plain plate laid on a basin that is not quite full traps nothing,
// since the air leaves by the sprue.
func TestLidOverAPouredHalf(t *testing.T) {
	env, folder := lidJob(t, dish(), "[0, 0, 1]", "1")
	v := fields(t, run(t, env, "lid", folder, "--json", "--hinge", "left", "--hinge", "front", "--angle", "0", "--angle", "10"))
	cavity := number64(t, v, "cavity_ml")
	close64(t, "the open half", number64(t, v, "holds_ml"), cavity, 0.005*cavity)
	rows, ok := object(t, v, "comparison")["closings"].([]any)
	if !ok || len(rows) != 3 {
		t.Fatalf("closings %v: want flat, left and front", rows)
	}
	o := run(t, env, "lid", folder, "--hinge", "left", "--angle", "0", "--angle", "10")
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	t.Log("\n" + o.out)
	contains(t, "lid", o.out, "lowered about", "left edge", "put on flat", "±", "(best)", "mm²", "lid.svg")
	svg, err := os.ReadFile(filepath.Join(folder, "out", "pictures", "lid.svg"))
	if err != nil || !strings.Contains(string(svg), "the left edge") {
		t.Errorf("the chart: %v", err)
	}
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--hinge", "top"}, "left, right, front, back"},
		{[]string{"--angle", "95"}, "from 0 to 85"},
		{[]string{"--liquid=-3"}, "poured amount"},
	} {
		if o := run(t, env, append([]string{"lid", folder}, c.args...)...); o.code != ExitInput || !strings.Contains(o.err, c.want) {
			t.Errorf("%v: %+v", c.args, o)
		}
	}
	if now, _ := os.ReadFile(filepath.Join(folder, "out", "pictures", "lid.svg")); string(now) != string(svg) {
		t.Error("a wrong call changed the chart")
	}
}

// Put on flat, the two hollows in the lid keep their air: frustums of π·h/3·(a² + ab + b²), 0.9 % larger
// for shrinkage. Lowered from an angle, the lid keeps less.
func TestLidFromAnAngleLetsAirOut(t *testing.T) {
	env, folder := lidJob(t, tray(t), "[0, 0, 1]", "0")
	o := run(t, env, "lid", folder, "--hinge", "left", "--hinge", "front", "--angle", "0", "--angle", "15", "--angle", "30", "--json")
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	var r job.LidReport
	if err := json.Unmarshal([]byte(o.out), &r); err != nil {
		t.Fatal(err)
	}
	flat, best := r.Closings.Closings[r.Closings.Flat], r.Closings.Closings[r.Closings.Best]
	for _, c := range r.Closings.Closings {
		t.Log(c.Words)
	}
	const b = bossRadius - 0.2
	bosses := 2 * 1.009 * math.Pi * bossHeight / 3 * (bossRadius*bossRadius + bossRadius*b + b*b)
	close64(t, "air put on flat", flat.TrappedMM3, bosses, 0.05*bosses+flat.ErrorMM3)
	if !(best.TrappedMM3+best.ErrorMM3 < 0.7*flat.TrappedMM3) {
		t.Errorf("the best closing keeps %g of %g mm³", best.TrappedMM3, flat.TrappedMM3)
	}
	if r.Gutter.HoldsMM3 < r.Gutter.MostMM3*(1-1e-9) || r.Gutter.SeepsMM3 != 0 {
		t.Errorf("the gutter %+v does not hold what comes out", r.Gutter)
	}
}

// A cavity that lies above the parting line cannot be poured before the lid is on.
func TestLidWithoutHollow(t *testing.T) {
	env, folder := lidJob(t, dish(), "[0, 0, -1]", "1")
	if o := run(t, env, "lid", folder); o.code != ExitInput || !strings.Contains(o.err, "no hollow") || !strings.Contains(o.err, "sprue") {
		t.Errorf("%+v", o)
	}
	if o := run(t, env, "lid", t.TempDir()); o.code != ExitInput || !strings.Contains(o.err, "mouldwright run") {
		t.Errorf("no run: %+v", o)
	}
}
