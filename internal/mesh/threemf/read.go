package threemf

import (
	"errors"
	"fmt"
	"io"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// Read reads a 3MF file of size bytes. Each mesh that the build places becomes one object, named by
// the file ("assembly / part" for a component), coordinates in the file's unit. Supports and other
// objects that are not the part itself are left out, with a note. Errors are *mesh.ReadError, with
// a *mesh.LimitError inside when the file passes a limit.
func Read(r io.ReaderAt, size int64, lim mesh.Limits) (*mesh.Model, error) {
	lim = lim.OrDefault()
	c, err := openContainer(r, size, lim)
	if err != nil {
		return nil, err
	}
	name, err := c.modelPart()
	if err != nil {
		return nil, err
	}
	part, err := c.open(name)
	if err != nil {
		return nil, err
	}
	defer part.Close()
	doc, err := parseDocument(part, lim)
	if err != nil {
		return nil, err
	}
	return build(doc, lim)
}

// build places what the build of a document asks for.
func build(doc *document, lim mesh.Limits) (*mesh.Model, error) {
	b := &placer{doc: doc, lim: lim, open: map[uint32]bool{}, used: map[string]int{},
		model: &mesh.Model{Unit: doc.unit, UnitKnown: true}}
	for _, n := range doc.notes {
		b.model.Note(n)
	}
	for _, it := range doc.build {
		if err := b.place(it, identity, ""); err != nil {
			return nil, asReadError(err)
		}
	}
	if b.facets == 0 {
		return nil, &mesh.ReadError{Format: "3MF", What: "the build places no surface", Err: mesh.ErrNoFacets, Do: exportAgain}
	}
	return b.model, nil
}

func asReadError(err error) error {
	if e := (*mesh.ReadError)(nil); errors.As(err, &e) {
		return err
	}
	return &mesh.ReadError{Format: "3MF", Err: err}
}

// placer walks the build and its components.
type placer struct {
	doc    *document
	lim    mesh.Limits
	open   map[uint32]bool // objects being placed, to find one inside itself
	placed int
	facets int
	verts  int
	used   map[string]int
	model  *mesh.Model
}

// place adds the object of it, and what it is made of. outer is the transform of what it is in.
func (b *placer) place(it item, outer transform, prefix string) error {
	if b.placed++; b.placed > b.lim.Placements {
		return &mesh.LimitError{Limit: "Placements", Max: int64(b.lim.Placements), What: "placed objects and components"}
	}
	if len(b.open) >= b.lim.XMLDepth {
		return &mesh.LimitError{Limit: "XMLDepth", Max: int64(b.lim.XMLDepth), What: "components inside each other"}
	}
	o := b.doc.objects[it.object]
	if o == nil {
		return &mesh.ReadError{Format: "3MF", Line: it.line, Do: exportAgain,
			What: fmt.Sprintf("object %d is placed, but the file has no such object", it.object)}
	}
	if b.open[o.id] {
		return &mesh.ReadError{Format: "3MF", Line: it.line, Do: exportAgain,
			What: fmt.Sprintf("object %d is a component of itself", o.id)}
	}
	name := o.name
	if name == "" {
		name = fmt.Sprintf("object %d", o.id)
	}
	if o.kind != "model" {
		b.model.Note(fmt.Sprintf("%s is of type %s, not a part, and was left out", name, clip(o.kind)))
		return nil
	}
	if prefix != "" {
		name = prefix + " / " + name
	}
	name = shorten(name)
	at := it.at.then(outer)
	if o.mesh != nil {
		if err := b.add(o, at, name, it.line); err != nil {
			return err
		}
	}
	b.open[o.id] = true
	defer delete(b.open, o.id)
	for _, c := range o.components {
		if err := b.place(c, at, name); err != nil {
			return err
		}
	}
	return nil
}

// maxName bounds a name in bytes: a long one, placed many times, would fill memory.
const maxName = 200

func shorten(name string) string {
	if len(name) > maxName {
		name = strings.ToValidUTF8(name[:maxName], "") + "…"
	}
	return name
}

// add places one mesh.
func (b *placer) add(o *object, at transform, name string, line int) error {
	if b.facets += len(o.mesh.Tris); b.facets > b.lim.Facets {
		return b.lim.TooManyFacets()
	}
	// A copy costs its vertices too, used by facets or not.
	if b.verts += len(o.mesh.Verts); b.verts > 3*b.lim.Facets {
		return b.lim.TooManyFacets()
	}
	if len(o.mesh.Tris) == 0 {
		b.model.Note(name + " holds no facets and was left out")
		return nil
	}
	m := o.mesh
	if at != identity {
		m = m.Map(at.apply)
		for _, v := range m.Verts {
			if !mesh.Finite(v) {
				return &mesh.ReadError{Format: "3MF", Line: line, What: name + " is placed out of bounds", Err: mesh.ErrNotFinite, Do: exportAgain}
			}
		}
		if at.det() < 0 {
			m = m.Flipped()
		}
	} else {
		m = m.Map(func(v r3.Vec) r3.Vec { return v }) // the same object may be placed again
	}
	if b.used[name]++; b.used[name] > 1 {
		name = fmt.Sprintf("%s (%d)", name, b.used[name])
	}
	out := mesh.Object{Name: name, Mesh: m}
	if err := b.colour(o, &out); err != nil {
		return err
	}
	b.model.Objects = append(b.model.Objects, out)
	return nil
}

// colour turns properties into the colours of the facets.
func (b *placer) colour(o *object, out *mesh.Object) error {
	if !o.hasPID && o.paint == nil {
		return nil
	}
	facets := make([]int32, len(o.mesh.Tris))
	index := map[mesh.RGBA]int32{}
	for f := range facets {
		c := paint{pid: o.pid, p1: o.pindex, set: o.hasPID}
		if o.paint != nil && o.paint[f].set {
			c = o.paint[f]
		}
		facets[f] = -1
		if !c.set {
			continue
		}
		group, known := b.doc.colours[c.pid]
		if !known || group != nil && int(c.p1) >= len(group) {
			return &mesh.ReadError{Format: "3MF", Facet: f + 1, Do: exportAgain,
				What: fmt.Sprintf("object %d: a facet has property %d of group %d, which the file does not have", o.id, c.p1, c.pid)}
		}
		if group == nil {
			continue
		}
		i, seen := index[group[c.p1]]
		if !seen {
			i = int32(len(out.Colours))
			index[group[c.p1]] = i
			out.Colours = append(out.Colours, group[c.p1])
		}
		facets[f] = i
	}
	if len(out.Colours) > 0 {
		out.FacetColour = facets
	}
	return nil
}
