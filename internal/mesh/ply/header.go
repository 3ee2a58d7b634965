package ply

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"mouldwright/internal/mesh"
)

const (
	maxHeaderLine  = 4096
	maxHeaderLines = 1000
	exportAgain    = "export the part again"
)

// kind is a number type of PLY.
type kind struct {
	bytes   int
	signed  bool
	integer bool
}

var kinds = map[string]kind{
	"char": {1, true, true}, "int8": {1, true, true}, "uchar": {1, false, true}, "uint8": {1, false, true},
	"short": {2, true, true}, "int16": {2, true, true}, "ushort": {2, false, true}, "uint16": {2, false, true},
	"int": {4, true, true}, "int32": {4, true, true}, "uint": {4, false, true}, "uint32": {4, false, true},
	"float": {4, true, false}, "float32": {4, true, false}, "double": {8, true, false}, "float64": {8, true, false},
}

type property struct {
	name  string
	of    kind
	list  bool
	count kind // of the length of a list
}

type element struct {
	name       string
	count      int64
	properties []property
}

type header struct {
	format   string // "ascii", "binary_little_endian", "binary_big_endian"
	elements []element
	lines    int
}

// headerReader reads the header line by line.
type headerReader struct {
	br   *bufio.Reader
	line int
}

func readHeader(br *bufio.Reader) (*header, error) {
	r := &headerReader{br: br}
	magic, err := r.next()
	if err != nil {
		return nil, err
	}
	if magic != "ply" {
		return nil, r.bad("the file does not start with \"ply\"")
	}
	h := &header{}
	for {
		line, err := r.next()
		if err != nil {
			return nil, err
		}
		if r.line > maxHeaderLines {
			return nil, r.bad(fmt.Sprintf("the header has more than %d lines", maxHeaderLines))
		}
		words := strings.Fields(line)
		if len(words) == 0 {
			continue
		}
		switch words[0] {
		case "comment", "obj_info":
		case "format":
			err = r.format(h, words)
		case "element":
			err = r.element(h, words)
		case "property":
			err = r.property(h, words)
		case "end_header":
			h.lines = r.line
			return h, r.check(h)
		default:
			err = r.bad(fmt.Sprintf("the header has a line that starts with %.40q", words[0]))
		}
		if err != nil {
			return nil, err
		}
	}
}

func (r *headerReader) format(h *header, words []string) error {
	if len(words) != 3 || words[2] != "1.0" {
		return r.bad("a format line that is not of version 1.0")
	}
	switch words[1] {
	case "ascii", "binary_little_endian", "binary_big_endian":
		h.format = words[1]
		return nil
	}
	return r.bad(fmt.Sprintf("unknown format %.40q", words[1]))
}

func (r *headerReader) element(h *header, words []string) error {
	if len(words) != 3 {
		return r.bad("an element line needs a name and a count")
	}
	n, err := strconv.ParseInt(words[2], 10, 64)
	if err != nil || n < 0 {
		return r.bad(fmt.Sprintf("%.40q is no count", words[2]))
	}
	for _, e := range h.elements {
		if e.name == words[1] {
			return r.bad(fmt.Sprintf("element %.40q comes twice", words[1]))
		}
	}
	h.elements = append(h.elements, element{name: words[1], count: n})
	return nil
}

func (r *headerReader) property(h *header, words []string) error {
	if len(h.elements) == 0 {
		return r.bad("a property before the first element")
	}
	var p property
	var ok, okCount bool
	switch {
	case len(words) == 3:
		p.of, ok = kinds[words[1]]
		okCount = true
	case len(words) == 5 && words[1] == "list":
		p.list = true
		p.count, okCount = kinds[words[2]]
		p.of, ok = kinds[words[3]]
	}
	if !ok || !okCount || p.list && !p.count.integer {
		return r.bad("a property line that makes no sense")
	}
	p.name = words[len(words)-1]
	e := &h.elements[len(h.elements)-1]
	for _, q := range e.properties {
		if q.name == p.name {
			return r.bad(fmt.Sprintf("property %.40q comes twice", p.name))
		}
	}
	e.properties = append(e.properties, p)
	return nil
}

// check refuses a header that describes no mesh of facets.
func (r *headerReader) check(h *header) error {
	if h.format == "" {
		return r.bad("the header names no format")
	}
	has := func(e element, list bool, names ...string) bool {
		for _, p := range e.properties {
			for _, n := range names {
				if p.name == n && p.list == list {
					return true
				}
			}
		}
		return false
	}
	for _, e := range h.elements {
		switch {
		case e.name == "vertex" && !(has(e, false, "x") && has(e, false, "y") && has(e, false, "z")):
			return r.bad("the vertices lack one of x, y, z")
		case e.name == "face" && !has(e, true, "vertex_indices", "vertex_index"):
			return r.bad("the faces have no list vertex_indices")
		case e.name == "tristrips":
			return &mesh.ReadError{Format: "PLY", Line: r.line, What: "the file holds strips of triangles", Do: "export the part with single faces"}
		}
	}
	return nil
}

// next reads a line, without its end: LF, or CR LF.
func (r *headerReader) next() (string, error) {
	line, err := r.br.ReadSlice('\n')
	r.line++
	if len(line) > maxHeaderLine || errors.Is(err, bufio.ErrBufferFull) {
		return "", r.bad(fmt.Sprintf("a header line of more than %d bytes", maxHeaderLine))
	}
	if errors.Is(err, io.EOF) {
		return "", &mesh.ReadError{Format: "PLY", Line: r.line, What: "the file ends in its header", Err: io.ErrUnexpectedEOF,
			Do: "the copy is cut short; copy or export it again"}
	}
	if err != nil {
		return "", fail(err)
	}
	return string(bytes.TrimRight(line, "\r\n")), nil
}

func (r *headerReader) bad(what string) error {
	return &mesh.ReadError{Format: "PLY", Line: r.line, What: what, Do: exportAgain}
}

// fail wraps an error of the underlying reader or a limit.
func fail(err error) error {
	e := &mesh.ReadError{Format: "PLY", Err: err}
	if lim := (*mesh.LimitError)(nil); !errors.As(err, &lim) {
		e.What, e.Do = "cannot read", "check the disk or the copy"
	}
	return e
}
