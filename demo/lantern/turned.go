package lantern

// turnings is the number of columns of a turned part: 2° each. At the largest radius used, 34 mm,
// a chord strays by 34·(1 − cos 1°) = 0.005 mm.
const turnings = 180

// loft adds the rows of a section that may change with the angle, one row for each outline point,
// and returns them with the names of the faces that start there. The sections must have the same
// number of outline points at every angle. A point on the axis becomes a row of one vertex.
func (b *builder) loft(at func(angle float64) section) (rows [][]uint32, names []string) {
	first := at(0).points()
	rows = make([][]uint32, len(first))
	for _, p := range first {
		names = append(names, p.Name)
	}
	for c := range turnings {
		angle := columnAngle(c)
		for k, p := range at(angle).points() {
			if p.X == 0 && c > 0 {
				continue
			}
			rows[k] = append(rows[k], b.vertex(polar(p.X, angle, p.Y)))
		}
	}
	return rows, names
}

// skin joins the rows of a loft; closed joins the last to the first as well. Faces for which skip
// answers true are left to the caller.
func (b *builder) skin(rows [][]uint32, names []string, closed bool, skip func(name string) bool) {
	for k := range rows {
		if k == len(rows)-1 && !closed {
			break
		}
		from, to := rows[k], rows[(k+1)%len(rows)]
		switch {
		case skip != nil && skip(names[k]):
		case len(from) == 1:
			b.cone(names[k], to, from[0], true)
		case len(to) == 1:
			b.cone(names[k], from, to[0], false)
		default:
			b.strip(names[k], from, to)
		}
	}
}

// turned makes a part from one section, the same all round.
func turned(name string, s section, show ...string) *Part {
	var b builder
	rows, names := b.loft(func(float64) section { return s })
	b.skin(rows, names, !s.onAxis(), nil)
	return b.part(name, show...)
}

// rowOf is the index of the row where the named face starts. The face must be one straight piece.
func rowOf(names []string, face string) int {
	for k, n := range names {
		if n == face {
			return k
		}
	}
	panic("lantern: no face named " + face) // a slip in this package: faces are named by constants
}
