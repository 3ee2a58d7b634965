package cli

import (
	"fmt"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// partFlags say which part a command is about.
type partFlags struct {
	Part   string `arg:"" help:"The part: STL, 3MF, OBJ or PLY."`
	Unit   string `placeholder:"UNIT" help:"The unit of the file's numbers: mm, micron, cm, m, inch, foot; left out: the file's own, or mm."`
	Object string `placeholder:"NAME" help:"Which object, when the file holds several."`
}

// openedPart is one object of a file, in mm.
type openedPart struct {
	path, object string
	unit         mesh.Unit
	unitFromFile bool
	notes        []string // what the reader left out or assumed
	mesh         *mesh.Mesh
}

func (f partFlags) open() (*openedPart, error) {
	model, err := meshfile.Open(f.Part, mesh.Limits{})
	if err != nil {
		return nil, err
	}
	fromFile := model.UnitKnown && f.Unit == ""
	if f.Unit != "" {
		if model.Unit, err = unitByName(f.Unit); err != nil {
			return nil, err
		}
	}
	o, err := pickObject(model.InMM(), f.Part, f.Object)
	if err != nil {
		return nil, err
	}
	return &openedPart{path: f.Part, object: o.Name, unit: model.Unit, unitFromFile: fromFile, notes: model.Notes, mesh: o.Mesh}, nil
}

// pickObject is the object of that name, or the only one.
func pickObject(model *mesh.Model, path, name string) (*mesh.Object, error) {
	var names []string
	for i := range model.Objects {
		o := &model.Objects[i]
		if o.Name == name && name != "" || name == "" && len(model.Objects) == 1 {
			return o, nil
		}
		names = append(names, fmt.Sprintf("%q", o.Name))
	}
	if name == "" {
		return nil, fmt.Errorf("%s holds %d objects; choose one with --object: %s", path, len(names), strings.Join(names, ", "))
	}
	return nil, fmt.Errorf("%s has no object %q; it holds %s", path, name, strings.Join(names, ", "))
}
