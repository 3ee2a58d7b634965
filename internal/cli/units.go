package cli

import (
	"fmt"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/mesh"
)

// axisWords are directions that need no numbers.
var axisWords = map[string]r3.Vec{
	"+x": {X: 1}, "-x": {X: -1}, "+y": {Y: 1}, "-y": {Y: -1}, "+z": {Z: 1}, "-z": {Z: -1},
	"x": {X: 1}, "y": {Y: 1}, "z": {Z: 1},
}

// parseDirection reads "+z" or "0,0.2,1" as a unit vector.
func parseDirection(s string) (r3.Vec, error) {
	if v, ok := axisWords[strings.ToLower(s)]; ok {
		return v, nil
	}
	wrong := fmt.Errorf("--direction %q: write +x, -x, +y, -y, +z, -z, or three numbers as in 0,0.2,1", s)
	parts := strings.Split(s, ",")
	if len(parts) != 3 {
		return r3.Vec{}, wrong
	}
	var c [3]float64
	for i, p := range parts {
		f, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil {
			return r3.Vec{}, wrong
		}
		c[i] = f
	}
	v := r3.Vec{X: c[0], Y: c[1], Z: c[2]}
	if n := r3.Norm(v); !(n > 0) || !mesh.Finite(v) {
		return r3.Vec{}, wrong
	}
	return r3.Unit(v), nil
}

// number prints v with at most d decimals and no trailing zeros.
func number(v float64, d int) string {
	s := strconv.FormatFloat(v, 'f', d, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		return "0"
	}
	return s
}

// point prints a place or a direction.
func point(v r3.Vec, d int) string {
	return fmt.Sprintf("%s, %s, %s", number(v.X, d), number(v.Y, d), number(v.Z, d))
}
