package sheet

import (
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/go-pdf/fpdf"
	"gonum.org/v1/gonum/spatial/r2"
)

// pdfDate stands in every PDF instead of the clock's, so that the same sheets give the same bytes.
var pdfDate = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)

// WritePDF writes the sheets as the pages of one PDF.
func WritePDF(w io.Writer, sheets ...*Drawing) error {
	if len(sheets) == 0 {
		return errors.New("write PDF: no sheets")
	}
	p := fpdf.NewCustom(&fpdf.InitType{UnitStr: "mm", Size: fpdf.SizeType{Wd: sheets[0].Paper.WidthMM, Ht: sheets[0].Paper.HeightMM}})
	p.SetCreationDate(pdfDate)
	p.SetModificationDate(pdfDate)
	p.SetCatalogSort(true)
	p.SetProducer("mouldwright", true)
	p.SetTitle(sheets[0].Title, true)
	p.SetAutoPageBreak(false, 0)
	p.AddUTF8FontFromBytes("go", "", faces()[0].ttf)
	p.AddUTF8FontFromBytes("go", "B", faces()[1].ttf)
	for _, d := range sheets {
		p.AddPageFormat("P", fpdf.SizeType{Wd: d.Paper.WidthMM, Ht: d.Paper.HeightMM})
		p.SetLineJoinStyle("round")
		for _, it := range d.items {
			drawItem(p, it)
		}
	}
	if err := p.Output(w); err != nil {
		return fmt.Errorf("write PDF: %w", err)
	}
	return nil
}

func drawItem(p *fpdf.Fpdf, it item) {
	switch it := it.(type) {
	case stroke:
		p.SetDrawColor(int(it.pen.Colour.R), int(it.pen.Colour.G), int(it.pen.Colour.B))
		p.SetLineWidth(it.pen.WidthMM)
		p.SetDashPattern(it.pen.DashMM, 0)
		trace(p, it.pts, it.closed)
		p.DrawPath("D")
	case fill:
		p.SetFillColor(int(it.colour.R), int(it.colour.G), int(it.colour.B))
		for _, loop := range it.loops {
			trace(p, loop, true)
		}
		p.DrawPath("f*")
	case raster:
		drawImage(p, it)
	case Text:
		drawText(p, it)
	}
}

func trace(p *fpdf.Fpdf, pts []r2.Vec, closed bool) {
	for i, q := range pts {
		if i == 0 {
			p.MoveTo(q.X, q.Y)
		} else {
			p.LineTo(q.X, q.Y)
		}
	}
	if closed {
		p.ClosePath()
	}
}

// pointsPerMM: fpdf takes font sizes in points of 1/72 inch.
const pointsPerMM = 72 / 25.4

func drawText(p *fpdf.Fpdf, t Text) {
	style := ""
	if t.Bold {
		style = "B"
	}
	p.SetFont("go", style, t.emMM()*pointsPerMM)
	p.SetTextColor(0, 0, 0)
	x := t.At.X - float64(t.Anchor)/2*t.WidthMM()
	if !t.Up {
		p.Text(x, t.At.Y, t.Words)
		return
	}
	p.TransformBegin()
	p.TransformRotate(90, t.At.X, t.At.Y)
	p.Text(x, t.At.Y, t.Words)
	p.TransformEnd()
}
