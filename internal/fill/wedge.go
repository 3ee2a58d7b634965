package fill

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"mouldwright/internal/geom"
	"mouldwright/internal/mesh"
)

// Wedge is a solid on which a block-shaped mould stands at a tilt: its top carries the block's whole
// underside, its bottom lies on the bench.
type Wedge struct {
	Mesh *mesh.Mesh `json:"-"` // as printed: bench side on z = 0
	// InMould is the same solid in the mould's coordinates, under the block.
	InMould   *mesh.Mesh `json:"-"`
	HeightsMM [4]float64 `json:"heights_mm"` // at the corners −x−y, +x−y, +x+y, −x+y, upright
	LengthMM  float64    `json:"length_mm"`  // of the sloping top, along x and y
	WidthMM   float64    `json:"width_mm"`
	TiltDeg   float64    `json:"tilt_deg"`
	VolumeMM3 float64    `json:"volume_mm3"`
	Words     string     `json:"words"`
}

// defaultWedgeMM is the wedge's least height: it has to print and not to bend.
const defaultWedgeMM = 3

// NewWedge makes the wedge for a block standing on the face z = Min.Z of its box, when up is the
// direction against gravity in the mould's coordinates. leastMM is its height at the lowest corner, 0
// means 3. The volume is that of an oblique prism: underside × cos(tilt) × mean height.
//
// Errors: *OptionError for a flat box, a tilt of 80° or more, or a negative height.
func NewWedge(b r3.Box, up r3.Vec, leastMM float64) (*Wedge, error) {
	if leastMM == 0 {
		leastMM = defaultWedgeMM
	}
	u := r3.Unit(up)
	l, w := b.Max.X-b.Min.X, b.Max.Y-b.Min.Y
	switch {
	case !(leastMM > 0):
		return nil, &OptionError{"the least height of the wedge in mm", leastMM, "above 0"}
	case !(l > 0 && w > 0):
		return nil, &OptionError{"the underside of the block in mm²", l * w, "above 0"}
	case !(u.Z > math.Cos(80*math.Pi/180)):
		return nil, &OptionError{"the tilt in degrees", math.Acos(u.Z) * 180 / math.Pi, "below 80"}
	}
	z := b.Min.Z
	top := [4]r3.Vec{{X: b.Min.X, Y: b.Min.Y, Z: z}, {X: b.Max.X, Y: b.Min.Y, Z: z}, {X: b.Max.X, Y: b.Max.Y, Z: z}, {X: b.Min.X, Y: b.Max.Y, Z: z}}
	low := math.Inf(1)
	for _, v := range top {
		low = min(low, r3.Dot(u, v))
	}
	out := &Wedge{LengthMM: l, WidthMM: w, TiltDeg: math.Acos(min(1, u.Z)) * 180 / math.Pi}
	m := &mesh.Mesh{Verts: append([]r3.Vec{}, top[:]...)}
	mean := 0.0
	for i, v := range top {
		h := r3.Dot(u, v) - low + leastMM
		out.HeightsMM[i] = h
		mean += h / 4
		m.Verts = append(m.Verts, r3.Sub(v, r3.Scale(h, u)))
	}
	m.Tris = [][3]uint32{{0, 1, 2}, {0, 2, 3}, {4, 6, 5}, {4, 7, 6}}
	for i := range uint32(4) {
		j := (i + 1) % 4
		m.Tris = append(m.Tris, [3]uint32{i, 4 + i, 4 + j}, [3]uint32{i, 4 + j, j})
	}
	out.InMould = m
	out.VolumeMM3 = l * w * u.Z * mean
	f := geom.FrameTo(u)
	bench := f.Apply(m.Verts[4]).Z
	out.Mesh = m.Map(func(v r3.Vec) r3.Vec { v = f.Apply(v); return r3.Vec{X: v.X, Y: v.Y, Z: v.Z - bench} })
	for i := 4; i < 8; i++ {
		out.Mesh.Verts[i].Z = 0 // one plane to the last bit: it is the print's first layer
	}
	out.Words = fmt.Sprintf("wedge %.1f × %.1f mm, tilt %.1f°, corners %.1f, %.1f, %.1f and %.1f mm high, %.1f mL of print",
		l, w, out.TiltDeg, out.HeightsMM[0], out.HeightsMM[1], out.HeightsMM[2], out.HeightsMM[3], out.VolumeMM3/1000)
	return out, nil
}
