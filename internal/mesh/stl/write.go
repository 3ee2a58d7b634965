package stl

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Write writes m as binary STL. Coordinates are rounded to 32-bit floats. A facet whose rounded
// corners fall together is left out, which cannot open the surface: its two other edges run along
// each other in opposite directions. A facet rounded to a straight line with three distinct corners
// is kept, because without it its neighbours would no longer meet. Rounding may make surfaces that
// are closer than the rounding touch or cross; such a part needs 3MF.
func Write(w io.Writer, m *mesh.Mesh, name string) error {
	facets, err := rounded(m)
	if err != nil {
		return err
	}
	bw := bufio.NewWriterSize(w, 1<<16)
	var head [headerBytes + countBytes]byte
	copy(head[:headerBytes], binaryName(name))
	binary.LittleEndian.PutUint32(head[headerBytes:], uint32(len(facets)))
	if _, err := bw.Write(head[:]); err != nil {
		return fmt.Errorf("write STL: %w", err)
	}
	var rec [facetBytes]byte
	for _, f := range facets {
		n := f.normal()
		putVec(rec[0:], n)
		for k, v := range f {
			putVec(rec[12+12*k:], v)
		}
		if _, err := bw.Write(rec[:]); err != nil {
			return fmt.Errorf("write STL: %w", err)
		}
	}
	if err := bw.Flush(); err != nil {
		return fmt.Errorf("write STL: %w", err)
	}
	return nil
}

// WriteASCII writes m as ASCII STL, with the 32-bit coordinates and the rules of Write, so that
// both forms hold the same surface.
func WriteASCII(w io.Writer, m *mesh.Mesh, name string) error {
	facets, err := rounded(m)
	if err != nil {
		return err
	}
	bw := bufio.NewWriterSize(w, 1<<16)
	name = asciiName(name)
	line := append(append([]byte("solid "), name...), '\n')
	for _, f := range facets {
		line = appendVec(append(line, "facet normal"...), f.normal())
		line = append(line, "\n outer loop\n"...)
		for _, v := range f {
			line = append(appendVec(append(line, "  vertex"...), v), '\n')
		}
		line = append(line, " endloop\nendfacet\n"...)
		if _, err := bw.Write(line); err != nil {
			return fmt.Errorf("write STL: %w", err)
		}
		line = line[:0]
	}
	fmt.Fprintf(bw, "endsolid %s\n", name) // Flush reports its error
	if err := bw.Flush(); err != nil {
		return fmt.Errorf("write STL: %w", err)
	}
	return nil
}

// vec32f is a corner as STL stores it.
type vec32f [3]float32

type facet32 [3]vec32f

// rounded gives the facets in 32-bit floats without those whose corners fall together.
func rounded(m *mesh.Mesh) ([]facet32, error) {
	if err := m.CheckWritable(); err != nil {
		return nil, err
	}
	facets := make([]facet32, 0, len(m.Tris))
	for i, t := range m.Tris {
		var f facet32
		for k, v := range t {
			p := m.Verts[v]
			f[k] = vec32f{float32(p.X), float32(p.Y), float32(p.Z)}
			if !mesh.Finite(f[k].wide()) {
				return nil, fmt.Errorf("facet %d: corner %g %g %g does not fit STL's 32-bit floats: %w", i+1, p.X, p.Y, p.Z, mesh.ErrNotFinite)
			}
		}
		if f[0] != f[1] && f[1] != f[2] && f[2] != f[0] {
			facets = append(facets, f)
		}
	}
	if len(facets) == 0 {
		return nil, fmt.Errorf("every facet collapses when rounded to STL's 32-bit floats: %w", mesh.ErrNoFacets)
	}
	if uint64(len(facets)) > math.MaxUint32 {
		return nil, fmt.Errorf("%d facets do not fit STL's 32-bit count", len(facets))
	}
	return facets, nil
}

func (v vec32f) wide() r3.Vec { return r3.Vec{X: float64(v[0]), Y: float64(v[1]), Z: float64(v[2])} }

// normal is the unit normal by the right-hand rule, zero for a facet without area.
func (f facet32) normal() vec32f {
	a := f[0].wide()
	n := r3.Cross(r3.Sub(f[1].wide(), a), r3.Sub(f[2].wide(), a))
	l := r3.Norm(n)
	if l == 0 || math.IsInf(l, 0) || math.IsNaN(l) {
		return vec32f{}
	}
	return vec32f{float32(n.X / l), float32(n.Y / l), float32(n.Z / l)}
}

func putVec(b []byte, v vec32f) {
	for k, c := range v {
		binary.LittleEndian.PutUint32(b[4*k:], math.Float32bits(c))
	}
}

func appendVec(b []byte, v vec32f) []byte {
	for _, c := range v {
		b = strconv.AppendFloat(append(b, ' '), float64(c), 'g', -1, 32)
	}
	return b
}

// binaryName keeps a header from starting with "solid", by which programs know ASCII.
func binaryName(name string) string {
	name = strings.Map(func(r rune) rune {
		if r < ' ' || r >= 0x7f {
			return '_'
		}
		return r
	}, name)
	if hasWordPrefix(name, "solid") {
		name = "part " + name
	}
	return name
}

func hasWordPrefix(s, word string) bool {
	s = strings.TrimLeft(s, " ")
	return len(s) >= len(word) && strings.EqualFold(s[:len(word)], word)
}

// asciiName keeps a name on its line.
func asciiName(name string) string {
	return strings.Join(strings.FieldsFunc(name, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }), " ")
}
