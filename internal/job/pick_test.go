package job

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"

	"gonum.org/v1/gonum/spatial/r3"
	"pgregory.net/rapid"
)

// marked counts marks and adds up the area of their facets.
func marked(m *mesh.Mesh, show []bool) (n int, mm2 float64) {
	for f, on := range show {
		if on {
			n++
			mm2 += m.Facet(f).Area()
		}
	}
	return n, mm2
}

// A block has six flat faces at right angles: a pick with less than 90° takes one of them, whole, and with
// 90° all.
func TestPickedFace(t *testing.T) {
	m := block(30, 30, 12)
	if m.AreaMM2() == 0 {
		t.Fatal("no block")
	}
	b := m.Bounds()
	top := Pick{At: []float64{(b.Min.X + b.Max.X) / 2, (b.Min.Y+b.Max.Y)/2 + 1, b.Max.Z}, GrowDeg: 20}
	show, err := PickedFace(m, top)
	if err != nil {
		t.Fatal(err)
	}
	if _, mm2 := marked(m, show); math.Abs(mm2-900) > 1e-9 {
		t.Errorf("the top has %g mm², want 30·30", mm2)
	}
	for f, on := range show {
		if up := m.Facet(f).Normal().Z > 0; up != on {
			t.Errorf("facet %d: marked %v, looks up %v", f, on, up)
		}
	}
	top.GrowDeg = 90
	if show, err = PickedFace(m, top); err != nil || slices.Contains(show, false) {
		t.Errorf("90° does not reach over square edges: %v, %v", show, err)
	}
	top.GrowDeg = 0
	if show, err = PickedFace(m, top); err != nil {
		t.Fatal(err)
	}
	if _, mm2 := marked(m, show); mm2 > 900+1e-9 {
		t.Errorf("without growing, %g mm² are marked", mm2)
	}
	var off *PickError
	top.At[2] += 2
	if _, err := PickedFace(m, top); !errors.As(err, &off) || math.Abs(off.OffMM-2) > 1e-9 {
		t.Errorf("2 mm off the part: %v", err)
	}
	if _, err := PickedFace(&mesh.Mesh{}, top); !errors.As(err, &off) {
		t.Errorf("no part at all: %v", err)
	}
}

// Picks end where their own edges do, whatever the other rules grow over, and add to those.
func TestPicksBesideOtherRules(t *testing.T) {
	m := block(30, 30, 12)
	in, err := mesh.Inspect(context.Background(), m)
	if err != nil {
		t.Fatal(err)
	}
	b := in.Mesh.Bounds()
	rules := ShowRules{GrowDeg: 20, Picks: []Pick{{At: []float64{b.Min.X + 1, b.Min.Y + 2, b.Max.Z}, GrowDeg: 5}},
		Towards: []Towards{{Direction: [3]float64{0, 0, -1}, WithinDeg: 1}}}
	show, err := ShowFaces(mesh.Object{Mesh: m}, in, rules)
	if err != nil {
		t.Fatal(err)
	}
	if _, mm2 := marked(in.Mesh, show); math.Abs(mm2-1800) > 1e-6 {
		t.Errorf("top and bottom: %g mm², want 1800", mm2)
	}
}

// The nearest facet is that of a tree over the whole part.
func TestFacetAtIsTheNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := scaled(hollow(), rapid.Float64Range(0.1, 10).Draw(t, "scale"))
		size := m.Bounds().Size()
		draw := func(name string, w float64) float64 { return rapid.Float64Range(-1.5*w, 1.5*w).Draw(t, name) }
		at := r3.Vec{X: draw("x", size.X), Y: draw("y", size.Y), Z: draw("z", size.Z)}
		f, mm := facetAt(m, at)
		want := geom.NewBVH(m.Verts, m.Tris).Nearest(at)
		if math.Abs(mm-want.Distance) > 1e-9*(1+mm) {
			t.Fatalf("%g mm, want %g", mm, want.Distance)
		}
		if own := geom.NewBVH(m.Verts, m.Tris[f:f+1]).Nearest(at).Distance; math.Abs(own-mm) > 1e-9*(1+mm) {
			t.Fatalf("facet %d lies %g mm away, not %g", f, own, mm)
		}
	})
}

func TestWrongPicks(t *testing.T) {
	const head = "format = 1\n[part]\nfile = \"part.stl\"\n"
	for text, want := range map[string]string{
		"[[show.pick]]\nat = [0, nan, 0]\n":                    ":4:1: show.pick: at [0 NaN 0] must be three numbers",
		"[[show.pick]]\nat = [0, 0, 0]\ngrow_deg = 91\n":       "grow_deg 91 is outside 0 to 90",
		"[[show.pick]]\nat = [0, 0]\n":                         "at [0 0] must be three numbers",
		"[[show.pick]]\nat = [0, 0, 0]\nradius = 3\n":          "does not exist",
		"[[show.pick]]\nat = [0, 0, 0]\ngrow_deg = \"much\"\n": "where a number belongs",
	} {
		if _, err := Parse("job.toml", []byte(head+text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	folder := newJob(t, block(30, 30, 12), "[[show.pick]]\nat = [0, 0, 500]\n")
	f, err := Load(folder)
	if err != nil {
		t.Fatal(err)
	}
	_, err = readPart(context.Background(), folder, f, func(float64) {})
	var at *FileError
	if !errors.As(err, &at) || at.Line == 0 || at.Path != filepath.Join(folder, FileName) || !strings.Contains(err.Error(), "mm off the part's surface") {
		t.Errorf("a pick off the part: %v", err)
	}
}
