package ply

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"io"
	"math"
	"strconv"

	"mouldwright/internal/mesh"
)

// Write writes the model in mm as one binary little-endian mesh of doubles. Objects are put side by
// side, and their names are lost, as PLY has none. Facet colours are written if every facet has one.
func Write(w io.Writer, model *mesh.Model) error { return write(w, model, "binary_little_endian") }

// WriteBigEndian is Write with the other byte order.
func WriteBigEndian(w io.Writer, model *mesh.Model) error {
	return write(w, model, "binary_big_endian")
}

// WriteASCII is Write as text: the shortest decimal that reads back as the same double.
func WriteASCII(w io.Writer, model *mesh.Model) error { return write(w, model, "ascii") }

func write(w io.Writer, model *mesh.Model, format string) error {
	if len(model.Objects) == 0 {
		return fmt.Errorf("write PLY: nothing to write: %w", mesh.ErrNoFacets)
	}
	if model.Unit != mesh.Millimetre {
		model = model.InMM()
	}
	m := model.Merge()
	if err := m.CheckWritable(); err != nil {
		return fmt.Errorf("write PLY: %w", err)
	}
	if len(m.Verts) > math.MaxInt32 {
		return fmt.Errorf("write PLY: %d vertices do not fit its int indices", len(m.Verts))
	}
	colours := facetColours(model)
	b := bufio.NewWriterSize(w, 1<<16) // keeps its first error until Flush
	writeHeader(b, format, m, colours != nil)
	switch format {
	case "ascii":
		writeText(b, m, colours)
	case "binary_big_endian":
		writeBinary(b, binary.BigEndian, m, colours)
	default:
		writeBinary(b, binary.LittleEndian, m, colours)
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write PLY: %w", err)
	}
	return nil
}

// facetColours is nil unless every facet has a colour.
func facetColours(model *mesh.Model) []mesh.RGBA {
	var out []mesh.RGBA
	for _, o := range model.Objects {
		if len(o.FacetColour) != len(o.Mesh.Tris) {
			return nil
		}
		for _, c := range o.FacetColour {
			if c < 0 || int(c) >= len(o.Colours) {
				return nil
			}
			out = append(out, o.Colours[c])
		}
	}
	return out
}

func writeHeader(b *bufio.Writer, format string, m *mesh.Mesh, coloured bool) {
	fmt.Fprintf(b, "ply\nformat %s 1.0\ncomment mm\nelement vertex %d\n", format, len(m.Verts))
	b.WriteString("property double x\nproperty double y\nproperty double z\n")
	fmt.Fprintf(b, "element face %d\nproperty list uchar int vertex_indices\n", len(m.Tris))
	if coloured {
		b.WriteString("property uchar red\nproperty uchar green\nproperty uchar blue\nproperty uchar alpha\n")
	}
	b.WriteString("end_header\n")
}

func writeText(b *bufio.Writer, m *mesh.Mesh, colours []mesh.RGBA) {
	var line []byte
	for _, v := range m.Verts {
		line = strconv.AppendFloat(line[:0], v.X, 'g', -1, 64)
		line = strconv.AppendFloat(append(line, ' '), v.Y, 'g', -1, 64)
		line = strconv.AppendFloat(append(line, ' '), v.Z, 'g', -1, 64)
		b.Write(append(line, '\n'))
	}
	for f, t := range m.Tris {
		line = append(line[:0], '3')
		for _, v := range t {
			line = strconv.AppendUint(append(line, ' '), uint64(v), 10)
		}
		if colours != nil {
			c := colours[f]
			line = fmt.Appendf(line, " %d %d %d %d", c.R, c.G, c.B, c.A)
		}
		b.Write(append(line, '\n'))
	}
}

func writeBinary(b *bufio.Writer, order binary.AppendByteOrder, m *mesh.Mesh, colours []mesh.RGBA) {
	var rec []byte
	for _, v := range m.Verts {
		rec = rec[:0]
		for _, x := range [3]float64{v.X, v.Y, v.Z} {
			rec = order.AppendUint64(rec, math.Float64bits(x))
		}
		b.Write(rec)
	}
	for f, t := range m.Tris {
		rec = append(rec[:0], 3)
		for _, v := range t {
			rec = order.AppendUint32(rec, v)
		}
		if colours != nil {
			c := colours[f]
			rec = append(rec, c.R, c.G, c.B, c.A)
		}
		b.Write(rec)
	}
}
