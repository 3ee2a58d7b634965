package job

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"mouldwright/internal/mesh"
	"mouldwright/internal/mesh/meshfile"
)

// OpenedPart is one object of a part file, in mm, as it was read: not yet looked over.
type OpenedPart struct {
	Object       mesh.Object
	Unit         mesh.Unit // of the file's numbers
	UnitFromFile bool      // the file names its unit, and it was taken
	Notes        []string  // what the reader left out or assumed
}

// OpenPart reads one object of a part file. unit overrides the file's own, "" takes that, or mm where
// the format has none. object is a name, or #2 for the second in the file; "" takes the only one. A
// file with several objects and none named, or without the one named, is a *ChoiceError.
func OpenPart(path, unit, object string) (*OpenedPart, error) {
	return OpenPartContext(context.Background(), path, unit, object)
}

// OpenPartContext is OpenPart that stops reading when ctx ends; the error is then the context's.
func OpenPartContext(ctx context.Context, path, unit, object string) (*OpenedPart, error) {
	model, err := meshfile.OpenContext(ctx, path, mesh.Limits{})
	if err != nil {
		return nil, err
	}
	p := &OpenedPart{UnitFromFile: model.UnitKnown, Notes: model.Notes}
	if unit != "" {
		u, err := mesh.UnitNamed(unit)
		if err != nil {
			return nil, err
		}
		if model.UnitKnown && model.Unit != u {
			p.Notes = append(p.Notes, fmt.Sprintf("the file says its unit is %s, but %s is asked for and taken", model.Unit.Name(), unit))
		}
		model.Unit, p.UnitFromFile = u, false
	}
	p.Unit = model.Unit
	i, err := choose(model.Objects, path, object)
	if err != nil {
		return nil, err
	}
	p.Object = model.InMM().Objects[i]
	return p, nil
}

// ChoiceError says that a part file holds several objects and it is open which one is meant.
type ChoiceError struct {
	Path  string
	Asked string   // "" when none was named
	Names []string // how each object can be named, in the file's order
}

func (e *ChoiceError) Error() string {
	quoted := make([]string, len(e.Names))
	for i, n := range e.Names {
		quoted[i] = strconv.Quote(n)
	}
	holds := strings.Join(quoted, ", ")
	if e.Asked == "" {
		return fmt.Sprintf("%s holds %d objects, and a mould is for one: name it (object in job.toml, --object on the command line), one of %s", e.Path, len(e.Names), holds)
	}
	return fmt.Sprintf("%s has no object %q; name one of %s", e.Path, e.Asked, holds)
}

// choose finds the object of that name, or the only one.
func choose(objects []mesh.Object, path, asked string) (int, error) {
	names, found := objectNames(objects), -1
	for i, n := range names {
		if n == asked || asked == "#"+strconv.Itoa(i+1) || asked == "" && len(objects) == 1 {
			found = i
			break
		}
	}
	if found < 0 {
		return 0, &ChoiceError{Path: path, Asked: asked, Names: names}
	}
	return found, nil
}

// objectNames are names that tell the objects apart: their own, or their number where that is missing
// or borne by another too.
func objectNames(objects []mesh.Object) []string {
	times := map[string]int{"": 2}
	for _, o := range objects {
		times[o.Name]++
	}
	names := make([]string, len(objects))
	for i, o := range objects {
		if names[i] = o.Name; times[o.Name] > 1 {
			names[i] = "#" + strconv.Itoa(i+1)
		}
	}
	return names
}
