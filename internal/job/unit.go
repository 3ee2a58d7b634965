package job

import (
	"fmt"

	"mouldwright/internal/mesh"
)

// units are the names that job.toml and the commands accept, in the order that messages list them.
var units = []struct {
	name string
	unit mesh.Unit
}{
	{"mm", mesh.Millimetre}, {"micron", mesh.Micron}, {"cm", mesh.Centimetre},
	{"m", mesh.Metre}, {"inch", mesh.Inch}, {"foot", mesh.Foot},
}

func unitNamed(name string) (mesh.Unit, error) {
	list := ""
	for i, u := range units {
		if u.name == name {
			return u.unit, nil
		}
		if i > 0 {
			list += ", "
		}
		list += u.name
	}
	return 0, fmt.Errorf("%q is not a unit; use one of %s", name, list)
}
