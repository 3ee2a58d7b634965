package solid

import (
	"gonum.org/v1/gonum/spatial/r2"
)

// giveLoops copies loops to a list of the library, which the caller destroys.
func giveLoops(h *host, loops [][]r2.Vec) address {
	list := h.construct(clsLoops)
	for _, l := range loops {
		one := h.construct(clsPoints2)
		h.method(clsPoints2, "resize", one, len(l), object{"x": 0.0, "y": 0.0})
		b := vectorBytes(h.mod.Memory(), uint32(one))
		for i, p := range l {
			putVec2(b[sizeVec2*i:], p)
		}
		h.method(clsLoops, "push_back", list, one)
		h.destroy(clsPoints2, one)
	}
	return list
}

// takeLoops copies a list of loops out of the library and destroys it.
func takeLoops(h *host, list address) (loops [][]r2.Vec) {
	defer h.destroy(clsLoops, list)
	m := h.mod.Memory()
	begin, end := u32(m, uint32(list)), u32(m, uint32(list)+4)
	for p := begin; p < end; p += sizeVector {
		b := vectorBytes(m, p)
		loop := make([]r2.Vec, len(b)/sizeVec2)
		for i := range loop {
			loop[i] = getVec2(b[sizeVec2*i:])
		}
		loops = append(loops, loop)
	}
	return loops
}

// checkLoops refuses loops without area to be, or with a coordinate that is not finite.
func checkLoops(loops [][]r2.Vec) error {
	for i, l := range loops {
		if len(l) < minSegments {
			return badArgument("loop %d has %d points, at least %d are needed", i, len(l), minSegments)
		}
		for j, p := range l {
			if p.X-p.X != 0 || p.Y-p.Y != 0 {
				return badArgument("point %d of loop %d is (%g, %g)", j, i, p.X, p.Y)
			}
		}
	}
	return nil
}

// signedArea is the area inside loops in mm²; clockwise loops count as negative.
func signedArea(loops [][]r2.Vec) (twice float64) {
	for _, l := range loops {
		for i := range l {
			// About the loop's first point, so that a loop far away keeps its precision.
			a, b := r2.Sub(l[i], l[0]), r2.Sub(l[(i+1)%len(l)], l[0])
			twice += r2.Cross(a, b)
		}
	}
	return twice / 2
}
