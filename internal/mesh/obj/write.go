package obj

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"
	"unicode"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Write writes the model in mm, an o for each object. Numbers are the shortest text that reads back
// as the same double. Colours are left out, which OBJ keeps elsewhere. Two objects of one name would
// be read as one, so the second gets a number.
func Write(w io.Writer, model *mesh.Model) error {
	if len(model.Objects) == 0 {
		return fmt.Errorf("write OBJ: nothing to write: %w", mesh.ErrNoFacets)
	}
	if model.Unit != mesh.Millimetre {
		model = model.InMM()
	}
	for _, o := range model.Objects {
		if err := o.Mesh.CheckWritable(); err != nil {
			return fmt.Errorf("write OBJ: object %q: %w", o.Name, err)
		}
	}
	b := bufio.NewWriterSize(w, 1<<16) // keeps its first error until Flush
	b.WriteString("# mm\n")
	base := uint64(1)
	used := map[string]bool{}
	var line []byte
	for _, o := range model.Objects {
		fmt.Fprintf(b, "o %s\n", unique(used, oneLine(o.Name)))
		for _, v := range o.Mesh.Verts {
			b.Write(appendVertex(line[:0], v))
		}
		for _, t := range o.Mesh.Tris {
			line = append(line[:0], 'f')
			for _, v := range t {
				line = strconv.AppendUint(append(line, ' '), uint64(v)+base, 10)
			}
			b.Write(append(line, '\n'))
		}
		base += uint64(len(o.Mesh.Verts))
	}
	if err := b.Flush(); err != nil {
		return fmt.Errorf("write OBJ: %w", err)
	}
	return nil
}

func appendVertex(line []byte, v r3.Vec) []byte {
	line = append(line, 'v')
	for _, x := range [3]float64{v.X, v.Y, v.Z} {
		line = strconv.AppendFloat(append(line, ' '), x, 'g', -1, 64)
	}
	return append(line, '\n')
}

// oneLine keeps a name free of what OBJ would read otherwise.
func oneLine(name string) string {
	name = strings.Join(strings.FieldsFunc(name, func(r rune) bool {
		return unicode.IsSpace(r) || unicode.IsControl(r) || r == '#'
	}), " ")
	name = strings.TrimRight(name, `\ `)
	if name == "" {
		return "part"
	}
	return name
}

func unique(used map[string]bool, name string) string {
	try := name
	for n := 2; used[try]; n++ {
		try = fmt.Sprintf("%s (%d)", name, n)
	}
	used[try] = true
	return try
}
