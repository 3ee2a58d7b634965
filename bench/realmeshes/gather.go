package main

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// specimen is one watertight shell of the corpus, scaled to a size that fits a workshop.
type specimen struct {
	Name   string // file and shell, as the table shows it
	By     by
	Factor float64 // mm per unit of the file
	Mesh   *mesh.Mesh
}

// tally says what became of the shells of one source.
type tally struct {
	Source                              source
	Shells, Open, InsideOut, Same, Over int
}

// gatherer collects specimens; Models is the folder of assimp-testmodels, Bench this folder, Temp a
// folder for converted files.
type gatherer struct {
	Models, Bench, Temp string
	seen                []form
	specimens           []specimen
	tallies             []tally
}

// missing names what must be installed for the corpus, or is empty.
func (g *gatherer) missing() string {
	var want []string
	for _, program := range []struct{ name, pkg string }{{"admesh", "admesh"}, {"assimp", "assimp-utils"}, {"node", "nodejs"}} {
		if _, err := exec.LookPath(program.name); err != nil {
			want = append(want, "apt-get install "+program.pkg)
		}
	}
	if _, err := os.Stat(g.Models); err != nil {
		want = append(want, "apt-get install assimp-testmodels")
	}
	if _, err := os.Stat(filepath.Join(g.Bench, "node_modules", "bunny")); err != nil {
		want = append(want, "npm ci --ignore-scripts (in bench/realmeshes)")
	}
	return strings.Join(want, "; ")
}

// gather reads the whole corpus.
func (g *gatherer) gather(ctx context.Context) error {
	if err := run(ctx, "node", filepath.Join(g.Bench, "export.mjs"), g.Temp); err != nil {
		return fmt.Errorf("cannot write the npm meshes: %w", err)
	}
	for i, s := range corpus {
		path := filepath.Join(g.Models, s.Path)
		switch s.By {
		case byAssimp:
			stl := filepath.Join(g.Temp, fmt.Sprintf("%d.stl", i))
			// Join identical vertices, apply the scene's transforms; binary STL keeps the floats.
			if err := run(ctx, "assimp", "export", path, stl, "-fstlb", "-jiv", "-ptv"); err != nil {
				return fmt.Errorf("cannot convert %s: %w", s.Path, err)
			}
			path = stl
		case byNPM:
			path = filepath.Join(g.Temp, s.Path+".obj")
		}
		model, err := meshfile.Open(path, mesh.Limits{})
		if err != nil {
			return fmt.Errorf("cannot read %s: %w", s.Path, err)
		}
		g.take(s, model.InMM())
	}
	return nil
}

// run runs a program and puts what it printed into the error.
func run(ctx context.Context, name string, args ...string) error {
	out, err := exec.CommandContext(ctx, name, args...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s %s: %w\n%s", name, strings.Join(args, " "), err, out)
	}
	return nil
}

// take keeps the watertight shells of a model, largest first.
func (g *gatherer) take(s source, model *mesh.Model) {
	t := tally{Source: s}
	var shells []*mesh.Mesh
	for _, o := range model.Objects {
		shells = append(shells, mesh.Weld(o.Mesh, 0).Split()...)
	}
	t.Shells = len(shells)
	slices.SortStableFunc(shells, func(a, b *mesh.Mesh) int { return cmp.Compare(len(b.Tris), len(a.Tris)) })
	kept := 0
	for i, shell := range shells {
		switch f := formOf(shell); {
		case !closed(shell):
			t.Open++
		case shell.VolumeMM3() <= 0:
			t.InsideOut++
		case g.known(f):
			t.Same++
		case kept == shellsPerSource:
			t.Over++
		default:
			kept++
			g.seen = append(g.seen, f)
			name := s.Path
			if len(shells) > 1 {
				name = fmt.Sprintf("%s shell %d", s.Path, i+1)
			}
			k := factor(shell)
			g.specimens = append(g.specimens, specimen{name, s.By, k, shell.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) })})
		}
	}
	g.tallies = append(g.tallies, t)
}

// closed tells whether every edge lies between two facets that run oppositely along it.
func closed(m *mesh.Mesh) bool {
	for _, a := range m.Adjacency() {
		if slices.Contains(a[:], mesh.NoFacet) {
			return false
		}
	}
	return len(m.Tris) > 0
}

// form identifies a shape whatever its place, turn and size: facets, and volume² over area³.
type form struct {
	facets int
	bulk   float64
}

// sameForm is the relative difference of bulk below which two shells count as one shape: float32
// coordinates of a moved copy differ by about 1e-6.
const sameForm = 1e-4

func formOf(m *mesh.Mesh) form {
	v, a := m.VolumeMM3(), m.AreaMM2()
	return form{len(m.Tris), v * v / (a * a * a)}
}

func (g *gatherer) known(f form) bool {
	return slices.ContainsFunc(g.seen, func(o form) bool {
		return o.facets == f.facets && math.Abs(o.bulk/f.bulk-1) < sameForm
	})
}

// A part between leastMM and mostMM long is taken as it is, in mm; any other is brought to aimMM: the
// size of what a small workshop casts.
const leastMM, aimMM, mostMM = 20.0, 40.0, 60.0

// factor is the scale for a part, rounded to two digits so that the table shows it whole.
func factor(m *mesh.Mesh) float64 {
	b := m.Bounds()
	size := r3.Sub(b.Max, b.Min)
	longest := max(size.X, size.Y, size.Z)
	if leastMM <= longest && longest <= mostMM {
		return 1
	}
	digit := math.Pow10(1 - int(math.Floor(math.Log10(aimMM/longest))))
	return math.Round(aimMM/longest*digit) / digit
}
