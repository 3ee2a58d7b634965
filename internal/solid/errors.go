package solid

import (
	"errors"
	"fmt"
)

// Reasons for which FromMesh refuses a mesh; a *MeshError wraps one of them.
var (
	ErrEmpty           = errors.New("the mesh encloses nothing")
	ErrNonFinite       = errors.New("a coordinate is not a finite number")
	ErrTooLarge        = errors.New("coordinates are too large to compute with")
	ErrIndex           = errors.New("a facet names a vertex that does not exist")
	ErrDegenerate      = errors.New("a facet uses one vertex twice")
	ErrOpen            = errors.New("the mesh is not closed, or its facets do not all face the same way")
	ErrInsideOut       = errors.New("the mesh is inside out")
	ErrTooManyVertices = errors.New("the mesh has too many vertices")
)

// Errors of use and of the kernel.
var (
	// ErrFreed reports use of a Solid, Region or Kernel after it was freed or its Do returned.
	ErrFreed = errors.New("solid: used after it was freed")
	// ErrPoolClosed reports Do on a closed Pool.
	ErrPoolClosed = errors.New("solid: the pool is closed")
	// ErrForeign reports an operation on bodies of two different Do calls.
	ErrForeign = errors.New("solid: operands belong to different kernels")
	// ErrKernelLost reports a crash inside the library; the body may be too large for its memory.
	ErrKernelLost = errors.New("solid: the boolean kernel crashed and was discarded")
	// ErrArgument reports an argument out of its documented range.
	ErrArgument = errors.New("solid: bad argument")
)

// MeshError says why a mesh was refused and where.
type MeshError struct {
	Reason error  // one of the Err values above
	Facet  int    // the facet concerned, -1 if none
	Vertex int    // the vertex concerned, -1 if none
	Detail string // where it is and what to do about it
}

func (e *MeshError) Error() string { return fmt.Sprintf("solid: %v: %s", e.Reason, e.Detail) }

// Unwrap returns the reason.
func (e *MeshError) Unwrap() error { return e.Reason }

// StatusError is the library's own verdict on a body that it finds not valid.
type StatusError string

func (e StatusError) Error() string { return "solid: the kernel refuses the body: " + string(e) }

// crash is a failure inside the library, after which its memory is in an unknown state.
type crash struct {
	op    string
	cause error
}

func (e *crash) Error() string {
	return fmt.Sprintf("%v: %s: %s", ErrKernelLost, e.op, firstLine(e.cause))
}

func (e *crash) Unwrap() []error { return []error{ErrKernelLost, e.cause} }

// firstLine drops the WebAssembly stack trace that the runtime appends.
func firstLine(err error) string {
	s := err.Error()
	for i, c := range s {
		if c == '\n' {
			return s[:i]
		}
	}
	return s
}

func badArgument(format string, a ...any) error {
	return fmt.Errorf("%w: %s", ErrArgument, fmt.Sprintf(format, a...))
}
