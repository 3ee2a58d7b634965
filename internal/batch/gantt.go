package batch

import (
	"fmt"
	"image/color"
	"io"
	"sort"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/sheet"
)

// Sizes of the board, mm. The hour is wide enough that a step of ten minutes carries its letter.
const (
	boardLeft   = 46.0
	boardHour   = 24.0
	boardRow    = 6.5
	boardTop    = 24.0
	boardMargin = 8.0
	boardBar    = 5.0
)

// WriteGantt draws the plan as a board: a strip a working day, a row for each operator, pot and mould.
// Bars have the colour, the pattern and the letter of their version.
func (b *Bench) WriteGantt(w io.Writer, p *Plan) error {
	if err := b.board(p).WriteSVG(w); err != nil {
		return fmt.Errorf("draw the board: %w", err)
	}
	return nil
}

// bar is what a row shows for a time.
type bar struct {
	from, to int64
	label    string
	colour   color.RGBA
	version  int // pattern and letter; −1 without
}

type row struct {
	name string
	bars []bar
}

func (b *Bench) board(p *Plan) *sheet.Drawing {
	rows := b.boardRows(p)
	open, shutAt := b.dayHours()
	width := boardLeft + float64(shutAt-open)/3600*boardHour + 2*boardMargin
	days := b.boardDays(p)
	height := boardTop + boardMargin
	for _, d := range days {
		height += stripHeight(d, len(rows))
	}
	keys := float64(len(b.Versions))*6 + 6
	out := sheet.New(sheet.Paper{Name: "board", WidthMM: width, HeightMM: height + keys}, b.Name)
	out.Fill(color.RGBA{255, 255, 255, 255}, rectangle(0, 0, width, height+keys))
	out.Text(sheet.Text{At: r2.Vec{X: boardMargin, Y: 11}, Words: b.Name, HeightMM: 4.5, Bold: true})
	out.Text(sheet.Text{At: r2.Vec{X: boardMargin, Y: 18}, HeightMM: 2.5, Words: fmt.Sprintf("Done %s. %s", b.Clock(p.EndS), b.boundWords(p))})
	y := boardTop
	for _, d := range days {
		b.strip(out, d, rows, y, open, shutAt)
		b.nowLine(out, p.NowS, d, len(rows), y, open, shutAt)
		y += stripHeight(d, len(rows))
	}
	b.boardKey(out, y+2)
	return out
}

func (b *Bench) boardKey(out *sheet.Drawing, y float64) {
	for v := range b.Versions {
		c := palette[v%len(palette)]
		x := boardMargin
		out.Fill(c, rectangle(x, y, x+10, y+4.5))
		hatch(out, v, x, y, x+10, y+4.5)
		out.Polyline(penBar, true, rectangle(x, y, x+10, y+4.5)...)
		out.Text(sheet.Text{At: r2.Vec{X: x + 13, Y: y + 3.6}, Words: letter(v) + "  " + b.Versions[v].Name})
		y += 6
	}
	out.Text(sheet.Text{At: r2.Vec{X: boardMargin, Y: y + 3}, Words: "Mould rows: strong from release coat to closing, light while it cures, strong at demoulding. A bar that meets the edge of its day goes on."})
}

// boardDay is a day, or several shut days in a row.
type boardDay struct {
	first, last int64 // days of the plan
	shut        bool
}

func stripHeight(d boardDay, rows int) float64 {
	if d.shut {
		return 9
	}
	return 9 + float64(rows)*boardRow + 4
}

func (b *Bench) boardDays(p *Plan) (out []boardDay) {
	ws := b.windows()
	isOpen := map[int64]bool{}
	for _, w := range ws {
		for d := w.From / day; d <= (w.To-1)/day; d++ {
			isOpen[d] = true
		}
	}
	for d := int64(0); d*day < p.EndS; d++ {
		if n := len(out); !isOpen[d] && n > 0 && out[n-1].shut {
			out[n-1].last = d
			continue
		}
		out = append(out, boardDay{d, d, !isOpen[d]})
	}
	return out
}

// dayHours is the span of a day that any shift covers, with half an hour on both sides.
func (b *Bench) dayHours() (from, to int64) {
	from, to = day, 0
	for _, w := range b.openHours() {
		d := w.From / day * day
		from, to = min(from, w.From-d), max(to, w.To-d)
	}
	return max(0, from-1800), min(day, to+1800)
}

func (b *Bench) strip(out *sheet.Drawing, d boardDay, rows []row, y float64, open, shutAt int64) {
	at := b.at(d.first * day)
	x0 := boardMargin + boardLeft
	x1 := x0 + float64(shutAt-open)/3600*boardHour
	title := at.Format("Monday 2 January")
	if d.shut {
		if d.last > d.first {
			title += " to " + b.at(d.last*day).Format("Monday 2 January")
		}
		out.Text(sheet.Text{At: r2.Vec{X: boardMargin, Y: y + 5.5}, Words: title + ": no shift; what is poured cures."})
		return
	}
	out.Text(sheet.Text{At: r2.Vec{X: boardMargin, Y: y + 5.5}, Words: title, HeightMM: 3, Bold: true})
	top, bottom := y+9, y+9+float64(len(rows))*boardRow
	xAt := func(s int64) float64 { return x0 + float64(s-d.first*day-open)/3600*boardHour }
	out.Fill(shut, rectangle(x0, top, x1, bottom))
	for _, w := range b.windows() {
		if w.To > d.first*day && w.From < (d.first+1)*day {
			out.Fill(color.RGBA{255, 255, 255, 255}, rectangle(max(x0, xAt(w.From)), top, min(x1, xAt(w.To)), bottom))
		}
	}
	for h := (open + 3599) / 3600; h*3600 <= shutAt; h++ {
		x := xAt(d.first*day + h*3600)
		out.Line(penGrid, r2.Vec{X: x, Y: top}, r2.Vec{X: x, Y: bottom})
		out.Text(sheet.Text{At: r2.Vec{X: x, Y: top - 1.2}, Words: fmt.Sprintf("%02d:00", h), HeightMM: 1.8, Anchor: sheet.Middle})
	}
	from, to := d.first*day+open, d.first*day+shutAt
	for k, r := range rows {
		ry := top + float64(k)*boardRow
		out.Line(penGrid, r2.Vec{X: boardMargin, Y: ry}, r2.Vec{X: x1, Y: ry})
		out.Text(cut(sheet.Text{At: r2.Vec{X: boardMargin, Y: ry + 4.3}, Words: r.name, HeightMM: 2.2}, boardLeft-2))
		for _, br := range r.bars {
			if br.to > from && br.from < to {
				drawBar(out, br, xAt(max(br.from, from)), xAt(min(br.to, to)), ry+(boardRow-boardBar)/2)
			}
		}
	}
	out.Line(penGrid, r2.Vec{X: boardMargin, Y: bottom}, r2.Vec{X: x1, Y: bottom})
}

// penNow draws the moment from which a plan was made anew.
var penNow = sheet.Pen{WidthMM: 0.6, Colour: color.RGBA{190, 30, 30, 255}}

// nowLine marks the moment from which a plan was made anew, on its day's strip.
func (b *Bench) nowLine(out *sheet.Drawing, nowS int64, d boardDay, rows int, y float64, open, shutAt int64) {
	at := nowS - d.first*day - open
	if nowS == 0 || d.shut || at < 0 || at > shutAt-open {
		return
	}
	x := boardMargin + boardLeft + float64(at)/3600*boardHour
	out.Line(penNow, r2.Vec{X: x, Y: y + 7}, r2.Vec{X: x, Y: y + 9 + float64(rows)*boardRow})
	out.Text(sheet.Text{At: r2.Vec{X: x + 1, Y: y + 5.5}, Words: "now " + b.at(nowS).Format("15:04"), HeightMM: 2.2, Bold: true})
}

func drawBar(out *sheet.Drawing, br bar, x0, x1, y float64) {
	x1 = max(x1, x0+0.4)
	out.Fill(br.colour, rectangle(x0, y, x1, y+boardBar))
	if br.version >= 0 {
		hatch(out, br.version, x0, y, x1, y+boardBar)
	}
	out.Polyline(penBar, true, rectangle(x0, y, x1, y+boardBar)...)
	t := sheet.Text{At: r2.Vec{X: (x0 + x1) / 2, Y: y + 3.4}, Words: br.label, HeightMM: 1.8, Anchor: sheet.Middle, Clear: br.version >= 0 && br.version%5 != 0}
	if !words(out, t, x1-x0-1.4) {
		if k := len(br.label); k > 0 {
			for i, r := range br.label {
				if r == ' ' {
					t.Words = br.label[:i]
					break
				}
			}
			words(out, t, x1-x0-1)
		}
	}
}

// boardRows: operators by what they do, pots, moulds.
func (b *Bench) boardRows(p *Plan) (out []row) {
	index := map[string]int{}
	for v := range b.Versions {
		index[b.Versions[v].Name] = v
	}
	blockBars := func(p *Plan) (bs []bar) {
		for _, bl := range p.blocks(0) {
			v := index[bl.Steps[0].Version]
			for _, s := range bl.Steps {
				if s.Version != "" {
					v = index[s.Version]
					break
				}
			}
			bs = append(bs, bar{bl.From, bl.To, bl.Load + " " + bl.What, palette[v%len(palette)], v})
		}
		return bs
	}
	hands := p // what nobody is named for
	if len(b.Staff) > 0 {
		hands = p.by("")
		for k := range b.Staff {
			out = append(out, row{b.Staff[k].Name, blockBars(p.by(b.Staff[k].Name))})
		}
	}
	for k, lane := range lanes(blockBars(hands)) {
		name := "Operator"
		switch {
		case len(b.Staff) > 0:
			name = "Done before"
		case b.Operators > 1:
			name = fmt.Sprintf("Hand work %d", k+1)
		}
		out = append(out, row{name, lane})
	}
	var pots []bar
	in := map[string]int64{}
	for _, st := range p.Steps {
		switch st.Kind {
		case stepLoad:
			in[st.Load] = st.StartS
		case stepUnload:
			pots = append(pots, bar{in[st.Load], st.EndS, st.Load + " under pressure", potGrey, -1})
		}
	}
	sort.SliceStable(pots, func(i, j int) bool { return pots[i].from < pots[j].from })
	for k, lane := range lanes(pots) {
		out = append(out, row{fmt.Sprintf("Pressure pot %d", k+1), lane})
	}
	return append(out, b.mouldRows(p, index)...)
}

func (b *Bench) mouldRows(p *Plan, index map[string]int) (out []row) {
	bars := map[string][]bar{}
	start := map[string]int64{}
	closed := map[string]int64{}
	for _, st := range p.Steps {
		key := st.Load + "/" + st.Mould
		v := index[st.Version]
		c := palette[v%len(palette)]
		switch st.Kind {
		case stepCoat:
			start[key] = st.StartS
		case stepClose:
			closed[key] = st.EndS
		case stepDemould:
			bars[st.Mould] = append(bars[st.Mould],
				bar{start[key], closed[key], letter(v) + " " + st.Load, c, v},
				bar{closed[key], st.StartS, letter(v) + " " + st.Load + " cures", tint(c, 0.3), -1},
				bar{st.StartS, st.EndS, letter(v), c, v})
		}
	}
	for t := range b.Tools {
		for k := range b.Tools[t].Count {
			if n := b.Tools[t].MouldName(k); len(bars[n]) > 0 {
				out = append(out, row{n, bars[n]})
			}
		}
	}
	return out
}

// lanes spreads bars that overlap over as few rows as they need.
func lanes(bars []bar) (out [][]bar) {
next:
	for _, b := range bars {
		for k := range out {
			if out[k][len(out[k])-1].to <= b.from {
				out[k] = append(out[k], b)
				continue next
			}
		}
		out = append(out, []bar{b})
	}
	return out
}
