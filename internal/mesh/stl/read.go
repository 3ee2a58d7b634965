package stl

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"

	"mouldwright/internal/mesh"
)

const (
	headerBytes = 80
	countBytes  = 4
	facetBytes  = 50

	// peekBytes is how much of the file decides between binary and ASCII. A binary file with fewer
	// than 2²⁴ facets has a zero byte in its count, at byte 83, and ASCII never has one.
	peekBytes = 1 << 16
)

const exportAgain = "export the part again"

// Read reads a binary or ASCII STL, whichever the content is. Each ASCII solid is an object; a
// binary file is one object, named by the printable start of its header. Errors are
// *mesh.ReadError, with a *mesh.LimitError inside when the file passes a limit.
func Read(r io.Reader, lim mesh.Limits) (*mesh.Model, error) {
	lim = lim.OrDefault()
	in := &mesh.BoundedReader{R: r, Limits: lim}
	br := bufio.NewReaderSize(in, peekBytes)
	head, err := br.Peek(peekBytes)
	if err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, bufio.ErrBufferFull) {
		return nil, fail(err)
	}
	if len(head) == 0 {
		return nil, &mesh.ReadError{Format: "STL", What: "the file is empty", Do: exportAgain, Err: mesh.ErrNoFacets}
	}
	var model *mesh.Model
	if isASCII(head) {
		model, err = readASCII(br, lim)
	} else {
		model, err = readBinary(br, lim)
	}
	if err != nil {
		return nil, err
	}
	if model.Facets() == 0 {
		return nil, &mesh.ReadError{Format: "STL", What: "the file holds no surface", Do: exportAgain, Err: mesh.ErrNoFacets}
	}
	return model, nil
}

// isASCII looks past the word "solid", which binary headers may start with too: the first line
// after it must start a facet or end the solid, and no byte may be zero.
func isASCII(head []byte) bool {
	head = trimStart(head)
	if !hasWord(head, "solid") || bytes.IndexByte(head, 0) >= 0 {
		return false
	}
	line := bytes.IndexAny(head, "\r\n")
	if line < 0 {
		return true // a name with no end: the ASCII reader says what is missing
	}
	rest := bytes.TrimSpace(head[line:])
	return len(rest) == 0 || hasWord(rest, "facet") || hasWord(rest, "endsolid") || hasWord(rest, "solid") ||
		isText(rest)
}

// isText tells a broken ASCII file, to be refused as such, from a binary one.
func isText(b []byte) bool {
	for _, c := range b {
		if c < ' ' && c != '\t' && c != '\r' && c != '\n' && c != '\f' && c != '\v' {
			return false
		}
	}
	return true
}

func trimStart(b []byte) []byte {
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf")) // byte-order mark
	return bytes.TrimLeft(b, " \t\r\n")
}

// hasWord reports whether b starts with word, in any case, with a blank or the end behind it.
func hasWord(b []byte, word string) bool {
	return len(b) >= len(word) && bytes.EqualFold(b[:len(word)], []byte(word)) &&
		(len(b) == len(word) || b[len(word)] <= ' ')
}

// fail wraps an error of the underlying reader.
func fail(err error) error {
	e := &mesh.ReadError{Format: "STL", Err: err}
	if lim := (*mesh.LimitError)(nil); !errors.As(err, &lim) {
		e.What, e.Do = "cannot read", "check the disk or the copy"
	}
	return e
}

// unknownUnit is a model without objects yet. STL carries no unit.
func unknownUnit() *mesh.Model {
	return &mesh.Model{Unit: mesh.Millimetre}
}

func notFinite(e mesh.ReadError, text string) error {
	e.Format, e.Err, e.Do = "STL", mesh.ErrNotFinite, exportAgain
	e.What = fmt.Sprintf("corner at %s", text)
	return &e
}
