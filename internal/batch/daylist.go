package batch

import (
	"fmt"
	"image/color"
	"io"

	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/sheet"
)

// listRow is a line of a day list.
type listRow struct {
	time, load, what string
	stop             string // a hard stop
}

// listRows joins steps of one kind of one mix that follow each other.
func (b *Bench) listRows(p *Plan, steps []Step) (out []listRow) {
	for i := 0; i < len(steps); {
		n := i + 1
		for n < len(steps) && sameRow(steps[i], steps[n]) {
			n++
		}
		if r := b.listRow(p, steps[i:n]); r.what != "" {
			out = append(out, r)
		}
		i = n
	}
	return out
}

// sameRow: pour and close take turns mould by mould, and are one line.
func sameRow(a, c Step) bool {
	pc := func(k string) bool { return k == stepPour || k == stepClose }
	return a.Load == c.Load && a.Mix == c.Mix && (a.Kind == c.Kind || pc(a.Kind) && pc(c.Kind))
}

func (b *Bench) listRow(p *Plan, steps []Step) listRow {
	s := steps[0]
	hm := func(t int64) string { return b.at(t).Format("15:04") }
	r := listRow{time: hm(s.StartS), load: s.Load}
	if end := steps[len(steps)-1].EndS; hm(end) != r.time {
		r.time += "–" + hm(end)
	}
	if s.Mix != "" {
		r.load += " " + s.Mix
	}
	version := b.version(s.Version)
	switch s.Kind {
	case stepCoat:
		r.what = "Release coat: " + moulds(steps)
	case stepPurge:
		r.what = fmt.Sprintf("Clean the mixing tools, now for %s", b.Versions[version].Colour)
	case stepMix:
		r.what = fmt.Sprintf("Mix %.1f g, %s", p.massOf(s.Mix), b.Versions[version].Colour)
	case stepDegas:
		r.what = "Degas the cup"
	case stepPour, stepClose:
		r.what = "Pour and close: " + moulds(steps)
		r.stop = "closed by " + hm(p.mixStart(s.Mix)+b.Recipes[b.Versions[version].Recipe].PotLifeS)
	case stepLoad:
		r.what, r.stop = "Into the pot, pressure on", "by "+hm(p.potLifeEnd(b, s.Load))
	case stepPress:
		r.what, r.stop = "Under pressure, unattended", "not before "+hm(steps[len(steps)-1].EndS)
		if s.EndS/day != s.StartS/day {
			r.stop = "until " + b.Clock(s.EndS)
		}
	case stepUnload:
		r.what = "Release the pressure, take the load out"
	case stepDemould:
		r.what = "Demould: " + moulds(steps)
	case stepTrim:
		r.what = fmt.Sprintf("Trim %d × %s", len(steps), s.Version)
	}
	return r
}

func (p *Plan) massOf(mix string) float64 {
	for _, l := range p.Loads {
		for _, m := range l.Mixes {
			if m.Name == mix {
				return m.MassG
			}
		}
	}
	return 0
}

func (p *Plan) mixStart(mix string) int64 {
	for _, s := range p.Steps {
		if s.Kind == stepMix && s.Mix == mix {
			return s.StartS
		}
	}
	return 0
}

// potLifeEnd is when the first mix of a load must be in the pot.
func (p *Plan) potLifeEnd(b *Bench, load string) int64 {
	end := int64(1) << 60
	for _, s := range p.Steps {
		if s.Kind == stepMix && s.Load == load {
			end = min(end, s.StartS+b.Recipes[b.Versions[b.version(s.Version)].Recipe].PotLifeS)
		}
	}
	return end
}

// Sizes of a list, mm.
const (
	listRowMM  = 7.2
	listTopMM  = 34.0
	listLeftMM = 18.0
	listWideMM = 176.0
)

const rowsPerPage = 34 // down to 279 mm

// WriteDayLists writes a list a day with work, each from a new page, as one PDF.
func (b *Bench) WriteDayLists(w io.Writer, p *Plan) error {
	var pages []*sheet.Drawing
	for d := int64(0); d*day < p.EndS; d++ {
		var steps []Step
		for _, s := range p.Steps {
			if s.StartS/day == d {
				steps = append(steps, s)
			}
		}
		rows := b.listRows(p, steps)
		for first := 0; first < len(rows); {
			n := min(len(rows)-first, rowsPerPage)
			pages = append(pages, b.listPage(p, d, rows[first:first+n], first > 0))
			first += n
		}
	}
	if len(pages) == 0 {
		return fmt.Errorf("write the day lists: the plan has no steps")
	}
	if err := sheet.WritePDF(w, pages...); err != nil {
		return fmt.Errorf("write the day lists: %w", err)
	}
	return nil
}

func (b *Bench) listPage(p *Plan, d int64, rows []listRow, more bool) *sheet.Drawing {
	out := sheet.New(sheet.A4Upright, b.Name)
	title := b.at(d * day).Format("Monday 2 January 2006")
	if more {
		title += ", continued"
	}
	out.Text(sheet.Text{At: r2.Vec{X: listLeftMM, Y: 17}, Words: title, HeightMM: 5, Bold: true})
	out.Text(cut(sheet.Text{At: r2.Vec{X: listLeftMM, Y: 24}, Words: b.Name, HeightMM: 2.5}, listWideMM))
	cols := []float64{0, 8, 32, 50, 142}
	for k, h := range []string{"", "Time", "Load", "What", "Hard stop"} {
		out.Text(sheet.Text{At: r2.Vec{X: listLeftMM + cols[k], Y: 31}, Words: h, Bold: true})
	}
	line := sheet.Pen{WidthMM: 0.25, Colour: color.RGBA{150, 150, 150, 255}}
	rule := func(y float64) { out.Line(line, r2.Vec{X: listLeftMM, Y: y}, r2.Vec{X: listLeftMM + listWideMM, Y: y}) }
	rule(listTopMM - 1)
	for i, r := range rows {
		y := listTopMM + float64(i)*listRowMM
		out.Polyline(penBar, true, rectangle(listLeftMM, y+0.9, listLeftMM+4.5, y+5.4)...)
		for k, words := range []string{r.time, r.load, r.what, r.stop} {
			t := sheet.Text{At: r2.Vec{X: listLeftMM + cols[k+1], Y: y + 4.6}, Words: words, HeightMM: 2.4, Bold: k == 3}
			wide := listWideMM - cols[k+1]
			if k < 3 {
				wide = cols[k+2] - cols[k+1] - 1.5
			}
			out.Text(cut(t, wide))
		}
		rule(y + listRowMM - 1)
	}
	out.Text(sheet.Text{At: r2.Vec{X: listLeftMM, Y: 289}, HeightMM: 2, Words: "Tick each line when it is done. A hard stop that is missed spoils the mix: do not pour what has begun to gel."})
	return out
}
