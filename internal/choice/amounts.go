package choice

import "gonum.org/v1/gonum/spatial/r3"

// shapeOf is what the volume formulas take: the part in its stance, mm. Each formula is a block less
// what is in it; features (keys, bolts, sprue) are left out, and are within the stated error.
type shapeOf struct {
	w, l, h   float64 // box of the part in the frame
	volumeMM3 float64
	areaMM2   float64
	insertMM2 float64 // surface that the second piece shapes: the insert, where there is one
	coreMM3   float64 // between the surface that the first piece shapes, the cap, and the part's top
	opt       *Options
}

func newShapeOf(s *stance, a *arrangement, opt *Options) *shapeOf {
	size := r3.Sub(s.box.Max, s.box.Min)
	v := &shapeOf{w: size.X, l: size.Y, h: size.Z, volumeMM3: s.volume, areaMM2: s.part.AreaMM2(), opt: opt}
	for f, p := range a.shapes {
		switch p {
		case 0: // a facet of the cap: the prism between it and the top, signed
			v.coreMM3 += s.area[f] * s.up(f) * (s.topMM() - s.heightMM(f))
		case 1:
			v.insertMM2 += s.area[f]
		}
	}
	v.coreMM3 = max(0, v.coreMM3)
	return v
}

const mm3PerML = 1000.0

// block is a box round the part with a wall on each side and a floor above and below.
func (v *shapeOf) block(wall, floor float64) float64 {
	return (v.w + 2*wall) * (v.l + 2*wall) * (v.h + 2*floor)
}

func halfBlockML(v *shapeOf) float64 {
	return (v.block(v.opt.WallMM, v.opt.FloorMM) - v.volumeMM3) / 2 / mm3PerML
}

// sidePieceML: half of a half, and the flange along the second split.
func sidePieceML(v *shapeOf) float64 { return 0.6 * halfBlockML(v) }

func trayML(v *shapeOf) float64 {
	o := v.opt
	return ((v.w+2*o.WallMM)*(v.l+2*o.WallMM)*(v.h+o.FloorMM) - v.volumeMM3) / mm3PerML
}

// insertML: the surface times the thickness, and what the thickness gains round the outside of
// corners and at the flange.
func insertML(v *shapeOf) float64 {
	s := v.opt.InsertMM
	return (v.insertMM2*s + (v.w+v.l)*2*s*s) / mm3PerML
}

func cradleML(v *shapeOf) float64 {
	o := v.opt
	wall, floor := o.InsertMM+o.WallMM, o.InsertMM+o.FloorMM
	box := (v.w + 2*wall) * (v.l + 2*wall) * (v.h + floor)
	return max(0, box/mm3PerML-insertML(v)-(v.volumeMM3+v.coreMM3)/mm3PerML)
}

// plateML is the plate of a cap, as wide as the cradle.
func plateML(v *shapeOf) float64 {
	wall := v.opt.InsertMM + v.opt.WallMM
	return (v.w + 2*wall) * (v.l + 2*wall) * v.opt.FloorMM / mm3PerML
}

func castingCapML(v *shapeOf) float64 { return plateML(v) + v.coreMM3/mm3PerML }
func patternCapML(v *shapeOf) float64 { return plateML(v) + (v.coreMM3+v.volumeMM3)/mm3PerML }
func patternML(v *shapeOf) float64    { return v.volumeMM3 / mm3PerML }

func blockML(v *shapeOf) float64 {
	return (v.block(v.opt.BlockMM, v.opt.BlockMM) - v.volumeMM3) / mm3PerML
}
func halfSiliconeML(v *shapeOf) float64 { return blockML(v) / 2 }

// boxWallMM and boardMM are printed sheets that only hold liquid silicone.
const (
	boxWallMM = 3.0
	boardMM   = 4.0
)

func boxML(v *shapeOf) float64 {
	w, l, h := v.w+2*v.opt.BlockMM, v.l+2*v.opt.BlockMM, v.h+2*v.opt.BlockMM
	return (2*(w+l)*h + w*l) * boxWallMM / mm3PerML
}

func boardML(v *shapeOf) float64 {
	return (v.w + 2*v.opt.BlockMM) * (v.l + 2*v.opt.BlockMM) * boardMM / mm3PerML
}

func halfSkinML(v *shapeOf) float64 {
	s := v.opt.SkinMM
	return (v.areaMM2*s + (v.w+v.l)*4*s*s) / 2 / mm3PerML
}

func shellML(v *shapeOf) float64 {
	o := v.opt
	return max(0, v.block(o.SkinMM+o.WallMM, o.SkinMM+o.FloorMM)/mm3PerML-v.volumeMM3/mm3PerML-2*halfSkinML(v)) / 2
}
