package shopsheet

import (
	"fmt"
	"strconv"
	"strings"

	"mouldwright/internal/sheet"
	"mouldwright/internal/steps"

	"gonum.org/v1/gonum/spatial/r2"
)

// notes are what holds for the whole run: never-touch, cautions, warnings.
func (b *book) notes(c Content) {
	for _, block := range []struct {
		title string
		lines []string
	}{{"Never touch", c.Plan.NeverTouch}, {"Cautions", c.Plan.Cautions}, {"Cautions, backfill", c.Plan.BackfillCautions}, {"Mind", c.Plan.Warnings}} {
		if len(block.lines) == 0 {
			continue
		}
		b.room(14)
		b.heading(block.title)
		for _, l := range block.lines {
			b.bullet(l)
		}
		b.y += gapMM
	}
}

func (b *book) bullet(words string) {
	for i, l := range wrap(words, bodyMM, false, b.right()-b.left()-4) {
		b.room(leadMM)
		b.y += leadMM
		if i == 0 {
			b.d.Dot(r2.Vec{X: b.left() + 1, Y: b.y - 1.5}, 0.45)
		}
		b.text(b.left()+4, b.y-0.6, bodyMM, false, l)
	}
}

// steps are the numbered boxes, each with a place to sign.
func (b *book) steps(p *steps.Plan) {
	b.room(30)
	b.heading("Steps")
	b.paragraph("Sign each step. A framed step is a hard stop: nothing after it is done before it is signed, or skipped with the reason and a name.", bodyMM)
	b.y += gapMM
	phase := steps.Phase("")
	for i, s := range p.Steps {
		b.step(i+1, s, s.Phase != phase)
		phase = s.Phase
	}
}

// row is one line of a step.
type row struct {
	words string
	bold  bool
	cap   float64
	dot   bool
}

// step draws one step; it is never split over two pages unless it is longer than one.
func (b *book) step(n int, s steps.Step, first bool) {
	inner := b.right() - b.left() - numberMM - signMM - 2*padMM
	rows := stepRows(s, inner)
	h := float64(len(rows))*leadMM + 2*padMM
	h = max(h, signHeight(s))
	need := h
	if first {
		need += 7
	}
	b.room(need)
	if first {
		b.text(b.left(), b.y+3, bodyMM, true, strings.ToUpper(string(s.Phase)))
		b.y += 4.6
	}
	pen := thin
	x0, x1, y0 := b.left(), b.right(), b.y
	if s.Hard {
		pen = thick
		b.d.Fill(shade, corners(x0, y0, x0+numberMM, y0+h))
	}
	b.box(pen, x0, y0, x1, y0+h)
	b.d.Text(sheet.Text{At: r2.Vec{X: x0 + numberMM/2, Y: y0 + padMM + 3}, Words: strconv.Itoa(n), HeightMM: titleMM, Bold: true, Anchor: sheet.Middle})
	if s.Hard {
		b.d.Text(sheet.Text{At: r2.Vec{X: x0 + numberMM/2, Y: y0 + padMM + 7.4}, Words: "STOP", HeightMM: smallMM, Bold: true, Anchor: sheet.Middle})
	}
	y := y0 + padMM
	for _, r := range rows {
		y += leadMM
		x := x0 + numberMM + padMM
		if r.dot {
			b.d.Dot(r2.Vec{X: x + 0.8, Y: y - 2}, 0.4)
		}
		if r.dot || r.cap == 0 {
			x += 3
		}
		b.text(x, y-1.1, capOf(r.cap), r.bold, r.words)
	}
	b.sign(s, x1-signMM, y0, h)
	b.y = y0 + h + 1.2
}

func capOf(c float64) float64 {
	if c == 0 {
		return bodyMM
	}
	return c
}

// stepRows are the lines of a step's text.
func stepRows(s steps.Step, width float64) []row {
	var rows []row
	title := s.Title
	if s.Once {
		title += " (once)"
	}
	for _, l := range wrap(title, titleMM, true, width) {
		rows = append(rows, row{l, true, titleMM, false})
	}
	put := func(words string, bold, dot bool) {
		for i, l := range wrap(words, bodyMM, bold, width-3) {
			rows = append(rows, row{l, bold, 0, dot && i == 0})
		}
	}
	for _, q := range s.Quantities {
		words := fmt.Sprintf("%s: %s %s", q.Name, strconv.FormatFloat(q.Value, 'f', -1, 64), q.Unit)
		if q.Note != "" {
			words += " (" + q.Note + ")"
		}
		put(words, true, false)
	}
	for _, t := range s.Timers {
		words := fmt.Sprintf("Timer, %s: %s", t.Name, minutes(t.S))
		if t.LowS > 0 {
			words += fmt.Sprintf(" (%s to %s)", minutes(t.LowS), minutes(t.HighS))
		}
		put(words, true, false)
	}
	for _, w := range s.Words {
		put(w, false, true)
	}
	for _, w := range s.Cautions {
		put("Caution: "+w, false, true)
	}
	if s.Why != "" {
		put("Why: "+s.Why+".", false, false)
	}
	return rows
}

// sign is the place for a name, a time and the value asked for.
func (b *book) sign(s steps.Step, x, y, h float64) {
	b.d.Line(thin, r2.Vec{X: x, Y: y}, r2.Vec{X: x, Y: y + h})
	b.box(thin, x+padMM, y+padMM, x+padMM+4.2, y+padMM+4.2)
	b.text(x+padMM+6, y+padMM+3, smallMM, false, "done")
	b.box(thin, x+padMM+17, y+padMM, x+padMM+21.2, y+padMM+4.2)
	b.text(x+padMM+23, y+padMM+3, smallMM, false, "skipped")
	line := func(dy float64, words string) {
		b.text(x+padMM, y+dy, smallMM, false, words)
		from := x + padMM + sheet.Text{Words: words, HeightMM: smallMM}.WidthMM() + 1
		b.d.Line(thin, r2.Vec{X: from, Y: y + dy + 0.5}, r2.Vec{X: x + signMM - padMM, Y: y + dy + 0.5})
	}
	line(signByMM, "by")
	if s.Ask == nil {
		return
	}
	asked := askLines(s.Ask)
	for i, l := range asked {
		b.text(x+padMM, y+signAskMM+float64(i)*signLeadMM, smallMM, false, l)
	}
	line(signAskMM+float64(len(asked)-1)*signLeadMM+signGapMM, "")
}

// Places in the signing field, from its top.
const (
	signByMM   = 12.6
	signAskMM  = 17.6
	signLeadMM = 3.0
	signGapMM  = 5.6
)

func askLines(a *steps.Ask) []string {
	words := a.Words + ", " + a.Unit
	if a.Want != 0 {
		words = fmt.Sprintf("%s, planned %s %s", a.Words, strconv.FormatFloat(a.Want, 'f', -1, 64), a.Unit)
	}
	return wrap(words, smallMM, false, signMM-2*padMM)
}

// signHeight is what the signing field takes.
func signHeight(s steps.Step) float64 {
	if s.Ask == nil {
		return 16
	}
	return signAskMM + float64(len(askLines(s.Ask))-1)*signLeadMM + signGapMM + padMM
}
