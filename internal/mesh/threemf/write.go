package threemf

import (
	"archive/zip"
	"bufio"
	"encoding/xml"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"mouldwright/internal/mesh"
)

const contentTypes = xml.Header + `<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">` +
	`<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>` +
	`<Default Extension="model" ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/></Types>` + "\n"

const rels = xml.Header + `<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">` +
	`<Relationship Id="rel0" Target="/3D/3dmodel.model" Type="` + modelType + `"/></Relationships>` + "\n"

// zipTime is the earliest date that a zip can hold; a fixed one keeps the bytes the same every time.
var zipTime = time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)

// Write writes the model in millimetres, each object once and placed where it stands. Coordinates
// are the shortest text that reads back as the same double; a model in another unit is scaled
// first. Colours are written as base materials. Textual names are kept but for what XML cannot hold.
func Write(w io.Writer, model *mesh.Model) error {
	if len(model.Objects) == 0 {
		return fmt.Errorf("write 3MF: nothing to write: %w", mesh.ErrNoFacets)
	}
	if model.Unit != mesh.Millimetre {
		model = model.InMM()
	}
	for i := range model.Objects {
		o := &model.Objects[i]
		if err := o.Mesh.CheckWritable(); err != nil {
			return fmt.Errorf("write 3MF: object %q: %w", o.Name, err)
		}
		if o.FacetColour != nil && len(o.FacetColour) != len(o.Mesh.Tris) {
			return fmt.Errorf("write 3MF: object %q: %d facet colours for %d facets", o.Name, len(o.FacetColour), len(o.Mesh.Tris))
		}
		for f, c := range o.FacetColour {
			if int(c) >= len(o.Colours) {
				return fmt.Errorf("write 3MF: object %q: facet %d has colour %d of %d", o.Name, f+1, c, len(o.Colours))
			}
		}
	}
	z := zip.NewWriter(w)
	for _, part := range []struct {
		name  string
		write func(*bufio.Writer)
	}{
		{"[Content_Types].xml", func(b *bufio.Writer) { b.WriteString(contentTypes) }},
		{relsPart, func(b *bufio.Writer) { b.WriteString(rels) }},
		{"3D/3dmodel.model", func(b *bufio.Writer) { writeModel(b, model) }},
	} {
		entry, err := z.CreateHeader(&zip.FileHeader{Name: part.name, Method: zip.Deflate, Modified: zipTime})
		if err != nil {
			return fmt.Errorf("write 3MF: %w", err)
		}
		// A bufio.Writer keeps its first error until Flush, so the parts need not check each write.
		b := bufio.NewWriterSize(entry, 1<<16)
		part.write(b)
		if err := b.Flush(); err != nil {
			return fmt.Errorf("write 3MF: %w", err)
		}
	}
	if err := z.Close(); err != nil {
		return fmt.Errorf("write 3MF: %w", err)
	}
	return nil
}

// writeModel gives ids: object i has 2i+1, its base materials 2i+2.
func writeModel(b *bufio.Writer, model *mesh.Model) {
	b.WriteString(xml.Header + `<model unit="millimeter" xml:lang="en" xmlns="` + coreNS + "\">\n<resources>\n")
	for i := range model.Objects {
		o := &model.Objects[i]
		if o.FacetColour != nil {
			writeColours(b, 2*i+2, o.Colours)
		}
		writeObject(b, i, o)
	}
	b.WriteString("</resources>\n<build>\n")
	for i := range model.Objects {
		fmt.Fprintf(b, "<item objectid=\"%d\"/>\n", 2*i+1)
	}
	b.WriteString("</build>\n</model>\n")
}

func writeColours(b *bufio.Writer, id int, colours []mesh.RGBA) {
	fmt.Fprintf(b, "<basematerials id=\"%d\">\n", id)
	for i, c := range colours {
		fmt.Fprintf(b, "<base name=\"colour %d\" displaycolor=\"#%02X%02X%02X%02X\"/>\n", i+1, c.R, c.G, c.B, c.A)
	}
	b.WriteString("</basematerials>\n")
}

func writeObject(b *bufio.Writer, i int, o *mesh.Object) {
	fmt.Fprintf(b, `<object id="%d" type="model" name="%s"`, 2*i+1, escape(o.Name))
	group := strconv.Itoa(2*i + 2)
	// The object's own property is the default of its facets, so it may only stand when none is bare.
	if o.FacetColour != nil && !hasBare(o.FacetColour) {
		fmt.Fprintf(b, ` pid="%s" pindex="%d"`, group, o.FacetColour[0])
	}
	b.WriteString("><mesh>\n<vertices>\n")
	var line []byte
	for _, v := range o.Mesh.Verts {
		line = append(line[:0], `<vertex x="`...)
		line = strconv.AppendFloat(line, v.X, 'g', -1, 64)
		line = append(line, `" y="`...)
		line = strconv.AppendFloat(line, v.Y, 'g', -1, 64)
		line = append(line, `" z="`...)
		line = strconv.AppendFloat(line, v.Z, 'g', -1, 64)
		b.Write(append(line, "\"/>\n"...))
	}
	b.WriteString("</vertices>\n<triangles>\n")
	for f, t := range o.Mesh.Tris {
		line = append(line[:0], `<triangle v1="`...)
		line = strconv.AppendUint(line, uint64(t[0]), 10)
		line = append(line, `" v2="`...)
		line = strconv.AppendUint(line, uint64(t[1]), 10)
		line = append(line, `" v3="`...)
		line = strconv.AppendUint(line, uint64(t[2]), 10)
		if o.FacetColour != nil && o.FacetColour[f] >= 0 {
			line = append(append(append(line, `" pid="`...), group...), `" p1="`...)
			line = strconv.AppendInt(line, int64(o.FacetColour[f]), 10)
		}
		b.Write(append(line, "\"/>\n"...))
	}
	b.WriteString("</triangles>\n</mesh></object>\n")
}

func hasBare(colours []int32) bool {
	for _, c := range colours {
		if c < 0 {
			return true
		}
	}
	return false
}

func escape(s string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(s)) // a strings.Builder does not fail
	return b.String()
}
