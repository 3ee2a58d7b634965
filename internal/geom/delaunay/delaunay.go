package delaunay

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// None marks what is not there: the neighbour beyond the hull, the segment on a free edge.
const None int32 = -1

// Triangulation is the result of Triangulate. Edge k of a triangle runs from its corner k to its
// corner k+1 (mod 3).
type Triangulation struct {
	// Tris are the triangles, counter-clockwise, as numbers of input points. Together they cover the
	// convex hull of the points; every point is a corner.
	Tris [][3]int32
	// Neighbours has the triangle across each edge, or None on the hull.
	Neighbours [][3]int32
	// Segment has the input segment that lies on each edge, or None; the lowest, if several do. A
	// segment with points on it lies on several edges.
	Segment [][3]int32

	weight [][3]int32 // how many input segments lie on each edge
}

// Errors that a caller may want to tell apart; the error types below match them with errors.Is and
// carry the indices.
var (
	ErrCrossing  = errors.New("segments cross")
	ErrDuplicate = errors.New("points coincide")
	ErrPoint     = errors.New("point has a coordinate that is not finite or exceeds 1e60")
	ErrSegment   = errors.New("segment has no two different points")
	ErrFlat      = errors.New("all points lie on one line")
)

// CrossingError names two segments that cross in their interiors. Segments may meet in a point of
// the input, or overlap along a line.
type CrossingError struct{ A, B int }

func (e *CrossingError) Error() string {
	return fmt.Sprintf("delaunay: segments %d and %d cross: split both at a common point", e.A, e.B)
}

// Is makes errors.Is(err, ErrCrossing) hold.
func (e *CrossingError) Is(target error) bool { return target == ErrCrossing }

// DuplicateError names two points with equal coordinates.
type DuplicateError struct{ A, B int }

func (e *DuplicateError) Error() string {
	return fmt.Sprintf("delaunay: points %d and %d coincide: keep one and renumber", e.A, e.B)
}

// Is makes errors.Is(err, ErrDuplicate) hold.
func (e *DuplicateError) Is(target error) bool { return target == ErrDuplicate }

// checkEvery is how many points go in between two looks at the context: well under a millisecond.
const checkEvery = 256

// maxCoord is the domain of the exact predicates.
const maxCoord = 1e60

// Triangulate returns the constrained Delaunay triangulation of the points with the segments, each a
// pair of point numbers, as edges. Where other points lie on a segment it becomes several edges. An
// edge without a segment has no corner of its two triangles inside the circumcircle of the other.
//
// Errors: CrossingError, DuplicateError, and errors that wrap ErrPoint, ErrSegment, ErrFlat (fewer
// than three points count as flat), or the context's error.
func Triangulate(ctx context.Context, pts []r2.Vec, segs [][2]int) (*Triangulation, error) {
	if err := check(pts, segs); err != nil {
		return nil, err
	}
	b := newBuilder(pts)
	if err := b.insertAll(ctx); err != nil {
		return nil, err
	}
	if err := b.constrainAll(ctx, segs); err != nil {
		return nil, err
	}
	return b.result(), nil
}

func check(pts []r2.Vec, segs [][2]int) error {
	for i, p := range pts {
		if !(math.Abs(p.X) <= maxCoord && math.Abs(p.Y) <= maxCoord) {
			return fmt.Errorf("delaunay: point %d is (%g, %g): %w", i, p.X, p.Y, ErrPoint)
		}
	}
	for i, s := range segs {
		for _, e := range s {
			if e < 0 || e >= len(pts) {
				return fmt.Errorf("delaunay: segment %d ends at point %d, but there are %d points: %w", i, e, len(pts), ErrSegment)
			}
		}
		if s[0] == s[1] {
			return fmt.Errorf("delaunay: segment %d runs from point %d to itself: %w", i, s[0], ErrSegment)
		}
	}
	if len(pts) < 3 {
		return fmt.Errorf("delaunay: %d points: %w", len(pts), ErrFlat)
	}
	return nil
}

// result leaves out the ghosts and renumbers.
func (b *builder) result() *Triangulation {
	number := make([]int32, len(b.tris))
	n := int32(0)
	for i := range b.tris {
		number[i] = None
		if b.tris[i].ghost() < 0 {
			number[i] = n
			n++
		}
	}
	t := &Triangulation{
		Tris: make([][3]int32, n), Neighbours: make([][3]int32, n),
		Segment: make([][3]int32, n), weight: make([][3]int32, n),
	}
	for i, k := range number {
		if k == None {
			continue
		}
		t.Tris[k] = b.tris[i].v
		for e, m := range b.marks[i] {
			t.Neighbours[k][e] = number[b.tris[i].adj[e]]
			t.Segment[k][e] = m.seg
			t.weight[k][e] = m.count
		}
	}
	return t
}
