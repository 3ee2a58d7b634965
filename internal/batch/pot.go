package batch

import (
	"math"
	"sort"
)

// InPot is where a mould stands: its lower corner from the centre of the pot's floor, and its sizes
// as turned.
type InPot struct {
	Box                        int // index of what was asked for
	XMM, YMM, ZMM              float64
	WidthMM, DepthMM, HeightMM float64
}

// rowSteps is how many places of the first row are tried in a layer.
const rowSteps = 48

// Pack stands boxes in the pot: layers on each other, each as high as its highest box, filled with
// rows of boxes side by side. It tries each order of long and short sides and many places of the first
// row. The places it gives are sure; that it finds none is not proof that there is none, except for
// one box, which fits if its diagonal does.
func (p *Pot) Pack(boxes [][3]float64) ([]InPot, bool) {
	order := make([]int, len(boxes))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool {
		x, y := boxes[order[a]], boxes[order[b]]
		if x[2] != y[2] {
			return x[2] > y[2]
		}
		return x[0]*x[1] > y[0]*y[1]
	})
	var out []InPot
	z := 0.0
	for left := order; len(left) > 0; {
		layer, rest := p.layer(boxes, left, z)
		if len(layer) == 0 {
			return out, false
		}
		high := 0.0
		for _, l := range layer {
			high = max(high, l.HeightMM)
		}
		out = append(out, layer...)
		z += high + p.ClearanceMM
		left = rest
	}
	return out, true
}

// layer fills one layer from height z and gives what is left over.
func (p *Pot) layer(boxes [][3]float64, left []int, z float64) (best []InPot, rest []int) {
	area := func(l []InPot) (a float64) {
		for _, b := range l {
			a += b.WidthMM * b.DepthMM
		}
		return a
	}
	for _, turn := range []bool{false, true} {
		for _, y := range p.firstRows(boxes[left[0]], turn) {
			if l := p.rows(boxes, left, z, y, turn); area(l) > area(best)+1e-9 {
				best = l
			}
		}
	}
	taken := map[int]bool{}
	for _, b := range best {
		taken[b.Box] = true
	}
	for _, i := range left {
		if !taken[i] {
			rest = append(rest, i)
		}
	}
	return best, rest
}

// firstRows lists where the first row may begin: where one, two or more rows like the first box would
// stand in the middle, and steps between.
func (p *Pot) firstRows(box [3]float64, turn bool) (ys []float64) {
	r, depth := p.DiameterMM/2-p.ClearanceMM, box[1]
	if turn {
		depth = box[0]
	}
	for n := 1.0; n*depth+(n-1)*p.ClearanceMM <= 2*r; n++ {
		ys = append(ys, -(n*depth+(n-1)*p.ClearanceMM)/2)
	}
	for k := range rowSteps {
		ys = append(ys, -r+2*r*float64(k)/rowSteps)
	}
	return ys
}

// rows fills rows from y on, each centred and as wide as the circle allows at its nearer edge.
func (p *Pot) rows(boxes [][3]float64, left []int, z, y float64, turn bool) (out []InPot) {
	r, gap := p.DiameterMM/2-p.ClearanceMM, p.ClearanceMM
	left = append([]int(nil), left...)
	for len(left) > 0 && y < r {
		var row []InPot
		width, depth := 0.0, 0.0
		for k := 0; k < len(left); {
			i := left[k]
			w, d, h := boxes[i][0], boxes[i][1], boxes[i][2]
			if turn {
				w, d = d, w
			}
			newWidth, newDepth := width+w, max(depth, d)
			if len(row) > 0 {
				newWidth += gap
			}
			if z+h > p.HeightMM || math.Hypot(newWidth/2, max(math.Abs(y), math.Abs(y+newDepth))) > r+1e-9 {
				k++
				continue
			}
			row = append(row, InPot{Box: i, XMM: newWidth - w, YMM: y, ZMM: z, WidthMM: w, DepthMM: d, HeightMM: h})
			width, depth = newWidth, newDepth
			left = append(left[:k], left[k+1:]...)
		}
		if len(row) == 0 {
			y += r / rowSteps
			continue
		}
		for _, b := range row {
			b.XMM -= width / 2
			out = append(out, b)
		}
		y += depth + gap
	}
	return out
}

// most is a bound on the number of boxes that no packing passes: by volume, the clearance counted
// once per box, and 0 if one alone does not fit.
func (p *Pot) most(box [3]float64) int {
	if math.Hypot(box[0], box[1]) > p.DiameterMM-2*p.ClearanceMM+1e-9 || box[2] > p.HeightMM {
		return 0
	}
	return int(math.Pi / 4 * p.DiameterMM * p.DiameterMM * p.HeightMM / (box[0] * box[1] * box[2]))
}
