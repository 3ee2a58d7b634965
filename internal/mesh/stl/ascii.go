package stl

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// asciiReader reads an ASCII STL word by word, since line breaks carry no meaning but after a name.
type asciiReader struct {
	br    *bufio.Reader
	lim   mesh.Limits
	line  int
	words [][]byte // rest of the current line
	facet int      // facets read in all solids

	model *mesh.Model
	mesh  *mesh.Mesh // of the solid being read
}

func readASCII(br *bufio.Reader, lim mesh.Limits) (*mesh.Model, error) {
	a := &asciiReader{br: br, lim: lim, model: unknownUnit()}
	if bom, _ := br.Peek(3); bytes.Equal(bom, []byte("\xef\xbb\xbf")) {
		if _, err := br.Discard(3); err != nil {
			return nil, fail(err)
		}
	}
	for {
		word, err := a.next()
		switch {
		case errors.Is(err, io.EOF):
			if a.mesh != nil {
				a.model.Note(fmt.Sprintf("the last solid has no \"endsolid\": the file may be cut short after facet %d", a.facet))
				a.endSolid()
			}
			return a.model, nil
		case err != nil:
			return nil, err
		}
		if err := a.statement(word); err != nil {
			return nil, err
		}
	}
}

// statement reads what word starts: a solid, a facet, or the end of a solid.
func (a *asciiReader) statement(word string) error {
	switch word {
	case "solid":
		if a.mesh != nil {
			a.model.Note(fmt.Sprintf("line %d: a solid starts before the last one ended", a.line))
			a.endSolid()
		}
		a.mesh = &mesh.Mesh{}
		a.model.Objects = append(a.model.Objects, mesh.Object{Name: a.restOfLine(), Mesh: a.mesh})
		return nil
	case "endsolid":
		if a.mesh == nil {
			return a.bad("\"endsolid\" without a \"solid\"")
		}
		a.restOfLine()
		a.endSolid()
		return nil
	case "facet":
		if a.mesh == nil {
			return a.bad("a facet outside of a solid")
		}
		return a.readFacet()
	}
	return a.bad(fmt.Sprintf("%q where \"facet\" or \"endsolid\" should be", word))
}

// endSolid closes the solid; one without facets is left out with a note.
func (a *asciiReader) endSolid() {
	if len(a.mesh.Tris) == 0 {
		n := len(a.model.Objects) - 1
		a.model.Note(fmt.Sprintf("solid %q holds no facets and was left out", a.model.Objects[n].Name))
		a.model.Objects = a.model.Objects[:n]
	}
	a.mesh = nil
}

// readFacet reads what follows "facet". Words are matched, numbers of the normal are not needed.
func (a *asciiReader) readFacet() error {
	a.facet++
	if a.facet > a.lim.Facets {
		return &mesh.ReadError{Format: "STL", Line: a.line, Err: a.lim.TooManyFacets()}
	}
	if err := a.expect("normal"); err != nil {
		return err
	}
	for range 3 {
		// A normal of a collapsed facet may be "nan"; it is not used.
		if _, err := a.must("a normal"); err != nil {
			return err
		}
	}
	if err := a.expect("outer", "loop"); err != nil {
		return err
	}
	base := uint32(len(a.mesh.Verts))
	for range 3 {
		v, err := a.readVertex()
		if err != nil {
			return err
		}
		a.mesh.Verts = append(a.mesh.Verts, v)
	}
	if err := a.expect("endloop", "endfacet"); err != nil {
		return err
	}
	a.mesh.Tris = append(a.mesh.Tris, [3]uint32{base, base + 1, base + 2})
	return nil
}

func (a *asciiReader) readVertex() (r3.Vec, error) {
	if err := a.expect("vertex"); err != nil {
		return r3.Vec{}, err
	}
	var c [3]float64
	var text [3]string
	for k := range c {
		word, err := a.must("a coordinate")
		if err != nil {
			return r3.Vec{}, err
		}
		text[k] = word
		if c[k], err = strconv.ParseFloat(word, 64); err != nil && !errors.Is(err, strconv.ErrRange) {
			return r3.Vec{}, a.bad(fmt.Sprintf("%q is not a number", word))
		}
	}
	v := r3.Vec{X: c[0], Y: c[1], Z: c[2]}
	if !mesh.Finite(v) {
		return r3.Vec{}, notFinite(mesh.ReadError{Line: a.line, Facet: a.facet}, strings.Join(text[:], " "))
	}
	return v, nil
}

func (a *asciiReader) expect(words ...string) error {
	for _, want := range words {
		got, err := a.must(strconv.Quote(want))
		if err != nil {
			return err
		}
		if got != want {
			return a.bad(fmt.Sprintf("%q where %q should be", got, want))
		}
	}
	return nil
}

// must is next with the end of the file as an error.
func (a *asciiReader) must(what string) (string, error) {
	word, err := a.next()
	if errors.Is(err, io.EOF) {
		return "", &mesh.ReadError{Format: "STL", Line: a.line, Facet: a.facet, Err: io.ErrUnexpectedEOF,
			What: "the file ends where " + what + " should be", Do: "the copy is cut short; copy or export it again"}
	}
	return word, err
}

// next returns the next word, in lower case.
func (a *asciiReader) next() (string, error) {
	for len(a.words) == 0 {
		line, err := a.readLine()
		if err != nil {
			return "", err
		}
		a.line++
		a.words = bytes.Fields(line)
	}
	word := a.words[0]
	a.words = a.words[1:]
	return lower(word), nil
}

// keywords lets lower answer without allocating for the words of which a file is made.
var keywords = map[string]string{"solid": "solid", "facet": "facet", "normal": "normal", "outer": "outer", "loop": "loop",
	"vertex": "vertex", "endloop": "endloop", "endfacet": "endfacet", "endsolid": "endsolid"}

func lower(word []byte) string {
	if s, ok := keywords[string(word)]; ok {
		return s
	}
	return strings.ToLower(string(word))
}

// restOfLine takes the words left on the current line: a solid's name.
func (a *asciiReader) restOfLine() string {
	name := string(bytes.Join(a.words, []byte(" ")))
	a.words = nil
	return name
}

// readLine reads up to a line break: LF, CR LF, or CR alone. The slice lasts until the next read.
func (a *asciiReader) readLine() ([]byte, error) {
	for want := 1; ; want = a.br.Buffered() + 1 {
		_, err := a.br.Peek(want)
		if errors.Is(err, bufio.ErrBufferFull) {
			return nil, &mesh.ReadError{Format: "STL", Line: a.line + 1, Do: exportAgain,
				What: fmt.Sprintf("a line of more than %d bytes", peekBytes)}
		}
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, fail(err)
		}
		have, _ := a.br.Peek(a.br.Buffered()) // cannot fail: they are buffered
		end := bytes.IndexAny(have, "\r\n")
		switch {
		case end < 0 && err == nil:
			continue
		case end < 0 && len(have) == 0:
			return nil, io.EOF
		case end < 0:
			end = len(have)
		case have[end] == '\r' && end+1 == len(have) && err == nil:
			continue // see first whether LF follows
		}
		skip := min(end+1, len(have))
		if end+1 < len(have) && have[end] == '\r' && have[end+1] == '\n' {
			skip++
		}
		_, err = a.br.Discard(skip)
		return have[:end], err
	}
}

func (a *asciiReader) bad(what string) error {
	return &mesh.ReadError{Format: "STL", Line: a.line, Facet: a.facet, What: what, Do: exportAgain}
}
