package choice

import (
	"context"
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mouldability"
)

// stance is the part seen along one opening direction, show faces down.
type stance struct {
	part   *mesh.Mesh
	show   []bool
	d      r3.Vec // unit
	frame  geom.Frame
	report *mouldability.Report
	adj    mesh.Adjacency
	normal []r3.Vec // unit, zero for facets without area
	area   []float64
	holds  []mouldability.Half // per facet, of the undercut that it belongs to
	// upper says per facet whether the upper of two halves that part along ±d shapes it.
	upper           []bool
	lineMM, lineMax float64 // of that parting line, and its length on show faces
	// Filled by lookSideways: sides are directions across d, 15° apart, and caught per side whether a facet is caught at its
	// middle when a piece leaves along ± that side.
	sides    []r3.Vec
	caught   [][]bool
	sideways []bool // reached along some side
	box      r3.Box // in the frame
	middle   r3.Vec // of the part's own box
	volume   float64
}

const (
	sideCount = 12
	// sidewaysSine is how far a facet has to face sideways to count as reached that way; a flat floor
	// does not.
	sidewaysSine = 0.1
)

var wallSine = math.Sin(mouldability.ZeroDraftDeg * math.Pi / 180)

// newStance analyses the part along d, which is turned over if that puts more show face down: a
// casting lies on its show face in the piece that gives it the best surface.
func newStance(ctx context.Context, part *mesh.Mesh, show []bool, d r3.Vec, opt *Options) (*stance, error) {
	s := &stance{part: part, show: show, d: r3.Unit(d), adj: part.Adjacency(), volume: part.VolumeMM3()}
	s.measureFacets()
	s.faceDown()
	s.frame = geom.FrameTo(s.d)
	s.box, s.middle = part.Map(s.frame.Apply).Bounds(), part.Bounds().Center()
	var err error
	look := opt.analysis(opt.depthCells)
	look.Show = show
	s.report, err = mouldability.Analyse(ctx, part, s.d, look)
	if err != nil {
		return nil, err
	}
	s.holds = make([]mouldability.Half, len(part.Tris))
	for _, u := range s.report.Undercuts {
		for _, f := range u.Facets {
			s.holds[f] |= u.Holds
		}
	}
	return s, s.divide(ctx)
}

const (
	// depthCells: a depth to a few per cent is enough to compare ways.
	depthCells = 10000
	// trialCells: while a taper is halved down, the depth hardly matters; the answer is confirmed with
	// depthCells.
	trialCells = 400
)

func (s *stance) measureFacets() {
	s.normal, s.area = make([]r3.Vec, len(s.part.Tris)), make([]float64, len(s.part.Tris))
	for f := range s.part.Tris {
		t := s.part.Facet(f)
		n := t.Normal()
		if l := r3.Norm(n); l > 0 {
			s.normal[f], s.area[f] = r3.Scale(1/l, n), geom.Area(t)
		}
	}
}

func (s *stance) faceDown() {
	up := 0.0
	for f := range s.part.Tris {
		if s.shown(int32(f)) {
			up += s.area[f] * r3.Dot(s.normal[f], s.d)
		}
	}
	if up > 1e-9*s.part.AreaMM2() {
		s.d = r3.Sub(r3.Vec{}, s.d) // keeps zeros positive, for the words
	}
}

func (s *stance) shown(f int32) bool { return s.show != nil && s.show[f] }

func (s *stance) up(f int) float64 { return r3.Dot(s.normal[f], s.d) }

// divide finds which half shapes each facet: as package mouldability divides the walls, but what is
// caught belongs to the half that is held there.
func (s *stance) divide(ctx context.Context) error {
	p, err := mouldability.Part(ctx, s.part.Map(s.frame.Apply), mouldability.PartOptions{Show: s.show})
	if err != nil {
		return fmt.Errorf("cannot divide the part along (%.3f, %.3f, %.3f): %w", s.d.X, s.d.Y, s.d.Z, err)
	}
	s.lineMM, s.lineMax = p.LengthMM, p.ShowLengthMM
	balance := make([]float64, len(s.part.Tris))
	for i, f := range p.Source {
		a := geom.Area(p.Mesh.Facet(i))
		if !p.Upper[i] {
			a = -a
		}
		balance[f] += a
	}
	s.upper = make([]bool, len(s.part.Tris))
	for f := range s.upper {
		switch s.holds[f] {
		case mouldability.UpperHalf:
			s.upper[f] = true
		case mouldability.LowerHalf:
		default:
			s.upper[f] = balance[f] > 0
		}
	}
	return nil
}

// lookSideways finds what a piece that leaves across d can reach, once.
func (s *stance) lookSideways(ctx context.Context, opt *Options) error {
	if s.sides != nil {
		return nil
	}
	search, err := mouldability.NewSearcher(s.part, s.show)
	if err != nil {
		return err
	}
	sides := make([]r3.Vec, sideCount)
	for k := range sides {
		sin, cos := math.Sincos(math.Pi * float64(k) / sideCount)
		sides[k] = s.frame.Inverse(r3.Vec{X: cos, Y: sin})
	}
	s.caught = make([][]bool, sideCount)
	s.sideways = make([]bool, len(s.part.Tris))
	order := search.Order()
	var mu sync.Mutex
	err = search.Caught(ctx, sides, opt.Workers, func(i int, caught []bool) {
		own := make([]bool, len(s.part.Tris))
		for k, f := range order {
			own[f] = caught[k]
		}
		mu.Lock()
		defer mu.Unlock()
		s.caught[i] = own
		for f := range own {
			if !own[f] && math.Abs(r3.Dot(s.normal[f], sides[i])) > sidewaysSine {
				s.sideways[f] = true
			}
		}
	})
	if err == nil {
		s.sides = sides
	}
	return err
}

func (s *stance) undercut() bool { return len(s.report.Undercuts) > 0 }

// topMM is the part's highest point along d, in the frame.
func (s *stance) topMM() float64 { return s.box.Max.Z }

// heightMM is a facet's middle over the frame's zero.
func (s *stance) heightMM(f int) float64 { return s.frame.Apply(s.part.Facet(f).Centroid()).Z }
