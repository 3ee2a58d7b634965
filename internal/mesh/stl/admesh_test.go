package stl

import (
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Facets and volume of what we write must be what Debian's admesh, a general-purpose STL checker,
// reads: volume to 1e-5.
func TestAgainstAdmesh(t *testing.T) {
	admesh, err := exec.LookPath("admesh")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("admesh is not installed; apt-get install admesh")
		}
		t.Skip("admesh is not installed; apt-get install admesh")
	}
	for name, m := range map[string]*mesh.Mesh{
		"ring":     ring(30, 8, 40, 24),
		"thin":     ring(100, 0.5, 30, 9),
		"far away": ring(30, 8, 40, 24).Map(func(v r3.Vec) r3.Vec { return r3.Add(v, r3.Vec{X: 200, Y: -300, Z: 50}) }),
	} {
		for form, write := range map[string]func(*os.File) error{
			"binary": func(f *os.File) error { return Write(f, m, name) },
			"ASCII":  func(f *os.File) error { return WriteASCII(f, m, name) },
		} {
			path := filepath.Join(t.TempDir(), "part.stl")
			f, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := write(f); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
			facets, volume, parts := runAdmesh(t, admesh, path)
			if facets != float64(len(m.Tris)) || parts != 1 {
				t.Errorf("%s, %s: %v facets in %v parts, want %d in 1", name, form, facets, parts, len(m.Tris))
			}
			if want := m.VolumeMM3(); math.Abs(volume/want-1) > 1e-5 {
				t.Errorf("%s, %s: volume %v, want %v", name, form, volume, want)
			}
		}
	}
}

func runAdmesh(t *testing.T, admesh, path string) (facets, volume, parts float64) {
	t.Helper()
	out, err := exec.Command(admesh, path).CombinedOutput()
	if err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	figure := func(name string) float64 {
		found := regexp.MustCompile(name + `\s*:\s*([-+.0-9eE]+)`).FindSubmatch(out)
		if found == nil {
			t.Fatalf("no %s in\n%s", name, out)
		}
		x, err := strconv.ParseFloat(string(found[1]), 64)
		if err != nil {
			t.Fatal(err)
		}
		return x
	}
	return figure("Number of facets"), figure("Volume"), figure("Number of parts")
}

// ring is a torus around z.
func ring(R, r float64, nu, nv uint32) *mesh.Mesh {
	m := &mesh.Mesh{}
	for i := range nu {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(nu))
		for j := range nv {
			t, d := math.Sincos(2 * math.Pi * float64(j) / float64(nv))
			m.Verts = append(m.Verts, r3.Vec{X: (R + r*d) * c, Y: (R + r*d) * s, Z: r * t})
			a, b := i*nv+j, (i+1)%nu*nv+j
			e, f := (i+1)%nu*nv+(j+1)%nv, i*nv+(j+1)%nv
			m.Tris = append(m.Tris, [3]uint32{a, b, e}, [3]uint32{a, e, f})
		}
	}
	return m
}
