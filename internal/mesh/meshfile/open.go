package meshfile

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/obj"
	"mouldwright/internal/mesh/ply"
	"mouldwright/internal/mesh/stl"
	"mouldwright/internal/mesh/threemf"
)

// sniffBytes is how much of a file shows its format.
const sniffBytes = 512

// Open reads the mesh file at path under the limits. Errors are *mesh.ReadError and name the file.
func Open(path string, lim mesh.Limits) (*mesh.Model, error) {
	return OpenContext(context.Background(), path, lim)
}

// OpenContext is Open that stops reading when ctx ends; the error is then the context's.
func OpenContext(ctx context.Context, path string, lim mesh.Limits) (*mesh.Model, error) {
	lim = lim.OrDefault()
	// Opening a pipe would wait for its other end, so look before opening.
	info, err := os.Stat(path)
	if err != nil {
		return nil, explain(path, err)
	}
	if !info.Mode().IsRegular() {
		return nil, &mesh.ReadError{Path: path, What: "not a plain file", Do: "name a file that holds a mesh"}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, explain(path, err)
	}
	defer f.Close() // only read
	if info.Size() > lim.Bytes {
		return nil, &mesh.ReadError{Path: path, Err: lim.TooManyBytes()}
	}
	head := make([]byte, sniffBytes)
	n, err := f.ReadAt(head, 0)
	if err != nil && !errors.Is(err, io.EOF) {
		return nil, explain(path, err)
	}
	if n == 0 {
		return nil, &mesh.ReadError{Path: path, What: "the file is empty", Err: mesh.ErrNoFacets, Do: "export the part again"}
	}
	if bytes.HasPrefix(head, []byte("\xff\xfe")) || bytes.HasPrefix(head, []byte("\xfe\xff")) {
		return nil, &mesh.ReadError{Path: path, What: "the file is UTF-16 text", Do: "save it as UTF-8 or export the part again"}
	}
	read := reader(head[:n], path)
	if read == nil {
		return nil, &mesh.ReadError{Path: path, What: "neither its content nor its name is that of a known mesh format",
			Do: "export the part as 3MF, STL, OBJ or PLY"}
	}
	model, err := read(&watched{ctx, f}, info.Size(), lim)
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	if err != nil {
		return nil, explain(path, err)
	}
	return model, nil
}

// watched is a file that reads nothing more once its context has ended.
type watched struct {
	ctx context.Context
	f   *os.File
}

func (w *watched) Read(p []byte) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.f.Read(p)
}

func (w *watched) ReadAt(p []byte, at int64) (int, error) {
	if err := w.ctx.Err(); err != nil {
		return 0, err
	}
	return w.f.ReadAt(p, at)
}

// readFunc reads a whole file of one format.
type readFunc func(*watched, int64, mesh.Limits) (*mesh.Model, error)

var byExtension = map[string]readFunc{".3mf": read3MF, ".stl": readSTL, ".obj": readOBJ, ".ply": readPLY}

func read3MF(f *watched, size int64, lim mesh.Limits) (*mesh.Model, error) {
	return threemf.Read(f, size, lim)
}
func readSTL(f *watched, _ int64, lim mesh.Limits) (*mesh.Model, error) { return stl.Read(f, lim) }
func readOBJ(f *watched, _ int64, lim mesh.Limits) (*mesh.Model, error) { return obj.Read(f, lim) }
func readPLY(f *watched, _ int64, lim mesh.Limits) (*mesh.Model, error) { return ply.Read(f, lim) }

// reader picks by content where that is plain, otherwise by the extension. Binary STL has no mark of
// its own, so it goes by its name; OBJ has one only in the words its lines start with.
func reader(head []byte, path string) readFunc {
	text := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xef\xbb\xbf")), " \t\r\n")
	extension := strings.ToLower(filepath.Ext(path))
	switch {
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return read3MF
	case bytes.HasPrefix(head, []byte("ply\n")), bytes.HasPrefix(head, []byte("ply\r\n")):
		return readPLY
	case len(text) >= 5 && bytes.EqualFold(text[:5], []byte("solid")):
		return readSTL
	}
	if read := byExtension[extension]; read != nil {
		return read
	}
	if looksLikeOBJ(text) {
		return readOBJ
	}
	return nil
}

func looksLikeOBJ(text []byte) bool {
	for line := range bytes.Lines(text) {
		word, _, _ := bytes.Cut(bytes.TrimSpace(line), []byte(" "))
		switch string(word) {
		case "v", "vn", "vt", "o", "g", "mtllib", "usemtl", "s":
			return true
		case "":
			continue
		}
		if word[0] != '#' {
			return false
		}
	}
	return false
}

// explain puts the path into an error.
func explain(path string, err error) error {
	if e := (*mesh.ReadError)(nil); errors.As(err, &e) {
		named := *e
		named.Path = path
		return &named
	}
	e := &mesh.ReadError{Path: path, What: "cannot read", Err: err, Do: "check the disk or the copy"}
	if p := (*fs.PathError)(nil); errors.As(err, &p) {
		e.Err = p.Err // the path is named already
	}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Do = "check the name: there is no such file"
	case errors.Is(err, fs.ErrPermission):
		e.Do = "you may not read it: change its permissions"
	}
	return e
}

// Extensions lists the file name extensions that Open and Save know.
func Extensions() []string { return []string{".3mf", ".stl", ".obj", ".ply"} }

func unknownExtension(path string) error {
	return fmt.Errorf("write %s: the name does not end in a known mesh format; use one of %s", path, strings.Join(Extensions(), ", "))
}
