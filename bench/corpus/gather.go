package corpus

import (
	"cmp"
	"context"
	"errors"
	"flag"
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

// Specimen is one watertight shell of the corpus, scaled to a size that fits a workshop.
type Specimen struct {
	Name   string // file and shell
	By     By
	Factor float64 // mm per unit of the file
	Mesh   *mesh.Mesh
}

// Tally says what became of the shells of one source.
type Tally struct {
	Source                              Source
	Shells, Open, InsideOut, Same, Over int
}

// Corpus is all that was gathered.
type Corpus struct {
	Specimens []Specimen
	Tallies   []Tally
	seen      []form
}

// Places says where the files are. The zero value suits a program run at the top of the repository.
type Places struct {
	Models string // folder of assimp-testmodels; "" means where Debian puts it
	Bench  string // folder of export.mjs and its node_modules; "" means bench/realmeshes
}

// Flags adds the flags that name other places.
func (p *Places) Flags(to *flag.FlagSet) {
	to.StringVar(&p.Models, "models", "", "folder of assimp-testmodels, if not where Debian puts it")
	to.StringVar(&p.Bench, "bench", "", "folder of export.mjs and its node_modules, if not bench/realmeshes")
}

func (p Places) withDefaults() Places {
	return Places{cmp.Or(p.Models, "/usr/share/assimp/models"), cmp.Or(p.Bench, "bench/realmeshes")}
}

// ErrMissing is the cause when meshes, or programs that read them, are not installed.
var ErrMissing = errors.New("the meshes or programs are not installed")

// Need is a program and the Debian package that holds it.
type Need struct{ Program, Package string }

// Check returns an ErrMissing that says what to install, for the corpus and the programs named.
func (p Places) Check(more ...Need) error {
	p = p.withDefaults()
	var want []string
	for _, n := range append([]Need{{"assimp", "assimp-utils"}, {"node", "nodejs"}}, more...) {
		if _, err := exec.LookPath(n.Program); err != nil {
			want = append(want, "apt-get install "+n.Package)
		}
	}
	if _, err := os.Stat(p.Models); err != nil {
		want = append(want, "apt-get install assimp-testmodels")
	}
	if _, err := os.Stat(filepath.Join(p.Bench, "node_modules", "bunny")); err != nil {
		want = append(want, "npm ci --ignore-scripts (in bench/realmeshes)")
	}
	if want != nil {
		return fmt.Errorf("%w; run: %s", ErrMissing, strings.Join(want, "; "))
	}
	return nil
}

// Gather reads the whole corpus.
func Gather(ctx context.Context, p Places) (*Corpus, error) {
	p = p.withDefaults()
	if err := p.Check(); err != nil {
		return nil, err
	}
	temp, err := os.MkdirTemp("", "corpus")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(temp)
	if err := run(ctx, "node", filepath.Join(p.Bench, "export.mjs"), temp); err != nil {
		return nil, fmt.Errorf("cannot write the npm meshes: %w", err)
	}
	c := &Corpus{}
	for i, s := range sources {
		path := filepath.Join(p.Models, s.Path)
		switch s.By {
		case ByAssimp:
			stl := filepath.Join(temp, fmt.Sprintf("%d.stl", i))
			// Join identical vertices, apply the scene's transforms; binary STL keeps the floats.
			if err := run(ctx, "assimp", "export", path, stl, "-fstlb", "-jiv", "-ptv"); err != nil {
				return nil, fmt.Errorf("cannot convert %s: %w", s.Path, err)
			}
			path = stl
		case ByNPM:
			path = filepath.Join(temp, s.Path+".obj")
		}
		model, err := meshfile.Open(path, mesh.Limits{})
		if err != nil {
			return nil, fmt.Errorf("cannot read %s: %w", s.Path, err)
		}
		c.take(s, model.InMM())
	}
	return c, nil
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
func (c *Corpus) take(s Source, model *mesh.Model) {
	t := Tally{Source: s}
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
		case c.known(f):
			t.Same++
		case kept == ShellsPerSource:
			t.Over++
		default:
			kept++
			c.seen = append(c.seen, f)
			name := s.Path
			if len(shells) > 1 {
				name = fmt.Sprintf("%s shell %d", s.Path, i+1)
			}
			k := factor(shell)
			c.Specimens = append(c.Specimens, Specimen{name, s.By, k, shell.Map(func(v r3.Vec) r3.Vec { return r3.Scale(k, v) })})
		}
	}
	c.Tallies = append(c.Tallies, t)
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

func (c *Corpus) known(f form) bool {
	return slices.ContainsFunc(c.seen, func(o form) bool {
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
