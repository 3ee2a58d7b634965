package tooling

import (
	"cmp"
	"fmt"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// sprueTries bounds how many places are tried for the sprue and for each vent.
const sprueTries = 4000

// placeSprue chooses where the liquid goes in and where the air goes out: the sprue first, then the
// vents. Both go straight up through the upper half. The sprue stands where it is farthest from the
// part's outline, off the show faces, and of equal places on the lowest, so that air rises away from
// it; each vent on the highest place left, as far as possible from all before it.
func (b *twoHalves) placeSprue() ([]Sprue, error) {
	tries := b.placesOnTop()
	if len(tries) == 0 {
		return nil, fmt.Errorf("tooling: every upper face is a show face: %w; turn the part over, or free a face for the sprue", ErrSprue)
	}
	z1 := b.mould.Block.Max.Z
	opt := SprueOptions{TopDiameterMM: b.opt.SprueMM}
	slices.SortStableFunc(tries, func(p, q place3) int { return cmp.Or(cmp.Compare(q.room, p.room), cmp.Compare(p.z, q.z)) })
	// Beyond the foot's own width more room is no better: then the lowest wins.
	enough := 2 * b.opt.SprueMM
	slices.SortStableFunc(tries, func(p, q place3) int {
		return cmp.Or(cmp.Compare(min(q.room, enough), min(p.room, enough)), cmp.Compare(p.z, q.z))
	})
	first, err := b.firstThatFits(tries, z1, opt, nil)
	if err != nil {
		return nil, err
	}
	out := []Sprue{first}
	vent := VentOptions()
	vent.TopDiameterMM = b.opt.VentMM
	for range max(0, b.opt.Vents) {
		slices.SortStableFunc(tries, func(p, q place3) int {
			return cmp.Or(cmp.Compare(q.z, p.z), cmp.Compare(farFrom(out, q.at), farFrom(out, p.at)))
		})
		v, err := b.firstThatFits(tries, z1, vent, out)
		if err != nil {
			break // no more room: fewer vents than asked, which the features show
		}
		out = append(out, v)
	}
	return out, nil
}

// place3 is a place on the part's upper surface.
type place3 struct {
	at   r2.Vec
	z    float64
	room float64 // to the part's outline in plan
}

// placesOnTop are the middles of upper facets that are no show faces. Heights are rounded to a
// hundredth of a millimetre, so that noise on a level face does not decide.
func (b *twoHalves) placesOnTop() []place3 {
	show := b.showOnTop()
	var out []place3
	n := len(b.top.m.Tris)
	stride := max(1, n/sprueTries)
	for f := 0; f < n; f += stride {
		if show != nil && show[f] {
			continue
		}
		c := b.top.m.Facet(f).Centroid()
		at := r2.Vec{X: c.X, Y: c.Y}
		const step = 100
		out = append(out, place3{at: at, z: float64(int64(c.Z*step)) / step, room: gapToOutlineInside(at, b.shadow)})
	}
	return out
}

// gapToOutlineInside is the distance from a point over the part to the part's outline.
func gapToOutlineInside(p r2.Vec, o Outline) float64 {
	d := -1.0
	for _, loop := range o {
		for i, a := range loop {
			if s := pointSegment(p, a, loop[(i+1)%len(loop)]); d < 0 || s < d {
				d = s
			}
		}
	}
	return d
}

// firstThatFits tries places in order. Those too near to a sprue already there are passed over.
func (b *twoHalves) firstThatFits(tries []place3, z1 float64, opt SprueOptions, have []Sprue) (Sprue, error) {
	show := b.showOnTop()
	last := fmt.Errorf("tooling: no place for it on the upper faces: %w", ErrSprue)
	for _, t := range tries {
		if t.room < opt.TopDiameterMM/2 {
			continue
		}
		s, err := NewSprue(t.at, z1, b.top, opt)
		if err != nil {
			last = fmt.Errorf("tooling: %w", err)
			continue
		}
		if len(have) > 0 && farFrom(have, s.At) < s.BottomRadius+b.opt.LeastWallMM {
			continue
		}
		if s.AvoidsShow(b.top, show).OK {
			return s, nil
		}
	}
	return Sprue{}, last
}

// farFrom is the clear distance to the nearest of some sprues.
func farFrom(have []Sprue, p r2.Vec) float64 {
	d := -1.0
	for _, s := range have {
		if g := r2.Norm(r2.Sub(p, s.At)) - s.BottomRadius; d < 0 || g < d {
			d = g
		}
	}
	return d
}
