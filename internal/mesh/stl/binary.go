package stl

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// trustedCount is how many facets a header may make us allocate before they have been seen.
const trustedCount = 1 << 16

func readBinary(br *bufio.Reader, lim mesh.Limits) (*mesh.Model, error) {
	var head [headerBytes + countBytes]byte
	if n, err := io.ReadFull(br, head[:]); err != nil {
		if !isEnd(err) {
			return nil, fail(err)
		}
		return nil, &mesh.ReadError{Format: "STL", Offset: int64(n), HasOffset: true,
			What: fmt.Sprintf("the file ends in the %d-byte header", len(head)),
			Do:   "the copy is cut short or this is not an STL file; copy or export it again", Err: io.ErrUnexpectedEOF}
	}
	count := binary.LittleEndian.Uint32(head[headerBytes:])
	if int64(count) > int64(lim.Facets) {
		return nil, &mesh.ReadError{Format: "STL", Offset: headerBytes, HasOffset: true,
			What: fmt.Sprintf("the header says %d facets", count), Err: lim.TooManyFacets()}
	}
	m := &mesh.Mesh{
		Verts: make([]r3.Vec, 0, 3*min(count, trustedCount)),
		Tris:  make([][3]uint32, 0, min(count, trustedCount)),
	}
	var rec [facetBytes]byte
	for f := range count {
		if n, err := io.ReadFull(br, rec[:]); err != nil {
			if !isEnd(err) {
				return nil, fail(err)
			}
			return nil, &mesh.ReadError{Format: "STL", Facet: int(f) + 1,
				Offset: headerBytes + countBytes + int64(f)*facetBytes + int64(n), HasOffset: true,
				What: fmt.Sprintf("the file ends here, but its header says %d facets", count),
				Do:   "the copy is cut short; copy or export it again", Err: io.ErrUnexpectedEOF}
		}
		for k := range 3 {
			v := vec32(rec[12+12*k:])
			if !mesh.Finite(v) {
				return nil, notFinite(mesh.ReadError{Facet: int(f) + 1, HasOffset: true,
					Offset: headerBytes + countBytes + int64(f)*facetBytes + int64(12+12*k)},
					fmt.Sprintf("%g %g %g", v.X, v.Y, v.Z))
			}
			m.Verts = append(m.Verts, v)
		}
		m.Tris = append(m.Tris, [3]uint32{3 * f, 3*f + 1, 3*f + 2})
	}
	model := unknownUnit()
	model.Objects = []mesh.Object{{Name: headerName(head[:headerBytes]), Mesh: m}}
	return model, noteRest(br, model)
}

// noteRest mentions bytes behind the last facet, which some writers leave there.
func noteRest(br *bufio.Reader, model *mesh.Model) error {
	n, err := io.Copy(io.Discard, br)
	if err != nil {
		return fail(err)
	}
	if n > 0 {
		model.Note(fmt.Sprintf("%d bytes after the last facet were left out", n))
	}
	return nil
}

func vec32(b []byte) r3.Vec {
	c := func(i int) float64 { return float64(math.Float32frombits(binary.LittleEndian.Uint32(b[i:]))) }
	return r3.Vec{X: c(0), Y: c(4), Z: c(8)}
}

// headerName is the printable ASCII text at the start of a header.
func headerName(head []byte) string {
	n := 0
	for n < len(head) && head[n] >= ' ' && head[n] < 0x7f {
		n++
	}
	return strings.TrimSpace(string(head[:n]))
}

func isEnd(err error) bool { return errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) }
