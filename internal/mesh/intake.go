package mesh

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// Intake is what Inspect found out about a mesh. Facet numbers are those of the inspected mesh,
// from 0; lengths are mm.
type Intake struct {
	Facets   int    // of the inspected mesh
	Vertices int    // distinct vertices that facets use, after any joining
	Bounds   r3.Box // of the facets
	// VolumeMM3 is signed, and means nothing when the surface is not Closed.
	VolumeMM3, AreaMM2 float64

	// Closed says that every edge has exactly two facets, which run along it in opposite directions.
	Closed bool
	// Euler is vertices − edges + facets, where a vertex at which the surface only touches itself
	// counts once for each fan of facets. Genus is the number of handles of all shells together
	// (0 for a ball, 1 for a ring), −1 when the surface is not Closed.
	Euler, Genus int
	Shells       []Shell // by first facet

	// Mesh is the same surface ready for further work: the inspected mesh itself when that is closed
	// as it stands; otherwise with vertices at the same place joined (Joined counts them) and without
	// the facets of no area that can go without opening the surface (Dropped). Source gives the
	// inspected facet of each of its facets; nil when nothing was dropped.
	Mesh            *Mesh
	Source          []int32
	Joined, Dropped int

	problems []Problem
	near     int // neighbours that the search for crossings looked at
}

// Shell is one connected piece of the surface.
type Shell struct {
	Facets    int
	First     int32 // lowest facet
	VolumeMM3 float64
	Bounds    r3.Box
	Closed    bool
	Euler     int
	Genus     int // −1 when not closed
	// Depth is how many closed shells this one lies inside of: 1 for a void in a solid.
	Depth int
}

// Kind names a sort of problem.
type Kind string

// The kinds of problem, in the order that Problems gives them.
const (
	NoFacets          Kind = "no facets"
	BadIndex          Kind = "bad index"
	NotFinite         Kind = "not finite"
	Degenerate        Kind = "degenerate facets"
	Duplicate         Kind = "duplicate facets"
	Holes             Kind = "holes"
	NonManifoldEdge   Kind = "non-manifold edges"
	NonManifoldVertex Kind = "non-manifold vertices"
	Orientation       Kind = "inconsistent orientation"
	InsideOut         Kind = "inside out"
	ShellInsideOut    Kind = "shell inside out"
	NoVolume          Kind = "no volume"
	Void              Kind = "void inside"
	SolidInSolid      Kind = "solid inside a solid"
	ShellsCross       Kind = "shells cross"
	Crossing          Kind = "surface crosses itself"
	Touching          Kind = "surface touches itself"
	Untested          Kind = "not fully tested"
	Size              Kind = "size"
)

// Severity says whether a mould can be made in spite of a problem.
type Severity int

// A Warning needs a look; a Fatal problem has to be cured first.
const (
	Warning Severity = iota
	Fatal
)

func (s Severity) String() string {
	if s == Fatal {
		return "fatal"
	}
	return "warning"
}

// MarshalText makes a Severity its word in JSON.
func (s Severity) MarshalText() ([]byte, error) { return []byte(s.String()), nil }

// Where is one place of a problem.
type Where struct {
	Facets []int32 // the facets at fault, two for a pair
	At     r3.Vec  // mm
}

// Problem is one finding.
type Problem struct {
	Kind     Kind
	Severity Severity
	Count    int     // how many there are, in all
	AtLeast  bool    // counting stopped at Count
	Where    []Where // the first few places, MaxPlaces at most
	Words    string  // what is wrong
	Remedy   string  // what to do
}

// MaxPlaces bounds Problem.Where: enough to look at, short enough to print.
const MaxPlaces = 8

func (p Problem) String() string {
	s := fmt.Sprintf("%s: %s", p.Severity, p.Words)
	if len(p.Where) > 0 {
		w := p.Where[0]
		s += fmt.Sprintf(" (first at %.3f %.3f %.3f mm", w.At.X, w.At.Y, w.At.Z)
		for i, f := range w.Facets {
			s += fmt.Sprintf("%s %d", [2]string{", facet", " and"}[min(i, 1)], f)
		}
		s += ")"
	}
	return s + "; " + p.Remedy
}

// Problems are the findings, graver kinds not necessarily first but always in the same order.
func (in *Intake) Problems() []Problem { return in.problems }

// Unfit is the error of a mesh with fatal problems.
type Unfit struct{ Problems []Problem }

func (u *Unfit) Error() string {
	var words []string
	for _, p := range u.Problems {
		words = append(words, strings.TrimPrefix(p.String(), "fatal: "))
	}
	return "this mesh cannot be used: " + strings.Join(words, "\n")
}

// Fatal is nil when the mesh can be used, otherwise an *Unfit with every fatal problem.
func (in *Intake) Fatal() error {
	var u Unfit
	for _, p := range in.problems {
		if p.Severity == Fatal {
			u.Problems = append(u.Problems, p)
		}
	}
	if len(u.Problems) == 0 {
		return nil
	}
	return &u
}

func (in *Intake) report(p Problem) {
	if p.Count > 0 {
		in.problems = append(in.problems, p)
	}
}
