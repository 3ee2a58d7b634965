package obj

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

const (
	maxLine     = 1 << 20 // bytes of one line, continuations included
	exportAgain = "export the part again"
)

// Read reads an OBJ file. Errors are *mesh.ReadError, with a *mesh.LimitError inside when the file
// passes a limit.
func Read(r io.Reader, lim mesh.Limits) (*mesh.Model, error) {
	lim = lim.OrDefault()
	p := &parser{lim: lim}
	in := &mesh.BoundedReader{R: r, Limits: lim}
	lines := bufio.NewScanner(in)
	lines.Buffer(make([]byte, 1<<16), maxLine)
	joined := ""
	for lines.Scan() {
		p.line++
		text := lines.Text()
		if cut, more := strings.CutSuffix(strings.TrimRight(text, " \t\r"), `\`); more {
			if joined += cut + " "; len(joined) > maxLine {
				return nil, p.bad(fmt.Sprintf("a line of more than %d bytes", maxLine))
			}
			continue
		}
		if err := p.statement(joined + text); err != nil {
			if in.Err != nil {
				err = p.fail(in.Err) // the scanner gives out half a line before it tells why
			}
			return nil, err
		}
		joined = ""
	}
	if err := lines.Err(); err != nil {
		return nil, p.fail(err)
	}
	if joined != "" {
		return nil, p.bad("the file ends in a line that is to be continued")
	}
	if len(p.tris) == 0 {
		return nil, &mesh.ReadError{Format: "OBJ", What: "the file holds no surface", Err: mesh.ErrNoFacets, Do: exportAgain}
	}
	if in.Last != '\n' {
		p.notes = append(p.notes, "the last line has no end: the file may be cut short")
	}
	return p.model()
}

// part is a run of facets under one name.
type part struct {
	name  string
	first int // facet
	byO   bool
}

type parser struct {
	lim     mesh.Limits
	line    int
	verts   []r3.Vec
	tris    [][3]uint32
	lines   []int32 // of each facet, to name it when a later vertex is missing
	parts   []part
	corners []uint32
	notes   []string
}

func (p *parser) statement(text string) error {
	if i := strings.IndexByte(text, '#'); i >= 0 {
		text = text[:i]
	}
	text = strings.TrimSpace(text)
	word, rest, _ := strings.Cut(text, " ")
	if i := strings.IndexByte(word, '\t'); i >= 0 {
		word, rest = text[:i], text[i+1:]
	}
	switch word {
	case "v":
		return p.vertex(rest)
	case "f", "fo":
		return p.face(rest)
	case "o", "g":
		p.parts = append(p.parts, part{name: strings.TrimSpace(rest), first: len(p.tris), byO: word == "o"})
	case "curv", "surf", "bmat", "cstype":
		return &mesh.ReadError{Format: "OBJ", Line: p.line, What: "the file holds free-form curves or surfaces", Do: "export the part as a mesh of polygons"}
	}
	return nil // materials, normals and the like carry no shape
}

func (p *parser) vertex(rest string) error {
	if len(p.verts) >= 3*p.lim.Facets {
		return p.fail(p.lim.TooManyFacets())
	}
	words := strings.Fields(rest)
	if len(words) < 3 {
		return p.bad(fmt.Sprintf("vertex %d has %d coordinates instead of 3", len(p.verts)+1, len(words)))
	}
	var c [3]float64
	for k := range c {
		x, err := strconv.ParseFloat(words[k], 64)
		if err != nil && !errors.Is(err, strconv.ErrRange) {
			return p.bad(fmt.Sprintf("vertex %d: %.40q is not a number", len(p.verts)+1, words[k]))
		}
		if x-x != 0 {
			return &mesh.ReadError{Format: "OBJ", Line: p.line, Err: mesh.ErrNotFinite, Do: exportAgain,
				What: fmt.Sprintf("vertex %d: %.40s", len(p.verts)+1, words[k])}
		}
		c[k] = x
	}
	p.verts = append(p.verts, r3.Vec{X: c[0], Y: c[1], Z: c[2]})
	return nil
}

func (p *parser) face(rest string) error {
	p.corners = p.corners[:0]
	for word := range strings.FieldsSeq(rest) {
		if len(p.corners) >= p.lim.PolygonCorners {
			return p.fail(&mesh.LimitError{Limit: "PolygonCorners", Max: int64(p.lim.PolygonCorners), What: "corners of one polygon"})
		}
		v, err := p.corner(word)
		if err != nil {
			return err
		}
		p.corners = append(p.corners, v)
	}
	if len(p.corners) < 3 {
		return p.bad(fmt.Sprintf("a face with %d corners", len(p.corners)))
	}
	if len(p.tris)+len(p.corners)-2 > p.lim.Facets {
		return p.fail(p.lim.TooManyFacets())
	}
	before := len(p.tris)
	var err error
	if p.tris, err = p.cut(before); err != nil {
		return &mesh.ReadError{Format: "OBJ", Line: p.line, Facet: before + 1, What: "cannot cut a face into facets", Err: err,
			Do: "export the part as triangles"}
	}
	for range len(p.tris) - before {
		p.lines = append(p.lines, int32(min(p.line, math.MaxInt32)))
	}
	return nil
}

// cut cuts the polygon of p.corners. A triangle may use vertices that are still to come.
func (p *parser) cut(before int) ([][3]uint32, error) {
	if len(p.corners) == 3 {
		return append(p.tris, [3]uint32(p.corners)), nil
	}
	for _, c := range p.corners {
		if int(c) >= len(p.verts) {
			return p.tris, fmt.Errorf("corner %d: there are only %d vertices so far", c+1, len(p.verts))
		}
	}
	return mesh.CutPolygon(p.verts, p.corners, p.tris[:before])
}

// corner reads v, v/vt, v//vn or v/vt/vn; negative counts back from the last vertex.
func (p *parser) corner(word string) (uint32, error) {
	text, rest, _ := strings.Cut(word, "/")
	n, err := strconv.ParseInt(text, 10, 64)
	if err != nil || strings.Count(rest, "/") > 1 {
		return 0, p.bad(fmt.Sprintf("%.40q is no corner of a face", word))
	}
	for index := range strings.SplitSeq(rest, "/") {
		if _, err := strconv.ParseInt(index, 10, 64); err != nil && index != "" {
			return 0, p.bad(fmt.Sprintf("%.40q is no corner of a face", word))
		}
	}
	if n < 0 {
		n += int64(len(p.verts)) + 1
	}
	if n < 1 || n > math.MaxInt32 {
		return 0, p.bad(fmt.Sprintf("%.40q names no vertex: there are %d so far", word, len(p.verts)))
	}
	return uint32(n - 1), nil
}

func (p *parser) bad(what string) error {
	return &mesh.ReadError{Format: "OBJ", Line: p.line, Facet: 0, What: what, Do: exportAgain}
}

func (p *parser) fail(err error) error {
	e := &mesh.ReadError{Format: "OBJ", Line: p.line, Err: err}
	switch lim := (*mesh.LimitError)(nil); {
	case errors.As(err, &lim):
	case errors.Is(err, bufio.ErrTooLong):
		e.Line++
		e.What, e.Err, e.Do = fmt.Sprintf("a line of more than %d bytes", maxLine), nil, exportAgain
	default:
		e.What, e.Do = "cannot read", "check the disk or the copy"
	}
	return e
}
