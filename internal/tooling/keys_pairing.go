package tooling

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// swap is a way in which the upper half could be put on the lower by mistake, as a map of the plan.
type swap struct {
	name           string
	xx, xy, yx, yy float64
	square         bool // only fits a square block
}

// swaps are the symmetries of a rectangle but the identity, and of a square. A mirror cannot happen to a
// rigid half, but can to a mould whose second half was mirrored in print; it costs nothing to exclude.
var swaps = []swap{
	{"turned by 180°", -1, 0, 0, -1, false},
	{"mirrored left to right", -1, 0, 0, 1, false},
	{"mirrored front to back", 1, 0, 0, -1, false},
	{"turned by 90°", 0, -1, 1, 0, true},
	{"turned by 270°", 0, 1, -1, 0, true},
	{"mirrored over a diagonal", 0, 1, 1, 0, true},
	{"mirrored over the other diagonal", 0, -1, -1, 0, true},
}

func (t swap) apply(p r2.Vec) r2.Vec {
	return r2.Vec{X: t.xx*p.X + t.xy*p.Y, Y: t.yx*p.X + t.yy*p.Y}
}

// KeysCloseOneWay proves that the halves close in no wrong position, or says which wrong position they
// would accept.
//
// A wrong position is a turn or a mirror of the upper half followed by any shift. It is accepted when
// every male's base lies within some female to within s. Then the first male's centre is within
// s + (R − r) of some female's centre, so the shift that makes those two centres agree leaves every male
// outside by at most 2s + (R − r). So if each such shift leaves some male outside by m, every shift
// leaves one outside by at least (m − (R − r))/2, which is the Check's value. At least marginMM is
// wanted: more than a print's own error.
//
// Values are mm. With fewer than two keys the check fails: one cone does not hold the angle.
func KeysCloseOneWay(keys []Key, square bool, marginMM float64) Check {
	c := Check{Name: "keys close one way", Limit: marginMM, Unit: "mm"}
	if len(keys) < 2 {
		c.Words = fmt.Sprintf("%d key: at least two are needed to hold the halves in register", len(keys))
		return c
	}
	c.Value = math.Inf(1)
	for _, t := range swaps {
		if t.square && !square {
			continue
		}
		if v := misfit(keys, t); v < c.Value {
			c.Value = v
			c.Words = fmt.Sprintf("the nearest wrong position, the upper half %s, is stopped by at least %.2f mm", t.name, v)
			if short(v, marginMM) {
				c.Words = fmt.Sprintf("with the upper half %s the keys stop it by only %.2f mm (%.2f mm is wanted): make one key larger or move it", t.name, max(0, v), marginMM)
			}
		}
	}
	c.OK = !short(c.Value, marginMM)
	return c
}

// misfit is the bound of KeysCloseOneWay for one turn. Any male may play the part of the first; the one
// that gives the strongest bound counts (the largest: it has least play).
func misfit(keys []Key, t swap) float64 {
	best := math.Inf(-1)
	for _, pivot := range keys {
		least := math.Inf(1)
		for _, f := range keys {
			shift := r2.Sub(f.At, t.apply(pivot.At))
			play := f.BaseRadius + f.ClearanceMM - pivot.BaseRadius
			least = min(least, (worstMale(keys, t, shift)-play)/2)
		}
		best = max(best, least)
	}
	return best
}

// worstMale is how far the worst-placed male stands out of the female that holds it best.
func worstMale(keys []Key, t swap, shift r2.Vec) float64 {
	worst := math.Inf(-1)
	for _, m := range keys {
		p := r2.Add(t.apply(m.At), shift)
		out := math.Inf(1)
		for _, g := range keys {
			out = min(out, r2.Norm(r2.Sub(p, g.At))+m.BaseRadius-g.BaseRadius-g.ClearanceMM)
		}
		worst = max(worst, out)
	}
	return worst
}
