package mesh

import (
	"fmt"
	"strings"
)

// unitNames are the names that job files and commands take, in the order that messages list them.
var unitNames = []struct {
	name string
	unit Unit
}{
	{"mm", Millimetre}, {"micron", Micron}, {"cm", Centimetre}, {"m", Metre}, {"inch", Inch}, {"foot", Foot},
}

// UnitNamed is the unit of a name such as "inch". The error lists the names there are.
func UnitNamed(name string) (Unit, error) {
	var names []string
	for _, u := range unitNames {
		if u.name == name {
			return u.unit, nil
		}
		names = append(names, u.name)
	}
	return 0, fmt.Errorf("%q is not a unit; use one of %s", name, strings.Join(names, ", "))
}

// Name is the unit's name as UnitNamed takes it, or its length in mm when it has none.
func (u Unit) Name() string {
	for _, n := range unitNames {
		if n.unit == u {
			return n.name
		}
	}
	return fmt.Sprintf("%g mm", float64(u))
}
