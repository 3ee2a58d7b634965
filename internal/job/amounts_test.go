package job

import (
	"context"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/demo/lantern"
	"mouldwright/internal/material"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/solid"

	"gonum.org/v1/gonum/spatial/r3"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: %.9g, want %.9g ± %g", what, got, want, tol)
	}
}

// trough is a box of 60 × 40 × 30 mm, 5 mm thick, open on top.
func trough(t *testing.T) *mesh.Mesh {
	t.Helper()
	var m *mesh.Mesh
	err := pool.Do(t.Context(), func(k *solid.Kernel) error {
		outer, err := k.Box(r3.Box{Max: r3.Vec{X: 60, Y: 40, Z: 30}})
		if err != nil {
			return err
		}
		inner, err := k.Box(r3.Box{Min: r3.Vec{X: 5, Y: 5, Z: 5}, Max: r3.Vec{X: 55, Y: 35, Z: 31}})
		if err != nil {
			return err
		}
		cut, err := outer.Subtract(inner)
		if err != nil {
			return err
		}
		m, err = cut.Mesh()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// ballastOf plans the ballast of a job without building its mould.
func ballastOf(t *testing.T, folder string) (*BallastReport, error) {
	t.Helper()
	f, err := Load(folder)
	if err != nil {
		return nil, err
	}
	m, err := findMaterial(folder, f)
	if err != nil {
		return nil, err
	}
	p, err := readPart(t.Context(), folder, f, nil)
	if err != nil {
		return nil, err
	}
	s := &trying{folder: folder, part: p, file: f, material: m, report: &Report{}, opt: RunOptions{Pool: pool}}
	err = s.blendAndBallast(context.Background())
	return s.report.Ballast, err
}

const rigidNoShrink = "[material]\nid = \"pu-rigid\"\nshrink_pct = [0]\n"

// The trough by hand. Solid 60·40·30 − 50·30·25 = 34,500 mm³; its centre is at z = (72,000·15 −
// 37,500·17.5)/34,500 = 12.2826 mm. Hollow 37.5 mL, filled 0.60 with steel of 7.85 g/mL (176.625 g) and
// 0.40 with resin of 1.070 g/mL. With density ρ of the rigid resin, the centre of both follows from the
// lever rule; it tips over the long edge, 20 mm off its middle.
func TestBallastInTrough(t *testing.T) {
	lib, err := material.Generic()
	if err != nil {
		t.Fatal(err)
	}
	rigid, _ := lib.Find("pu-rigid")
	epoxy, _ := lib.Find("epoxy-2-1")
	rho, fill := rigid.MixedDensity().GPerML, epoxy.MixedDensity().GPerML
	chamber := filepath.Join(t.TempDir(), "room.stl")
	room := block(1, 1, 1).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: 30 + 50*v.X, Y: 20 + 30*v.Y, Z: 5 + 25*v.Z} })
	if err := meshfile.Save(chamber, &mesh.Model{Unit: 1, Objects: []mesh.Object{{Name: "room", Mesh: room}}}); err != nil {
		t.Fatal(err)
	}
	for name, where := range map[string]string{
		"box that ends at the mouth": "box = { min = [-5, -5, -5], max = [65, 45, 30] }\n",
		"box in the walls":           "box = { min = [2, 2, 2], max = [58, 38, 30] }\n",
		"file":                       "file = \"room.stl\"\n",
	} {
		folder := newJob(t, trough(t), rigidNoShrink+"[ballast]\nball_mm = 2\nball_g_per_ml = 7.85\nbackfill = \"epoxy-2-1\"\n"+where)
		if err := meshfile.Save(filepath.Join(folder, "room.stl"), &mesh.Model{Unit: 1, Objects: []mesh.Object{{Name: "room", Mesh: room}}}); err != nil {
			t.Fatal(err)
		}
		r, err := ballastOf(t, folder)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if r.Where != inHollow || r.Backfill == nil || r.Backfill.MaterialID != "epoxy-2-1" {
			t.Errorf("%s: %+v", name, r)
		}
		casting, balls, resin := 34.5*rho, 37.5*0.6*7.85, 37.5*0.4*fill
		near(t, name+": chamber, mL", r.ChamberML, 37.5, 1e-6)
		near(t, name+": balls, g", r.Used.BallsG, balls, 1e-6)
		near(t, name+": backfill, mL", r.Backfill.Uses[0].ML, 15, 1e-6)
		near(t, name+": width, mm", r.LeastMM, 25, 1e-6)
		near(t, name+": without, g", r.Without.MassG, casting, 1e-6)
		near(t, name+": with, g", r.With.MassG, casting+balls+resin, 1e-6)
		z := (casting*(72000*15-37500*17.5)/34500 + (balls+resin)*17.5) / (casting + balls + resin)
		near(t, name+": centre x", r.With.AtMM[0], 30, 1e-6)
		near(t, name+": centre z", r.With.AtMM[2], z, 1e-6)
		near(t, name+": tips", *r.With.TipDeg, math.Atan(20/z)*180/math.Pi, 1e-6)
		if r.Loose.MassG >= r.Close.MassG {
			t.Errorf("%s: %g g loose, %g g dense", name, r.Loose.MassG, r.Close.MassG)
		}
	}
}

// A quarter of a solid box of 60 × 40 × 30 mm, as it stands on its side: the lowest 15 mm of x. Balls of the
// resin's own density change nothing.
func TestBallastInCasting(t *testing.T) {
	box := block(1, 1, 1).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: 60 * (v.X + 0.5), Y: 40 * (v.Y + 0.5), Z: 30 * v.Z} })
	folder := newJob(t, box, rigidNoShrink+"[ballast]\nball_mm = 1\nball_g_per_ml = 7.85\npacking = \"dense\"\nshare_pct = 25\nstands = [-1, 0, 0]\n")
	r, err := ballastOf(t, folder)
	if err != nil {
		t.Fatal(err)
	}
	if r.Where != inCasting || r.Backfill != nil {
		t.Errorf("%+v", r)
	}
	near(t, "chamber, mL", r.ChamberML, 18, 1e-3)
	lib, _ := material.Generic()
	m, _ := lib.Find("pu-rigid")
	rho := m.MixedDensity().GPerML
	extra := 18 * 0.64 * (7.85 - rho) // what balls weigh over the resin they stand for
	near(t, "mass, g", r.With.MassG, 72*rho+extra, 1e-2)
	near(t, "centre x", r.With.AtMM[0], (72*rho*30+extra*7.5)/(72*rho+extra), 1e-3)
	near(t, "tips", *r.With.TipDeg, math.Atan(15/r.With.AtMM[0])*180/math.Pi, 1e-3)
	s := &trying{report: &Report{Ballast: r}}
	if v := s.lessBalls(material.Volume{Name: "cavity", VolumeMM3: 72000}); math.Abs(v.VolumeMM3-(72000-18000*0.6)) > 2 {
		t.Errorf("%+v", v)
	}
}

// The base of the demo: its trough as a turned body in closed form.
func TestDemoBallast(t *testing.T) {
	folder := newJob(t, lantern.BallastBase().Mesh, rigidNoShrink+"[ballast]\nball_mm = 4\nball_g_per_ml = 7.85\nbox = { min = [-40, -40, -1], max = [40, 40, 26] }\n")
	r, err := ballastOf(t, folder)
	if err != nil {
		t.Fatal(err)
	}
	want := lantern.BallastTroughVolumeMM3() / 1000
	near(t, "trough, mL", r.ChamberML, want, 0.003*want) // the mesh's chords
	near(t, "centre off the axis, mm", math.Hypot(r.With.AtMM[0], r.With.AtMM[1]), 0, 0.01)
	if r.With.MassG < 8*r.Without.MassG || *r.With.TipDeg < 60 {
		t.Errorf("%+v %+v", r.Without, r.With)
	}
}

func TestBallastErrors(t *testing.T) {
	const balls = "[ballast]\nball_mm = 2\nball_g_per_ml = 7.85\n"
	for want, text := range map[string]string{
		"give the balls' diameter":                 "[ballast]\nball_g_per_ml = 7.85\nshare_pct = 5\n",
		"give the balls' density":                  "[ballast]\nball_mm = 2\nshare_pct = 5\n",
		"-7.85 is outside 0 to 22 g/mL":            "[ballast]\nball_mm = 2\nball_g_per_ml = -7.85\nshare_pct = 5\n",
		"one chamber, and 0 are given":             balls,
		"one chamber, and 2 are given":             balls + "share_pct = 5\nfile = \"part.stl\"\n",
		"use \"loose\"":                            balls + "share_pct = 5\npacking = \"tight\"\n",
		"not all 0, such as [0, 0, -1]":            balls + "share_pct = 5\nstands = [0, 0, 0]\n",
		"must be below max":                        balls + "box = { min = [0, 0, 9], max = [1, 1, 1] }\n",
		"no hollow of the part is closed in":       balls + "box = { min = [-9, -9, 1], max = [99, 99, 90] }\n",
		"there is no file":                         balls + "file = \"none.stl\"\n",
		"do not go into a hollow":                  "[ballast]\nball_mm = 40\nball_g_per_ml = 7.85\nbox = { min = [-5, -5, -5], max = [65, 45, 30] }\n",
		"outside it; a chamber is the room":        balls + "file = \"half.stl\"\n",
		`no material "gold"`:                       balls + "share_pct = 5\nbackfill = \"gold\"\n",
		"it no longer flows":                       "[filler]\npct = 90\ndensity_g_per_ml = 0.3\n",
		"density_g_per_ml is not given":            "[filler]\npct = 9\n",
		"how much thinner pu-rigid takes":          "[thinner]\npct = 9\ndensity_g_per_ml = 0.9\n",
		`no component "C"; its components are "A`:  "pigment_pct = 1\npigment_of = \"C\"\n",
		`use "resin" or "filament"`:                "[bench]\nprinted = \"clay\"\n",
		"bench.cup_ml: -3 is outside":              "[bench]\ncup_ml = -3\n",
		"material.shrink_error_pct: 99 is outside": "shrink_error_pct = 99\n",
	} {
		folder := newJob(t, trough(t), rigidNoShrink+text)
		half := block(1, 1, 1).Map(func(v r3.Vec) r3.Vec { return r3.Vec{X: 30 + 50*v.X, Y: 20 + 30*v.Y, Z: 20 * v.Z} })
		if err := meshfile.Save(filepath.Join(folder, "half.stl"), &mesh.Model{Unit: 1, Objects: []mesh.Object{{Name: "half", Mesh: half}}}); err != nil {
			t.Fatal(err)
		}
		if _, err := ballastOf(t, folder); err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), FileName+":") {
			t.Errorf("%s: %v", want, err)
		}
	}
}

// A whole run: filler, thinner and pigment of one component are weighed, the time budget counts them, and
// what cannot be poured in time is a warning.
func TestAmountsOfARun(t *testing.T) {
	folder := newJob(t, block(30, 24, 12), `[material]
id = "silicone-platinum"
pigment = "blue paste"
pigment_pct = 2
pigment_of = "A (base)"
[thinner]
name = "silicone fluid"
pct = 3
density_g_per_ml = 0.96
[filler]
name = "chalk"
pct = 10
density_g_per_ml = 2.7
[bench]
shop_c = 28
cure_c = 45
fillings = 6
vacuum = true
[printer]
shrink_pct = 0.4
`)
	rep, err := run(folder)
	if err != nil {
		t.Fatal(err)
	}
	if len(rep.Shot.Extras) != 2 || rep.Shot.Pigments[0].Of != "A (base)" {
		t.Errorf("%+v", rep.Shot)
	}
	// By hand: 1/((1 − 0.004)(1 − 0.001)) = 1.005021; 24.1 mm of cavity grow by 9e-5·22·30 = 0.059 mm.
	near(t, "chain", rep.Shrink.Chain.Factor, 1.0050213, 1e-6)
	near(t, "print scale", rep.Shrink.PrintScale, 1/0.996, 1e-12)
	near(t, "growth", rep.Bench.Warm.MouldGrowsMM, 9e-5*30*17, 1e-9)
	if b := rep.Bench.Batch; b == nil || b.FoamRise != 4 || rep.Bench.CureC != 45 {
		t.Errorf("%+v", rep.Bench)
	}
	var text strings.Builder
	if err := rep.Print(&text); err != nil {
		t.Fatal(err)
	}
	lacks(t, "the text", strings.Join(strings.Fields(text.String()), " "), "silicone fluid", "% of the components", "chalk", "of the whole mix", "blue paste", "of A (base)", "Time and cups, at 28 °C, 6 fillings in a session",
		"rises to 4 times its volume under vacuum", "stirring, degassing, pouring and closing take", "warm cure: cured at 45 °C", "print every piece at 100.402 %", "times thicker")
	late := newJob(t, block(30, 24, 12), "[material]\nid = \"pu-rigid\"\n[bench]\npour_s = 400\n")
	if rep, err = run(late); err != nil {
		t.Fatal(err)
	}
	if rep.Bench.Problem == "" || !strings.Contains(strings.Join(rep.Warnings, " "), "its pot life at 23 °C may be as short as") {
		t.Errorf("%+v", rep.Bench)
	}
}
