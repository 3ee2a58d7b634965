package shopsheet

import (
	"errors"
	"fmt"
	"image/color"
	"strings"

	"mouldwright/internal/job"
	"mouldwright/internal/sheet"
	"mouldwright/internal/steps"

	"gonum.org/v1/gonum/spatial/r2"
)

// Content is what the sheet shows.
type Content struct {
	Report *job.Report
	Plan   *steps.Plan
	// Link is where the bench page of this job is, or an ID to look it up by; "" leaves the QR code out.
	Link string
	Date string // as the maker wants it; never the clock's, so that sheets repeat
}

// Options of the sheet; the zero value is A4.
type Options struct {
	Paper string // "A4" or "Letter", upright
}

// letterUpright is the letter sheet of ANSI/ASME Y14.1 on its short side.
var letterUpright = sheet.Paper{Name: "Letter", WidthMM: 215.9, HeightMM: 279.4}

const (
	marginMM = 14.0 // outside the text: room for a clip, and inside every printer's reach
	bodyMM   = 2.0  // height of capitals in running text
	smallMM  = 1.8
	titleMM  = 2.6
	leadMM   = 4.3 // between baselines of running text
	padMM    = 2.2 // inside boxes
	gapMM    = 2.4 // between blocks
	signMM   = 42.0
	numberMM = 9.0
	qrMM     = 26.0
	footMM   = 8.0
)

var (
	shade = color.RGBA{232, 232, 232, 255}
	black = color.RGBA{0, 0, 0, 255}
	thick = sheet.Pen{WidthMM: 0.6, Colour: black}
	thin  = sheet.Pen{WidthMM: 0.2, Colour: black}
)

// Pages lays the sheet out.
func Pages(c Content, opt Options) ([]*sheet.Drawing, error) {
	if c.Report == nil || c.Report.Mould == nil || c.Plan == nil || len(c.Plan.Steps) == 0 {
		return nil, errors.New("nothing to print: the sheet needs the report of a good run and its steps")
	}
	paper := sheet.A4Upright
	switch strings.ToLower(opt.Paper) {
	case "", "a4", "a4-upright":
	case "letter":
		paper = letterUpright
	default:
		return nil, fmt.Errorf("no paper %q for shop sheets; use A4 or Letter", opt.Paper)
	}
	b := &book{paper: paper, title: c.Report.Part.Name}
	b.newPage()
	if err := b.head(c); err != nil {
		return nil, err
	}
	b.amounts(c)
	b.mould(c)
	b.notes(c)
	b.steps(c.Plan)
	b.feet(c)
	return b.pages, nil
}

// book is the pages being filled, from the top down.
type book struct {
	paper sheet.Paper
	title string
	pages []*sheet.Drawing
	d     *sheet.Drawing
	y     float64 // top of what is still free
}

func (b *book) newPage() {
	b.d = sheet.New(b.paper, b.title)
	b.pages = append(b.pages, b.d)
	b.y = marginMM
}

func (b *book) left() float64   { return marginMM }
func (b *book) right() float64  { return b.paper.WidthMM - marginMM }
func (b *book) bottom() float64 { return b.paper.HeightMM - marginMM - footMM }

// room starts a new page unless h mm are free.
func (b *book) room(h float64) {
	if b.y+h > b.bottom() {
		b.newPage()
	}
}

func (b *book) text(x, y, cap float64, bold bool, words string) {
	b.d.Text(sheet.Text{At: r2.Vec{X: x, Y: y}, Words: words, HeightMM: cap, Bold: bold})
}

func (b *book) textEnd(x, y, cap float64, words string) {
	b.d.Text(sheet.Text{At: r2.Vec{X: x, Y: y}, Words: words, HeightMM: cap, Anchor: sheet.End})
}

func (b *book) box(pen sheet.Pen, x0, y0, x1, y1 float64) {
	b.d.Polyline(pen, true, corners(x0, y0, x1, y1)...)
}

func corners(x0, y0, x1, y1 float64) []r2.Vec {
	return []r2.Vec{{X: x0, Y: y0}, {X: x1, Y: y0}, {X: x1, Y: y1}, {X: x0, Y: y1}}
}

// wrap breaks words into lines no wider than width; a word that is wider by itself is broken.
func wrap(words string, cap float64, bold bool, width float64) []string {
	fits := func(s string) bool {
		return sheet.Text{Words: s, HeightMM: cap, Bold: bold}.WidthMM() <= width
	}
	var lines []string
	line := ""
	for _, w := range strings.Fields(words) {
		for !fits(w) { // break it where it fits
			n := len([]rune(w)) - 1
			for n > 1 && !fits(string([]rune(w)[:n])) {
				n--
			}
			if line != "" {
				lines, line = append(lines, line), ""
			}
			lines, w = append(lines, string([]rune(w)[:n])), string([]rune(w)[n:])
		}
		next := w
		if line != "" {
			next = line + " " + w
		}
		if fits(next) {
			line = next
			continue
		}
		lines, line = append(lines, line), w
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// firstLine is what fits of words, ended by an ellipsis where some do not.
func firstLine(words string, cap, width float64) string {
	lines := wrap(words, cap, false, width)
	if len(lines) < 2 {
		return words
	}
	return wrap(words, cap, false, width-3)[0] + " …"
}

// feet numbers the pages once their count is known.
func (b *book) feet(c Content) {
	for i, d := range b.pages {
		b.d = d
		y := b.paper.HeightMM - marginMM
		d.Line(thin, r2.Vec{X: b.left(), Y: y - 4.5}, r2.Vec{X: b.right(), Y: y - 4.5})
		b.text(b.left(), y, smallMM, false, firstLine(c.Report.Part.Name+", "+c.Plan.Material, smallMM, (b.right()-b.left())/3))
		b.textEnd(b.right(), y, smallMM, fmt.Sprintf("page %d of %d", i+1, len(b.pages)))
		d.Text(sheet.Text{At: r2.Vec{X: b.paper.WidthMM / 2, Y: y}, Words: "shop sheet by mouldwright", HeightMM: smallMM, Anchor: sheet.Middle})
	}
}
