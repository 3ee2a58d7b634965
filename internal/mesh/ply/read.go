package ply

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Read reads a PLY file as one object. Errors are *mesh.ReadError, with a *mesh.LimitError inside
// when the file passes a limit.
func Read(r io.Reader, lim mesh.Limits) (*mesh.Model, error) {
	lim = lim.OrDefault()
	in := &mesh.BoundedReader{R: r, Limits: lim}
	br := bufio.NewReaderSize(in, 1<<16)
	h, err := readHeader(br)
	if err != nil {
		return nil, err
	}
	b := &body{lim: lim}
	switch h.format {
	case "ascii":
		b.src = &asciiSource{br: br, line: h.lines + 1}
	case "binary_little_endian":
		b.src = &binarySource{br: br, order: binary.LittleEndian, offset: in.Offset - int64(br.Buffered())}
	default:
		b.src = &binarySource{br: br, order: binary.BigEndian, offset: in.Offset - int64(br.Buffered())}
	}
	for _, e := range h.elements {
		if err := b.element(e); err != nil {
			return nil, err
		}
	}
	rest, err := io.Copy(io.Discard, br)
	if err != nil {
		return nil, fail(err)
	}
	model, err := b.model()
	if err != nil {
		return nil, err
	}
	switch {
	case h.format == "ascii" && in.Last > ' ':
		model.Note("the last line has no end: the file may be cut short")
	case h.format != "ascii" && rest > 0:
		model.Note(fmt.Sprintf("%d bytes after the last element were left out", rest))
	}
	return model, nil
}

// body collects vertices and faces; faces are cut at the end, since they may come first.
type body struct {
	lim    mesh.Limits
	src    source
	facets int // that the faces will give

	verts      []r3.Vec
	vertColour []mesh.RGBA // nil if the vertices have none
	corners    []uint32    // of all faces
	ends       []int       // of each face in corners
	faceColour []mesh.RGBA // nil if the faces have none
}

// row is one element's numbers by role.
type row struct {
	place  [3]float64
	colour mesh.RGBA
}

// roles of the scalar properties, as places in a row.
var (
	axes     = map[string]int{"x": 0, "y": 1, "z": 2}
	channels = map[string]int{"red": 0, "green": 1, "blue": 2, "alpha": 3}
)

func (b *body) element(e element) error {
	if len(e.properties) == 0 {
		return nil // nothing stored, however many there are
	}
	coloured := 0
	for _, p := range e.properties {
		if c, ok := channels[p.name]; ok && c < 3 && isByte(p) {
			coloured++
		}
	}
	for i := int64(0); i < e.count; i++ {
		if err := b.room(e.name); err != nil {
			return err
		}
		r := row{colour: mesh.RGBA{A: 255}}
		for _, p := range e.properties {
			if err := b.property(e.name, i, p, &r); err != nil {
				return err
			}
		}
		switch e.name {
		case "vertex":
			v := r3.Vec{X: r.place[0], Y: r.place[1], Z: r.place[2]}
			if !mesh.Finite(v) {
				return b.bad(e.name, i, fmt.Sprintf("%g %g %g", v.X, v.Y, v.Z), mesh.ErrNotFinite)
			}
			b.verts = append(b.verts, v)
			if coloured == 3 {
				b.vertColour = append(b.vertColour, r.colour)
			}
		case "face":
			b.ends = append(b.ends, len(b.corners))
			if coloured == 3 {
				b.faceColour = append(b.faceColour, r.colour)
			}
		}
	}
	return nil
}

func isByte(p property) bool { return !p.list && p.of == kinds["uchar"] }

func (b *body) room(name string) error {
	if name == "vertex" && len(b.verts) >= 3*b.lim.Facets || name == "face" && len(b.ends) >= b.lim.Facets {
		return fail(b.lim.TooManyFacets())
	}
	return nil
}

func (b *body) property(name string, i int64, p property, r *row) error {
	if p.list {
		return b.list(name, i, p)
	}
	x, err := b.src.next(p.of)
	if err != nil {
		return b.bad(name, i, "", err)
	}
	if k, ok := axes[p.name]; ok {
		r.place[k] = x
	}
	if k, ok := channels[p.name]; ok && isByte(p) {
		if !(x >= 0 && x <= 255) {
			return b.bad(name, i, fmt.Sprintf("colour %g is not in 0 to 255", x), nil)
		}
		*[4]*uint8{&r.colour.R, &r.colour.G, &r.colour.B, &r.colour.A}[k] = uint8(x)
	}
	return nil
}

func (b *body) list(name string, i int64, p property) error {
	n, err := b.src.next(p.count)
	if err != nil {
		return b.bad(name, i, "", err)
	}
	if !(n >= 0 && n <= math.MaxUint32) {
		return b.bad(name, i, fmt.Sprintf("a list of %g", n), nil)
	}
	corners := name == "face" && (p.name == "vertex_indices" || p.name == "vertex_index")
	if corners {
		if n < 3 {
			return b.bad(name, i, fmt.Sprintf("a face with %g corners", n), nil)
		}
		if n > float64(b.lim.PolygonCorners) {
			return fail(&mesh.LimitError{Limit: "PolygonCorners", Max: int64(b.lim.PolygonCorners), What: "corners of one polygon"})
		}
		if b.facets += int(n) - 2; b.facets > b.lim.Facets {
			return fail(b.lim.TooManyFacets())
		}
	}
	for range int64(n) {
		x, err := b.src.next(p.of)
		if err != nil {
			return b.bad(name, i, "", err)
		}
		if !corners {
			continue
		}
		if !(x >= 0 && x < math.MaxUint32 && x == math.Trunc(x)) {
			return b.bad(name, i, fmt.Sprintf("%g is no vertex", x), nil)
		}
		b.corners = append(b.corners, uint32(x))
	}
	return nil
}

// bad is an error in element i of a kind.
func (b *body) bad(name string, i int64, what string, err error) error {
	if e := (*mesh.LimitError)(nil); errors.As(err, &e) {
		return fail(err)
	}
	e := &mesh.ReadError{Format: "PLY", Err: err, Do: exportAgain, What: fmt.Sprintf("%.40s %d", name, i)}
	if what != "" {
		e.What += ": " + what
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		e.Err, e.Do = io.ErrUnexpectedEOF, "the copy is cut short; copy or export it again"
		e.What += ": the file ends before its header's count"
	}
	b.src.place(e)
	return e
}

// model cuts the faces and colours the facets.
func (b *body) model() (*mesh.Model, error) {
	if len(b.ends) == 0 {
		return nil, &mesh.ReadError{Format: "PLY", What: "the file holds no surface", Err: mesh.ErrNoFacets, Do: exportAgain}
	}
	m := &mesh.Mesh{Verts: b.verts}
	var colours []mesh.RGBA
	start := 0
	for i, end := range b.ends {
		corners := b.corners[start:end]
		start = end
		for _, c := range corners {
			if int(c) >= len(b.verts) {
				return nil, &mesh.ReadError{Format: "PLY", Facet: len(m.Tris) + 1, Do: exportAgain,
					What: fmt.Sprintf("face %d uses vertex %d, but the file has only %d", i, c, len(b.verts))}
			}
		}
		before := len(m.Tris)
		var err error
		if m.Tris, err = mesh.CutPolygon(b.verts, corners, m.Tris); err != nil {
			return nil, &mesh.ReadError{Format: "PLY", Facet: before + 1, What: fmt.Sprintf("face %d", i), Err: err, Do: "export the part as triangles"}
		}
		if b.faceColour != nil {
			for range len(m.Tris) - before {
				colours = append(colours, b.faceColour[i])
			}
		}
	}
	o := mesh.Object{Mesh: m}
	switch {
	case colours != nil:
		paint(&o, func(f int) (mesh.RGBA, bool) { return colours[f], true })
	case b.vertColour != nil:
		paint(&o, func(f int) (mesh.RGBA, bool) {
			t := m.Tris[f]
			c := b.vertColour[t[0]]
			return c, c == b.vertColour[t[1]] && c == b.vertColour[t[2]]
		})
	}
	return &mesh.Model{Unit: mesh.Millimetre, Objects: []mesh.Object{o}}, nil
}

// paint lists the distinct colours in order of first use.
func paint(o *mesh.Object, colour func(facet int) (mesh.RGBA, bool)) {
	index := map[mesh.RGBA]int32{}
	facets := make([]int32, len(o.Mesh.Tris))
	for f := range facets {
		c, ok := colour(f)
		if !ok {
			facets[f] = -1
			continue
		}
		i, seen := index[c]
		if !seen {
			i = int32(len(o.Colours))
			index[c] = i
			o.Colours = append(o.Colours, c)
		}
		facets[f] = i
	}
	if len(o.Colours) > 0 {
		o.FacetColour = facets
	}
}
