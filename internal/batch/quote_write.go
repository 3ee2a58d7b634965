package batch

import (
	"bytes"
	"fmt"
	"image"
	_ "image/jpeg" // logos
	_ "image/png"  // logos
	"io"
	"os"
	"strings"

	"github.com/xuri/excelize/v2"
	"gonum.org/v1/gonum/spatial/r2"

	"mouldwright/internal/sheet"
	"mouldwright/internal/workbook"
)

// Sizes of the page of a quote, mm.
const (
	quoteLeft, quoteRight = 22.0, 190.0
	quoteTop, quoteFoot   = 20.0, 280.0
	quoteLine             = 4.6
	logoWide, logoHigh    = 55.0, 24.0
	maxLogoBytes          = 4 << 20
	maxLogoPixels         = 25_000_000
)

var quotePen = sheet.Pen{WidthMM: 0.25, Colour: ink}

// quotePage writes a quote from the top of a page down, with new pages where it needs them.
type quotePage struct {
	q     *Quote
	pages []*sheet.Drawing
	y     float64
}

func (w *quotePage) page() *sheet.Drawing { return w.pages[len(w.pages)-1] }

func (w *quotePage) fresh() {
	w.pages = append(w.pages, sheet.New(sheet.A4Upright, strings.TrimSpace("Quote "+w.q.Number)))
	w.y = quoteTop
}

// room starts a page where mm are not left on this one.
func (w *quotePage) room(mm float64) {
	if w.y+mm > quoteFoot {
		w.fresh()
	}
}

func (w *quotePage) text(x float64, words string, bold bool, anchor sheet.Anchor, high float64) {
	w.page().Text(sheet.Text{At: r2.Vec{X: x, Y: w.y}, Words: words, Bold: bold, Anchor: anchor, HeightMM: high})
}

// wrapped writes words in lines of a width, and goes down.
func (w *quotePage) wrapped(x, wide float64, words string, high float64) {
	for _, line := range wrap(words, wide, high) {
		w.room(quoteLine)
		w.text(x, line, false, sheet.Start, high)
		w.y += quoteLine * high / 2.5
	}
}

// wrap parts words into lines that are no wider than wide.
func wrap(words string, wide, high float64) (out []string) {
	line := ""
	for _, f := range strings.FieldsFunc(words, func(r rune) bool { return r == ' ' || r == '\n' }) { // a no-break space does not part
		next := strings.TrimSpace(line + " " + f)
		if (sheet.Text{Words: next, HeightMM: high}).WidthMM() > wide && line != "" {
			out = append(out, line)
			next = f
		}
		line = next
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// WriteQuote writes a quote as a PDF in the maker's name.
func (b *Bench) WriteQuote(out io.Writer, q *Quote) error {
	w := &quotePage{q: q}
	w.fresh()
	if err := w.logo(b.Quoting.Logo); err != nil {
		return err
	}
	w.head()
	w.lines()
	w.breaks(b)
	for _, t := range q.Terms {
		w.y += 1
		w.wrapped(quoteLeft, quoteRight-quoteLeft, t, 2.4)
	}
	for k, p := range w.pages {
		p.Text(sheet.Text{At: r2.Vec{X: quoteRight, Y: 289}, Words: fmt.Sprintf("%d of %d", k+1, len(w.pages)), HeightMM: 2, Anchor: sheet.End})
	}
	if err := sheet.WritePDF(out, w.pages...); err != nil {
		return fmt.Errorf("write the quote: %w", err)
	}
	return nil
}

// logo puts the maker's picture at the upper right, as large as its room allows.
func (w *quotePage) logo(path string) error {
	if path == "" {
		return nil
	}
	st, err := os.Stat(path)
	if err != nil {
		return fmt.Errorf("quote.logo: %w", err)
	}
	if st.Size() > maxLogoBytes {
		return fmt.Errorf("quote.logo: %s has more than %d MB; make it smaller", path, maxLogoBytes>>20)
	}
	data, err := os.ReadFile(path)
	if err != nil {
		return fmt.Errorf("quote.logo: %w", err)
	}
	size, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil || size.Width < 1 || size.Height < 1 || size.Width*size.Height > maxLogoPixels {
		return fmt.Errorf("quote.logo: %s is no PNG or JPEG picture of at most %d million points: %w", path, maxLogoPixels/1_000_000, err)
	}
	if _, _, err := image.Decode(bytes.NewReader(data)); err != nil {
		return fmt.Errorf("quote.logo: %s: %w", path, err)
	}
	scale := min(logoWide/float64(size.Width), logoHigh/float64(size.Height))
	wide, high := scale*float64(size.Width), scale*float64(size.Height)
	if err := w.page().Image(data, r2.Vec{X: quoteRight - wide, Y: quoteTop - 4}, wide, high); err != nil {
		return fmt.Errorf("quote.logo: %s: %w", path, err)
	}
	return nil
}

func (w *quotePage) head() {
	q := w.q
	for k, l := range q.From {
		w.text(quoteLeft, l, k == 0, sheet.Start, 2.6)
		w.y += quoteLine
	}
	w.y = max(w.y, quoteTop+logoHigh) + 8
	for _, l := range q.To {
		w.text(quoteLeft, l, false, sheet.Start, 2.6)
		w.y += quoteLine
	}
	w.y += 8
	w.text(quoteLeft, strings.TrimSpace("Quote "+q.Number), true, sheet.Start, 5)
	w.text(quoteRight, q.Date, false, sheet.End, 2.6)
	w.y += 6
	if q.ValidUntil != "" {
		w.text(quoteRight, "valid until "+q.ValidUntil, false, sheet.End, 2.6)
	}
	w.text(quoteLeft, "Ready on "+q.Ready+", if ordered in time for the plan it rests on", false, sheet.Start, 2.6)
	w.y += 10
}

func (w *quotePage) rule() {
	w.page().Line(quotePen, r2.Vec{X: quoteLeft, Y: w.y - 3.2}, r2.Vec{X: quoteRight, Y: w.y - 3.2})
}

// Columns of the lines: the right edges of quantity, price and amount, mm.
const quoteQty, quoteEach = 130.0, 160.0

func (w *quotePage) lines() {
	q := w.q
	w.text(quoteLeft, "Part", true, sheet.Start, 2.6)
	w.text(quoteQty, "Quantity", true, sheet.End, 2.6)
	w.text(quoteEach, "Each, "+q.Currency, true, sheet.End, 2.6)
	w.text(quoteRight, q.Currency, true, sheet.End, 2.6)
	w.y += 5.4
	for _, l := range q.Lines {
		w.room(18)
		w.rule()
		w.y++
		names := wrap(l.What, quoteQty-20-quoteLeft, 2.6)
		w.text(quoteQty, fmt.Sprint(l.Quantity), false, sheet.End, 2.6)
		w.text(quoteEach, l.Each.String(), false, sheet.End, 2.6)
		w.text(quoteRight, l.Amount.String(), false, sheet.End, 2.6)
		for _, n := range names {
			w.text(quoteLeft, n, false, sheet.Start, 2.6)
			w.y += quoteLine
		}
		w.wrapped(quoteLeft, quoteQty-20-quoteLeft, l.Basis, 2)
		w.y += 1.6
	}
	w.room(24)
	w.rule()
	w.y++
	sum := func(words string, m Money100, bold bool) {
		w.text(quoteEach, words, bold, sheet.End, 2.6)
		w.text(quoteRight, m.String(), bold, sheet.End, 2.6)
		w.y += 5
	}
	sum("Net", q.Net, false)
	if q.TaxPct > 0 {
		name := q.TaxName
		if name == "" {
			name = "Tax"
		}
		sum(fmt.Sprintf("%s, %.4g %%", name, q.TaxPct), q.Tax, false)
	}
	sum("Total", q.Total, true)
	w.y += 5
}

func (w *quotePage) breaks(b *Bench) {
	q := w.q
	if len(q.Breaks) == 0 {
		return
	}
	w.room(20 + 5*float64(len(q.Breaks)))
	w.text(quoteLeft, "Other quantities, each by version, "+q.Currency+" a part before tax", true, sheet.Start, 2.6)
	w.y += 5.4
	var names []string
	for v := range b.Versions {
		if b.Versions[v].Quantity > 0 {
			names = append(names, b.Versions[v].Name)
		}
	}
	const first = 24.0
	each := (quoteRight - quoteLeft - first) / float64(len(names)+1)
	for k, n := range append(names, "moulds, once") {
		t := sheet.Text{At: r2.Vec{X: quoteLeft + first + each*float64(k+1), Y: w.y}, Words: n, HeightMM: 2.2, Anchor: sheet.End}
		w.page().Text(cut(t, each-2))
	}
	w.y += 5
	for _, br := range q.Breaks {
		w.room(6)
		w.text(quoteLeft, fmt.Sprint(br.Quantity), false, sheet.Start, 2.4)
		if br.Why != "" {
			w.wrapped(quoteLeft+first, quoteRight-quoteLeft-first, br.Why, 2)
			w.y += 1
			continue
		}
		for k, m := range append(append([]Money100(nil), br.Each...), br.Tooling) {
			w.text(quoteLeft+first+each*float64(k+1), m.String(), false, sheet.End, 2.4)
		}
		w.y += 5
	}
	w.y += 4
}

// WriteQuoteXLSX writes a quote and the costs that it rests on as a workbook. Amounts and sums are formulas over
// the cells beside them, with their values.
func (b *Bench) WriteQuoteXLSX(out io.Writer, q *Quote, c *Costs) error {
	f := excelize.NewFile()
	defer f.Close() // it holds no file of ours
	s := &quoteSheet{f: f, name: "Quote"}
	s.err = f.SetSheetName("Sheet1", s.name)
	for _, l := range q.From {
		s.row(l)
	}
	s.row("Quote", q.Number, q.Date)
	if q.ValidUntil != "" {
		s.row("valid until", q.ValidUntil)
	}
	for _, l := range q.To {
		s.row("to", l)
	}
	s.row("Part", "Quantity", "Each, "+q.Currency, "Amount, "+q.Currency, "Basis")
	from := s.n + 1
	for _, l := range q.Lines {
		s.row(l.What, l.Quantity, l.Each.Float(), formula(fmt.Sprintf("B%d*C%d", s.n+1, s.n+1), l.Amount.Float()), l.Basis)
	}
	s.row("Net", nil, nil, formula(fmt.Sprintf("SUM(D%d:D%d)", from, s.n), q.Net.Float()))
	net := s.n
	s.row(strings.TrimSpace("Tax "+q.TaxName), q.TaxPct/100, nil, formula(fmt.Sprintf("ROUND(D%d*B%d,2)", net, net+1), q.Tax.Float()))
	s.row("Total", nil, nil, formula(fmt.Sprintf("D%d+D%d", net, net+1), q.Total.Float()))
	for _, t := range q.Terms {
		s.row(t)
	}
	s.sheet("Other quantities")
	for _, br := range q.Breaks {
		cells := []any{br.Quantity}
		for _, m := range br.Each {
			cells = append(cells, m.Float())
		}
		s.row(append(cells, br.Tooling.Float(), br.Why)...)
	}
	s.sheet("Costs")
	s.row("Version", "Parts", "Shots", "Cost", "Amount, "+c.Currency, "Rests on")
	from = s.n + 1
	for _, v := range c.Versions {
		for _, l := range v.Lines {
			s.row(v.Version, v.Parts, v.Shots, l.Name, l.Amount, l.RestOn)
		}
	}
	s.row("All", c.Parts, nil, nil, formula(fmt.Sprintf("SUM(E%d:E%d)", from, s.n), c.Total))
	if s.err != nil {
		return fmt.Errorf("write the quote: %w", s.err)
	}
	return workbook.Write(out, f)
}

// quoteSheet fills a sheet row by row, and keeps the first error.
type quoteSheet struct {
	f    *excelize.File
	name string
	n    int
	err  error
}

// computed is a cell that the workbook works out, with its value.
type computed struct {
	formula string
	value   float64
}

func formula(words string, value float64) computed { return computed{words, value} }

func (s *quoteSheet) sheet(name string) {
	if s.err == nil {
		_, s.err = s.f.NewSheet(name)
	}
	s.name, s.n = name, 0
}

func (s *quoteSheet) row(cells ...any) {
	s.n++
	for k, v := range cells {
		if s.err != nil || v == nil {
			continue
		}
		at, err := excelize.CoordinatesToCellName(k+1, s.n)
		if err != nil {
			s.err = err
			return
		}
		if c, ok := v.(computed); ok {
			if s.err = s.f.SetCellValue(s.name, at, c.value); s.err == nil {
				s.err = s.f.SetCellFormula(s.name, at, c.formula)
			}
			continue
		}
		s.err = s.f.SetCellValue(s.name, at, v) // a text that begins with = stays a text
	}
}
