package meshfile

import (
	"io"
	"path/filepath"
	"strings"

	"mouldwright/internal/atomicfile"
	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/obj"
	"mouldwright/internal/mesh/ply"
	"mouldwright/internal/mesh/stl"
	"mouldwright/internal/mesh/threemf"
)

// Save writes the model, in mm, in the format that the name's extension says, whole or not at all.
// STL and PLY hold one mesh, so objects are put side by side in them; STL takes the first one's name.
func Save(path string, model *mesh.Model) error { return SaveFS(atomicfile.OS{}, path, model) }

// SaveFS is Save on another file system.
func SaveFS(fsys atomicfile.FS, path string, model *mesh.Model) error {
	write := writers[strings.ToLower(filepath.Ext(path))]
	if write == nil {
		return unknownExtension(path)
	}
	return atomicfile.WriteFS(fsys, path, func(w io.Writer) error { return write(w, model) })
}

var writers = map[string]func(io.Writer, *mesh.Model) error{".3mf": threemf.Write, ".stl": writeSTL, ".obj": obj.Write, ".ply": ply.Write}

func writeSTL(w io.Writer, model *mesh.Model) error {
	name := ""
	if len(model.Objects) > 0 {
		name = model.Objects[0].Name
	}
	return stl.Write(w, model.InMM().Merge(), name)
}
