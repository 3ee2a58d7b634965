package threemf

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"mouldwright/internal/mesh"
)

// xmlReader is an XML decoder with limits on nesting and on the size of one token. It refuses
// document types, as 3MF does (chapter 1, XML usage), and with them every entity but the five of XML.
type xmlReader struct {
	dec   *xml.Decoder
	in    *tokenLimiter
	lim   mesh.Limits
	depth int
}

func newXMLReader(r io.Reader, lim mesh.Limits) *xmlReader {
	in := &tokenLimiter{r: r, max: lim.XMLToken}
	return &xmlReader{dec: xml.NewDecoder(in), in: in, lim: lim}
}

// next returns the next token; it stays valid until the next call.
func (x *xmlReader) next() (xml.Token, error) {
	x.in.since = 0
	tok, err := x.dec.Token()
	if err != nil {
		return nil, err
	}
	switch tok.(type) {
	case xml.StartElement:
		x.depth++
		if x.depth > x.lim.XMLDepth {
			return nil, &mesh.LimitError{Limit: "XMLDepth", Max: int64(x.lim.XMLDepth), What: "nested XML elements"}
		}
	case xml.EndElement:
		x.depth--
	case xml.Directive:
		return nil, x.bad("the XML has a document type, which 3MF forbids", exportAgain)
	}
	return tok, nil
}

// skip passes over the rest of the element that was just started.
func (x *xmlReader) skip() error {
	for until := x.depth - 1; x.depth > until; {
		if _, err := x.next(); err != nil {
			return err
		}
	}
	return nil
}

// children calls visit with each element directly inside the one just started. visit must read to
// the end of its element, or leave it to children by returning without having read.
func (x *xmlReader) children(visit func(xml.StartElement) error) error {
	inside := x.depth
	for {
		tok, err := x.next()
		if err != nil {
			return err
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if err := visit(t); err != nil {
				return err
			}
			if x.depth > inside {
				if err := x.skip(); err != nil {
					return err
				}
			}
		case xml.EndElement:
			return nil
		}
	}
}

func (x *xmlReader) line() int {
	line, _ := x.dec.InputPos()
	return line
}

func (x *xmlReader) bad(what, do string) error {
	return &mesh.ReadError{Format: "3MF", Line: x.line(), What: what, Do: do}
}

// fail gives an error its place, if it has none yet.
func (x *xmlReader) fail(err error) error {
	if e := (*mesh.ReadError)(nil); errors.As(err, &e) {
		return err
	}
	out := &mesh.ReadError{Format: "3MF", Line: x.line(), Err: err}
	if e := (*mesh.LimitError)(nil); errors.As(err, &e) {
		return out
	}
	if s := (*xml.SyntaxError)(nil); errors.As(err, &s) {
		out.Line, out.What, out.Err = s.Line, "broken XML: "+s.Msg, nil
	}
	if errors.Is(err, io.EOF) {
		out.Err = io.ErrUnexpectedEOF
	}
	out.Do = "the file is damaged; copy or export it again"
	return out
}

// tokenLimiter fails when one token takes more than max bytes. since counts from the token's start,
// give or take the decoder's read-ahead.
type tokenLimiter struct {
	r          io.Reader
	max, since int64
}

func (t *tokenLimiter) Read(p []byte) (int, error) {
	if t.since > t.max {
		return 0, &mesh.LimitError{Limit: "XMLToken", Max: t.max, What: "bytes in one XML tag"}
	}
	n, err := t.r.Read(p)
	t.since += int64(n)
	return n, err
}

// clip shortens text from a file for a message.
func clip(s string) string {
	if len(s) > 60 {
		s = strings.ToValidUTF8(s[:60], "") + "…"
	}
	return fmt.Sprintf("%q", s)
}
