package tooling

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// CavityPlace is where one of several cavities lies: the part, as it stands alone in the mould frame, is
// turned about z by quarters and then moved.
type CavityPlace struct {
	Quarters int // counter-clockwise, 0 to 3
	At       r2.Vec
}

// Into takes a point of the cavity that stands alone to this one.
func (c CavityPlace) Into(v r2.Vec) r2.Vec { return r2.Add(quarterTurn(v, c.Quarters), c.At) }

// Back undoes Into.
func (c CavityPlace) Back(v r2.Vec) r2.Vec { return quarterTurn(r2.Sub(v, c.At), -c.Quarters) }

// into3 and back3 are the same in space.
func (c CavityPlace) into3(v r3.Vec) r3.Vec {
	p := c.Into(r2.Vec{X: v.X, Y: v.Y})
	return r3.Vec{X: p.X, Y: p.Y, Z: v.Z}
}

func (c CavityPlace) back3(v r3.Vec) r3.Vec {
	p := c.Back(r2.Vec{X: v.X, Y: v.Y})
	return r3.Vec{X: p.X, Y: p.Y, Z: v.Z}
}

// Placed is a placing carried on into one of several cavities.
func (p Placing) Placed(c CavityPlace) Placing {
	p.TurnZ += float64(c.Quarters) * math.Pi / 2
	o := c.Into(r2.Vec{X: p.Offset.X, Y: p.Offset.Y})
	p.Offset = r3.Vec{X: o.X, Y: o.Y, Z: p.Offset.Z}
	return p
}

// PackOptions say how cavities are packed in plan. The zero value of all but Cavities is the default.
type PackOptions struct {
	Cavities int
	GapMM    float64 // least distance between two cavities; default CavityGapMM
	WallMM   float64 // from the outermost cavities to the block's sides: what the block's size is judged by
	MostMM   r2.Vec  // the printer's room; zero: no limit
	// ChannelMM is the width kept free for a runner between two rows of cavities that face each other; 0:
	// no runner, every cavity is filled by itself.
	ChannelMM float64
}

// CavityGapMM is the wall between two cavities: as wide as two lands of a gutter and a little over, and
// stiff enough in a printed block. Common practice, no source.
const CavityGapMM = 8

// MostCavities bounds a mould: more are a matter for several moulds.
const MostCavities = 64

// ErrCavities is the cause when a number of cavities cannot be had.
var ErrCavities = errors.New("so many cavities cannot be had")

// Packing is a way to lay cavities in plan.
type Packing struct {
	Places   []CavityPlace
	Box      r2.Box // of the outlines
	Channels []Channel
	Words    string
	cost     float64 // mm² of block, and what turning copies is to save
}

// Channel is a strip between two rows of cavities, in which a runner lies. It crosses the trunk, which
// runs square to the channels through the middle of the packing.
type Channel struct {
	Mid r2.Vec // on the trunk
	// Cavities are the numbers of those that it feeds; Inward the way from the channel into each.
	Cavities []int
	Inward   []r2.Vec
}

// blockMM2 is the plan of a block with walls round the packing.
func (p *Packing) blockMM2(wall float64) float64 {
	s := r2.Sub(p.Box.Max, p.Box.Min)
	return (s.X + 2*wall) * (s.Y + 2*wall)
}

// PackCavities lays n equal cavities side by side so that a block round them is small, by their real
// outlines: those that turn a hollow side to each other nest. All ways tried are rows: each of copies
// turned alike, or by turns the other way round, by halves and by quarters, in as many rows as make sense;
// copies slide together until the gap is left, rows likewise. It returns the ways that fit the room,
// smallest block first. Outline is the part's shadow about the mould's axis. The same input gives the same
// answer.
//
// This is no search over all packings, which is a hard problem even for boxes: it finds the best row
// packing of its kind, and block area is what it is judged by.
func PackCavities(outline Outline, opt PackOptions) ([]Packing, error) {
	setDefault(&opt.GapMM, CavityGapMM)
	if opt.Cavities < 1 || opt.Cavities > MostCavities {
		return nil, fmt.Errorf("tooling: %d cavities: give 1 to %d: %w", opt.Cavities, MostCavities, ErrCavities)
	}
	if err := finite("cavities", map[string]float64{"gap between them": opt.GapMM, "runner's channel": opt.ChannelMM, "wall": opt.WallMM}); err != nil {
		return nil, fmt.Errorf("tooling: %w: %w", err, ErrCavities)
	}
	var whole []r2.Vec
	for _, loop := range outline {
		if loopArea(loop) > loopArea(whole) {
			whole = loop
		}
	}
	if whole == nil {
		return nil, fmt.Errorf("tooling: the part's outline is empty or runs clockwise: %w", ErrCavities)
	}
	k := newPacker(whole, opt)
	var all []Packing
	for i, turns := range [][]int{{0}, {1}, {2}, {3}, {0, 2}, {2, 0}, {1, 3}, {3, 1}} {
		for _, p := range k.ways(turns) {
			if fit, ok := k.fitted(p); ok {
				fit.cost = fit.blockMM2(opt.WallMM)
				if i > 0 {
					fit.cost *= turnCost
				}
				all = append(all, fit)
			}
		}
	}
	if len(all) == 0 {
		box, _ := outline.Bounds()
		s := r2.Sub(box.Max, box.Min)
		return nil, fmt.Errorf("tooling: %d cavities of %.0f × %.0f mm, %.1f mm apart, with walls of %.1f mm do not fit %.0f × %.0f mm: take fewer, or a larger printer: %w",
			opt.Cavities, s.X, s.Y, opt.GapMM, opt.WallMM, opt.MostMM.X, opt.MostMM.Y, ErrCavities)
	}
	// Areas that differ by rounding are equal: then the way that comes first in the order of trying wins.
	slices.SortStableFunc(all, func(a, b Packing) int {
		return cmp.Compare(math.Round(a.cost/packTieMM2), math.Round(b.cost/packTieMM2))
	})
	return all, nil
}

const (
	// packTieMM2 is a difference of block area that nobody sees.
	packTieMM2 = 0.1
	// turnCost is how much smaller the block must be for copies to be turned: alike, they are gated, vented
	// and looked at alike.
	turnCost = 1.01
	// packStepMM rounds distances up, to a power of two so that copies keep their last digits.
	packStepMM = 1.0 / 128
	// rowShifts is how many ways of shifting a row against the one before are tried, over one pitch.
	rowShifts = 8
)

// packer slides outlines together.
type packer struct {
	opt    PackOptions
	gap    float64
	turned [4][]r2.Vec // outline turned by quarters
	box    [4]r2.Box
	known  map[slideKey]float64
}

type slideKey struct {
	a, b  int
	dy    float64
	along bool // along y: a row against a row
}

func newPacker(outline []r2.Vec, opt PackOptions) *packer {
	loop, stray := simplified(outline)
	k := &packer{opt: opt, gap: opt.GapMM + 2*stray, known: map[slideKey]float64{}}
	for q := range 4 {
		k.turned[q] = quarterTurned(loop, q)
		k.box[q], _ = Outline{quarterTurned(outline, q)}.Bounds()
	}
	return k
}

// slide is how far a copy turned by b must be from one turned by a, along x with dy between them, or along
// y with dy between them in x.
func (k *packer) slide(a, b int, dy float64, along bool) float64 {
	key := slideKey{a, b, math.Round(dy/packStepMM) * packStepMM, along}
	if v, ok := k.known[key]; ok {
		return v
	}
	p, q := k.turned[a], k.turned[b]
	if along { // y is x of what is turned back by a quarter
		p, q = k.turned[(a+3)%4], k.turned[(b+3)%4]
	}
	side := r2.Vec{Y: dy}
	if along {
		side.Y = -dy
	}
	moved := make([]r2.Vec, len(q))
	for i, v := range q {
		moved[i] = r2.Add(v, side)
	}
	v := math.Ceil(slideRight(p, moved, k.gap)/packStepMM) * packStepMM
	k.known[key] = v
	return v
}

// row is n copies in a row, each standing on y = 0, the first turned by turns[first].
func (k *packer) row(turns []int, first, n int) []CavityPlace {
	var out []CavityPlace
	for j := range n {
		q := turns[(first+j)%len(turns)]
		c := CavityPlace{Quarters: q, At: r2.Vec{Y: up128(-k.box[q].Min.Y)}}
		for _, o := range out {
			c.At.X = max(c.At.X, o.At.X+k.slide(o.Quarters, q, c.At.Y-o.At.Y, false))
		}
		out = append(out, c)
	}
	return out
}

// up128 rounds up to packStepMM.
func up128(v float64) float64 { return math.Ceil(v/packStepMM) * packStepMM }

func (k *packer) bounds(places []CavityPlace) r2.Box {
	inf := math.Inf(1)
	b := r2.Box{Min: r2.Vec{X: inf, Y: inf}, Max: r2.Vec{X: -inf, Y: -inf}}
	for _, c := range places {
		o := k.box[c.Quarters]
		b.Min = r2.Vec{X: min(b.Min.X, o.Min.X+c.At.X), Y: min(b.Min.Y, o.Min.Y+c.At.Y)}
		b.Max = r2.Vec{X: max(b.Max.X, o.Max.X+c.At.X), Y: max(b.Max.Y, o.Max.Y+c.At.Y)}
	}
	return b
}

// centred moves places so that their box is about x = 0.
func (k *packer) centred(places []CavityPlace) []CavityPlace {
	b := k.bounds(places)
	return shifted(places, r2.Vec{X: -math.Round((b.Min.X+b.Max.X)/2/packStepMM) * packStepMM})
}

func shifted(places []CavityPlace, by r2.Vec) []CavityPlace {
	out := slices.Clone(places)
	for i := range out {
		out[i].At = r2.Add(out[i].At, by)
	}
	return out
}

// halfTurned turns places about the origin by two quarters.
func halfTurned(places []CavityPlace) []CavityPlace {
	out := slices.Clone(places)
	for i, c := range out {
		out[i] = CavityPlace{Quarters: (c.Quarters + 2) % 4, At: r2.Scale(-1, c.At)}
	}
	return out
}

// shares divides n among m rows as evenly as it goes, the first rows getting one more.
func shares(n, m int) []int {
	out := make([]int, m)
	for i := range out {
		out[i] = n / m
		if i < n%m {
			out[i]++
		}
	}
	return out
}

// ways are the packings by one rule of turns.
func (k *packer) ways(turns []int) (out []Packing) {
	n := k.opt.Cavities
	if len(turns) > n {
		return nil
	}
	if k.opt.ChannelMM == 0 {
		for rows := 1; rows <= n; rows++ {
			out = append(out, k.stacked(turns, rows))
		}
		return out
	}
	for m := 1; 2*m <= n; m++ {
		out = append(out, k.channelled(turns, m))
	}
	return out
}

// stacked lays rows over each other, each shifted along itself to where the whole is smallest.
func (k *packer) stacked(turns []int, rows int) Packing {
	var all []CavityPlace
	for r, n := range shares(k.opt.Cavities, rows) {
		row := k.centred(k.row(turns, r%len(turns), n))
		if r == 0 {
			all = row
			continue
		}
		pitch := k.box[turns[0]].Max.X - k.box[turns[0]].Min.X
		best, least := []CavityPlace(nil), math.Inf(1)
		for s := range rowShifts {
			try := shifted(row, r2.Vec{X: up128(pitch * float64(s) / rowShifts)})
			try = shifted(try, r2.Vec{Y: k.rise(all, try)})
			both := append(slices.Clone(all), try...)
			b := k.bounds(both)
			p := Packing{Box: b}
			if a := p.blockMM2(k.opt.WallMM); a < least-packTieMM2 {
				best, least = both, a
			}
		}
		all = best
	}
	b := k.bounds(all)
	mid := r2.Scale(-0.5, r2.Add(b.Min, b.Max))
	all = shifted(all, r2.Vec{X: up128(mid.X), Y: up128(mid.Y)})
	return Packing{Places: all, Box: k.bounds(all), Words: fmt.Sprintf("%d in %s%s", k.opt.Cavities, counted(rows, "row"), turnWords(turns))}
}

// rise is how far places must go up to clear those that are there.
func (k *packer) rise(have, places []CavityPlace) float64 {
	up := math.Inf(-1)
	for _, a := range have {
		for _, b := range places {
			if d := k.slide(a.Quarters, b.Quarters, b.At.X-a.At.X, true); !math.IsInf(d, -1) {
				up = max(up, a.At.Y+d-b.At.Y)
			}
		}
	}
	if math.IsInf(up, -1) {
		return 0 // they pass each other
	}
	return up
}

// channelled lays m channels, each between two rows that face it. The lower row is the upper one turned by
// half, so that a cavity and its opposite are the same way from the middle. With more than one channel the
// rows leave a gap in their middle for the trunk.
func (k *packer) channelled(turns []int, m int) Packing {
	half := up128(k.opt.ChannelMM / 2)
	var p Packing
	rows := shares(k.opt.Cavities, 2*m)
	for i := range m {
		upper := shifted(k.facing(turns, rows[2*i], m > 1, half), r2.Vec{Y: half})
		lower := halfTurned(shifted(k.facing(turns, rows[2*i+1], m > 1, half), r2.Vec{Y: half}))
		bank := append(slices.Clone(upper), lower...)
		var c Channel
		if i > 0 {
			c.Mid.Y = up128(k.rise(p.Places, bank))
		}
		for j := range bank {
			c.Cavities = append(c.Cavities, len(p.Places)+j)
			in := r2.Vec{Y: 1}
			if j >= len(upper) {
				in.Y = -1
			}
			c.Inward = append(c.Inward, in)
		}
		p.Places = append(p.Places, shifted(bank, c.Mid)...)
		p.Channels = append(p.Channels, c)
	}
	// The sprue stands in the middle of the trunk, on the mould's axis.
	down := r2.Vec{Y: -math.Round(p.Channels[m-1].Mid.Y/2/packStepMM) * packStepMM}
	p.Places = shifted(p.Places, down)
	for i := range p.Channels {
		p.Channels[i].Mid = r2.Add(p.Channels[i].Mid, down)
	}
	p.Box = k.bounds(p.Places)
	p.Words = fmt.Sprintf("%d on %s%s", k.opt.Cavities, counted(m, "runner"), turnWords(turns))
	return p
}

// facing is a row of n about x = 0 that stands on y = 0, with the trunk's gap in its middle if split.
func (k *packer) facing(turns []int, n int, split bool, half float64) []CavityPlace {
	if !split {
		return k.centred(k.row(turns, 0, n))
	}
	right, left := k.row(turns, 0, n-n/2), k.row(turns, (n-n/2)%len(turns), n/2)
	right = shifted(right, r2.Vec{X: up128(half - k.bounds(right).Min.X)})
	if len(left) > 0 {
		left = shifted(left, r2.Vec{X: -up128(half + k.bounds(left).Max.X)})
	}
	return append(left, right...)
}

// fitted turns a packing by a quarter where it fits the room only so; ok is false when it does not fit.
func (k *packer) fitted(p Packing) (Packing, bool) {
	most := k.opt.MostMM
	if most == (r2.Vec{}) {
		return p, true
	}
	s := r2.Sub(p.Box.Max, p.Box.Min)
	w := 2 * k.opt.WallMM
	switch {
	case s.X+w <= most.X && s.Y+w <= most.Y:
		return p, true
	case s.Y+w <= most.X && s.X+w <= most.Y:
		return p.quarterTurned(), true
	}
	return p, false
}

// quarterTurned is the packing turned by a quarter about the mould's axis.
func (p Packing) quarterTurned() Packing {
	out := p
	out.Places, out.Channels = slices.Clone(p.Places), slices.Clone(p.Channels)
	for i, c := range p.Places {
		out.Places[i] = CavityPlace{Quarters: (c.Quarters + 1) % 4, At: quarterTurn(c.At, 1)}
	}
	for i, c := range p.Channels {
		out.Channels[i].Mid = quarterTurn(c.Mid, 1)
		out.Channels[i].Inward = quarterTurned(c.Inward, 1)
	}
	a, b := quarterTurn(p.Box.Min, 1), quarterTurn(p.Box.Max, 1)
	out.Box = r2.Box{Min: r2.Vec{X: b.X, Y: a.Y}, Max: r2.Vec{X: a.X, Y: b.Y}}
	return out
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func turnWords(turns []int) string {
	switch {
	case len(turns) == 2:
		return ", every other one turned by half"
	case turns[0] == 1, turns[0] == 3:
		return ", turned by a quarter"
	}
	return ""
}
