package mesh

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"
)

// ReadError says what is wrong in a mesh file, where, and what to do about it. Fields that do not
// apply are zero.
type ReadError struct {
	Path   string // the file; filled by mesh/meshfile
	Format string // "STL", "3MF", "OBJ" or "PLY"
	Line   int    // counted from 1
	Offset int64  // byte offset, given as a place when Line is 0 and HasOffset
	Facet  int    // counted from 1
	What   string // what is wrong
	Do     string // what to do
	Err    error  // cause, may be nil

	HasOffset bool
}

func (e *ReadError) Error() string {
	var parts []string
	if e.Path != "" {
		parts = append(parts, e.Path)
	}
	if e.Format != "" {
		parts = append(parts, e.Format)
	}
	switch {
	case e.Line > 0:
		parts = append(parts, fmt.Sprintf("line %d", e.Line))
	case e.HasOffset:
		parts = append(parts, fmt.Sprintf("byte %d", e.Offset))
	}
	if e.Facet > 0 {
		parts = append(parts, fmt.Sprintf("facet %d", e.Facet))
	}
	if e.What != "" {
		parts = append(parts, e.What)
	}
	if e.Err != nil {
		parts = append(parts, e.Err.Error())
	}
	s := strings.Join(parts, ": ")
	if e.Do != "" {
		s += "; " + e.Do
	}
	return s
}

func (e *ReadError) Unwrap() error { return e.Err }

// ErrNoFacets is the cause when a file or a mesh to be written holds no facet at all.
var ErrNoFacets = errors.New("no facets")

// ErrNotFinite is the cause when a coordinate is NaN, infinite, or too large for its type.
var ErrNotFinite = errors.New("coordinate is not a finite number")

// Finite reports whether all three coordinates are finite.
func Finite(v r3.Vec) bool {
	// x-x is 0 for a finite x, NaN for NaN and ±Inf.
	d := (v.X - v.X) + (v.Y - v.Y) + (v.Z - v.Z)
	return d == 0
}

// CheckWritable refuses what no mesh file should hold: no facets, indices past the vertices,
// coordinates that are not finite. Writers call it before the first byte.
func (m *Mesh) CheckWritable() error {
	if len(m.Tris) == 0 {
		return fmt.Errorf("nothing to write: %w", ErrNoFacets)
	}
	if len(m.Verts) > math.MaxUint32 {
		return fmt.Errorf("%d vertices: more than a mesh can index", len(m.Verts))
	}
	for i, t := range m.Tris {
		for _, v := range t {
			if int(v) >= len(m.Verts) {
				return fmt.Errorf("facet %d uses vertex %d of %d", i+1, v, len(m.Verts))
			}
			if !Finite(m.Verts[v]) {
				return fmt.Errorf("facet %d: %w", i+1, ErrNotFinite)
			}
		}
	}
	return nil
}

// BoundedReader passes on at most Limits.Bytes and then fails with a LimitError, so a reader of
// unknown length never runs past the limit.
type BoundedReader struct {
	R      io.Reader
	Limits Limits

	Offset int64 // bytes passed on so far
	Last   byte  // the last of them
	Err    error // the first error other than io.EOF
}

func (b *BoundedReader) Read(p []byte) (int, error) {
	n, err := b.read(p)
	if n > 0 {
		b.Last = p[n-1]
	}
	if err != nil && err != io.EOF && b.Err == nil {
		b.Err = err
	}
	return n, err
}

func (b *BoundedReader) read(p []byte) (int, error) {
	left := b.Limits.Bytes - b.Offset
	if left < 0 {
		return 0, b.Limits.TooManyBytes()
	}
	if int64(len(p)) > left+1 {
		p = p[:left+1]
	}
	n, err := b.R.Read(p)
	b.Offset += int64(n)
	if b.Offset > b.Limits.Bytes {
		return max(0, n-1), b.Limits.TooManyBytes()
	}
	return n, err
}
