package job

import (
	"errors"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
	"mouldwright/internal/tooling"

	"gonum.org/v1/gonum/spatial/r3"
)

// button is a disc whose side bulges, 16 mm across.
func button() *mesh.Mesh {
	const n = 16
	m := &mesh.Mesh{Verts: []r3.Vec{{}, {Z: 6}}}
	rows := [][2]float64{{7, 0}, {8, 3}, {7, 6}}
	for _, p := range rows {
		for j := range n {
			s, c := math.Sincos(2 * math.Pi * float64(j) / n)
			m.Verts = append(m.Verts, r3.Vec{X: p[0] * c, Y: p[0] * s, Z: p[1]})
		}
	}
	id := func(row, j int) uint32 { return uint32(2 + row*n + j%n) }
	for j := range n {
		m.Tris = append(m.Tris, [3]uint32{0, id(0, j+1), id(0, j)}, [3]uint32{1, id(2, j), id(2, j+1)})
		for row := range 2 {
			m.Tris = append(m.Tris, [3]uint32{id(row, j), id(row, j+1), id(row+1, j+1)}, [3]uint32{id(row, j), id(row+1, j+1), id(row+1, j)})
		}
	}
	return m
}

// Skins are poured, shells and plate printed; while a skin is poured the upper side stands on the plate.
func TestRunSkin(t *testing.T) {
	dir := t.TempDir()
	save(t, filepath.Join(dir, "button.3mf"), mesh.Object{Name: "button", Mesh: button()})
	put(t, filepath.Join(dir, FileName), "format = 1\n[part]\nfile = \"button.3mf\"\n[opening]\ndirection = [0, 0, 1]\n[material]\nid = \"pu-rigid\"\n"+
		"[mould]\nfamily = \"skin\"\nlabel = \"B\"\nbolt = \"M3\"\n[skin]\nthickness_mm = 3\nplate_mm = 5\n")
	rep, err := run(dir)
	if err != nil {
		t.Fatal(err)
	}
	allHold(t, rep)
	if rep.Shot == nil || len(rep.Pours) != 2 || len(rep.Mould.Stages) == 0 {
		t.Fatalf("shot %v, pours %d, stages %d", rep.Shot != nil, len(rep.Pours), len(rep.Mould.Stages))
	}
	for name, there := range map[string]bool{"lower-shell": true, "upper-shell": true, "master-plate": true, "lower-skin": false, "upper-skin": false} {
		if _, err := os.Stat(filepath.Join(dir, OutName, "pieces", name+".stl")); (err == nil) != there || (err != nil && !errors.Is(err, os.ErrNotExist)) {
			t.Errorf("%s: %v", name, err)
		}
	}
	top := func(file, piece string) float64 {
		m, err := meshfile.Open(filepath.Join(dir, OutName, file), mesh.Limits{})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range m.Objects {
			if o.Name == piece {
				return o.Mesh.Bounds().Max.Z
			}
		}
		t.Fatalf("%s has no %s", file, piece)
		return 0
	}
	if got := top("upper-skin-pour.3mf", tooling.UpperShell) - top("mould.3mf", tooling.UpperShell); math.Abs(got-5) > 1e-4 {
		t.Errorf("the upper shell stands off by %g mm while its skin is poured, want the plate's 5 mm", got)
	}
	if _, err := Parse("job.toml", []byte("format = 1\n[part]\nfile = \"a.stl\"\n[skin]\nplate_mm = 90\n")); err == nil || !strings.Contains(err.Error(), "skin.plate_mm") {
		t.Errorf("%v", err)
	}
}
