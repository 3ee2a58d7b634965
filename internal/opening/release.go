package opening

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// ErrRelease marks a question about release that cannot be answered as put.
var ErrRelease = errors.New("opening: release cannot be judged")

// Catch is one place where a piece of the mould is held by the casting: a group of facets of the part
// that the piece would have to pass.
//
//	for _, u := range report.Undercuts { // mouldability.Analyse along the exit
//		catches = append(catches, opening.Catch{Piece: "core", Exit: d, Facets: u.Facets,
//			DepthMM: u.DepthMM, DepthErrorMM: u.DepthErrorMM, Sealed: u.Sealed})
//	}
type Catch struct {
	Piece string // the piece that is held
	Exit  r3.Vec // the way that it leaves
	// Facets of the part that bound the void in which the piece is held: those that face against the
	// exit, and those across the void if they are known.
	Facets []int32
	// DepthMM is how far material must give way sideways, with its error; 0 measures it on Facets.
	DepthMM, DepthErrorMM float64
	Sealed                bool // a hollow inside the part
}

// ReleaseBody is the casting or a piece of the mould.
type ReleaseBody struct {
	Name string
	Exit r3.Vec // the way a piece leaves; unused for the casting
	Flex *Flex  // nil: rigid
	// WallMM is how thick a flexible piece is behind the part, mm.
	WallMM float64
	// Backs names a flexible piece that this rigid one holds in shape from behind: as long as it is
	// there, the other cannot give way.
	Backs string
}

// ReleaseSetup is a mould with the casting inside, everything closed.
type ReleaseSetup struct {
	Part    *mesh.Mesh
	Casting ReleaseBody
	Pieces  []ReleaseBody // at most MostReleasePieces, in any order
	// Shapes gives for each facet of the part the piece that shapes it, as an index into Pieces, -1
	// for none. Nil means that nothing is known, and then no wall counts as confined.
	Shapes   []int
	Catches  []Catch
	Friction float64 // 0 means DefaultFriction
	// FixedOrder keeps the pieces in the order given instead of looking for the best.
	FixedOrder bool
}

// MostReleasePieces bounds the search over orders: 6! = 720 of them.
const MostReleasePieces = 6

// Way says how a body gives way.
type Way string

// The ways, and Stuck for none.
const (
	Stuck     Way = "locked"     // nothing gives way
	Stretched Way = "stretched"  // a closed ring is stretched over something wider
	Bent      Way = "bent aside" // a lip bends about its root
	Squeezed  Way = "squeezed"   // a body is pressed together
)

// Hold is the outcome for one catch.
type Hold struct {
	Catch  int     `json:"catch"` // index into ReleaseSetup.Catches
	Piece  string  `json:"piece"`
	Gives  string  `json:"gives,omitempty"` // the body that gives way
	Way    Way     `json:"way"`
	Shape  Shape   `json:"shape"`
	Strain float64 `json:"strain"` // mm/mm; 0 when Stuck
	// StrainErrorPct is how far off the strain may be, in per cent of itself.
	StrainErrorPct float64 `json:"strain_error_pct,omitempty"`
	Allowed        float64 `json:"allowed,omitempty"` // strain that the material allows
	Margin         float64 `json:"margin,omitempty"`  // Allowed/Strain; releases at 1 and above
	// ForceN is an estimate of the pull along the exit; the true one lies within ForceFactor times
	// less or more.
	ForceN      float64 `json:"force_n,omitempty"`
	ForceFactor float64 `json:"force_factor,omitempty"`
	Confined    bool    `json:"confined,omitempty"` // would give way but has no room to
	// TooHard: it would give way, but takes a greater pull than PullN.
	TooHard  bool    `json:"too_hard,omitempty"`
	PullN    float64 `json:"pull_n,omitempty"` // the most that may be pulled
	Releases bool    `json:"releases"`
	TearRisk string  `json:"tear_risk"`
	Words    string  `json:"words"`
}

// StepKind is the sort of an opening step.
type StepKind string

// The steps.
const (
	LiftStep    StepKind = "lift"    // a rigid piece leaves straight
	PeelStep    StepKind = "peel"    // a flexible piece is peeled off the casting
	StretchStep StepKind = "stretch" // the casting is stretched off a piece
	BendStep    StepKind = "bend"    // a lip of the casting is bent aside
	SqueezeStep StepKind = "squeeze" // the casting is pressed together
	TakeStep    StepKind = "take"    // the casting comes away freely
)

// ReleaseStep is one step of opening the mould.
type ReleaseStep struct {
	Kind      StepKind `json:"kind"`
	Piece     string   `json:"piece"`
	Direction r3.Vec   `json:"direction"`       // the way the piece moves
	Holds     []int    `json:"holds,omitempty"` // indices into Release.Holds that this step overcomes
	Words     string   `json:"words"`
}

// Keeps says how hard a piece holds the casting.
type Keeps struct {
	Piece        string  `json:"piece"`
	HeldMM2      float64 `json:"held_mm2"`       // area of its catches
	ZeroDraftMM2 float64 `json:"zero_draft_mm2"` // area of its walls without draft
}

// Release is the answer: whether, how and in which order the mould opens.
type Release struct {
	Releases bool          `json:"releases"`
	Holds    []Hold        `json:"holds"` // one a catch, in their order
	Order    []string      `json:"order"` // of the pieces
	Steps    []ReleaseStep `json:"steps"`
	Keeps    []Keeps       `json:"keeps"` // a piece each, in the order given
	// KeptBy is the piece that the casting stays with: the one with the most held and zero-draft
	// area. Empty when nothing holds it more than gravity.
	KeptBy string `json:"kept_by"`
}

// JudgeRelease decides for each catch whether a flexible body can give way, and finds the order of
// opening in which most catches let go. It measures every catch on the part's own mesh (Shape). Rigid
// bodies that hold each other never let go. An error matches ErrRelease or ErrFlex.
func JudgeRelease(ctx context.Context, s ReleaseSetup) (*Release, error) {
	j, err := newReleaseJudge(ctx, s)
	if err != nil {
		return nil, err
	}
	var best *Release
	bestScore := math.Inf(1)
	for _, order := range j.orders() {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		r := j.judge(order)
		if score := j.score(r, order); score < bestScore {
			best, bestScore = r, score
		}
	}
	j.steps(best)
	return best, nil
}

// releaseJudge holds what does not depend on the order of opening.
type releaseJudge struct {
	ReleaseSetup
	shapes []Shape
	keeps  []Keeps
	keeper int // index into Pieces, -1 for none
}

func newReleaseJudge(ctx context.Context, s ReleaseSetup) (*releaseJudge, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	if s.Friction == 0 {
		s.Friction = DefaultFriction
	}
	j := &releaseJudge{ReleaseSetup: s}
	m := newShapeMeasurer(s.Part)
	for i, c := range s.Catches {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		shape, err := m.measure(c)
		if err != nil {
			return nil, fmt.Errorf("catch %d: %w", i+1, err)
		}
		j.shapes = append(j.shapes, shape)
	}
	j.weigh()
	return j, nil
}

func (s *ReleaseSetup) check() error {
	if s.Part == nil || len(s.Part.Tris) == 0 {
		return fmt.Errorf("%w: the part has no facets", ErrRelease)
	}
	for i, v := range s.Part.Verts {
		if !mesh.Finite(v) {
			return fmt.Errorf("%w: vertex %d of the part is not finite", ErrRelease, i)
		}
	}
	if n := len(s.Pieces); n == 0 || n > MostReleasePieces {
		return fmt.Errorf("%w: %d pieces; give 1 to %d", ErrRelease, n, MostReleasePieces)
	}
	if s.Shapes != nil && len(s.Shapes) != len(s.Part.Tris) {
		return fmt.Errorf("%w: Shapes has %d entries for %d facets", ErrRelease, len(s.Shapes), len(s.Part.Tris))
	}
	for i, p := range s.Shapes {
		if p < -1 || p >= len(s.Pieces) {
			return fmt.Errorf("%w: facet %d is shaped by piece %d, and there are %d", ErrRelease, i, p, len(s.Pieces))
		}
	}
	if !(s.Friction >= 0 && s.Friction < 10) {
		return fmt.Errorf("%w: friction %g is not between 0 and 10", ErrRelease, s.Friction)
	}
	if err := s.checkBodies(); err != nil {
		return err
	}
	for i, c := range s.Catches {
		if s.index(c.Piece) < 0 {
			return fmt.Errorf("%w: catch %d holds %q, which is no piece", ErrRelease, i+1, c.Piece)
		}
		if !(c.DepthMM >= 0) || !(c.DepthErrorMM >= 0) {
			return fmt.Errorf("%w: catch %d has a depth of %g ± %g mm", ErrRelease, i+1, c.DepthMM, c.DepthErrorMM)
		}
	}
	return nil
}

func (s *ReleaseSetup) checkBodies() error {
	for i, p := range append([]ReleaseBody{s.Casting}, s.Pieces...) {
		if p.Flex != nil {
			if err := p.Flex.Check(); err != nil {
				return fmt.Errorf("%s: %w", p.Name, err)
			}
		}
		if i == 0 {
			continue
		}
		if s.index(p.Name) != i-1 {
			return fmt.Errorf("%w: two pieces are called %q", ErrRelease, p.Name)
		}
		if !(p.WallMM >= 0) || math.IsInf(p.WallMM, 0) {
			return fmt.Errorf("%w: %s is %g mm thick", ErrRelease, p.Name, p.WallMM)
		}
		if n := r3.Norm(p.Exit); !(n > 0) || math.IsInf(n, 0) {
			return fmt.Errorf("%w: the exit of %s must be a finite vector that is not zero", ErrRelease, p.Name)
		}
		if p.Backs != "" && s.index(p.Backs) < 0 {
			return fmt.Errorf("%w: %s backs %q, which is no piece", ErrRelease, p.Name, p.Backs)
		}
	}
	return nil
}

func (s *ReleaseSetup) index(piece string) int {
	return slices.IndexFunc(s.Pieces, func(b ReleaseBody) bool { return b.Name == piece })
}

// weigh finds the piece that keeps the casting.
func (j *releaseJudge) weigh() {
	j.keeps = make([]Keeps, len(j.Pieces))
	for i, p := range j.Pieces {
		j.keeps[i].Piece = p.Name
	}
	for i, c := range j.Catches {
		j.keeps[j.index(c.Piece)].HeldMM2 += j.shapes[i].AreaMM2
	}
	for f, p := range j.Shapes {
		if p < 0 {
			continue
		}
		t := j.Part.Facet(f)
		n, area := t.Normal(), geom.Area(t)
		if sine := r3.Dot(r3.Unit(n), r3.Unit(j.Pieces[p].Exit)); area > 0 && math.Abs(sine) < zeroDraftSine {
			j.keeps[p].ZeroDraftMM2 += area
		}
	}
	j.keeper = -1
	most := 0.0
	for i, k := range j.keeps {
		if a := k.HeldMM2 + k.ZeroDraftMM2; a > most {
			j.keeper, most = i, a
		}
	}
}

var zeroDraftSine = math.Sin(DefaultWallDraftDeg * math.Pi / 180)

// orders lists the orders of opening to look at, the one given first.
func (j *releaseJudge) orders() [][]int {
	n := len(j.Pieces)
	given := make([]int, n)
	for i := range given {
		given[i] = i
	}
	if j.FixedOrder {
		return [][]int{given}
	}
	var out [][]int
	var grow func(done []int)
	grow = func(done []int) {
		if len(done) == n {
			out = append(out, slices.Clone(done))
			return
		}
		for i := range n {
			if !slices.Contains(done, i) {
				grow(append(done, i))
			}
		}
	}
	grow(nil)
	return out
}

// score is less for a better order: first the catches that hold, then the casting should stay with
// the piece that holds it most until the end, then rigid pieces should leave before flexible ones.
func (j *releaseJudge) score(r *Release, order []int) float64 {
	score := 0.0
	for _, h := range r.Holds {
		if !h.Releases {
			score += 1e6
		}
	}
	if j.keeper >= 0 && order[len(order)-1] != j.keeper {
		score += 1e3
	}
	for at, p := range order {
		if j.Pieces[p].Flex == nil && j.Pieces[p].Backs != "" {
			score += float64(at)
		}
	}
	return score
}
