package job

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/fill"
	"mouldwright/internal/mesh"
	"mouldwright/internal/solid"
)

// towers is a slab with two towers on it, one a little lower: the sprue takes one, and without a vent
// the other keeps its air.
func towers(t *testing.T) *mesh.Mesh {
	t.Helper()
	return stacked(t, []cone{{r3.Vec{}, 6, 10, 9.5}, {r3.Vec{X: 22}, 6, 10, 9.5}, {r3.Vec{X: 11}, 6, 10, 9.5}, {r3.Vec{Z: 5}, 9, 7, 6.5}, {r3.Vec{X: 22, Z: 5}, 8, 7, 6.5}})
}

// bosses is a disc, wide enough for the sprue, with a slim high boss and a stout lower one.
func bosses(t *testing.T) *mesh.Mesh {
	t.Helper()
	return stacked(t, []cone{{r3.Vec{}, 6, 16, 15.5}, {r3.Vec{X: 22}, 6, 10, 9.5}, {r3.Vec{X: -22}, 6, 12, 11.5}, {r3.Vec{X: 22, Z: 5}, 10, 4, 3.6}, {r3.Vec{X: -22, Z: 5}, 7, 8, 7.5}})
}

// cone is a frustum standing at a place: its height, its radii below and above.
type cone struct {
	at      r3.Vec
	h, a, b float64
}

// stacked is cones in one.
func stacked(t *testing.T, cones []cone) *mesh.Mesh {
	t.Helper()
	var m *mesh.Mesh
	err := pool.Do(ctx, func(k *solid.Kernel) error {
		var parts []*solid.Solid
		for _, f := range cones {
			s, err := k.Frustum(f.at, r3.Vec{Z: f.h}, f.a, f.b, 32)
			if err != nil {
				return err
			}
			parts = append(parts, s)
		}
		all, err := k.Union(parts...)
		if err != nil {
			return err
		}
		m, err = all.Mesh()
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// A run says how the mould fills: what goes in and what stays add up to the casting, and the pictures
// are there. One tower has no vent, so flat keeps its air; the tilt does no worse.
func TestRunFills(t *testing.T) {
	folder := newJob(t, towers(t), "vents = 0\n")
	rep, err := run(folder)
	if err != nil {
		t.Fatal(err)
	}
	f := rep.Fill
	if f == nil {
		t.Fatal("the report says nothing about the fill")
	}
	for _, r := range []float64{f.Flat.FilledMM3 + f.Flat.TrappedMM3 + f.Flat.OpenMM3 - f.Flat.CavityMM3} {
		if math.Abs(r) > 1e-6*f.Flat.CavityMM3 {
			t.Errorf("resin and air miss the casting by %g mm³", r)
		}
	}
	if !(f.Flat.TrappedMM3 > 100) {
		t.Errorf("flat keeps %g mm³, but a tower of about 1000 has no vent", f.Flat.TrappedMM3)
	}
	if f.Tilt.TrappedMM3 > f.Flat.TrappedMM3+0.5 {
		t.Errorf("tilted keeps %g mm³, flat %g", f.Tilt.TrappedMM3, f.Flat.TrappedMM3)
	}
	if len(f.Vents) == 0 || f.ThenMM3 > 1 {
		t.Errorf("%d vents proposed, with which %g mm³ stays", len(f.Vents), f.ThenMM3)
	}
	want := []string{"pictures/fill-air.svg", "pictures/fill-level.svg", "pictures/fill-tilt.svg", "pictures/fill-1.png", "pictures/fill-4.png"}
	if f.Wedge != nil {
		want = append(want, "pieces/wedge.3mf")
	}
	for _, name := range want {
		if s, err := os.Stat(filepath.Join(folder, OutName, name)); err != nil || s.Size() < 200 {
			t.Errorf("%s: %v", name, err)
		}
	}
	checkWetting(t, folder, f)
	var b strings.Builder
	if err := rep.Print(&b); err != nil || !strings.Contains(b.String(), "\nFilling\n") {
		t.Errorf("the text leaves the fill out (%v)", err)
	}
}

// checkWetting holds fill.json against the casting in mould.3mf: one moment for each corner, none after the
// end; what lies at the bottom is wet first, and the top of what keeps its air never.
func checkWetting(t *testing.T, folder string, f *FillReport) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join(folder, OutName, WettingFile))
	if err != nil {
		t.Fatal(err)
	}
	var w Wetting
	if err := json.Unmarshal(b, &w); err != nil {
		t.Fatal(err)
	}
	cast := &mesh.Mesh{Tris: w.Facets}
	for _, v := range w.Corners {
		cast.Verts = append(cast.Verts, vec(v))
	}
	if len(cast.Verts) != len(w.PouredMM3) {
		t.Fatalf("%d corners, moments for %d", len(cast.Verts), len(w.PouredMM3))
	}
	// The corners are rounded to 0.01 mm.
	if got := cast.VolumeMM3(); math.Abs(got-w.TotalMM3) > 0.01*cast.AreaMM2() {
		t.Errorf("the surface holds %g mm³, the cavity %g", got, w.TotalMM3)
	}
	dry, lowest := 0, math.Inf(1)
	up := vec(w.Up)
	for i, v := range w.PouredMM3 {
		if v > w.TotalMM3+0.1 || v < 0 && v != fill.Dry {
			t.Fatalf("corner %d gets wet at %g of %g mm³", i, v, w.TotalMM3)
		}
		if v == fill.Dry {
			dry++
		}
		lowest = min(lowest, r3.Dot(up, cast.Verts[i]))
	}
	if kept := f.used().TrappedMM3; (kept > 100) != (dry > 0) {
		t.Errorf("%d corners stay dry, and %g mm³ of air stay", dry, kept)
	}
	for i, v := range w.PouredMM3 {
		if h := r3.Dot(up, cast.Verts[i]) - lowest; h < 0.02 && (v < 0 || v > w.TotalMM3/10) {
			t.Errorf("corner %d, at the bottom, gets wet at %g of %g mm³", i, v, w.TotalMM3)
		}
	}
}

// Two high bosses need two vents. With one the mould is built again, its vent on the boss that keeps
// more, and the report says what stays either way and how many vents would do; with two no air stays.
func TestVentsStandWhereAirStays(t *testing.T) {
	one, err := run(newJob(t, bosses(t), "vents = 1\n"))
	if err != nil {
		t.Fatal(err)
	}
	f := one.Fill
	if f.Trial == nil {
		t.Fatalf("nothing was built again, though %g mm³ stays: %q", f.used().TrappedMM3, f.Words)
	}
	v := f.Trial
	t.Log(v.Words)
	if v.Kept != "second" || v.FirstVents != 1 || v.SecondVents != 1 || v.Wanted != 2 || !(v.SecondMM3 < v.FirstMM3-100) || f.used().TrappedMM3 != v.SecondMM3 {
		t.Errorf("%+v, and %g mm³ stays in what was kept", v, f.used().TrappedMM3)
	}
	// The stout boss is free of air, so what stays is less than the slim one's frustum over the disc,
	// π·h/3·(a² + ab + b²), its circles larger than their polygons.
	if most := math.Pi * 9 / 3 * (16 + 4*3.6 + 3.6*3.6); v.SecondMM3 > most {
		t.Errorf("%g mm³ stays in a boss of %g", v.SecondMM3, most)
	}
	words := strings.Join(f.Words, "\n")
	for _, want := range []string{"wants 2 vents, the job allows 1", "as first built, with 1 vent", "this one is kept"} {
		if !strings.Contains(words, want) {
			t.Errorf("the report lacks %q:\n%s", want, words)
		}
	}
	two, err := run(newJob(t, bosses(t), "vents = 2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := two.Fill.used().TrappedMM3; got >= trappedStepMM3 {
		t.Errorf("%g mm³ stays with a vent on each boss", got)
	}
	if strings.Contains(strings.Join(two.Fill.Words, "\n"), "the job allows") {
		t.Errorf("more vents are wanted, though no air stays: %q", two.Fill.Words)
	}
}

// The better mould keeps less air; of equal ones the one with fewer vents; else the first stays.
func TestBetterOfTwoMoulds(t *testing.T) {
	for _, c := range []struct {
		first, second  float64
		vents1, vents2 int
		better         bool
	}{
		{100, 20, 1, 2, true}, {20, 100, 2, 1, false}, {0.1, 0.2, 2, 1, true}, {0.2, 0.1, 1, 2, false}, {50, 50, 1, 1, false},
	} {
		v := VentTrial{FirstMM3: c.first, SecondMM3: c.second, FirstVents: c.vents1, SecondVents: c.vents2}
		if got := v.secondBetter(); got != c.better {
			t.Errorf("%+v: %t", c, got)
		}
	}
}

// A job that keeps the mould level and cures it in a pot is taken at its word: no tilt, and the trapped
// air shrinks by Boyle's law.
func TestFillRules(t *testing.T) {
	rep, err := run(newJob(t, towers(t), "vents = 0\n[fill]\nmax_tilt_deg = [0, 0]\npot_kpa = 405.3\n"))
	if err != nil {
		t.Fatal(err)
	}
	f := rep.Fill
	if f.Tilt.TiltDeg != 0 || f.Wedge != nil {
		t.Errorf("tilted by %g°, wedge %v, though the job keeps the mould level", f.Tilt.TiltDeg, f.Wedge != nil)
	}
	// Four atmospheres leave a quarter, less the little that the head of resin takes.
	if got := f.Flat.InPotMM3 / f.Flat.TrappedMM3; !(got > 0.23 && got <= 0.25) {
		t.Errorf("%.3f of the air is left under 4 atmospheres, want just under a quarter", got)
	}
}
