package threemf

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// document is the model part as the file has it, before the build places anything.
type document struct {
	unit    mesh.Unit
	objects map[uint32]*object
	colours map[uint32][]mesh.RGBA // by property group; nil colours for groups without any
	build   []item
	notes   []string
}

type object struct {
	id         uint32
	name, kind string
	pid        uint32
	pindex     uint32
	hasPID     bool
	mesh       *mesh.Mesh
	paint      []paint // a triangle each; nil if none has properties of its own
	components []item
}

// paint is the property of one triangle.
type paint struct {
	pid, p1 uint32
	set     bool
}

// item places an object: a component in an object, or an item of the build.
type item struct {
	object uint32
	at     transform
	line   int
}

// units of chapter 3.4, attribute unit.
var units = map[string]mesh.Unit{"": mesh.Millimetre, "micron": mesh.Micron, "millimeter": mesh.Millimetre,
	"centimeter": mesh.Centimetre, "inch": mesh.Inch, "foot": mesh.Foot, "meter": mesh.Metre}

// understood are the extensions that may be required: what they add is read, or cannot change shape.
var understood = map[string]bool{coreNS: true, colourNS: true}

type parser struct {
	*xmlReader
	doc    *document
	facets int // in all objects
	verts  int // in all objects
	noted  map[string]bool
}

func parseDocument(r io.Reader, lim mesh.Limits) (*document, error) {
	p := &parser{xmlReader: newXMLReader(r, lim), noted: map[string]bool{}, doc: &document{
		objects: map[uint32]*object{}, colours: map[uint32][]mesh.RGBA{}}}
	for {
		tok, err := p.next()
		if err != nil {
			return nil, p.fail(err)
		}
		s, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		if s.Name != (xml.Name{Space: coreNS, Local: "model"}) {
			return nil, p.bad(fmt.Sprintf("the model part starts with <%s> of namespace %s instead of the 3MF <model>",
				s.Name.Local, clip(s.Name.Space)), exportAgain)
		}
		if err := p.model(s); err != nil {
			return nil, p.fail(err)
		}
		return p.doc, p.end()
	}
}

// end reads what may follow the root: comments and blanks, but no second root and no broken XML.
func (p *parser) end() error {
	for {
		tok, err := p.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return p.fail(err)
		}
		if _, ok := tok.(xml.StartElement); ok {
			return p.bad("something follows the <model>", exportAgain)
		}
	}
}

func (p *parser) note(text string) {
	const most = 100
	if !p.noted[text] && len(p.noted) < most {
		p.noted[text] = true
		p.doc.notes = append(p.doc.notes, text)
	}
}

func (p *parser) model(s xml.StartElement) error {
	unit, ok := units[attr(s, "unit")]
	if !ok {
		return p.bad(fmt.Sprintf("unknown unit %s", clip(attr(s, "unit"))), "use micron, millimeter, centimeter, inch, foot or meter")
	}
	p.doc.unit = unit
	for _, prefix := range strings.Fields(attr(s, "requiredextensions")) {
		ns := prefix
		for _, a := range s.Attr {
			if a.Name.Space == "xmlns" && a.Name.Local == prefix {
				ns = a.Value
			}
		}
		if !understood[ns] {
			return p.bad(fmt.Sprintf("the file needs the 3MF extension %s, which is not understood here", clip(ns)),
				"export the part as a plain mesh (3MF Core, or STL)")
		}
	}
	return p.children(func(c xml.StartElement) error {
		switch c.Name {
		case xml.Name{Space: coreNS, Local: "resources"}:
			return p.children(p.resource)
		case xml.Name{Space: coreNS, Local: "build"}:
			return p.children(func(c xml.StartElement) error {
				if c.Name != (xml.Name{Space: coreNS, Local: "item"}) {
					return nil
				}
				return p.item(c, &p.doc.build)
			})
		}
		return nil
	})
}

func (p *parser) resource(s xml.StartElement) error {
	switch s.Name {
	case xml.Name{Space: coreNS, Local: "object"}:
		return p.object(s)
	case xml.Name{Space: coreNS, Local: "basematerials"}:
		return p.colourGroup(s, "base", "displaycolor")
	case xml.Name{Space: colourNS, Local: "colorgroup"}:
		return p.colourGroup(s, "color", "color")
	}
	if id := attr(s, "id"); id != "" {
		if n, err := strconv.ParseUint(id, 10, 32); err == nil {
			p.doc.colours[uint32(n)] = nil
			p.note(fmt.Sprintf("properties of kind %s were left out", s.Name.Local))
		}
	}
	return nil
}

// colourGroup reads basematerials (chapter 5) or a colorgroup of the Materials extension.
func (p *parser) colourGroup(s xml.StartElement, element, name string) error {
	id, err := p.number(s, "id")
	if err != nil {
		return err
	}
	list := []mesh.RGBA{}
	err = p.children(func(c xml.StartElement) error {
		if c.Name.Local != element || c.Name.Space != s.Name.Space {
			return nil
		}
		colour, ok := parseColour(attr(c, name))
		if !ok {
			return p.bad(fmt.Sprintf("%s is not a colour", clip(attr(c, name))), "write colours as #RRGGBB or #RRGGBBAA")
		}
		list = append(list, colour)
		return nil
	})
	if _, twice := p.doc.colours[id]; twice {
		return p.bad(fmt.Sprintf("two resources have the id %d", id), exportAgain)
	}
	p.doc.colours[id] = list
	return err
}

// parseColour reads #RRGGBB or #RRGGBBAA, an sRGB colour.
func parseColour(s string) (mesh.RGBA, bool) {
	if (len(s) != 7 && len(s) != 9) || s[0] != '#' {
		return mesh.RGBA{}, false
	}
	n, err := strconv.ParseUint(s[1:], 16, 32)
	if err != nil {
		return mesh.RGBA{}, false
	}
	if len(s) == 7 {
		n = n<<8 | 0xff
	}
	return mesh.RGBA{R: uint8(n >> 24), G: uint8(n >> 16), B: uint8(n >> 8), A: uint8(n)}, true
}

func (p *parser) object(s xml.StartElement) error {
	id, err := p.number(s, "id")
	if err != nil {
		return err
	}
	if p.doc.objects[id] != nil {
		return p.bad(fmt.Sprintf("two objects have the id %d", id), exportAgain)
	}
	o := &object{id: id, name: attr(s, "name"), kind: attr(s, "type")}
	if o.kind == "" {
		o.kind = "model"
	}
	if attr(s, "pid") != "" {
		o.hasPID = true
		if o.pid, err = p.number(s, "pid"); err != nil {
			return err
		}
		if o.pindex, err = p.optional(s, "pindex"); err != nil {
			return err
		}
	}
	p.doc.objects[id] = o
	return p.children(func(c xml.StartElement) error {
		switch c.Name {
		case xml.Name{Space: coreNS, Local: "mesh"}:
			if o.mesh != nil {
				return p.bad(fmt.Sprintf("object %d has two meshes", id), exportAgain)
			}
			o.mesh = &mesh.Mesh{}
			return p.mesh(o)
		case xml.Name{Space: coreNS, Local: "components"}:
			return p.children(func(c xml.StartElement) error {
				if c.Name != (xml.Name{Space: coreNS, Local: "component"}) {
					return nil
				}
				return p.item(c, &o.components)
			})
		}
		return nil
	})
}

func (p *parser) item(s xml.StartElement, list *[]item) error {
	for _, a := range s.Attr {
		if a.Name.Local == "path" && a.Name.Space != "" {
			return p.bad(fmt.Sprintf("an object lies in another part of the package, %s", clip(a.Value)),
				"export the part without the production extension")
		}
	}
	id, err := p.number(s, "objectid")
	if err != nil {
		return err
	}
	at, err := parseTransform(attr(s, "transform"))
	if err != nil {
		return p.bad(err.Error(), exportAgain)
	}
	*list = append(*list, item{object: id, at: at, line: p.line()})
	return nil
}

// mesh reads the vertices and triangles of chapter 4.1.
func (p *parser) mesh(o *object) error {
	firstLine := 0
	err := p.children(func(c xml.StartElement) error {
		switch c.Name {
		case xml.Name{Space: coreNS, Local: "vertices"}:
			return p.children(func(c xml.StartElement) error { return p.vertex(o, c) })
		case xml.Name{Space: coreNS, Local: "triangles"}:
			firstLine = p.line()
			return p.children(func(c xml.StartElement) error { return p.triangle(o, c) })
		}
		return nil
	})
	if err != nil {
		return err
	}
	for i, t := range o.mesh.Tris {
		for _, v := range t {
			if int(v) >= len(o.mesh.Verts) {
				return &mesh.ReadError{Format: "3MF", Line: firstLine, Facet: i + 1, Do: exportAgain,
					What: fmt.Sprintf("object %d: a triangle uses vertex %d, but there are only %d", o.id, v, len(o.mesh.Verts))}
			}
		}
	}
	return nil
}

func (p *parser) vertex(o *object, s xml.StartElement) error {
	if s.Name != (xml.Name{Space: coreNS, Local: "vertex"}) {
		return nil
	}
	// Vertices come before the triangles that use them. A closed mesh has half as many as facets, so one
	// with more than a vertex for each facet allowed is refused before it fills memory.
	if p.verts++; p.verts > p.lim.Facets {
		return &mesh.LimitError{Limit: "Facets", Max: int64(p.lim.Facets), What: "vertices"}
	}
	var c [3]float64
	var seen [3]bool
	for _, a := range s.Attr {
		if a.Name.Space != "" || len(a.Name.Local) != 1 || a.Name.Local[0] < 'x' || a.Name.Local[0] > 'z' {
			continue
		}
		x, err := strconv.ParseFloat(strings.TrimSpace(a.Value), 64)
		if err != nil || x-x != 0 {
			return &mesh.ReadError{Format: "3MF", Line: p.line(), Err: mesh.ErrNotFinite, Do: exportAgain,
				What: fmt.Sprintf("object %d, vertex %d: %s=%s", o.id, len(o.mesh.Verts), a.Name.Local, clip(a.Value))}
		}
		c[a.Name.Local[0]-'x'], seen[a.Name.Local[0]-'x'] = x, true
	}
	if seen != [3]bool{true, true, true} {
		return p.bad(fmt.Sprintf("object %d, vertex %d lacks one of x, y, z", o.id, len(o.mesh.Verts)), exportAgain)
	}
	o.mesh.Verts = append(o.mesh.Verts, r3.Vec{X: c[0], Y: c[1], Z: c[2]})
	return nil
}

func (p *parser) triangle(o *object, s xml.StartElement) error {
	if s.Name != (xml.Name{Space: coreNS, Local: "triangle"}) {
		return nil
	}
	if p.facets++; p.facets > p.lim.Facets {
		return p.lim.TooManyFacets()
	}
	var t [3]uint32
	var err error
	for k, name := range [3]string{"v1", "v2", "v3"} {
		if t[k], err = p.number(s, name); err != nil {
			return err
		}
	}
	o.mesh.Tris = append(o.mesh.Tris, t)
	var c paint
	if p1 := attr(s, "p1"); p1 != "" || attr(s, "pid") != "" {
		c.set = true
		if c.p1, err = p.optional(s, "p1"); err != nil {
			return err
		}
		if p1 == "" {
			c.p1 = o.pindex // chapter 4.1.4: without p1 the object's own property holds
		}
		c.pid = o.pid
		if attr(s, "pid") != "" {
			if c.pid, err = p.number(s, "pid"); err != nil {
				return err
			}
		}
		if p2, p3 := attr(s, "p2"), attr(s, "p3"); p2 != "" && p2 != p1 || p3 != "" && p3 != p1 {
			p.note("some facets blend colours; the colour of their first corner was taken")
		}
	}
	if c.set && o.paint == nil {
		o.paint = make([]paint, len(o.mesh.Tris)-1, max(16, len(o.mesh.Tris)))
	}
	if o.paint != nil {
		o.paint = append(o.paint, c)
	}
	return nil
}

// number reads an attribute that must be there: a resource id or index, below 2³¹ (chapter 3.2).
func (p *parser) number(s xml.StartElement, name string) (uint32, error) {
	text := attr(s, name)
	n, err := strconv.ParseUint(text, 10, 32)
	if err != nil || n > math.MaxInt32 {
		return 0, p.bad(fmt.Sprintf("<%s> has %s=%s, which is not a whole number below 2147483648", s.Name.Local, name, clip(text)), exportAgain)
	}
	return uint32(n), nil
}

func (p *parser) optional(s xml.StartElement, name string) (uint32, error) {
	if attr(s, name) == "" {
		return 0, nil
	}
	return p.number(s, name)
}
