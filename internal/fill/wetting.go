package fill

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Dry stands in a wetting for a place that the resin does not reach.
const Dry = -1

// Wetting says when the resin reaches each place: as the volume poured by then, mm³, or Dry. Places lie in
// the cavity or on its surface. The moment is found between two frames by the rise of the resin there, so
// with n frames it is off by a part of 1/n of the cavity at most; in place the columns' pitch is the limit.
// frames are in order, of one fill.
func Wetting(frames []Frame, places []r3.Vec) []float64 {
	out := make([]float64, len(places))
	if len(frames) == 0 {
		for i := range out {
			out[i] = Dry
		}
		return out
	}
	c := frames[0].cols
	for i, p := range places {
		q := c.frame.Apply(p)
		out[i] = Dry
		if r := c.runNear(q); r >= 0 {
			out[i] = reached(frames, r, c.inside(r, q.Z))
		}
	}
	return out
}

// runNear is the run that holds a frame point or comes nearest to it; −1 when there is none around. A
// place on a wall may lie over a column whose centre line is outside, so the neighbours are asked too.
func (c *columns) runNear(q r3.Vec) int32 {
	i0, j0 := c.cell(q.X, q.Y)
	best, found := math.Inf(1), int32(-1)
	for ring := range 3 {
		for j := max(0, j0-ring); j <= min(c.ny-1, j0+ring); j++ {
			for i := max(0, i0-ring); i <= min(c.nx-1, i0+ring); i++ {
				k := j*c.nx + i
				for r := c.first[k]; r < c.first[k+1]; r++ {
					dx, dy := q.X-(c.x0+float64(i)*c.pitch), q.Y-(c.y0+float64(j)*c.pitch)
					dz := max(0, c.lo[r]-q.Z, q.Z-c.hi[r])
					if d := dx*dx + dy*dy + dz*dz; d < best {
						best, found = d, r
					}
				}
			}
		}
		if found >= 0 && best <= c.pitch*c.pitch {
			break
		}
	}
	return found
}

// inside moves a height off the ends of a run: its floor is wet when resin stands on it, its ceiling
// though the surface that frames hold is rounded.
func (c *columns) inside(r int32, z float64) float64 {
	lo, hi := c.lo[r], c.hi[r]
	off := min((hi-lo)/4, c.pitch/100)
	return max(lo+off, min(hi-off, z))
}

// reached is the volume poured when the resin in a run comes to a height.
func reached(frames []Frame, r int32, z float64) float64 {
	before, level := 0.0, frames[0].cols.lo[r]
	for k := range frames {
		now := float64(frames[k].surface[r])
		if now >= z {
			share := 1.0
			if now > level {
				share = min(1, max(0, (z-level)/(now-level)))
			}
			return before + share*(frames[k].PouredMM3-before)
		}
		before, level = frames[k].PouredMM3, now
	}
	return Dry
}
