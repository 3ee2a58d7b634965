package threemf

import (
	"archive/zip"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"path"
	"strings"

	"mouldwright/internal/mesh"
)

const (
	coreNS    = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
	colourNS  = "http://schemas.microsoft.com/3dmanufacturing/material/2015/02"
	modelType = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
	relsPart  = "_rels/.rels"

	exportAgain = "export the part again as 3MF"
)

// container is the zip around the parts.
type container struct {
	files map[string]*zip.File // by lower-case name: part names do not differ by case alone
	lim   mesh.Limits
	total int64 // bytes unpacked so far
}

func openContainer(r io.ReaderAt, size int64, lim mesh.Limits) (*container, error) {
	if size > lim.Bytes {
		return nil, &mesh.ReadError{Format: "3MF", Err: lim.TooManyBytes()}
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, &mesh.ReadError{Format: "3MF", What: "not a whole zip file", Err: err,
			Do: "the copy is cut short or this is not 3MF; copy or export it again"}
	}
	c := &container{files: make(map[string]*zip.File, len(z.File)), lim: lim}
	for _, f := range z.File {
		if strings.HasSuffix(f.Name, "/") {
			continue
		}
		if !isPartName(f.Name) {
			return nil, &mesh.ReadError{Format: "3MF", Do: exportAgain,
				What: fmt.Sprintf("the zip holds a file named %q, which is no name for a part", f.Name)}
		}
		key := strings.ToLower(f.Name)
		if c.files[key] != nil {
			return nil, &mesh.ReadError{Format: "3MF", What: fmt.Sprintf("the zip holds %q twice", f.Name), Do: exportAgain}
		}
		c.files[key] = f
	}
	return c, nil
}

// isPartName refuses names that lead out of the package (Open Packaging Conventions, part names).
func isPartName(name string) bool {
	if name == "" || strings.ContainsAny(name, "\\:\x00") || strings.HasPrefix(name, "/") {
		return false
	}
	for _, s := range strings.Split(name, "/") {
		if s == "" || s == "." || s == ".." {
			return false
		}
	}
	return true
}

// open unpacks a part under the limits.
func (c *container) open(name string) (io.ReadCloser, error) {
	f := c.files[strings.ToLower(name)]
	if f == nil {
		return nil, &mesh.ReadError{Format: "3MF", What: fmt.Sprintf("the zip holds no %q", name), Do: exportAgain}
	}
	r, err := f.Open()
	if err != nil {
		return nil, &mesh.ReadError{Format: "3MF", What: "cannot unpack " + f.Name, Err: err, Do: exportAgain}
	}
	return &unpacker{ReadCloser: r, c: c, name: f.Name, packed: int64(f.CompressedSize64)}, nil
}

// ratioFree is how much an entry may unpack to whatever its ratio: so little is no danger.
const ratioFree = 1 << 20

// unpacker counts what comes out of an entry, since the sizes in a zip's directory may lie.
type unpacker struct {
	io.ReadCloser
	c      *container
	name   string
	packed int64
	n      int64
}

func (u *unpacker) Read(p []byte) (int, error) {
	n, err := u.ReadCloser.Read(p)
	u.n += int64(n)
	u.c.total += int64(n)
	lim := u.c.lim
	if u.c.total > lim.Bytes {
		return n, &mesh.ReadError{Format: "3MF", What: "unpacking " + u.name, Err: lim.TooManyBytes()}
	}
	if u.n > ratioFree && u.n/lim.ZipRatio > u.packed {
		return n, &mesh.ReadError{Format: "3MF", What: "unpacking " + u.name, Err: &mesh.LimitError{
			Limit: "ZipRatio", Max: lim.ZipRatio, What: "unpacked bytes for each packed byte"}}
	}
	if err != nil && !errors.Is(err, io.EOF) {
		err = &mesh.ReadError{Format: "3MF", What: "unpacking " + u.name, Err: err, Do: "the file is damaged; copy or export it again"}
	}
	return n, err
}

// modelPart finds the model part by the package's relationships (chapter 2).
func (c *container) modelPart() (string, error) {
	r, err := c.open(relsPart)
	if err != nil {
		return "", err
	}
	defer r.Close()
	x := newXMLReader(r, c.lim)
	var target string
	for {
		tok, err := x.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return "", x.fail(err)
		}
		s, ok := tok.(xml.StartElement)
		if !ok || s.Name.Local != "Relationship" || attr(s, "Type") != modelType {
			continue
		}
		if target != "" {
			return "", x.bad("the package names two models", exportAgain)
		}
		target = attr(s, "Target")
		if strings.EqualFold(attr(s, "TargetMode"), "External") || !isTarget(target) {
			return "", x.bad(fmt.Sprintf("the package names %q as its model, which is not a part of it", target), exportAgain)
		}
	}
	if target == "" {
		return "", &mesh.ReadError{Format: "3MF", What: "the package names no 3D model", Do: exportAgain}
	}
	return strings.TrimPrefix(path.Clean(target), "/"), nil
}

func isTarget(target string) bool { return isPartName(strings.TrimPrefix(target, "/")) }

// attr is the value of an attribute without namespace, empty if there is none.
func attr(s xml.StartElement, name string) string {
	for _, a := range s.Attr {
		if a.Name.Space == "" && a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}
