package cli

import (
	"context"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// frustum is a block with a square base of side base at z = 0 and a square top of side top at z = h.
func frustum(base, top, h float64) *mesh.Mesh {
	m := &mesh.Mesh{}
	for _, level := range [][2]float64{{base / 2, 0}, {top / 2, h}} {
		a, z := level[0], level[1]
		m.Verts = append(m.Verts, r3.Vec{X: -a, Y: -a, Z: z}, r3.Vec{X: a, Y: -a, Z: z}, r3.Vec{X: a, Y: a, Z: z}, r3.Vec{X: -a, Y: a, Z: z})
	}
	quad := func(a, b, c, d uint32) { m.Tris = append(m.Tris, [3]uint32{a, b, c}, [3]uint32{a, c, d}) }
	quad(0, 3, 2, 1)
	quad(4, 5, 6, 7)
	for i := range uint32(4) {
		j := (i + 1) % 4
		quad(i, j, j+4, i+4)
	}
	return m
}

// beam is a prism of length 30 along x whose section in yz is an I: its flanges are undercut along z,
// and it is free along x and along y.
func beam() *mesh.Mesh {
	// Outline, counter-clockwise in (y, z).
	o := [][2]float64{{-10, 0}, {10, 0}, {10, 4}, {2, 4}, {2, 16}, {10, 16}, {10, 20}, {-10, 20}, {-10, 16}, {-2, 16}, {-2, 4}, {-10, 4}}
	m := &mesh.Mesh{}
	for _, x := range []float64{0, 30} {
		for _, p := range o {
			m.Verts = append(m.Verts, r3.Vec{X: x, Y: p[0], Z: p[1]})
		}
	}
	n := uint32(len(o))
	for i := range n {
		j := (i + 1) % n
		m.Tris = append(m.Tris, [3]uint32{i, j + n, j}, [3]uint32{i, i + n, j + n})
	}
	// The ends: flanges and web, as polygons that use every vertex on their sides.
	for _, poly := range [][]uint32{{0, 1, 2, 3, 10, 11}, {3, 4, 9, 10}, {7, 8, 9, 4, 5, 6}} {
		for k := 1; k+1 < len(poly); k++ {
			a, b, c := poly[0], poly[k], poly[k+1]
			m.Tris = append(m.Tris, [3]uint32{a, c, b}, [3]uint32{a + n, b + n, c + n})
		}
	}
	for i, t := range m.Tris { // sides were wound inward by the order above
		if i < int(2*n) {
			m.Tris[i] = [3]uint32{t[0], t[2], t[1]}
		}
	}
	return m
}

func save(t testing.TB, name string, objects ...mesh.Object) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := meshfile.Save(path, &mesh.Model{Unit: mesh.Millimetre, UnitKnown: true, Objects: objects}); err != nil {
		t.Fatal(err)
	}
	return path
}

func number64(t testing.TB, v map[string]any, key string) float64 {
	t.Helper()
	f, ok := v[key].(float64)
	if !ok {
		t.Fatalf("%s is %v", key, v[key])
	}
	return f
}

func object(t testing.TB, v map[string]any, key string) map[string]any {
	t.Helper()
	m, ok := v[key].(map[string]any)
	if !ok {
		t.Fatalf("%s is %v", key, v[key])
	}
	return m
}

func close64(t testing.TB, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s = %.9g, want %.9g", what, got, want)
	}
}

// A frustum 40 to 36 over 20 mm: draft atan(2/20) = 5.71°, volume h/3·(A + B + √AB).
func TestInspectFrustum(t *testing.T) {
	path := save(t, "frustum.3mf", mesh.Object{Name: "foot", Mesh: frustum(40, 36, 20)})
	o := run(t, Env{}, "inspect", path, "--direction", "+z")
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	contains(t, "inspect", o.out, "foot", "mm, from the file", "40 × 40 × 20 mm", "28.907 mL", "1 shell", "sound", "5.71°", "No undercut", "mouldwright new FOLDER")
	v := fields(t, run(t, Env{}, "inspect", path, "--direction", "0,0,2", "--json"))
	part, judged := object(t, v, "part"), object(t, v, "judged")
	close64(t, "volume", number64(t, part, "volume_mm3"), 20.0/3*(1600+1296+1440), 1e-6)
	close64(t, "draft", number64(t, judged, "min_draft_deg"), math.Atan2(2, 20)*180/math.Pi, 1e-6)
	close64(t, "shadow", number64(t, judged, "projected_area_mm2"), 1600, 1e-6)
	close64(t, "height", number64(t, judged, "height_mm"), 20, 1e-9)
	if v["usable"] != true || judged["rigid_halves_open"] != true || part["closed"] != true {
		t.Errorf("verdict: %v", v)
	}
}

// An I-beam lying along x: along z the web's two sides trap 2 × 8 × 12 × 30 mm³; the way out is 8 mm.
func TestInspectUndercut(t *testing.T) {
	path := save(t, "beam.stl", mesh.Object{Mesh: beam()})
	o := run(t, Env{}, "inspect", path, "--direction", "z")
	if o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	contains(t, "inspect", o.out, "taken as given", "Undercuts", "8 ± ", "would lock")
	judged := object(t, fields(t, run(t, Env{}, "inspect", path, "--direction", "z", "--json")), "judged")
	close64(t, "trapped", number64(t, judged, "trapped_mm3"), 2*8*12*30, 1e-3)
	close64(t, "undercut area", number64(t, judged, "undercut_area_mm2"), 2*2*8*30, 1e-3)
	if judged["rigid_halves_open"] != false {
		t.Error("two rigid halves said to open")
	}
	list, _ := judged["undercuts"].([]any)
	if len(list) != 2 {
		t.Fatalf("%d undercuts, want 2", len(list))
	}
	u, _ := list[0].(map[string]any)
	close64(t, "depth", number64(t, u, "depth_mm"), 8, number64(t, u, "depth_error_mm")+1e-9)
}

// The search must find a way along which the beam is free.
func TestInspectFindsTheFreeDirection(t *testing.T) {
	path := save(t, "beam.obj", mesh.Object{Name: "beam", Mesh: beam()})
	v := fields(t, run(t, Env{}, "inspect", path, "--best", "2", "--json"))
	list, _ := v["directions"].([]any)
	if len(list) != 2 {
		t.Fatalf("%d directions, want 2", len(list))
	}
	d, _ := object(t, v, "judged")["direction"].([]any)
	if z, _ := d[2].(float64); math.Abs(z) > 0.5 {
		t.Errorf("best direction %v, along which the flanges are undercut", d)
	}
	close64(t, "undercut area", number64(t, object(t, v, "judged"), "undercut_area_mm2"), 0, 1e-6)
	contains(t, "inspect", run(t, Env{}, "inspect", path).out, "the one judged below", "1.")
}

func TestInspectUnitsAndObjects(t *testing.T) {
	path := save(t, "two.3mf", mesh.Object{Name: "cap", Mesh: frustum(40, 36, 20)}, mesh.Object{Name: "foot", Mesh: frustum(2, 1, 1)})
	o := run(t, Env{}, "inspect", path)
	if o.code != ExitInput {
		t.Errorf("two objects: exit %d", o.code)
	}
	contains(t, "two objects", o.err, "--object", `"cap"`, `"foot"`)
	o = run(t, Env{}, "inspect", path, "--object", "foot", "--unit", "inch", "--surface-only")
	contains(t, "inch", o.out, "50.8 × 50.8 × 25.4 mm", "inch, taken as given")
	if o := run(t, Env{}, "inspect", path, "--object", "lid"); o.code != ExitInput {
		t.Errorf("no such object: %+v", o)
	}
	contains(t, "no such unit", run(t, Env{}, "inspect", path, "--unit", "furlong").err, "micron")
}

func TestInspectRefusesABadSurface(t *testing.T) {
	open := frustum(40, 36, 20)
	open.Tris = open.Tris[1:]
	path := save(t, "open.stl", mesh.Object{Mesh: open})
	o := run(t, Env{}, "inspect", path)
	if o.code != ExitInput {
		t.Errorf("open mesh: exit %d", o.code)
	}
	contains(t, "open mesh", o.out, "Findings", "fatal", "hole", "first at")
	contains(t, "open mesh", o.err, "cannot be used")
	v := fields(t, run(t, Env{}, "inspect", path, "--json"))
	if v["usable"] != false || v["judged"] != nil || len(v["problems"].([]any)) == 0 {
		t.Errorf("open mesh --json: %v", v)
	}
	o = run(t, Env{}, "inspect", save(t, "inside.stl", mesh.Object{Mesh: frustum(40, 36, 20).Flipped()}))
	if o.code != ExitInput {
		t.Errorf("inside-out mesh: exit %d", o.code)
	}
	contains(t, "inside-out mesh", o.out, "inside")
}

func TestInspectRefusesBadInput(t *testing.T) {
	dir := t.TempDir()
	garbage := filepath.Join(dir, "part.stl")
	if err := os.WriteFile(garbage, []byte("solid x\nfacet normal nan"), 0o600); err != nil {
		t.Fatal(err)
	}
	good := save(t, "f.stl", mesh.Object{Mesh: frustum(40, 36, 20)})
	for _, args := range [][]string{
		{garbage}, {filepath.Join(dir, "none.stl")}, {dir},
		{good, "--direction", "up"}, {good, "--direction", "0,0,0"}, {good, "--direction", "1,2"}, {good, "--direction", "nan,0,1"},
		{good, "--min-draft", "40"}, {good, "--best", "0"}, {good, "--picture", filepath.Join(dir, "no", "such", "folder.png"), "--direction", "z"},
	} {
		o := run(t, Env{}, append([]string{"inspect"}, args...)...)
		if o.code != ExitInput || o.err == "" {
			t.Errorf("%v: %+v", args, o)
		}
	}
}

func TestInspectPicture(t *testing.T) {
	path := filepath.Join(t.TempDir(), "beam.png")
	if o := run(t, Env{}, "inspect", save(t, "beam.stl", mesh.Object{Mesh: beam()}), "--direction", "z", "--picture", path); o.code != ExitOK {
		t.Fatalf("%+v", o)
	}
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	vermilion := 0
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			if r, _, b, _ := img.At(x, y).RGBA(); r > b+0x4000 {
				vermilion++
			}
		}
	}
	if vermilion < 1000 {
		t.Errorf("%d pixels mark the undercut", vermilion)
	}
}

func TestInspectStopsWhenCancelled(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if o := runCtx(t, ctx, Env{}, "inspect", save(t, "f.stl", mesh.Object{Mesh: frustum(40, 36, 20)})); o.code != ExitStopped {
		t.Errorf("%+v", o)
	}
}
