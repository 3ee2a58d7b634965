package batch

import (
	"fmt"
	"image/color"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/sheet"
)

// WayCost is what n parts cost by one way of tooling.
type WayCost struct {
	Total, PerPart  float64
	Tooling         float64 // moulds and masters, whole
	Moulds, Masters int
	Days            float64
}

// Cost works out n parts by one way. Tooling is charged whole, since it is bought for the batch:
// enough moulds for the life of each, and a master for every so many moulds.
func (b *Bench) Cost(w *Way, n int) WayCost {
	shots := (n + w.Cavities - 1) / w.Cavities
	c := WayCost{Moulds: w.Moulds}
	if w.LifeShots > 0 {
		c.Moulds = max(c.Moulds, (shots+w.LifeShots-1)/w.LifeShots)
	}
	if w.MasterCost > 0 {
		c.Masters = 1
		if w.MasterMoulds > 0 {
			c.Masters = (c.Moulds + w.MasterMoulds - 1) / w.MasterMoulds
		}
	}
	c.Tooling = float64(c.Moulds)*w.MouldCost + float64(c.Masters)*w.MasterCost
	c.Days = math.Ceil(float64(shots) / (float64(w.Moulds) * w.RoundsPerDay))
	perG := b.bestPricePerG()
	c.Total = c.Tooling + float64(shots)*(float64(w.HandS)/3600*b.Money.LabourPerH+w.ShotG*(1+b.Money.WastePct/100)*perG+b.Money.CoatPerShot) +
		c.Days*b.Money.BenchPerDay
	c.PerPart = c.Total / float64(n)
	return c
}

// bestPricePerG is the price of the first material in its cheapest kit.
func (b *Bench) bestPricePerG() float64 {
	if len(b.Materials) == 0 {
		return 0
	}
	best := math.Inf(1)
	for _, k := range b.Materials[0].Kits {
		best = min(best, k.Price/k.MassG)
	}
	return best
}

// Cheapest is a range of batch sizes in which one way costs least.
type Cheapest struct {
	From int     `json:"from"`
	To   int     `json:"to"`
	Way  string  `json:"way"`
	Next float64 `json:"saving_at_from"` // per part, against the way that was cheapest before
}

// BreakEven lists, for batches of 1 to most parts, which way costs least. The sizes where it changes
// are the break-even points.
func (b *Bench) BreakEven(most int) (out []Cheapest) {
	last := -1
	for n := 1; n <= most; n++ {
		best := 0
		for w := range b.Ways {
			if b.Cost(&b.Ways[w], n).Total < b.Cost(&b.Ways[best], n).Total-1e-9 {
				best = w
			}
		}
		if last >= 0 && b.Cost(&b.Ways[last], n).Total <= b.Cost(&b.Ways[best], n).Total+1e-9 {
			best = last
		}
		if best != last {
			c := Cheapest{From: n, Way: b.Ways[best].Name}
			if last >= 0 {
				c.Next = b.Cost(&b.Ways[last], n).PerPart - b.Cost(&b.Ways[best], n).PerPart
			}
			out = append(out, c)
			last = best
		}
		out[len(out)-1].To = n
	}
	return out
}

// chartMost is the largest batch of the chart: five times what is wanted, 200 at least.
func (b *Bench) chartMost() int {
	n := 0
	for v := range b.Versions {
		n += b.Versions[v].Quantity
	}
	return min(max(200, 5*n), 5000)
}

// Sizes of the chart, mm.
const (
	chartW, chartH   = 230.0, 150.0
	chartX0, chartX1 = 24.0, 164.0
	chartY0, chartY1 = 30.0, 122.0
)

var chartDashes = [][]float64{nil, {4, 1.5}, {1, 1}, {6, 1.5, 1, 1.5}, {2.5, 2.5}}

// WriteBreakEven draws cost per part over batch size, a line a way, each with its colour, dash and
// letter.
func (b *Bench) WriteBreakEven(w io.Writer) error {
	most := b.chartMost()
	out := sheet.New(sheet.Paper{Name: "chart", WidthMM: chartW, HeightMM: chartH}, "Cost per part over batch size")
	out.Text(sheet.Text{At: r2.Vec{X: 10, Y: 11}, Words: "Cost per part over batch size", HeightMM: 4, Bold: true})
	out.Text(sheet.Text{At: r2.Vec{X: 10, Y: 17}, HeightMM: 2.2, Words: fmt.Sprintf(
		"Tooling bought whole for the batch; hands %.2f %s/h, bench %.2f %s/day, material %.4f %s/g with %.4g %% waste. Estimates as entered.",
		b.Money.LabourPerH, b.Money.Currency, b.Money.BenchPerDay, b.Money.Currency, b.bestPricePerG(), b.Money.Currency, b.Money.WastePct)})
	top := b.chartTop(most)
	x := func(n float64) float64 { return chartX0 + (chartX1-chartX0)*math.Log(n)/math.Log(float64(most)) }
	y := func(c float64) float64 { return chartY1 - (chartY1-chartY0)*c/top }
	b.chartGrid(out, most, top, x, y)
	for k := range b.Ways {
		var pts []r2.Vec
		flush := func() {
			out.Polyline(sheet.Pen{WidthMM: 0.6, DashMM: chartDashes[k%len(chartDashes)], Colour: lineColour(k)}, false, pts...)
			pts = nil
		}
		for n := 1; n <= most; n++ {
			c := b.Cost(&b.Ways[k], n).PerPart
			if c > top {
				flush()
				continue
			}
			pts = append(pts, r2.Vec{X: x(float64(n)), Y: y(c)})
		}
		flush()
	}
	b.chartKey(out, most, top, y)
	if err := out.WriteSVG(w); err != nil {
		return fmt.Errorf("draw the break-even chart: %w", err)
	}
	return nil
}

// lineColour leaves out the yellow, which is too light for a line.
func lineColour(k int) color.RGBA {
	lines := []color.RGBA{palette[4], palette[5], palette[2], palette[6], palette[1], palette[0]}
	return lines[k%len(lines)]
}

// chartTop is four times the least cost of any way at the largest batch, or the cost of the cheapest
// at ten parts, whichever is more: the left end of the curves is off the chart, where nobody decides.
func (b *Bench) chartTop(most int) float64 {
	least, ten := math.Inf(1), 0.0
	for k := range b.Ways {
		least = min(least, b.Cost(&b.Ways[k], most).PerPart)
		ten = max(ten, b.Cost(&b.Ways[k], min(10, most)).PerPart)
	}
	return niceStep(max(3*least, 1.1*ten)/5) * 5
}

// niceStep is the next 1, 2 or 5 times a power of ten.
func niceStep(v float64) float64 {
	if v <= 0 {
		return 1
	}
	p := math.Pow(10, math.Floor(math.Log10(v)))
	for _, m := range []float64{1, 2, 2.5, 5, 10} {
		if m*p >= v-1e-12 {
			return m * p
		}
	}
	return 10 * p
}

func (b *Bench) chartGrid(out *sheet.Drawing, most int, top float64, x, y func(float64) float64) {
	step := top / 5
	for k := range 6 {
		c := step * float64(k)
		out.Line(penGrid, r2.Vec{X: chartX0, Y: y(c)}, r2.Vec{X: chartX1, Y: y(c)})
		out.Text(sheet.Text{At: r2.Vec{X: chartX0 - 1.5, Y: y(c) + 1}, Words: fmt.Sprintf("%.4g", c), HeightMM: 2.2, Anchor: sheet.End})
	}
	out.Text(sheet.Text{At: r2.Vec{X: 10, Y: chartY0 - 4}, Words: b.Money.Currency + " per part", HeightMM: 2.2})
	for p := 1; p <= most; p *= 10 {
		for _, m := range []int{1, 2, 5} {
			if n := m * p; n <= most {
				out.Line(penGrid, r2.Vec{X: x(float64(n)), Y: chartY0}, r2.Vec{X: x(float64(n)), Y: chartY1})
				out.Text(sheet.Text{At: r2.Vec{X: x(float64(n)), Y: chartY1 + 4}, Words: fmt.Sprint(n), HeightMM: 2.2, Anchor: sheet.Middle})
			}
		}
	}
	out.Text(sheet.Text{At: r2.Vec{X: (chartX0 + chartX1) / 2, Y: chartY1 + 9}, Words: "parts in the batch", HeightMM: 2.2, Anchor: sheet.Middle})
	for _, c := range b.BreakEven(most)[min(1, len(b.BreakEven(most))):] {
		xx := x(float64(c.From))
		out.Line(sheet.Pen{WidthMM: 0.25, DashMM: []float64{1, 1}, Colour: ink}, r2.Vec{X: xx, Y: chartY0}, r2.Vec{X: xx, Y: chartY1})
		out.Text(sheet.Text{At: r2.Vec{X: xx, Y: chartY0 - 1}, Words: fmt.Sprint(c.From), HeightMM: 2.2, Anchor: sheet.Middle, Bold: true})
	}
}

func (b *Bench) chartKey(out *sheet.Drawing, most int, top float64, y func(float64) float64) {
	ky := chartY0 + 2
	for k := range b.Ways {
		end := y(min(top, b.Cost(&b.Ways[k], most).PerPart))
		out.Text(sheet.Text{At: r2.Vec{X: chartX1 + 1 + 3*float64(k%2), Y: end + 1}, Words: letter(k), HeightMM: 2.4, Bold: true})
		pen := sheet.Pen{WidthMM: 0.6, DashMM: chartDashes[k%len(chartDashes)], Colour: lineColour(k)}
		out.Line(pen, r2.Vec{X: chartX1 + 9, Y: ky}, r2.Vec{X: chartX1 + 21, Y: ky})
		out.Text(cut(sheet.Text{At: r2.Vec{X: chartX1 + 9, Y: ky + 4}, Words: letter(k) + "  " + b.Ways[k].Name, HeightMM: 2.2}, chartW-chartX1-10))
		ky += 9
	}
	ky += 2
	for i, c := range b.BreakEven(most) {
		if i > 8 {
			break
		}
		s := fmt.Sprintf("%d to %d: %s", c.From, c.To, c.Way)
		out.Text(cut(sheet.Text{At: r2.Vec{X: chartX1 + 9, Y: ky}, Words: s, HeightMM: 2.2}, chartW-chartX1-10))
		ky += 4
	}
	out.Text(sheet.Text{At: r2.Vec{X: chartX0, Y: chartY1 + 16}, HeightMM: 2.2, Words: "Upright lines: batch sizes from which another way is the cheapest. Steps come from whole shots, whole moulds and whole days."})
}
